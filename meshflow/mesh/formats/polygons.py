"""Polygons into triangles: quads along a diagonal that lies inside, concave outlines by clipping ears.

Terms: an *ear* is a convex corner whose triangle holds no other corner; a *reflex* corner bends inwards. Convention:
triangles keep the winding of their polygon, and stand in the order of the polygons. A polygon is looked at in its
best-fit plane, whose normal is Newell's sum of corner products.

Sources: G. H. Meisters, "Polygons have ears", American Mathematical Monthly 82, 1975; the normal in F. Tampieri,
"Newell's method for computing the plane equation of a polygon", Graphics Gems III, 1992.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import ranges
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["MOST_CORNERS", "Triangulation", "clip_ears", "flatness", "triangulate"]

MOST_CORNERS = 5000  # of one concave polygon: clipping ears takes the square of it, here about two seconds

Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Triangulation:
    """Triangles and where they come from.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    slots : (m, 3) int array, optional
        For each corner its place in the list of all corners; None: all were triangles, in their order.
    origin : (m,) int array
        Polygon of each triangle; rising.
    skipped : (s,) int array
        Polygons with fewer than three corners.
    crossed : (c,) int array
        Polygons that cross themselves or are folded: cut up as they came, so their triangles may overlap.
    """

    faces: IntArray
    slots: IntArray | None
    origin: IntArray
    skipped: IntArray
    crossed: IntArray


def triangulate(vertices: FloatArray, corners: IntArray, counts: IntArray) -> Triangulation:
    """Cut polygons into triangles.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions; a polygon that touches one that is not finite is fanned and left for the caller to drop.
    corners : (k,) int array
        Vertex indices of all polygons, one polygon after the other.
    counts : (p,) int array
        Corners of each polygon.

    Returns
    -------
    Triangulation
        ``counts - 2`` triangles for each polygon of three corners or more.

    Raises
    ------
    MeshFileError
        If a concave polygon has more than `MOST_CORNERS` corners.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    >>> triangulate(square, np.arange(4), np.array([4])).faces.tolist()
    [[0, 1, 2], [0, 2, 3]]
    """
    skipped = np.flatnonzero(counts < 3)
    if len(counts) == 0 or (counts == 3).all():
        return Triangulation(corners.reshape(-1, 3), None, np.arange(len(counts)), skipped, skipped)
    starts = np.cumsum(counts) - counts
    slots, crossed = [np.zeros((0, 3), dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    origin = [np.zeros(0, dtype=np.int64)]
    for size in np.unique(counts[counts >= 3]).tolist():
        which = np.flatnonzero(counts == size)
        places = ranges(starts[which], counts[which]).reshape(-1, size)
        local, folded = _cut(vertices, corners[places])
        slots.append(np.take_along_axis(places, local, axis=1).reshape(-1, 3))
        crossed.append(which[folded])
        origin.append(np.repeat(which, size - 2))
    polygon = np.concatenate(origin)
    order = np.argsort(polygon, kind="stable")
    placed = np.concatenate(slots)[order]
    return Triangulation(corners[placed], placed, polygon[order], skipped, np.sort(np.concatenate(crossed)))


def _cut(vertices: FloatArray, polygons: IntArray) -> tuple[IntArray, BoolArray]:
    """Return corner numbers of the triangles of polygons of one size, (g, 3 * (size - 2)), and which are folded."""
    size = polygons.shape[1]
    step = np.arange(1, size - 1)
    fan = np.stack([np.zeros_like(step), step, step + 1], axis=1)
    local = np.tile(fan.reshape(-1), (len(polygons), 1))
    folded = np.zeros(len(polygons), dtype=np.bool_)
    if size > 3:
        points = vertices[polygons]
        finite = np.isfinite(points).all(axis=(1, 2))
        with np.errstate(all="ignore"):
            plain = ~finite | _fan_fits(points, fan)
        for index in np.flatnonzero(~plain).tolist():
            cut, folded[index] = _clip_in_plane(points[index])
            local[index] = cut.reshape(-1)
    return local, folded


def _fan_fits(points: FloatArray, fan: IntArray) -> BoolArray:
    """Whether a fan from corner 0 is right: convex all round, and every triangle faces the polygon's way."""
    normal = _newell(points)
    after, before = np.roll(points, -1, axis=1), np.roll(points, 1, axis=1)
    turns = np.einsum("gij,gj->gi", np.cross(points - before, after - points), normal)
    a, b, c = (points[:, fan[:, k]] for k in range(3))
    sides = np.einsum("gij,gj->gi", np.cross(b - a, c - a), normal)
    return np.asarray((turns >= 0).all(axis=1) & (sides > 0).all(axis=1))


def _newell(points: FloatArray) -> FloatArray:
    """Return Newell's normals of polygons, shape (g, 3); relative to the first corner, against cancellation."""
    local = points - points[:, :1]
    return np.asarray(np.cross(local, np.roll(local, -1, axis=1)).sum(axis=1))


def flatness(points: FloatArray) -> float:
    """Return how far corners lie from their best-fit plane, over the size of the polygon.

    Parameters
    ----------
    points : (k, 3) float array
        Corners of one polygon.

    Returns
    -------
    float
        Greatest distance over the diagonal of the bounding box; infinite for a polygon without area.
    """
    with np.errstate(all="ignore"):
        normal = _newell(points[None])[0]
        away = np.abs((points - points.mean(axis=0)) @ normal) / np.linalg.norm(normal)
        share = away.max() / np.linalg.norm(np.ptp(points, axis=0))
    return float(share) if np.isfinite(share) else float("inf")


def _clip_in_plane(points: FloatArray) -> tuple[IntArray, bool]:
    if len(points) > MOST_CORNERS:
        raise MeshFileError(
            f"a concave polygon has {len(points)} corners; more than {MOST_CORNERS} are not cut up.",
            remedy="Export the mesh as triangles.",
        )
    with np.errstate(all="ignore"):
        local = points - points[0]
        local = local / max(float(np.abs(local).max()), np.finfo(np.float64).tiny)
        normal = _newell(local[None])[0]
        length = float(np.linalg.norm(normal))
    if not length > 0:  # no area in any direction: a matter for the check, not a crossing
        return _as_fan(list(range(len(points)))), False
    normal /= length
    u = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    u /= np.linalg.norm(u)
    flat = np.stack([local @ u, local @ np.cross(normal, u)], axis=1)
    return clip_ears(flat)


def clip_ears(points: FloatArray) -> tuple[IntArray, bool]:
    """Cut one counter-clockwise polygon of the plane into triangles.

    Parameters
    ----------
    points : (k, 2) float array
        Corners.

    Returns
    -------
    faces : (k - 2, 3) int array
        Corner numbers, counter-clockwise.
    crossed : bool
        True if the outline is seen to cross itself; what was left without an ear is fanned.
    """
    flat: list[Point] = [(x, y) for x, y in points.tolist()]
    ring = list(range(len(flat)))
    bent = [i for i in ring if _turn(flat[i - 1], flat[i], flat[(i + 1) % len(flat)]) <= 0]
    reflex = dict.fromkeys(bent, True)
    faces: list[tuple[int, int, int]] = []
    at, idle = 0, 0
    while len(ring) > 3 and idle < len(ring):
        at %= len(ring)
        before, here, after = ring[at - 1], ring[at], ring[(at + 1) % len(ring)]
        if here in reflex or not _is_ear(flat, (before, here, after), reflex):
            at, idle = at + 1, idle + 1
            continue
        faces.append((before, here, after))
        del ring[at]
        idle = 0
        _refresh(flat, ring, at, reflex)  # at now points past the clipped corner: ears alternate, slivers are rarer
    rest = np.array(ring, dtype=np.int64)[_as_fan(ring)]
    crossed = len(ring) > 3 or _turn(*(flat[i] for i in ring)) < 0 or not _turns_once(points)
    return np.concatenate([np.array(faces, dtype=np.int64).reshape(-1, 3), rest]), crossed


def _turns_once(points: FloatArray) -> bool:
    """Whether the outline turns by one full circle: a star of five convex corners turns by two."""
    side = np.roll(points, -1, axis=0) - points
    back = np.roll(side, 1, axis=0)
    angle = np.arctan2(back[:, 0] * side[:, 1] - back[:, 1] * side[:, 0], (back * side).sum(axis=1))
    if (np.abs(angle) > np.pi - 1e-9).any():  # a spike turns by half a circle, left or right
        return True
    return abs(float(angle.sum()) - 2.0 * np.pi) < 1.0


def _refresh(flat: list[Point], ring: list[int], at: int, reflex: dict[int, bool]) -> None:
    """Look again at the two corners beside a clipped one: a reflex corner may have become convex."""
    for place in (at - 1, at % len(ring)):
        if ring[place] in reflex:
            around = (flat[ring[place - 1]], flat[ring[place]], flat[ring[(place + 1) % len(ring)]])
            if _turn(*around) > 0:
                del reflex[ring[place]]


def _is_ear(flat: list[Point], corners: tuple[int, int, int], reflex: dict[int, bool]) -> bool:
    a, b, c = (flat[i] for i in corners)
    for index in reflex:
        p = flat[index]
        # A corner on the triangle's rim blocks it; one that coincides with its corners (a slit to a hole) does not.
        if p in (a, b, c):
            continue
        if _turn(a, b, p) >= 0 and _turn(b, c, p) >= 0 and _turn(c, a, p) >= 0:
            return False
    return True


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _as_fan(ring: list[int]) -> IntArray:
    step = np.arange(1, len(ring) - 1)
    return np.stack([np.zeros_like(step), step, step + 1], axis=1)
