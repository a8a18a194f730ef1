"""How high one blow embosses: a formula for beads in soft steel, and the rule of struck nameplates.

Sources: embossing height and least thickness, 4ming handbook, section 15.5 (READ; its worked example prints n = 0.22
and fits n = 0.216); nameplates struck between matched dies: narrowest detail three thicknesses, height one thickness
(graphic product trade's standards, page 31; READ); two to three thicknesses deep in one blow (COMMON_PRACTICE).
"""

from __future__ import annotations

import math

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.relief import Relief

__all__ = ["bead_height", "bead_thickness", "narrowest_detail"]

_RANGES = {
    "width_mm": (15.0, 50.0),
    "punch_radius_mm": (2.0, 20.0),
    "die_radius_mm": (2.0, 10.0),
    "wall_mm": (2.0, 17.5),
}


def bead_height(
    width_mm: float, *, punch_radius_mm: float, die_radius_mm: float, wall_mm: float, exponent: float
) -> float:
    """Return the greatest height of one embossed bead in soft unalloyed steel; for no other metal.

    Parameters
    ----------
    width_mm : float
        Width b, 15 to 50 mm.
    punch_radius_mm, die_radius_mm : float
        Radii of punch (2 to 20 mm) and die (2 to 10 mm).
    wall_mm : float
        Distance u between punch and die radius in plan, 2 to 17.5 mm.
    exponent : float
        Hardening exponent n.

    Returns
    -------
    float
        ``6.8 b n exp(-2.68 (b - r) / (b + u + rM))`` [mm].

    Raises
    ------
    OptionError
        If a size lies outside the range of the rule.
    """
    _in_range(width_mm=width_mm, punch_radius_mm=punch_radius_mm, die_radius_mm=die_radius_mm, wall_mm=wall_mm)
    steep = -2.68 * (width_mm - punch_radius_mm) / (width_mm + wall_mm + die_radius_mm)
    return 6.8 * width_mm * exponent * math.exp(steep)


def bead_thickness(
    width_mm: float, *, punch_radius_mm: float, die_radius_mm: float, wall_mm: float, sheet_mm: float
) -> float:
    """Return the thickness left in such a bead at its greatest height [mm]; sizes and ranges as `bead_height`."""
    _in_range(width_mm=width_mm, punch_radius_mm=punch_radius_mm, die_radius_mm=die_radius_mm, wall_mm=wall_mm)
    power = 0.235 * ((punch_radius_mm + wall_mm + die_radius_mm) / width_mm) ** 0.439
    return float(sheet_mm * 0.15**power)


def narrowest_detail(relief: Relief, *, share: float = 0.5) -> float | None:
    """Return the width of the narrowest raised or sunk detail [mm]; None where nothing stands out.

    A detail is what stands over half the greatest height (or depth). The width of each is the widest circle that fits
    into it, so a line that tapers off does not count as narrow.
    """
    from scipy.ndimage import distance_transform_edt, label, maximum

    low, high = relief.height_range_mm
    widths: list[float] = []
    for level, raised in ((share * high, relief.height), (-share * low, -relief.height)):
        if level <= 0.1 * share * (high - low):
            continue
        there = relief.inside & (raised > level)
        wide = distance_transform_edt(np.pad(there, 1))[1:-1, 1:-1]
        numbers, count = label(there)
        peaks = maximum(wide, numbers, np.arange(1, count + 1))
        widths += [float(2.0 * peak - 1.0) * relief.pitch_mm for peak in np.atleast_1d(peaks) if peak > 1.0]
    return min(widths, default=None)


def _in_range(**sizes: float) -> None:
    for name, value in sizes.items():
        low, high = _RANGES[name]
        if not low <= value <= high:
            words = name.removesuffix("_mm").replace("_", " ")
            raise OptionError(
                f"the height of a bead is known for a {words} of {low:g} to {high:g} mm, not for {value:g} mm.",
                remedy="Use the rule within its range only; make a trial strike.",
            )
