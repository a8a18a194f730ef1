"""Measures and motions of curves: length, area, bounds, points along them, distance to them, chords for drawing.

Terms: *along* is arc length from the start of the curve [mm]; the pieces of a curve are in `pieces`.

Convention: a positive bulge sweeps counter-clockwise, so on a counter-clockwise outline it is convex. Areas and
lengths have closed forms; bounding boxes are exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import OptionError
from meshflow.geometry.pieces import Pieces, piece_lengths, pieces, project
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Circle, Curve, Dot, Motion, Polycurve

__all__ = [
    "bounds",
    "distance_to",
    "length",
    "point_at",
    "resample",
    "reversed_curve",
    "signed_area",
    "tangent_at",
    "tessellate",
    "transformed",
]


def length(curve: Curve) -> float:
    """Return the length of a curve [mm].

    Examples
    --------
    >>> round(length(Circle((0.0, 0.0), 10.0)), 6)
    62.831853
    """
    if isinstance(curve, Dot):
        return 0.0
    return float(piece_lengths(curve).sum())


def signed_area(curve: Polycurve | Circle) -> float:
    """Return the enclosed area, positive for a counter-clockwise curve [mm2].

    An open curve is closed by a straight line. A circle counts as counter-clockwise.

    Examples
    --------
    >>> half_disk = Polycurve([[0.0, 0.0], [2.0, 0.0]], [1.0, 0.0])
    >>> round(signed_area(half_disk) / np.pi, 9)
    0.5
    """
    if isinstance(curve, Circle):
        return float(np.pi * curve.radius**2)
    if len(curve.points) < 2:
        return 0.0
    local = curve.points - curve.points[0]  # near the origin, so that a far-off part loses no digits
    after = np.roll(local, -1, axis=0)
    shoelace = 0.5 * float(np.sum(local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]))
    table = pieces(curve)
    return shoelace + float(np.sum(table.chord**2 * _segment_factor(table.bulge)))


def _segment_factor(bulge: FloatArray) -> FloatArray:
    """Area between chord and arc over the chord squared; by its series b/3 + b^3/15 where the bulge is small."""
    small = np.abs(bulge) < 1e-3
    b = np.where(small, 1.0, bulge)
    sweep = 4.0 * np.arctan(b)
    exact = (1.0 + b**2) ** 2 / (32.0 * b**2) * (sweep - np.sin(sweep))
    return np.asarray(np.where(small, bulge / 3.0 + bulge**3 / 15.0, exact))


def bounds(*curves: Curve) -> tuple[float, float, float, float]:
    """Return the exact bounding box of all `curves`, arcs included.

    Returns
    -------
    (float, float, float, float)
        Least x, least y, greatest x, greatest y [mm].

    Raises
    ------
    OptionError
        If there is nothing to measure.
    """
    boxes = [_bounds_of(curve) for curve in curves]
    if not boxes:
        raise OptionError("there is no curve to measure.", remedy="Give at least one.")
    table = np.array(boxes)
    low, high = table[:, :2].min(axis=0), table[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _bounds_of(curve: Curve) -> tuple[float, float, float, float]:
    if isinstance(curve, Dot):
        return (*curve.position, *curve.position)
    if isinstance(curve, Circle):
        (x, y), r = curve.centre, curve.radius
        return (x - r, y - r, x + r, y + r)
    points = np.concatenate([curve.points, _extreme_points(pieces(curve))])
    return (*points.min(axis=0).tolist(), *points.max(axis=0).tolist())


def _extreme_points(table: Pieces) -> FloatArray:
    """Points of the arcs whose tangent lies along an axis."""
    sweep = table.sweep
    first = table.heading - 0.5 * sweep
    found = []
    for step in range(4):
        turn = np.remainder(step * 0.5 * np.pi - first, 2.0 * np.pi)  # counter-clockwise from the first tangent
        turn = np.where(sweep < 0, turn - 2.0 * np.pi, turn)
        share = turn / np.where(sweep == 0.0, 1.0, sweep)
        hit = np.flatnonzero((sweep != 0.0) & (share > 0.0) & (share < 1.0))
        found.append(table.points(hit, share[hit]))
    return np.concatenate(found)


def tessellate(curve: Polycurve | Circle, *, tolerance: float, outside: bool = False) -> FloatArray:
    """Return points of a polyline within `tolerance` of the curve.

    Parameters
    ----------
    curve : Polycurve or Circle
        The curve; a circle is walked counter-clockwise from its rightmost point.
    tolerance : float
        Greatest distance between curve and polyline [mm].
    outside : bool
        Never lose material. With the material on the left (outlines counter-clockwise, holes clockwise), arcs that
        bulge to the right are enclosed by tangents and the others cut by chords, so the polygon contains the part.
        A `Circle` is then taken as an outline; leave this off for a circular hole.

    Returns
    -------
    (k, 2) float array
        Points [mm]; for a closed curve the first is not repeated.

    Raises
    ------
    OptionError
        If the tolerance is not positive.
    """
    if not tolerance > 0.0:
        raise OptionError(f"tolerance {tolerance} mm is not positive.", remedy="Give some hundredths of a millimetre.")
    table = pieces(curve)
    steps, tangent = _steps(table, tolerance, outside)
    count = np.where(tangent, steps + 1, steps)
    piece = np.repeat(np.arange(len(count)), count)
    place = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
    share = place / steps[piece]
    lifted = tangent[piece] & (place > 0)
    share = np.where(lifted, (place - 0.5) / steps[piece], share)
    points = table.points(piece, share)
    points = np.where(lifted[:, None], _lifted(table, piece, points, steps), points)
    if isinstance(curve, Polycurve) and not curve.closed:
        points = np.concatenate([points, curve.points[-1:]])
    return points


def _steps(table: Pieces, tolerance: float, outside: bool) -> tuple[IntArray, BoolArray]:
    bulge = np.abs(table.bulge)
    bent = bulge > 0.0
    radius = np.where(bent, table.chord * (1.0 + bulge**2) / (4.0 * np.where(bent, bulge, 1.0)), 0.0)
    tangent = bent & (table.bulge > 0.0) & outside
    # Chords lie r (1 - cos) inside, tangents r (1 / cos - 1) outside; half angles by the stable half-angle forms.
    chords = 2.0 * np.arcsin(np.sqrt(np.minimum(tolerance / np.maximum(2.0 * radius, 1e-300), 0.5)))
    lines = 2.0 * np.arctan(np.sqrt(tolerance / (2.0 * radius + tolerance)))
    half = np.minimum(np.where(tangent, lines, chords), np.pi / 4.0)
    steps = np.ceil(np.abs(table.sweep) / (2.0 * half) - 1e-9)
    return np.maximum(steps, 1.0).astype(np.int64), tangent


def _lifted(table: Pieces, piece: IntArray, points: FloatArray, steps: IntArray) -> FloatArray:
    """Move points of arcs outwards to where the tangents at both ends of their step meet."""
    bulge = table.bulge[piece]
    bent = bulge != 0.0
    safe = np.where(bent, bulge, 1.0)
    across = table.end[piece] - table.start[piece]
    left = np.stack([-across[:, 1], across[:, 0]], 1)
    centre = 0.5 * (table.start[piece] + table.end[piece]) + left * ((1.0 - safe**2) / (4.0 * safe))[:, None]
    reach = 1.0 / np.cos(0.5 * table.sweep[piece] / steps[piece])
    # The difference reach - 1 is applied to the radius vector, so a huge radius does not swamp the point itself.
    return np.asarray(points + (points - centre) * (reach - 1.0)[:, None])


@overload
def transformed(curve: Polycurve, motion: Motion) -> Polycurve: ...


@overload
def transformed(curve: Circle, motion: Motion) -> Circle: ...


@overload
def transformed(curve: Dot, motion: Motion) -> Dot: ...


@overload
def transformed(curve: Polycurve | Circle, motion: Motion) -> Polycurve | Circle: ...


@overload
def transformed(curve: Curve, motion: Motion) -> Curve: ...


def transformed(curve: Curve, motion: Motion) -> Curve:
    """Return the curve mirrored, turned and moved, its points in the same order.

    Mirroring negates the bulges; an outline that ran counter-clockwise then runs clockwise (see `reversed_curve`).
    """
    if isinstance(curve, Dot):
        x, y = move_points([curve.position], motion)[0].tolist()
        return Dot((x, y))
    if isinstance(curve, Circle):
        x, y = move_points([curve.centre], motion)[0].tolist()
        return Circle((x, y), curve.radius)
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    return Polycurve(move_points(curve.points, motion), 0.0 - bulges if motion.mirrored else bulges, curve.closed)


def reversed_curve(curve: Polycurve) -> Polycurve:
    """Return the same curve walked the other way; a closed one keeps its first point."""
    bulges = 0.0 - np.asarray(curve.bulges, dtype=np.float64)[::-1]
    points = curve.points[::-1]
    if curve.closed:
        return Polycurve(np.roll(points, 1, axis=0), bulges)
    return Polycurve(points, np.roll(bulges, -1), closed=False)


def point_at(curve: Polycurve | Circle, along: ArrayLike) -> FloatArray:
    """Return points by arc length from the start, shape (k, 2) [mm].

    Parameters
    ----------
    curve : Polycurve or Circle
        The curve.
    along : (k,) array_like
        Distances [mm]; taken round again on a closed curve, held at the ends of an open one.
    """
    table, piece, share = _locate(curve, along)
    return table.points(piece, share)


def tangent_at(curve: Polycurve | Circle, along: ArrayLike) -> FloatArray:
    """Return unit directions of travel by arc length from the start, shape (k, 2)."""
    table, piece, share = _locate(curve, along)
    angle = table.heading[piece] + table.sweep[piece] * (share - 0.5)
    return np.asarray(np.stack([np.cos(angle), np.sin(angle)], axis=1))


def _locate(curve: Polycurve | Circle, along: ArrayLike) -> tuple[Pieces, IntArray, FloatArray]:
    lengths = piece_lengths(curve)
    ends = np.cumsum(lengths)
    total = float(ends[-1])
    place = np.atleast_1d(np.asarray(along, dtype=np.float64))
    is_open = isinstance(curve, Polycurve) and not curve.closed
    place = np.clip(place, 0.0, total) if is_open else np.remainder(place, total)
    piece = np.minimum(np.searchsorted(ends, place, side="right"), len(lengths) - 1)
    share = (place - (ends[piece] - lengths[piece])) / np.where(lengths[piece] > 0, lengths[piece], 1.0)
    return pieces(curve), piece, np.clip(share, 0.0, 1.0)


def resample(curve: Polycurve | Circle, count: int) -> FloatArray:
    """Return `count` points evenly spaced by arc length; an open curve keeps both ends.

    Raises
    ------
    OptionError
        If fewer than two points are asked for.
    """
    if count < 2:
        raise OptionError(f"{count} points do not make a curve.", remedy="Ask for two or more.")
    is_open = isinstance(curve, Polycurve) and not curve.closed
    return point_at(curve, np.linspace(0.0, length(curve), count, endpoint=is_open))


def distance_to(curve: Curve | Iterable[Curve], points: ArrayLike) -> FloatArray:
    """Return the distance of each point from a curve, or from the nearest of several, shape (k,) [mm]."""
    query = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    many = [curve] if isinstance(curve, Polycurve | Circle | Dot) else list(curve)
    least = np.full(len(query), np.inf)
    for one in many:
        least = np.minimum(least, _apart(one, query))
    return least


def _apart(curve: Curve, query: FloatArray) -> FloatArray:
    if isinstance(curve, Dot):
        return np.asarray(np.hypot(*(query - np.asarray(curve.position)).T))
    return project(curve, query)[1]
