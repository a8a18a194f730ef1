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

from meshflow.errors import InputError
from meshflow.geometry.curves import tessellate
from meshflow.geometry.transforms import turn_matrix
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve

__all__ = [
    "Area",
    "boxes_inside",
    "buffered_ring",
    "common_area",
    "containments",
    "crossing_places",
    "curves_inside",
    "cut_back",
    "depth_of",
    "farthest_outside",
    "gap_between",
    "grown_line",
    "inside",
    "joined_outline",
    "joined_rings",
    "least_rectangle_angle",
    "line_inside",
    "material",
    "near_pairs",
    "parallels",
    "parts_of",
    "pieces_inside",
    "pole_of_inaccessibility",
    "ring_covers",
    "rings_cross",
    "rings_overlap",
    "same_line",
    "shrunk",
    "triangulated",
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


def joined_rings(
    outer: FloatArray, inner: Sequence[FloatArray], added: Sequence[FloatArray]
) -> tuple[FloatArray, list[FloatArray]]:
    """Return the rings of an area with openings, and more areas laid over it.

    Parameters
    ----------
    outer : (n, 2) float array
        Outer ring [mm].
    inner : sequence of (k, 2) float array
        Rings of its openings.
    added : sequence of (m, 2) float array
        Simple rings of what is added.

    Returns
    -------
    outer : (n, 2) float array
        Outer ring of the largest piece, the first point not repeated.
    inner : list of (k, 2) float array
        Its openings, the largest first.
    """
    import shapely

    whole = shapely.union_all([shapely.Polygon(outer, list(inner)), *(shapely.Polygon(ring) for ring in added)])
    whole = max(shapely.get_parts(whole), key=lambda piece: float(piece.area))
    rings = [np.asarray(shapely.get_coordinates(ring)[:-1]) for ring in (whole.exterior, *whole.interiors)]
    areas = [float(shapely.Polygon(ring).area) for ring in rings]
    order = sorted(range(1, len(rings)), key=lambda k: (-areas[k], *rings[k].min(axis=0).tolist()))
    # Slits that rounding opens between areas laid side by side are no openings.
    return rings[0], [rings[k] for k in order if areas[k] > 1e-6]


def cut_back(ring: FloatArray, cutter: FloatArray) -> list[FloatArray]:
    """Return what is left of an area within a ring when another is cut away: rings, the largest first."""
    import shapely

    left = shapely.difference(shapely.Polygon(ring).buffer(0.0), shapely.Polygon(cutter))
    parts = [part for part in shapely.get_parts(left) if part.geom_type == "Polygon" and part.area > 1e-9]
    parts.sort(key=lambda part: -float(part.area))
    return [np.asarray(shapely.get_coordinates(part.exterior)[:-1]) for part in parts]


def triangulated(rings: Sequence[FloatArray]) -> IntArray:
    """Return triangles that fill an area with openings, with the points of its rings as their only corners.

    Parameters
    ----------
    rings : sequence of (k, 2) float array
        The outer ring, then those of the openings, in either direction; no two points of them are the same [mm].

    Returns
    -------
    (m, 3) int array
        Numbers of the points, counted through all rings; counter-clockwise. Delaunay between the rings.

    Raises
    ------
    InputError
        If the rings cross or touch.

    Examples
    --------
    >>> len(triangulated([np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 1.0]])]))
    2
    """
    import shapely

    area = shapely.Polygon(rings[0], list(rings[1:]))
    if not area.is_valid:
        raise InputError("the rings of a plate cross or touch.", remedy="Report it, with what was asked for.")
    points = np.concatenate([np.asarray(ring, dtype=np.float64) for ring in rings])
    parts = shapely.get_parts(shapely.constrained_delaunay_triangles(area))
    corners = np.asarray(shapely.get_coordinates(parts)).reshape(-1, 4, 2)[:, :3]
    numbers = {point: number for number, point in enumerate(map(tuple, points.tolist()))}
    faces = np.array([[numbers[tuple(corner)] for corner in face] for face in corners.tolist()], dtype=np.int64)
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    clockwise = one[:, 0] * two[:, 1] < one[:, 1] * two[:, 0]
    faces[clockwise] = faces[clockwise][:, ::-1]
    return faces


def buffered_ring(ring: FloatArray, distance: float, *, most_mitre: float) -> FloatArray | None:
    """Return the outer ring of the area within a ring, grown by a distance or shrunk by a negative one.

    Parameters
    ----------
    ring : (k, 2) float array
        A simple ring [mm].
    distance : float
        How far it grows [mm].
    most_mitre : float
        How far a corner may run out, over the distance; 0 to round it.

    Returns
    -------
    (n, 2) float array or None
        Of the largest piece, the first point not repeated; None when nothing is left.
    """
    import shapely

    style = "mitre" if most_mitre > 0.0 else "round"
    grown = shapely.buffer(
        shapely.Polygon(ring), distance, join_style=style, mitre_limit=max(most_mitre, 1.0), quad_segs=32
    )
    parts = [part for part in shapely.get_parts(grown) if not part.is_empty]
    if not parts:
        return None
    return np.asarray(shapely.get_coordinates(max(parts, key=lambda part: float(part.area)).exterior)[:-1])


def grown_line(points: ArrayLike, distance: float) -> FloatArray:
    """Return the ring of all places within a distance of a line [mm], (n, 2), the first point not repeated."""
    import shapely

    grown = shapely.LineString(np.asarray(points, dtype=np.float64)).buffer(distance, quad_segs=4)
    return np.asarray(shapely.get_coordinates(grown.exterior)[:-1])


def shrunk(area: Area, by: float) -> Area:
    """Return the part of an area that lies at least `by` from its rim [mm]."""
    return area.buffer(-by)


def parallels(points: ArrayLike, by: float, *, closed: bool) -> list[FloatArray]:
    """Return the lines that run `by` to the left of a polyline, corners kept sharp.

    Parameters
    ----------
    points : (k, 2) array_like
        The polyline [mm]; a closed one must not cross itself.
    by : float
        Distance, over 0 [mm].
    closed : bool
        Whether the last point joins the first.

    Returns
    -------
    list of (n, 2) float array
        In the direction of the polyline; closed ones begin near its start and do not repeat their first point. Empty
        where there is no room, several where it is parted.
    """
    import shapely

    line = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not closed:
        moved = shapely.offset_curve(shapely.LineString(line), by, join_style="mitre", mitre_limit=3.0)
        parts = [shapely.get_coordinates(part) for part in shapely.get_parts(moved) if not part.is_empty]
        return [part for part in parts if len(part) > 1]
    turns_left = bool(shapely.LinearRing(line).is_ccw)
    area = shapely.Polygon(line).buffer(-by if turns_left else by, join_style="mitre", mitre_limit=3.0)
    rings = [shapely.get_coordinates(part.exterior)[:-1] for part in shapely.get_parts(area) if not part.is_empty]
    return [_ring_from(ring, line[0], turns_left) for ring in rings]


def _ring_from(ring: FloatArray, start: FloatArray, turns_left: bool) -> FloatArray:
    """Return a ring that begins near a point and runs the way that is asked for."""
    after = np.roll(ring, -1, axis=0)
    if (float(np.sum(ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1])) > 0.0) != turns_left:
        ring = ring[::-1]
    return np.roll(ring, -int(np.argmin(np.hypot(*(ring - start).T).round(9))), axis=0)


def parts_of(area: Area) -> list[Area]:
    """Return the pieces of an area that hangs together in several, in an order that depends on the area alone."""
    import shapely

    pieces = [piece for piece in shapely.get_parts(area) if piece.geom_type == "Polygon" and piece.area > 0.0]
    return sorted(pieces, key=lambda piece: tuple(piece.bounds))


def line_inside(area: Area, start: ArrayLike, end: ArrayLike) -> list[FloatArray]:
    """Return the stretches of a straight line that lie in an area, each as its two ends, in order, shape (2, 2)."""
    import shapely

    line = shapely.LineString([start, end])
    parts = [part for part in shapely.get_parts(shapely.intersection(area, line)) if part.length > 0.0]
    ends = [shapely.get_coordinates(part)[[0, -1]] for part in parts]
    return sorted(ends, key=lambda pair: float(np.hypot(*(pair[0] - np.asarray(start)))))


def pieces_inside(area: Area, points: ArrayLike) -> list[FloatArray]:
    """Return the stretches of a polyline that lie in an area, in the order of the polyline, each (k, 2).

    A polyline that comes back to its start comes back whole, its first point repeated, where all of it lies inside.
    """
    import shapely

    line = shapely.LineString(np.asarray(points, dtype=np.float64))
    if shapely.covers(area, line):
        return [np.asarray(points, dtype=np.float64)]
    cut = shapely.intersection(area, line)
    joined = shapely.line_merge(cut) if cut.geom_type == "MultiLineString" else cut
    parts = [part for part in shapely.get_parts(joined) if part.geom_type == "LineString" and part.length > 0.0]
    middles = [shapely.line_interpolate_point(part, 0.5 * part.length) for part in parts]
    order = np.argsort([shapely.line_locate_point(line, middle) for middle in middles], kind="stable")
    return [np.asarray(shapely.get_coordinates(parts[place])) for place in order.tolist()]


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


def farthest_outside(inner: FloatArray, outer: FloatArray) -> float:
    """Return how far a ring runs out of another at most [mm]; 0 when it lies within it.

    What lies outside is as deep as its corners lie from the one ring or from the other.
    """
    import shapely

    out = shapely.difference(shapely.Polygon(inner), shapely.Polygon(outer))
    places = shapely.get_coordinates(out)
    if len(places) == 0:
        return 0.0
    corners = shapely.points(places)
    away = [shapely.distance(line, corners).max() for line in (shapely.Polygon(outer), shapely.LinearRing(inner))]
    return float(max(away))


def ring_covers(outer: FloatArray, inner: FloatArray, slack: float) -> bool:
    """Return whether a simple ring lies within another, or leaves it by no more than `slack` [mm]."""
    import shapely

    whole = shapely.Polygon(outer)
    return bool(whole.is_valid) and farthest_outside(inner, outer) <= slack


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


def near_pairs(lines: Sequence[FloatArray], within: float) -> list[tuple[int, int, float, tuple[float, float]]]:
    """Return which polylines come near each other.

    Parameters
    ----------
    lines : sequence of (k, 2) float array
        Polylines of two points or more; a closed one comes back to its first point [mm].
    within : float
        Greatest distance that counts [mm].

    Returns
    -------
    list of (int, int, float, (float, float))
        Numbers of the two, the lower first, their distance and a place where they are nearest [mm]; sorted.
    """
    import shapely

    strings = np.array([shapely.LineString(line) for line in lines], dtype=object)
    if len(strings) < 2:
        return []
    one, two = shapely.STRtree(strings).query(strings, predicate="dwithin", distance=within)
    found = []
    for i, j in sorted((i, j) for i, j in zip(one.tolist(), two.tolist(), strict=True) if i < j):
        between = shapely.get_coordinates(shapely.shortest_line(strings[i], strings[j]))
        x, y = between.mean(axis=0).tolist()
        found.append((i, j, float(np.hypot(*(between[1] - between[0]))), (x, y)))
    return found


def common_area(one: ArrayLike, other: ArrayLike) -> float:
    """Return the area that lies within both of two simple rings [mm2]."""
    import shapely

    areas = (shapely.Polygon(np.asarray(ring)) for ring in (one, other))
    return float(shapely.area(shapely.intersection(*areas)))


def same_line(one: FloatArray, other: FloatArray, within: float) -> bool:
    """Return whether two polylines lie on each other all along, whichever way they run [mm]."""
    import shapely

    lines = [shapely.LineString(points) for points in (one, other)]
    return all(
        bool((shapely.distance(line, shapely.points(points)) <= within).all())
        for line, points in zip(lines, (other, one), strict=True)
    )


def containments(rings: Sequence[FloatArray]) -> list[tuple[int, int]]:
    """Return the pairs (inner, outer) of rings of which the first point of the one lies inside the other, sorted."""
    import shapely

    areas = np.array([shapely.Polygon(ring) for ring in rings], dtype=object)
    firsts = shapely.points(np.array([ring[0] for ring in rings]).reshape(-1, 2))
    inner, outer = shapely.STRtree(areas).query(firsts, predicate="within")
    return sorted((i, o) for i, o in zip(inner.tolist(), outer.tolist(), strict=True) if i != o)
