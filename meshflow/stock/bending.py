"""Flat lengths of bends in both ways of writing, and how to go from one to the other.

Terms: the *neutral factor* K is the distance of the neutral line from the inside face over the thickness, 0 to 1; the
*correction factor* k of DIN 6935 sets the same line at ``k s / 2``, so ``k = 2 K``: it is 1 where K is one half. The
*outside setback* is from the tangent of a bend to the corner where the outside faces would meet. The *bend deduction*
is what the sum of two legs, measured to that corner, is longer than the flat sheet.

Conventions: angles in radians, a bend angle is how far the sheet is turned; lengths in mm; radii are inside radii.

Sources: DIN 6935 as printed in Tabellenbuch Metall (READ_VIA); that k is twice K: READ on a page that gives both forms;
the identities are arithmetic (CALC).
"""

from __future__ import annotations

import math
from typing import Literal

from meshflow.errors import OptionError
from meshflow.stock.rules import bend_allowance, din_6935_factor

__all__ = [
    "bend_deduction",
    "din_from_neutral",
    "excess_length",
    "neutral_from_din",
    "outside_setback",
    "taken_length",
]

Lengths = Literal["corner", "radius", "outside", "flat"]
_MOST_TURNED = math.radians(165.0)


def neutral_from_din(k: float) -> float:
    """Return the neutral factor K (a share of the thickness, from the inside) for the factor k of DIN 6935.

    Parameters
    ----------
    k : float
        Correction factor of DIN 6935, 0 to 2.

    Returns
    -------
    float
        ``k / 2``.

    Raises
    ------
    OptionError
        If it would lie outside the sheet.

    Examples
    --------
    >>> neutral_from_din(0.7)
    0.35
    """
    _check(0.0 <= k <= 2.0, f"a DIN 6935 factor of {k:g} puts the neutral line outside the sheet (0 to 2).")
    return 0.5 * k


def din_from_neutral(neutral_factor: float) -> float:
    """Return the factor k of DIN 6935 for a neutral factor K; OptionError if K is not between 0 and 1.

    Examples
    --------
    >>> din_from_neutral(0.44)
    0.88
    """
    _check(0.0 <= neutral_factor <= 1.0, f"a neutral factor of {neutral_factor:g} lies outside the sheet (0 to 1).")
    return 2.0 * neutral_factor


def outside_setback(bend_angle: float, *, radius_mm: float, thickness_mm: float) -> float:
    """Return the distance from the tangent of a bend to the corner of its outside faces.

    Parameters
    ----------
    bend_angle : float
        How far the sheet is turned [rad], 0 to 165 degrees.
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm].

    Returns
    -------
    float
        ``(r + s) tan(angle / 2)`` [mm].

    Raises
    ------
    OptionError
        If a number is out of its range; beyond 165 degrees the corner runs away.

    Examples
    --------
    >>> round(outside_setback(math.pi / 2, radius_mm=2.0, thickness_mm=1.0), 9)
    3.0
    """
    _check_angle(bend_angle)
    bend_allowance(bend_angle, radius_mm=radius_mm, thickness_mm=thickness_mm)  # its own checks
    return (radius_mm + thickness_mm) * math.tan(0.5 * bend_angle)


def bend_deduction(
    bend_angle: float, *, radius_mm: float, thickness_mm: float, neutral_factor: float | None = None
) -> float:
    """Return what to take off two legs that are measured to the corner of the outside faces.

    Up to a right angle this is the compensation v of DIN 6935 (for an opening angle of 90 degrees and more); beyond it
    the standard measures the legs to the outside tangent, see `meshflow.stock.rules.din_6935_deduction`.

    Parameters
    ----------
    bend_angle : float
        How far the sheet is turned [rad], 0 to 165 degrees.
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm].
    neutral_factor : float, optional
        K; half of DIN 6935's k when left out.

    Returns
    -------
    float
        ``2 setback - allowance`` [mm].

    Raises
    ------
    OptionError
        If a number is out of its range.

    Examples
    --------
    >>> round(bend_deduction(math.pi / 2, radius_mm=3.0, thickness_mm=1.0, neutral_factor=0.44), 3)
    2.596
    """
    return excess_length(
        bend_angle, radius_mm=radius_mm, thickness_mm=thickness_mm, lengths="outside", neutral_factor=neutral_factor
    )


def excess_length(
    bend_angle: float,
    *,
    radius_mm: float,
    thickness_mm: float,
    lengths: Lengths,
    neutral_factor: float | None = None,
) -> float:
    """Return what a pattern is longer than the flat sheet across one bend.

    Parameters
    ----------
    bend_angle : float
        How far the sheet is turned [rad], 0 to 165 degrees.
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm].
    lengths : {"corner", "radius", "outside", "flat"}
        What the pattern's lengths are: those of the middle of the sheet up to a sharp corner; of the middle of the
        sheet round the true radius; of the outside faces up to their corner; or already those of the flat sheet.
    neutral_factor : float, optional
        K; half of DIN 6935's k when left out.

    Returns
    -------
    float
        To be taken off [mm].

    Raises
    ------
    OptionError
        If a number is out of its range.
    """
    _check_angle(bend_angle)
    _check(lengths in ("corner", "radius", "outside", "flat"), f'"{lengths}" is no kind of length of a bend.')
    taken = taken_length(bend_angle, radius_mm=radius_mm, thickness_mm=thickness_mm, neutral_factor=neutral_factor)
    half = math.tan(0.5 * bend_angle)
    drawn = {
        "corner": 2.0 * (radius_mm + 0.5 * thickness_mm) * half,
        "radius": bend_angle * (radius_mm + 0.5 * thickness_mm),
        "outside": 2.0 * (radius_mm + thickness_mm) * half,
        "flat": taken,
    }
    return drawn[lengths] - taken


def taken_length(
    bend_angle: float, *, radius_mm: float, thickness_mm: float, neutral_factor: float | None = None
) -> float:
    """Return the length of flat sheet that a bend takes up: `bend_allowance`, by DIN 6935 when no K is given [mm]."""
    if neutral_factor is None:
        neutral_factor = neutral_from_din(din_6935_factor(radius_mm=radius_mm, thickness_mm=thickness_mm))
    return bend_allowance(bend_angle, radius_mm=radius_mm, thickness_mm=thickness_mm, neutral_factor=neutral_factor)


def _check_angle(bend_angle: float) -> None:
    _check(
        0.0 < bend_angle <= _MOST_TURNED + 1e-9,
        f"a bend of {math.degrees(bend_angle):g} degrees is not over 0 and up to 165.",
    )


def _check(holds: bool, what: str) -> None:
    if not holds:
        raise OptionError(what, remedy="Correct this number.")
