"""Corners that stand in the middle of another face's open edge: joined to the eye, open to the mesh.

What the maker calls it: a T-junction; exports of trimmed surfaces and of simplified meshes are full of them.

Convention: a corner counts when it lies within the weld tolerance of an open edge, further than that from both its
ends, and does not belong to the edge's own face.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import EdgeTable
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["TJunctions", "has_edge", "stitched", "t_junctions"]

_MOST_PAIRS = 5_000_000  # corner-edge pairs looked at; a clean rim needs about three an edge
_CHUNK = 2000  # edges looked at together


@dataclass(frozen=True, eq=False)
class TJunctions:
    """Open edges with a corner in their middle.

    Parameters
    ----------
    half_edge : (t,) int array
        The open edge, as a half-edge of its face; sorted.
    vertex : (t,) int array
        The corner on it; along the edge within each half-edge.
    complete : bool
        Whether all open edges were looked at; False when a cap was reached.
    """

    half_edge: IntArray
    vertex: IntArray
    complete: bool


def t_junctions(vertices: FloatArray, faces: IntArray, table: EdgeTable, tolerance: float) -> TJunctions:
    """Find the corners that stand in the middle of open edges.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable
        Their edges.
    tolerance : float
        Largest distance from the edge [mm].

    Returns
    -------
    TJunctions
        Sorted by half-edge, then along it.
    """
    half = np.flatnonzero(table.boundary[table.of_half_edge])
    start = faces.reshape(-1)[half]
    end = faces[half // 3, (half + 1) % 3]
    corners = np.flatnonzero(np.bincount(np.concatenate([start, end]), minlength=len(vertices)))
    edge, other, complete = _near(vertices[start], vertices[end], vertices[corners], tolerance)
    other = corners[other]
    foreign = (faces[half[edge] // 3] != other[:, None]).all(axis=1)
    edge, other = edge[foreign], other[foreign]
    along = vertices[end[edge]] - vertices[start[edge]]
    offset = vertices[other] - vertices[start[edge]]
    share = np.einsum("ei,ei->e", offset, along) / np.einsum("ei,ei->e", along, along)
    apart = np.linalg.norm(offset - share[:, None] * along, axis=1)
    to_start = np.linalg.norm(offset, axis=1)
    to_end = np.linalg.norm(offset - along, axis=1)
    on = (share > 0) & (share < 1) & (apart <= tolerance) & (to_start > tolerance) & (to_end > tolerance)
    edge, other, share = edge[on], other[on], share[on]
    order = np.lexsort((other, share, edge))
    return TJunctions(half[edge[order]], other[order], complete)


def _near(start: FloatArray, end: FloatArray, points: FloatArray, reach: float) -> tuple[IntArray, IntArray, bool]:
    """Pairs (edge, point) with the point in the ball round the edge; edges in order until the cap is reached."""
    from scipy.spatial import cKDTree

    none = np.empty(0, dtype=np.int64)
    if len(start) == 0:
        return none, none, True
    tree = cKDTree(points)
    middle, radius = 0.5 * (start + end), 0.5 * np.linalg.norm(end - start, axis=1) + reach
    edges, others, left = [none], [none], _MOST_PAIRS
    for first in range(0, len(start), _CHUNK):
        here = slice(first, first + _CHUNK)
        number = np.asarray(tree.query_ball_point(middle[here], radius[here], return_length=True), dtype=np.int64)
        left -= int(number.sum())
        if left < 0:
            return np.concatenate(edges), np.concatenate(others), False
        found = tree.query_ball_point(middle[here], radius[here], return_sorted=True)
        edges.append(np.repeat(first + np.arange(len(number)), number))
        others.append(np.fromiter((p for points in found for p in points), dtype=np.int64, count=int(number.sum())))
    return np.concatenate(edges), np.concatenate(others), True


def stitched(faces: IntArray, table: EdgeTable, found: TJunctions) -> tuple[IntArray, IntArray]:
    """Split the faces with a corner in the middle of an open edge there, one edge of each face.

    Only a corner that already has an edge along the open one is taken: there two pieces of one surface meet. A
    corner that merely touches a foreign edge is left alone.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable
        Their edges.
    found : TJunctions
        What to stitch.

    Returns
    -------
    faces : (m', 3) int array
        The new faces: the first piece stands in its parent's place, the others follow at the end.
    parent : (m',) int array
        Face each came from.
    """
    if len(found.vertex) == 0:
        return faces, np.arange(len(faces))
    out = np.array(faces, copy=True)
    more: list[tuple[int, int, int]] = []
    parent: list[int] = []
    halves, first = np.unique(found.half_edge, return_index=True)
    done = -1
    for half, inserted in zip(halves.tolist(), np.split(found.vertex, first[1:]), strict=True):
        face = half // 3
        a, b, c = (int(faces[face, (half + step) % 3]) for step in range(3))
        kept = _on_a_seam(np.array([a, *inserted.tolist(), b]), table)
        if face == done or not kept:  # half-edges of one face follow each other
            continue
        done = face
        stops = [*kept, b]
        out[face] = (a, stops[0], c)
        more += [(one, two, c) for one, two in pairwise(stops)]
        parent += [face] * len(kept)
    added = np.array(more, dtype=np.int64).reshape(-1, 3)
    return np.concatenate([out, added]), np.concatenate([np.arange(len(faces)), np.array(parent, dtype=np.int64)])


def _on_a_seam(run: IntArray, table: EdgeTable) -> list[int]:
    """Inner corners of a run along an open edge that have an edge to the one before or after."""
    linked = has_edge(table, run[:-1], run[1:])
    return [int(vertex) for vertex in run[1:-1][linked[:-1] | linked[1:]]]


def has_edge(table: EdgeTable, one: IntArray, two: IntArray) -> BoolArray:
    """Return whether the mesh has an edge between each of two vertices, any shape."""
    width = int(table.vertices.max()) + 1
    keys = table.vertices[:, 0] * width + table.vertices[:, 1]
    wanted = np.minimum(one, two) * width + np.maximum(one, two)
    place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.asarray((keys[place] == wanted) & (np.maximum(one, two) < width))
