"""Shells drawn from a round blank: the blank, how many draws, the forces.

Sources: blank of equal area, ``D = sqrt(4 A / pi)`` (Hodgson 1905; READ) and the handbook's forms that follow from it
(CALC); limiting ratios 2.0 in the first draw, 1.8 without a blank holder, then 1.3 and 1.2 (READ); forces after Groover
(READ in worked code); trim of 2 mm for each 25 mm of diameter (READ in an exam question).
"""

from __future__ import annotations

import math
from typing import Final

from meshflow.errors import OptionError

__all__ = [
    "blank_diameter",
    "box_blank",
    "cup_blank",
    "cup_height",
    "drawing_force",
    "draws_for",
    "frustum_area",
    "holding_force",
    "trim_of_cup",
]

_RATIOS: Final = (2.0, 1.3, 1.2)
_WITHOUT_HOLDER: Final = 1.8


def blank_diameter(area_mm2: float) -> float:
    """Return the diameter of the round blank that has the area of a shell, of whatever form [mm]."""
    _over_zero(area_mm2=area_mm2)
    return math.sqrt(4.0 * area_mm2 / math.pi)


def cup_blank(diameter_mm: float, height_mm: float) -> float:
    """Return the blank of a cup with a flat bottom, ``sqrt(d^2 + 4 d h)`` [mm]; for corner radii up to d / 20.

    Examples
    --------
    >>> round(cup_blank(15.0, 10.0), 2)
    28.72
    """
    _over_zero(diameter_mm=diameter_mm, height_mm=height_mm)
    return blank_diameter(math.pi * (0.25 * diameter_mm**2 + diameter_mm * height_mm))


def box_blank(length_mm: float, width_mm: float, height_mm: float) -> tuple[float, float]:
    """Return length and width of the blank that has the area of an open box and the ratio of its sides [mm].

    The corners come out too full and are cut back by trial (Hodgson 1905; READ).

    Examples
    --------
    >>> [round(side, 3) for side in box_blank(3.5, 2.5, 1.0)]
    [5.39, 3.85]
    """
    _over_zero(length_mm=length_mm, width_mm=width_mm, height_mm=height_mm)
    area = length_mm * width_mm + 2.0 * (length_mm + width_mm) * height_mm
    return math.sqrt(area * length_mm / width_mm), math.sqrt(area * width_mm / length_mm)


def cup_height(blank_mm: float, diameter_mm: float) -> float:
    """Return the height that a blank gives at a diameter, ``(D^2 - d^2) / 4 d`` [mm]; 0 or more."""
    _over_zero(blank_mm=blank_mm, diameter_mm=diameter_mm)
    if blank_mm < diameter_mm:
        raise OptionError("the blank is smaller than the cup.", remedy="Give the diameters the other way round.")
    return (blank_mm**2 - diameter_mm**2) / (4.0 * diameter_mm)


def frustum_area(small_mm: float, large_mm: float, height_mm: float) -> float:
    """Return the area of a conical shell with a flat bottom of the small diameter [mm2]."""
    _over_zero(small_mm=small_mm, large_mm=large_mm, height_mm=height_mm)
    slant = math.hypot(height_mm, 0.5 * (large_mm - small_mm))
    return math.pi * (0.25 * small_mm**2 + 0.5 * (small_mm + large_mm) * slant)


def trim_of_cup(diameter_mm: float) -> float:
    """Return what to add to the blank for trimming the rim [mm]: 2 for each 25 of diameter."""
    _over_zero(diameter_mm=diameter_mm)
    return 2.0 * diameter_mm / 25.0


def draws_for(blank_mm: float, diameter_mm: float, *, blank_holder: bool = True) -> int:
    """Return in how many draws a blank comes down to a diameter, by the limiting ratios.

    Examples
    --------
    >>> draws_for(138.0, 75.0), draws_for(138.0, 75.0, blank_holder=False)
    (1, 2)
    """
    _over_zero(blank_mm=blank_mm, diameter_mm=diameter_mm)
    first, second, later = _RATIOS
    reach, draws = first if blank_holder else _WITHOUT_HOLDER, 1
    while blank_mm / diameter_mm > reach * (1.0 + 1e-12):
        reach *= second if draws == 1 else later
        draws += 1
    return draws


def drawing_force(blank_mm: float, punch_mm: float, *, thickness_mm: float, tensile_mpa: float) -> float:
    """Return the greatest force of a draw, ``pi Dp t TS (Db / Dp - 0.7)`` [N]."""
    _over_zero(blank_mm=blank_mm, punch_mm=punch_mm, thickness_mm=thickness_mm, tensile_mpa=tensile_mpa)
    return math.pi * punch_mm * thickness_mm * tensile_mpa * (blank_mm / punch_mm - 0.7)


def holding_force(
    blank_mm: float, punch_mm: float, *, thickness_mm: float, yield_mpa: float, die_radius_mm: float
) -> float:
    """Return the force of the blank holder, ``0.015 Y pi (Db^2 - (Dp + 2.2 t + 2 Rd)^2)`` [N]; 0 or more."""
    _over_zero(blank_mm=blank_mm, punch_mm=punch_mm, thickness_mm=thickness_mm, yield_mpa=yield_mpa)
    ring = blank_mm**2 - (punch_mm + 2.2 * thickness_mm + 2.0 * die_radius_mm) ** 2
    return max(0.015 * yield_mpa * math.pi * ring, 0.0)


def _over_zero(**sizes: float) -> None:
    for name, value in sizes.items():
        if not 0.0 < value < math.inf:
            words = name.rsplit("_", 1)[0].replace("_", " ")
            raise OptionError(f"the {words} of a drawn shell is over 0, not {value:g}.", remedy="Correct the number.")
