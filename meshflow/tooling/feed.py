"""Feeding a strip through a short tool: what comes out, how many blows, and how far the pitch goes astray.

Terms: the *pitch* is how far the strip is moved from blow to blow; a *joint* is where the new repeats of one blow meet
those of the next; the *step error* is how far off a strip lies at one blow.

Convention: over the strip the tool walks towards +x, see `blend`.

Sources: a repeat of n blows is off by up to n times the step error unless it is piloted; with pilots each blow is set
anew and off by half the pilot clearance (CALC). Independent errors add by the root of their number (CALC).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray
from meshflow.tooling.blend import Lengths

__all__ = ["Joint", "Register", "Run", "error_over", "joint_of", "plan_run", "strike"]

Register = Literal["repeat", "pilot", "stop"]
_LEAST_BLOWS: Final = 4


@dataclass(frozen=True, slots=True)
class Joint:
    """How well the faces of blows after each other tile.

    Parameters
    ----------
    step_mm : float
        Greatest difference in height from one unbroken ornament [mm].
    kink_deg : float
        Greatest difference in slope along the strip, at the joints and wherever a zone of the face ends [degree].
    """

    step_mm: float
    kink_deg: float


@dataclass(frozen=True, slots=True)
class Run:
    """What one length of ornament takes.

    Parameters
    ----------
    length_mm : float
        Ornament asked for [mm].
    blows : int
        How many blows, over all strips.
    strips : int
        In how many strips it is struck.
    repeats : int
        Whole repeats that come out.
    strip_length_mm : float
        Flat strip needed, with the scrap at both ends of each [mm].
    each_mm : float
        Length of the longest strip [mm].
    scrap_mm : float
        Flat strip lost at both ends of each strip [mm].
    blows_each : int
        Blows of the longest strip.
    """

    length_mm: float
    blows: int
    strips: int
    repeats: int
    strip_length_mm: float
    each_mm: float
    scrap_mm: float
    blows_each: int


def strike(face: FloatArray, *, step: int, blows: int, full: int | None = None) -> FloatArray:
    """Return a flat strip after a number of blows.

    Where the pair holds the ornament in full, metal takes its form. Elsewhere it keeps the deeper form, up or down: the
    way in never flattens what stands already.

    Parameters
    ----------
    face : (rows, columns) float array
        Heights of the whole face of the tool [mm].
    step : int
        Columns from blow to blow.
    blows : int
        How many.
    full : int, optional
        Columns from the left that hold the ornament in full; none when left out, so that the deepest form of all blows
        is kept.

    Returns
    -------
    (rows, columns + (blows - 1) step) float array
        Heights [mm].

    Examples
    --------
    >>> strike(np.array([[1.0, 1.0, 0.4]]), step=2, blows=2).tolist()
    [[1.0, 1.0, 1.0, 1.0, 0.4]]
    """
    rows, columns = face.shape
    taken = np.arange(columns) < (full or 0)
    strip = np.zeros((rows, columns + (blows - 1) * step))
    for blow in range(blows):
        here = strip[:, blow * step : blow * step + columns]
        here[...] = np.where(taken | (np.abs(face) > np.abs(here)), face, here)
    return strip


def joint_of(face: FloatArray, lengths: Lengths, *, columns: int, pitch: float) -> Joint:
    """Strike a strip and hold it against one unbroken ornament.

    Parameters
    ----------
    face : (rows, columns) float array
        The face as it is cut [mm].
    lengths : Lengths
        Its zones.
    columns : int
        Columns of one repeat.
    pitch : float
        Distance between columns [mm].

    Returns
    -------
    Joint
        The greatest differences over all of the strip that is struck in full. In height it is that of the deepest form
        of all blows: what the way in presses deeper than the ornament counts, though the next blow sets it right.
    """
    blows = _LEAST_BLOWS + -(-lengths.total // lengths.new)
    end = (blows - 1) * lengths.new + lengths.full
    first = lengths.joints[0]
    ideal = face[:, first : first + columns][:, (np.arange(end) - first) % columns]
    deepest = strike(face, step=lengths.new, blows=blows)[:, :end]
    struck = strike(face, step=lengths.new, blows=blows, full=lengths.full)[:, :end]
    slopes = [np.degrees(np.arctan(np.diff(one, axis=1) / pitch)) for one in (struck, ideal)]
    step = max(float(np.abs(one - ideal).max()) for one in (deepest, struck))
    return Joint(step, float(np.abs(slopes[0] - slopes[1]).max()))


def error_over(blows: int, step_error_mm: float, register: Register) -> tuple[float, float]:
    """Return how far the last repeat may be astray: likely (by the root of the number), and at worst [mm].

    Parameters
    ----------
    blows : int
        Number of blows after each other.
    step_error_mm : float
        Error of one of them [mm].
    register : {"repeat", "pilot", "stop"}
        What places the strip; with pilots errors do not add up.

    Examples
    --------
    >>> error_over(100, 0.1, "stop")
    (1.0, 10.0)
    >>> error_over(100, 0.05, "pilot")
    (0.05, 0.05)
    """
    if register == "pilot":
        return step_error_mm, step_error_mm
    return math.sqrt(blows) * step_error_mm, blows * step_error_mm


def plan_run(
    length_mm: float,
    *,
    period_mm: float,
    new_repeats: int,
    register_repeats: int,
    ends_mm: float,
    hold_mm: float,
    lengthening: float,
    stock_length_mm: float | None = None,
) -> Run:
    """Return blows and flat strip for a length of ornament.

    The first blow on a strip strikes the register as well, so it brings more repeats than the next ones.

    Parameters
    ----------
    length_mm : float
        Ornament that is wanted [mm].
    period_mm : float
        Length of a repeat as struck [mm].
    new_repeats, register_repeats : int
        Repeats of the face.
    ends_mm : float
        What the ways in and out make of scrap on each strip [mm].
    hold_mm : float
        Left at the end of a strip to hold it by [mm].
    lengthening : float
        How much longer the flat strip is than the struck one, as a share.
    stock_length_mm : float, optional
        Length of the strips to be had [mm]; as long as needed when left out.

    Returns
    -------
    Run
        The plan.

    Raises
    ------
    OptionError
        If the length is under one repeat, or a strip to be had is too short for one blow.
    """
    if not (math.isfinite(length_mm) and length_mm >= period_mm * (1.0 - 1e-9)):
        raise OptionError(
            f"a length of {length_mm:g} mm is shorter than one repeat of {period_mm:.2f} mm.",
            remedy="Ask for at least one repeat.",
        )
    wanted = math.ceil(length_mm / period_mm - 1e-6)
    scrap = ends_mm + hold_mm
    flat = period_mm * (1.0 + lengthening)
    most = _most_blows(stock_length_mm, scrap, flat, new_repeats, register_repeats)
    blows, strips, left, longest = 0, 0, wanted, 0
    while left > 0:
        strip = min(most, 1 + max(0, math.ceil((left - register_repeats - new_repeats) / new_repeats)))
        if strip == most and left > register_repeats + most * new_repeats:
            same = left // (register_repeats + most * new_repeats)
        else:
            same = 1
        blows, strips, longest = blows + same * strip, strips + same, max(longest, strip)
        left -= same * (register_repeats + strip * new_repeats)
    made = strips * register_repeats + blows * new_repeats
    each = (register_repeats + longest * new_repeats) * flat + scrap
    return Run(length_mm, blows, strips, made, made * flat + strips * scrap, each, scrap, longest)


def _most_blows(stock: float | None, scrap: float, flat: float, new: int, register: int) -> int:
    """Return how many blows a strip to be had has room for."""
    if stock is None:
        return 10**9
    most = math.floor(((stock - scrap) / flat - register) / new + 1e-9)
    if most < 1:
        raise OptionError(
            f"a strip of {stock:g} mm is too short for one blow: {scrap + (register + new) * flat:.1f} mm are needed.",
            remedy="Take longer strips, or fewer repeats on the tool.",
        )
    return most
