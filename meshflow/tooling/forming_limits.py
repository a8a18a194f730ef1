"""How much strain sheet bears, each rule with its source and where it holds.

Strains are logarithmic unless a name says per cent.

Sources: hardening ``stress = K strain^n`` and necking at ``strain = n`` (Hollomon, Considere; MEMORY, checked against a
mill sheet, CALC); metal that was rolled hard keeps K and n and has ``n - strain before`` left (MEMORY); the forming
limit at plane strain of low-carbon steel (Keeler and Brazier 1977; READ_VIA); left of it the sum of both strains is
constant (READ); Hill's equivalent strain with normal anisotropy (MEMORY); anisotropy from a tensile test (Kalpakjian,
example 7.7; READ).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray

__all__ = [
    "anisotropy_of_test",
    "equivalent_strain",
    "flow_stress",
    "forming_limit",
    "forming_limit_plane_percent",
    "rolled_strain",
    "tensile_strength",
    "uniform_strain_left",
]

_FLC_CAP, _FLC_MOST_MM = 0.21, 3.0


def equivalent_strain(major: FloatArray, minor: FloatArray, anisotropy: float = 1.0) -> FloatArray:
    """Return Hill's equivalent strain in plane stress.

    Parameters
    ----------
    major, minor : float array
        Principal logarithmic strains in the sheet.
    anisotropy : float
        Normal anisotropy R, over 0; 1 is the same in every direction.

    Returns
    -------
    float array
        ``(1+R)/sqrt(1+2R) sqrt(e1^2 + e2^2 + 2R/(1+R) e1 e2)``.

    Examples
    --------
    >>> round(float(equivalent_strain(np.array(0.2), np.array(-0.1))), 12)  # a tensile test
    0.2
    """
    _check(0.0 < anisotropy < math.inf, f"a normal anisotropy of {anisotropy:g} makes no sense.")
    mixed = 2.0 * anisotropy / (1.0 + anisotropy) * major * minor
    size: Any = np.sqrt(np.maximum(major**2 + minor**2 + mixed, 0.0))
    return np.asarray((1.0 + anisotropy) / math.sqrt(1.0 + 2.0 * anisotropy) * size)


def flow_stress(strain: float, *, strength_mpa: float, exponent: float) -> float:
    """Return the stress at which annealed metal yields after a strain [MPa]: ``K strain^n``."""
    _check(strain >= 0.0, f"a strain of {strain:g} is below 0.")
    return float(strength_mpa * strain**exponent)


def tensile_strength(*, strength_mpa: float, exponent: float) -> float:
    """Return the tensile strength that K and n stand for [MPa]: ``K n^n exp(-n)``.

    Examples
    --------
    >>> round(tensile_strength(strength_mpa=530, exponent=0.44), 1)  # annealed copper: 220 to 260 by the mill
    237.9
    """
    return float(strength_mpa * exponent**exponent * math.exp(-exponent))


def rolled_strain(reduction: float) -> float:
    """Return the strain of cold rolling by a share of the thickness: ``2/sqrt(3) ln(1/(1-r))``.

    Examples
    --------
    >>> round(rolled_strain(0.207), 3)  # half hard
    0.268
    """
    _check(0.0 <= reduction < 1.0, f"a reduction of {reduction:g} is not between 0 and 1.")
    return 1.155 * math.log(1.0 / (1.0 - reduction))


def uniform_strain_left(exponent: float, *, strain_before: float = 0.0) -> float:
    """Return how far metal stretches before it necks: ``n - strain before``, not below 0."""
    _check(strain_before >= 0.0, f"a strain before of {strain_before:g} is below 0.")
    return max(exponent - strain_before, 0.0)


def anisotropy_of_test(*, lengthening: float, thinning: float) -> float:
    """Return the anisotropy R of a tensile test strip.

    Parameters
    ----------
    lengthening, thinning : float
        Length gained and thickness lost, as shares (0.23 and 0.10).

    Returns
    -------
    float
        Strain across the width over strain through the thickness.
    """
    _check(lengthening > 0.0, f"a lengthening of {lengthening:g} is not over 0.")
    _check(0.0 < thinning < 1.0, f"a thinning of {thinning:g} is not between 0 and 1.")
    through = math.log(1.0 - thinning)
    return (-math.log(1.0 + lengthening) - through) / through


def forming_limit_plane_percent(thickness_mm: float, exponent: float) -> float:
    """Return the strain at which low-carbon steel necks in plane strain [%], of length. For that steel only.

    Parameters
    ----------
    thickness_mm : float
        Over 0 and up to 3 mm.
    exponent : float
        Hardening exponent; counted up to 0.21.

    Returns
    -------
    float
        ``(23.3 + 14.13 t) n / 0.21``.

    Raises
    ------
    OptionError
        If the thickness lies outside the range of the rule.
    """
    holds = 0.0 < thickness_mm <= _FLC_MOST_MM
    _check(holds, f"the forming limit of low-carbon steel is known up to 3 mm, not for {thickness_mm:g} mm.")
    return (23.3 + 14.13 * thickness_mm) * min(exponent, _FLC_CAP) / _FLC_CAP


def forming_limit(minor: FloatArray, *, thickness_mm: float, exponent: float) -> FloatArray:
    """Return the major strain at which low-carbon steel necks, for each minor strain.

    Left of plane strain the sum of both is constant; right of it the limit is taken as flat, which is the safer.
    """
    plane = math.log1p(0.01 * forming_limit_plane_percent(thickness_mm, exponent))
    return np.asarray(plane - np.minimum(minor, 0.0))


def _check(holds: bool, what: str) -> None:
    if not holds:
        raise OptionError(what, remedy="Correct the number; shares and strains are plain numbers, not per cent.")
