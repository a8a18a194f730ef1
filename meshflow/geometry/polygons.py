"""The one door to shapely: areas with holes, where a line crosses itself, what lies inside what, where there is room.

Terms: a *ring* is a closed polyline given by its points, the first not repeated; an *area* is shapely's polygon or
multipolygon, handed about without being looked into elsewhere. shapely (BSD-3-Clause, over GEOS) is imported when
first needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from meshflow.geometry.curves import tessellate
from meshflow.geometry.transforms import turn_matrix
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve

__all__ = [
    "Area",
    "boxes_inside",
    "crossing_places",
    "curves_inside",
    "depth_of",
    "gap_between",
    "inside",
    "joined_outline",
    "least_rectangle_angle",
    "material",
    "pole_of_inaccessibility",
    "rings_cross",
    "rings_overlap",
    "shrunk",
    "without_box",
    "without_curves",
]

Area: TypeAlias = Any


def material(outline: Polycurve | Circle, holes: Sequence[Polycurve | Circle] = (), *, tolerance: float = 0.01) -> Area:
    """Return the material of a part.

    Parameters
    ----------
    outline : Polycurve or Circle
        Outer contour.
    holes : sequence of Polycurve or Circle
        Inner contours, in either direction.
    tolerance : float
        Greatest distance between arcs and their chords [mm].

    Returns
    -------
    shapely.Polygon
        Arcs become chords; nothing is repaired, so a crossing outline gives an invalid polygon.
    """
    import shapely

    rings = [tessellate(contour, tolerance=tolerance) for contour in (outline, *holes)]
    return shapely.Polygon(rings[0], rings[1:])


def joined_outline(rings: Sequence[FloatArray]) -> tuple[FloatArray, int]:
    """Return the outer ring of several areas laid over each other.

    Parameters
    ----------
    rings : sequence of (k, 2) float array
        Simple rings that hang together [mm].

    Returns
    -------
    ring : (n, 2) float array
        The outer ring of the largest piece, the first point not repeated.
    gaps : int
        How many gaps it goes round.
    """
    import shapely

    joined = shapely.union_all([shapely.Polygon(ring) for ring in rings])
    whole = max(shapely.get_parts(joined), key=lambda piece: float(piece.area))
    return np.asarray(shapely.get_coordinates(whole.exterior)[:-1]), len(whole.interiors)


def shrunk(area: Area, by: float) -> Area:
    """Return the part of an area that lies at least `by` from its rim [mm]."""
    return area.buffer(-by)


def without_curves(area: Area, curves: Sequence[Curve], *, clearance: float) -> Area:
    """Return an area less a strip of `clearance` on both sides of each curve [mm]."""
    import shapely

    return shapely.difference(area, shapely.union_all(_lines(curves)).buffer(clearance))


def without_box(area: Area, centre: ArrayLike, *, width: float, height: float, angle: float) -> Area:
    """Return an area less a rectangle turned by `angle` about its centre [mm, rad]."""
    import shapely

    corners = np.asarray(centre, dtype=np.float64) + _box_corners(width, height, angle)
    return shapely.difference(area, shapely.Polygon(corners))


def _lines(curves: Sequence[Curve], *, tolerance: float = 0.01) -> list[Any]:
    """Return curves as shapely lines (closed ones come back to their start) and points."""
    import shapely

    lines = []
    for curve in curves:
        if isinstance(curve, Dot):
            lines.append(shapely.Point(curve.position))
            continue
        points = tessellate(curve, tolerance=tolerance)
        closed = isinstance(curve, Circle) or curve.closed
        lines.append(shapely.LineString(np.concatenate([points, points[:1]]) if closed else points))
    return lines


def curves_inside(area: Area, curves: Sequence[Curve]) -> bool:
    """Return whether all curves lie in the interior of an area, nowhere touching its rim."""
    import shapely

    return bool(np.all(shapely.contains_properly(area, _lines(curves))))


def gap_between(curves: Sequence[Curve], others: Sequence[Curve]) -> float:
    """Return the least distance between two groups of curves [mm]; infinite when one is empty."""
    import shapely

    if not curves or not others:
        return float("inf")
    return float(shapely.distance(shapely.union_all(_lines(curves)), shapely.union_all(_lines(others))))


def crossing_places(points: ArrayLike, *, closed: bool = True) -> FloatArray:
    """Return where a polyline crosses, touches or runs back over itself.

    Parameters
    ----------
    points : (n, 2) array_like
        Positions [mm]; the first is not repeated.
    closed : bool
        Whether the last point joins the first.

    Returns
    -------
    (k, 2) float array
        One place for each pair of segments that meet where they should not, in the order of the segments; empty for
        a simple polyline.
    """
    import shapely

    start = np.asarray(points, dtype=np.float64)
    end = np.roll(start, -1, axis=0)
    if not closed:
        start, end = start[:-1], end[:-1]
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    pairs = shapely.STRtree(lines).query(lines, predicate="intersects").T
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    common = shapely.intersection(lines[pairs[:, 0]], lines[pairs[:, 1]])
    gap = pairs[:, 1] - pairs[:, 0]
    neighbours = (gap == 1) | (closed & (gap == len(lines) - 1))
    wrong = ~neighbours | (shapely.get_dimensions(common) > 0)
    return np.asarray(shapely.get_coordinates(shapely.centroid(common[wrong]))).reshape(-1, 2)


def rings_cross(one: ArrayLike, other: ArrayLike) -> FloatArray:
    """Return a place where two rings meet, shape (1, 2), or an empty (0, 2) array when they keep apart."""
    import shapely

    common = shapely.intersection(shapely.LinearRing(np.asarray(one)), shapely.LinearRing(np.asarray(other)))
    return np.asarray(shapely.get_coordinates(common)[:1]).reshape(-1, 2)


def rings_overlap(one: ArrayLike, other: ArrayLike) -> bool:
    """Return whether the areas within two simple rings have anything in common."""
    import shapely

    return bool(shapely.intersects(shapely.Polygon(np.asarray(one)), shapely.Polygon(np.asarray(other))))


def inside(area: Area, points: ArrayLike) -> BoolArray:
    """Return which points lie strictly inside an area, shape (n,)."""
    import shapely

    shapely.prepare(area)
    return np.asarray(shapely.contains_xy(area, np.asarray(points, dtype=np.float64).reshape(-1, 2)))


def depth_of(area: Area, points: ArrayLike) -> FloatArray:
    """Return how far inside an area points lie from its rim, shape (n,) [mm]; negative outside."""
    import shapely

    places = shapely.points(np.asarray(points, dtype=np.float64).reshape(-1, 2))
    depth = shapely.distance(shapely.boundary(area), places)
    return np.asarray(np.where(shapely.intersects(area, places), depth, -depth))


def boxes_inside(area: Area, centres: FloatArray, *, width: float, height: float, angle: float) -> BoolArray:
    """Return at which centres a turned rectangle lies inside an area.

    Parameters
    ----------
    area : shapely geometry
        The room.
    centres : (n, 2) float array
        Centres of the rectangle to try [mm].
    width, height : float
        Its size [mm].
    angle : float
        Its turn, counter-clockwise [rad].

    Returns
    -------
    (n,) bool array
        Where it fits.
    """
    import shapely

    boxes = shapely.polygons(centres[:, None, :] + _box_corners(width, height, angle))
    shapely.prepare(area)
    return np.asarray(shapely.contains(area, boxes))


def _box_corners(width: float, height: float, angle: float) -> FloatArray:
    corners = 0.5 * np.array([[-width, -height], [width, -height], [width, height], [-width, height]])
    return np.asarray(corners @ turn_matrix(angle).T)


def pole_of_inaccessibility(area: Area, *, tolerance: float = 0.1) -> tuple[tuple[float, float], float]:
    """Return the centre and radius of the largest circle that fits into an area, to `tolerance` [mm]."""
    import shapely

    spoke = shapely.get_coordinates(shapely.maximum_inscribed_circle(area, tolerance=tolerance))
    radius = float(np.hypot(*(spoke[-1] - spoke[0])))
    return (float(spoke[0, 0]), float(spoke[0, 1])), radius


def least_rectangle_angle(points: ArrayLike) -> float:
    """Return the direction of the long side of the smallest rectangle round the points.

    A side of that rectangle lies along a side of the convex hull (Freeman and Shapira, "Determining the
    minimum-area encasing rectangle for an arbitrary closed curve", 1975), so every hull side is tried.

    Parameters
    ----------
    points : (n, 2) array_like
        Positions [mm], not all on one line.

    Returns
    -------
    float
        Direction in (-pi/2, pi/2] [rad]. Among rectangles equal to one part in a million the least turn wins, so a
        square or a disk stays as it is.
    """
    import shapely

    ring = shapely.get_coordinates(shapely.convex_hull(shapely.MultiPoint(np.asarray(points, dtype=np.float64))))
    side = np.diff(ring, axis=0)
    angles = np.unique(np.concatenate([[0.0], np.arctan2(side[:, 1], side[:, 0])]))
    x = np.cos(angles)[:, None] * ring[:, 0] + np.sin(angles)[:, None] * ring[:, 1]
    y = np.cos(angles)[:, None] * ring[:, 1] - np.sin(angles)[:, None] * ring[:, 0]
    wide, high = np.ptp(x, axis=1), np.ptp(y, axis=1)
    long_side = np.where(high > wide * (1.0 + 1e-9), angles + 0.5 * np.pi, angles)
    turn = np.remainder(long_side + 0.5 * np.pi, np.pi) - 0.5 * np.pi
    turn = np.where(turn <= -0.5 * np.pi + 1e-9, 0.5 * np.pi, turn)
    area = wide * high
    near = np.flatnonzero(area <= area.min() * (1.0 + 1e-6))
    return float(turn[near[np.lexsort((-turn[near], np.abs(turn[near]).round(9)))[0]]])
