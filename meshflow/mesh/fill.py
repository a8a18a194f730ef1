"""Closing holes with faces between the corners they have.

Terms: a *filling* is a triangulation of the loop's corners, no new points; a *patch* is what closes a hole, with points
of its own where `membrane` made it. Both are a guess, so their faces are marked as conjecture and belong to no polygon
of the file.

Method: of all triangulations of the loop that use no edge the mesh already has, the one with the least sum over its
triangles of area plus a thousandth of the squared sides: the least area, and even triangles where areas tie, as in
every flat convex hole. Found by dynamic programming over runs of corners, k^3 / 6 steps for k corners. A loop of very
many corners is first cut in two by the chord that is shortest against the way round.

References
----------
P. Liepa, "Filling holes in meshes", Symposium on Geometry Processing 2003, section 3. G. Barequet, M. Sharir,
"Filling gaps in the boundary of a polyhedron", Computer Aided Geometric Design 12, 1995.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.topology import EdgeTable
from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.carry import carried
from meshflow.mesh.rims import ordered_loop
from meshflow.mesh.sound import flat_faces
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.surface import Evidence, Surface

__all__ = ["Patch", "filled", "filling", "loop_corners"]

_EVENNESS = 1e-3  # weight of the squared sides against the area
_FEW = 64  # corners; for more the compiled loops pay
_MOST = 1500  # corners filled at once: k^3 / 6 steps


@dataclass(frozen=True, eq=False)
class Patch:
    """What closes one hole.

    Parameters
    ----------
    points : (p, 3) float array
        New points, in the frame of the body's vertices [mm].
    faces : (t, 3) int array
        Corners by place in the loop, new points after them.
    """

    points: FloatArray
    faces: IntArray


Maker = Callable[[Anatomy, IntArray, BoolArray], Patch]


def filled(surface: Surface, body: Anatomy, loops: IntArray, patch: Maker | None = None) -> tuple[Surface, int]:
    """Close loops with faces.

    Parameters
    ----------
    surface : Surface
        The mesh, welded.
    body : Anatomy
        Its connectivity, with ``body.ids`` as face ids of `surface` and its windings.
    loops : (p,) int array
        Loops of ``body.rims`` to close.
    patch : callable, optional
        ``patch(body, corners, taken)`` makes what closes a hole; by default the plain filling.

    Returns
    -------
    surface : Surface
        The new faces stand at the end, hole by hole: conjectured, of no polygon of the file, in the colour of the
        first face round their hole, and in those face sets that hold all the faces round it.
    closed : int
        How many loops were closed; one that no triangulation of faces with an area fits, or whose rim is not wound
        alike, stays open.
    """
    make = _plain_patch if patch is None else patch
    fills: list[Patch] = []
    holes: list[IntArray] = []
    rings: list[IntArray] = []
    added = np.empty((0, 2), dtype=np.int64)
    closed = 0
    for loop in loops.tolist():
        half = ordered_loop(body.faces, body.rims, loop)
        before = len(fills)
        for corners in loop_corners(body.faces, half):
            new = make(body, corners, _taken(corners, body.table, added))
            if _usable(body, corners, new):
                within = new.faces[(new.faces < len(corners)).sum(axis=1) > 1]
                sides = np.stack([within, np.roll(within, -1, axis=1)], axis=2).reshape(-1, 2)
                added = np.concatenate([added, corners[sides[(sides < len(corners)).all(axis=1)]]])
                fills.append(new)
                holes.append(corners)
                rings.append(body.ids[half // 3])
        closed += len(fills) > before
    return (_with_fillings(surface, body, fills, holes, rings) if fills else surface), closed


def _usable(body: Anatomy, corners: IntArray, patch: Patch) -> bool:
    """Whether a patch has faces, all with an area: a face without one counts for nothing, and the hole would stay."""
    points = np.concatenate([body.vertices[corners], patch.points])
    return len(patch.faces) > 0 and not flat_faces(points, patch.faces).any()


def _plain_patch(body: Anatomy, corners: IntArray, taken: BoolArray) -> Patch:
    return Patch(np.empty((0, 3)), filling(body.vertices[corners], taken))


def loop_corners(faces: IntArray, half: IntArray) -> list[IntArray]:
    """Return the corners of the holes that a loop runs round, counter-clockwise seen from outside.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    half : (k,) int array
        Half-edges of the loop in order, see `ordered_loop`.

    Returns
    -------
    list of int array
        Vertices of each hole; none when the rim is not wound alike. A loop that comes through a corner twice runs
        round two holes that touch there.
    """
    start, end = faces[half // 3, half % 3], faces[half // 3, (half + 1) % 3]
    if (np.roll(start, -1) != end).any():
        return []
    holes: list[IntArray] = []
    run: list[int] = []
    for corner in start[::-1].tolist():
        if corner in run:
            at = run.index(corner)
            holes.append(np.array(run[at:]))
            del run[at:]
        run.append(corner)
    return [hole for hole in [*holes, np.array(run)] if len(hole) > 2]


def _taken(corners: IntArray, table: EdgeTable, added: IntArray) -> BoolArray:
    """Which chords of the loop are edges already, of the mesh or of the fillings `added`, shape (k, k)."""
    taken = np.zeros((len(corners), len(corners)), dtype=np.bool_)
    most = int(max(table.vertices.max(initial=-1), corners.max())) + 1
    place = np.full(most, -1, dtype=np.int64)
    place[corners] = np.arange(len(corners))
    for edges in (table.vertices, added):
        one, two = place[edges[:, 0]], place[edges[:, 1]]
        both = (one >= 0) & (two >= 0)
        taken[one[both], two[both]] = taken[two[both], one[both]] = True
    return taken


def filling(points: FloatArray, taken: BoolArray) -> IntArray:
    """Triangulate a loop of corners in space.

    Parameters
    ----------
    points : (k, 3) float array
        Corners in order [mm].
    taken : (k, k) bool array
        Chords that must not be used; sides of the loop are never asked.

    Returns
    -------
    (k - 2, 3) int array
        Corner numbers, wound like the loop; shape (0, 3) when every triangulation needs a forbidden chord.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [2, 0, 0], [2, 1, 0], [0, 1, 0]])
    >>> filling(square, np.zeros((4, 4), dtype=bool)).tolist()
    [[0, 1, 3], [1, 2, 3]]
    """
    count = len(points)
    if count > _MOST:
        return _in_halves(points, taken)
    apex, cost = _apexes(points, taken) if count <= _FEW else _compiled_apexes(points, taken)
    return _triangles(apex, 0, count - 1) if np.isfinite(cost) else np.empty((0, 3), dtype=np.int64)


def _compiled_apexes(points: FloatArray, taken: BoolArray) -> tuple[IntArray, float]:
    from meshflow.mesh.fill_kernel import best_apexes

    about = np.ascontiguousarray(points - points.mean(axis=0))
    return best_apexes(about, np.ascontiguousarray(taken), _EVENNESS)


def _apexes(points: FloatArray, taken: BoolArray) -> tuple[IntArray, float]:
    """Return the third corner of the triangle over each run of corners (k, k), and the least sum."""
    count = len(points)
    cost = np.zeros((count, count))
    apex = np.zeros((count, count), dtype=np.int64)
    for span in range(2, count):
        for first in range(count - span):
            last = first + span
            if taken[first, last] and span < count - 1:
                cost[first, last] = np.inf
                continue
            middle = np.arange(first + 1, last)
            sums = cost[first, middle] + cost[middle, last] + _weights(points, first, middle, last)
            best = int(np.argmin(sums))
            cost[first, last], apex[first, last] = sums[best], middle[best]
    return apex, float(cost[0, count - 1])


def _in_halves(points: FloatArray, taken: BoolArray) -> IntArray:
    """Cut a long loop by a chord, then fill both parts."""
    count = len(points)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1))])
    least = count // 4
    best = (np.inf, 0, 0)
    for one in range(count - least):
        others = np.arange(one + least, min(count, one + count - least + 1))
        others = others[~taken[one, others]]
        if len(others) == 0:
            continue
        way = along[others] - along[one]
        way = np.minimum(way, along[-1] - way)
        share = np.linalg.norm(points[others] - points[one], axis=1) / np.where(way > 0, way, 1.0)
        at = int(np.argmin(share))
        best = min(best, (float(share[at]), one, int(others[at])))
    least_share, one, two = best
    if not np.isfinite(least_share):
        return np.empty((0, 3), dtype=np.int64)
    parts = np.arange(one, two + 1), np.concatenate([np.arange(two, count), np.arange(one + 1)])
    blocked = taken.copy()
    fills = []
    for part in parts:
        fill = part[filling(points[part], blocked[np.ix_(part, part)])]
        if len(fill) == 0:
            return np.empty((0, 3), dtype=np.int64)
        sides = np.stack([fill, np.roll(fill, -1, axis=1)], axis=2).reshape(-1, 2)
        blocked[sides[:, 0], sides[:, 1]] = blocked[sides[:, 1], sides[:, 0]] = True
        fills.append(fill)
    return np.concatenate(fills)


def _weights(points: FloatArray, first: int, middle: IntArray, last: int) -> FloatArray:
    a, b, c = points[first], points[middle], points[last]
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    squares = ((b - a) ** 2).sum(axis=1) + ((b - c) ** 2).sum(axis=1) + ((c - a) ** 2).sum()
    return np.asarray(area + _EVENNESS * squares)


def _triangles(apex: IntArray, first: int, last: int) -> IntArray:
    waiting, out = [(first, last)], []
    while waiting:
        one, two = waiting.pop()
        if two - one < 2:
            continue
        middle = int(apex[one, two])
        out.append((one, middle, two))
        waiting += [(middle, two), (one, middle)]
    return np.array(out, dtype=np.int64)


def _with_fillings(
    surface: Surface, body: Anatomy, fills: list[Patch], holes: list[IntArray], rings: list[IntArray]
) -> Surface:
    count = len(surface.faces)
    surface, first = _with_points(surface, body, fills, holes)
    new = np.concatenate(
        [
            np.concatenate([corners, start + np.arange(len(fill.points))])[fill.faces]
            for fill, corners, start in zip(fills, holes, first, strict=True)
        ]
    )
    hole = np.repeat(np.arange(len(fills)), [len(fill.faces) for fill in fills])
    donor = np.array([ring[0] for ring in rings])[hole]
    out = carried(surface, np.concatenate([surface.faces, new]), np.concatenate([np.arange(count), donor]))
    sets = {}
    for name, ids in surface.face_sets.items():
        member = np.zeros(count, dtype=np.bool_)
        member[ids] = True
        within = np.array([member[ring].all() for ring in rings])
        sets[name] = np.concatenate([ids, count + np.flatnonzero(within[hole])])
    evidence, origin = np.array(out.evidence), np.array(out.face_origin)
    evidence[count:], origin[count:] = Evidence.CONJECTURED, -1
    return replace(out, face_sets=sets, evidence=evidence, face_origin=origin)


def _with_points(
    surface: Surface, body: Anatomy, fills: list[Patch], holes: list[IntArray]
) -> tuple[Surface, list[int]]:
    """Append the new points of the patches, in the colour of their hole's first corner; return where each begins."""
    number = [len(fill.points) for fill in fills]
    first = (len(surface.vertices) + np.cumsum([0, *number])[:-1]).tolist()
    if sum(number) == 0:
        return surface, first
    at = int(holes[0][0])
    middle = surface.vertices[at] - body.vertices[at]
    colours = surface.vertex_colours
    if colours is not None:
        colours = np.concatenate([colours, colours[np.repeat([corners[0] for corners in holes], number)]])
    points = np.concatenate([surface.vertices, *(fill.points + middle for fill in fills)])
    return replace(surface, vertices=points, vertex_colours=colours), first
