"""How much of a sheet's length is used at least: a number no layout on one sheet can go below.

Three bounds, the largest counts. Spacing and margin are taken 0.01 mm less, as in `bounds`, so they hold for every
layout that the independent check passes. Parts are grown by half the spacing; the grown ones lie apart in a band of
height H, the width of the sheet less both margins plus the spacing.

Area. The grown areas over H. *Widest part.* No part is shorter along the sheet than its shortest allowed pose.

Cross-sections. A vertical line meets the grown parts in chords that do not overlap, so they add up to H at most. A
dual feasible function u makes of any numbers that add up to 1 or less numbers that add up to 1 or less; so the sum
of u(chord / H) is 1 at most, and its integral over the length is a bound. For each part the least integral over its
poses counts. Parts whose turns have play count nothing here: their chords change with every turn. Of the chords of a
part that meets the line several times the sum is taken, which is one number more of the same set.

Sources: dual feasible functions u(eps) and u(k) after Fekete and Schepers, "New classes of fast lower bounds for bin
packing problems", Mathematical Programming 91, 2001 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.errors import NestError
from meshflow.geometry.curves import reversed_curve, signed_area, tessellate
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.nest.bounds import TOLERANCE_MM
from meshflow.nest.prepare import DEFAULT_TURNS_DEG

__all__ = ["LengthBounds", "grown_body", "inner_body", "length_bounds"]

_CHORD_MM = 0.01
_ROUNDING_MM = 1e-3  # the length of a layout is rounded, and floats are
_SHY = 1e-9
_ROUND = 16
_EPSILONS = tuple(k / 50.0 for k in range(1, 26))
_STEPS = (1, 2, 3, 4, 5)

Integral = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class LengthBounds:
    """What the used length of one sheet cannot go below, and a hint beside it.

    Parameters
    ----------
    area_mm, widest_mm, sections_mm : float
        The three bounds [mm]; each holds for every layout.
    hull_area_mm2 : float
        Area of the convex hulls of all copies. A hint, not a bound: see `hull_utilisation`.
    width_mm : float
        Width of the sheet [mm].
    """

    area_mm: float
    widest_mm: float
    sections_mm: float
    hull_area_mm2: float
    width_mm: float

    @property
    def length_mm(self) -> float:
        """The best of the bounds [mm]."""
        return max(self.area_mm, self.widest_mm, self.sections_mm)

    def hull_utilisation(self, used_length_mm: float, used_width_mm: float | None = None) -> float:
        """Return hulls over used area. A hint, NOT a bound: parts with bays interlock and may take it over 1."""
        return self.hull_area_mm2 / (used_length_mm * (used_width_mm or self.width_mm))


def length_bounds(
    counts: Sequence[tuple[Part, int]], *, width_mm: float, margin_mm: float, spacing_mm: float
) -> LengthBounds:
    """Return lower bounds of the used length of one sheet that takes all these copies.

    Parameters
    ----------
    counts : sequence of (Part, int)
        Parts and how many copies of each.
    width_mm : float
        Width of the sheet [mm]; of a hide, of the box round it.
    margin_mm, spacing_mm : float
        Clear edge and clear distance [mm].

    Returns
    -------
    LengthBounds
        All 0 when there is nothing to place.

    Raises
    ------
    NestError
        If the margins leave nothing of the width.

    Examples
    --------
    >>> strip = Part("strip", Polycurve([[0, 0], [100, 0], [100, 60], [0, 60]]), turns_deg=(0.0,))
    >>> found = length_bounds([(strip, 3)], width_mm=100, margin_mm=0, spacing_mm=0)
    >>> round(found.area_mm), round(found.sections_mm)
    (180, 300)
    """
    margin, spacing = margin_mm - TOLERANCE_MM, max(spacing_mm - TOLERANCE_MM, 0.0)
    band = width_mm - 2.0 * margin + spacing
    if not width_mm - 2.0 * margin > 0.0:
        remedy = "Take a wider sheet or a smaller margin."
        raise NestError(f"margins of {margin_mm:g} mm leave nothing of {width_mm:g} mm.", remedy=remedy)
    bodies = [(part, inner_body(part), count) for part, count in counts if count > 0]
    if not bodies:
        return LengthBounds(0.0, 0.0, 0.0, 0.0, width_mm)
    edges = 2.0 * margin - spacing - _ROUNDING_MM
    grown = [(part, grown_body(body, 0.5 * spacing), count) for part, body, count in bodies]
    area = math.fsum(count * float(body.area) for _, body, count in grown) / band
    widest = max(_least_extent(part, body) for part, body, _ in bodies)
    hulls = math.fsum(count * float(body.convex_hull.area) for _, body, count in bodies)
    sections = _by_sections(grown, band)
    return LengthBounds(
        area_mm=max(area + edges, 0.0),
        widest_mm=max(widest + 2.0 * margin - _ROUNDING_MM, 0.0),
        sections_mm=max(sections + edges, 0.0),
        hull_area_mm2=hulls,
        width_mm=width_mm,
    )


def _by_sections(grown: Sequence[tuple[Part, Any, int]], band: float) -> float:
    """Return the best bound of cross-sections [mm], without edges."""
    integrals = [_cut_off(epsilon) for epsilon in _EPSILONS] + [_in_steps(k) for k in _STEPS]
    totals = np.zeros(len(integrals))
    for part, body, count in grown:
        if part.turn_play_deg:
            continue
        of_poses = [_integrated(_sections(body, motion), band, integrals) for motion in _motions(part)]
        totals += count * np.min(of_poses, axis=0)
    return float(totals.max())


def _motions(part: Part) -> list[Motion]:
    mirrors = (False, True) if part.may_mirror else (False,)
    turns = part.turns_deg or DEFAULT_TURNS_DEG
    return [Motion(mirrored, math.radians(turn)) for mirrored in mirrors for turn in turns]


def _sections(body: Any, motion: Motion) -> FloatArray:
    """Return slabs between corners: width, and chord at its left and right end [mm], (n, 3)."""
    import shapely

    turned = shapely.transform(body, lambda points: move_points(points, motion))
    x = np.unique(shapely.get_coordinates(turned)[:, 0])
    low, high = turned.bounds[1] - 1.0, turned.bounds[3] + 1.0
    left, right = x[:-1][np.diff(x) > 1e-7], x[1:][np.diff(x) > 1e-7]
    width = right - left
    at = np.concatenate([left + 0.25 * width, left + 0.75 * width])
    lines = shapely.linestrings(np.stack([np.stack([at, at * 0 + low], 1), np.stack([at, at * 0 + high], 1)], axis=1))
    one, two = shapely.length(shapely.intersection(turned, lines)).reshape(2, -1)
    return np.stack([width, 1.5 * one - 0.5 * two, 1.5 * two - 0.5 * one], axis=1)


def _integrated(sections: FloatArray, band: float, integrals: Sequence[Integral]) -> FloatArray:
    """Return the integral of each function of the chords along the part, from below [mm]."""
    width = sections[:, 0]
    # A little less than the chords: u never falls, so where it jumps the lower side counts.
    start, end = (np.clip(sections[:, k] / band - _SHY, 0.0, 1.0 - _SHY) for k in (1, 2))
    level = np.abs(end - start) < 1e-6
    step = np.where(level, 1.0, end - start)
    before = np.maximum(np.minimum(start, end) - _SHY, 0.0)
    found = []
    for integral in integrals:
        sloped = (integral(end) - integral(start)) / step
        # Where the chord does not change: the mean of u over a very short way below it, less what rounding may add.
        flat = np.clip((integral(before + _SHY) - integral(before)) / _SHY - 1e-6, 0.0, 1.0)
        found.append(float(np.sum(width * np.where(level, flat, sloped))))
    return np.array(found) * (1.0 - 1e-9)


def _cut_off(epsilon: float) -> Integral:
    """Return the antiderivative of u(eps): 0 below eps, 1 above 1 - eps, the number itself between."""

    def integral(t: FloatArray) -> FloatArray:
        middle = np.clip(t, epsilon, 1.0 - epsilon)
        return np.asarray(0.5 * (middle**2 - epsilon**2) + np.maximum(t - (1.0 - epsilon), 0.0))

    return integral


def _in_steps(k: int) -> Integral:
    """Return the antiderivative of floor((k + 1) t) / k, which is u(k) almost everywhere."""

    def integral(t: FloatArray) -> FloatArray:
        n = np.floor((k + 1) * t)
        return np.asarray(n * (n - 1.0) / (2.0 * k * (k + 1)) + n / k * (t - n / (k + 1)))

    return integral


def _least_extent(part: Part, body: Any) -> float:
    """Return the least length along x over all allowed poses [mm]."""
    import shapely

    points = np.asarray(shapely.get_coordinates(body.convex_hull))
    sides = np.diff(points, axis=0)
    upright = np.degrees(0.5 * math.pi - np.arctan2(sides[:, 1], sides[:, 0]))
    least = math.inf
    for motion in _motions(part):
        # Between turns that put a side upright the length is a piece of a cosine: least at an end.
        turn, play = math.degrees(motion.angle_rad), part.turn_play_deg
        critical = -upright if motion.mirrored else upright
        off = (critical - turn + 90.0) % 180.0 - 90.0
        tried = [0.0, -play, play, *(off[np.abs(off) <= play].tolist() if play < 90.0 else off.tolist())]
        least = min(least, *(_extent(points, motion.mirrored, turn + one) for one in tried))
    return least


def _extent(points: FloatArray, mirrored: bool, turn_deg: float) -> float:
    return float(np.ptp(move_points(points, Motion(mirrored, math.radians(turn_deg)))[:, 0]))


def inner_body(part: Part) -> Any:
    """Return a shapely polygon that never reaches outside the part."""
    import shapely

    holes = [shapely.Polygon(_inner(hole, hole=True)) for hole in part.holes]
    return shapely.Polygon(_inner(part.outline, hole=False)).difference(shapely.union_all(holes))


def grown_body(body: Any, by: float) -> Any:
    """Return the body grown, its corners rounded by chords inside the arc."""
    return body.buffer(by, quad_segs=_ROUND) if by > 0.0 else body


def _inner(curve: Polycurve | Circle, *, hole: bool) -> FloatArray:
    if isinstance(curve, Circle):
        return tessellate(curve, tolerance=_CHORD_MM, outside=hole)
    enclosing = curve if (signed_area(curve) > 0.0) == hole else reversed_curve(curve)
    return tessellate(enclosing, tolerance=_CHORD_MM, outside=True)
