"""Closing small holes with faces between the corners they have.

Terms: a *filling* is a triangulation of the loop's corners, no new points; it is a guess, so its faces are marked as
conjecture and belong to no polygon of the file.

Method: of all triangulations of the loop that use no edge the mesh already has, the one with the least sum over its
triangles of area plus a thousandth of the squared sides: the least area, and even triangles where areas tie, as in
every flat convex hole. Found by dynamic programming over runs of corners, k^3 / 6 steps for k corners.

References
----------
P. Liepa, "Filling holes in meshes", Symposium on Geometry Processing 2003, section 3. G. Barequet, M. Sharir,
"Filling gaps in the boundary of a polyhedron", Computer Aided Geometric Design 12, 1995.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import EdgeTable
from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.carry import carried
from meshflow.mesh.rims import ordered_loop
from meshflow.mesh.tjunctions import has_edge
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.surface import Evidence, Surface

__all__ = ["filled", "filling"]

_EVENNESS = 1e-3  # weight of the squared sides against the area


def filled(surface: Surface, body: Anatomy, loops: IntArray) -> tuple[Surface, int]:
    """Close loops with faces.

    Parameters
    ----------
    surface : Surface
        The mesh, welded.
    body : Anatomy
        Its connectivity, with ``body.ids`` as face ids of `surface` and its windings.
    loops : (p,) int array
        Loops of ``body.rims`` to close.

    Returns
    -------
    surface : Surface
        The new faces stand at the end, hole by hole: conjectured, of no polygon of the file, in the colour of the
        first face round their hole, and in those face sets that hold all the faces round it.
    closed : int
        How many holes were closed; one that no triangulation fits, or whose rim is not wound alike, stays open.
    """
    fills: list[IntArray] = []
    rings: list[IntArray] = []
    added: set[tuple[int, int]] = set()
    closed = 0
    for loop in loops.tolist():
        half = ordered_loop(body.faces, body.rims, loop)
        before = len(fills)
        for corners in _holes(body.faces, half):
            new = corners[filling(body.vertices[corners], _taken(corners, body.table, added))]
            if len(new) > 0:
                added |= {
                    (min(a, b), max(a, b)) for t in new.tolist() for a, b in ((t[0], t[1]), (t[1], t[2]), (t[2], t[0]))
                }
                fills.append(new)
                rings.append(body.ids[half // 3])
        closed += len(fills) > before
    return (_with_fillings(surface, fills, rings) if fills else surface), closed


def _holes(faces: IntArray, half: IntArray) -> list[IntArray]:
    """Corners of the holes a loop runs round, counter-clockwise seen from outside; none when it is not wound alike.

    A loop that comes through a corner twice runs round two holes that touch there.
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


def _taken(corners: IntArray, table: EdgeTable, added: set[tuple[int, int]]) -> BoolArray:
    """Which chords of the loop are edges already, shape (k, k)."""
    one, two = np.meshgrid(corners, corners, indexing="ij")
    taken = has_edge(table, one, two)
    for i, a in enumerate(corners.tolist()):
        for j, b in enumerate(corners.tolist()):
            taken[i, j] |= (min(a, b), max(a, b)) in added
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
    if not np.isfinite(cost[0, count - 1]):
        return np.empty((0, 3), dtype=np.int64)
    return _triangles(apex, 0, count - 1)


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


def _with_fillings(surface: Surface, fills: list[IntArray], rings: list[IntArray]) -> Surface:
    count = len(surface.faces)
    new = np.concatenate(fills)
    hole = np.repeat(np.arange(len(fills)), [len(fill) for fill in fills])
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
