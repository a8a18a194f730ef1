"""Open edges: fans of faces round a vertex, and the loops that the rim runs in.

Terms: a *fan* is a run of faces round one vertex, each joined to the next across an edge that exactly two faces
share; a sound vertex has one. A *rim edge* belongs to one face only; a *loop* is a closed run of rim edges. Where
the rims of two fans touch in one vertex, the loops pass it apart from each other. The winding does not matter here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_sides
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Rims", "corner_fans", "fans_at", "ordered_loop", "rim_loops"]


@dataclass(frozen=True, eq=False)
class Rims:
    """The rim edges of a mesh and the loops they form.

    Parameters
    ----------
    half_edge : (r,) int array
        Half-edges on the rim, ascending.
    loop : (r,) int array
        Loop of each.
    ends : (r, 2) int array
        Fan at the start and at the end of each.
    whole : (k,) bool array
        Loops that close without meeting a non-manifold edge.
    length_mm : (k,) float array
        Length of each loop.
    """

    half_edge: IntArray
    loop: IntArray
    ends: IntArray
    whole: BoolArray
    length_mm: FloatArray

    @property
    def edge_count(self) -> IntArray:
        """Edges in each loop, shape (k,)."""
        return np.bincount(self.loop, minlength=len(self.whole))


def corner_fans(faces: IntArray, table: EdgeTable) -> IntArray:
    """Return the fan of each corner, shape (3m,); corner ``3 f + k`` is corner k of face f."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    one, two = edge_sides(table).T
    corner = faces.reshape(-1)
    after_one, after_two = _next(one), _next(two)
    alike = corner[one] == corner[two]
    rows = np.concatenate([one, after_one])
    columns = np.concatenate([np.where(alike, two, after_two), np.where(alike, after_two, two)])
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(len(corner),) * 2)
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def _next(half_edge: IntArray) -> IntArray:
    return 3 * (half_edge // 3) + (half_edge + 1) % 3


def fans_at(faces: IntArray, fan: IntArray, vertex_count: int) -> IntArray:
    """Return how many fans meet at each vertex, shape (n,); 0 for a vertex that no face uses."""
    vertex = np.zeros(int(fan.max()) + 1 if len(fan) else 0, dtype=np.int64)
    vertex[fan] = faces.reshape(-1)
    return np.bincount(vertex, minlength=vertex_count)


def rim_loops(vertices: FloatArray, faces: IntArray, table: EdgeTable, fan: IntArray) -> Rims:
    """Return the rim edges and their loops.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable
        Their edges.
    fan : (3m,) int array
        Fan of each corner.

    Returns
    -------
    Rims
        Loops are numbered by their first half-edge.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    half = np.flatnonzero(table.boundary[table.of_half_edge])
    vertex = np.stack([faces.reshape(-1)[half], faces.reshape(-1)[_next(half)]], axis=1)
    fans, ends = np.unique(np.stack([fan[half], fan[_next(half)]], axis=1), return_inverse=True)
    ends = ends.reshape(-1, 2)
    sides = np.bincount(ends.reshape(-1), minlength=len(fans))
    # A fan that a non-manifold edge cuts off has one rim edge: such ends are tied together at their vertex.
    knot = ends.copy()
    cut = sides[ends] != 2
    knot[cut] = len(fans) + vertex[cut]
    count = len(half)
    graph = coo_array(
        (np.ones(2 * count, dtype=np.int8), (np.repeat(np.arange(count), 2), count + knot.reshape(-1))),
        shape=(count + len(fans) + len(vertices),) * 2,
    )
    _, label = connected_components(graph, directed=False)
    first, loop = np.unique(label[:count], return_index=True, return_inverse=True)[1:]
    number = np.empty(len(first), dtype=np.int64)
    number[np.argsort(first)] = np.arange(len(first))
    loop = number[loop.reshape(-1)]
    whole = np.ones(len(first), dtype=np.bool_)
    whole[loop[cut.any(axis=1)]] = False
    length = np.linalg.norm(vertices[vertex[:, 0]] - vertices[vertex[:, 1]], axis=1)
    total = np.bincount(loop, weights=length, minlength=len(first)).astype(np.float64)
    return Rims(half, loop, ends, whole, total)


def ordered_loop(faces: IntArray, rims: Rims, loop: int) -> IntArray:
    """Return the half-edges of a whole loop in the order they are met, starting with the lowest.

    On consistently wound faces each half-edge ends where the next begins, with the surface on its left.
    """
    members = np.flatnonzero(rims.loop == loop)
    at: dict[int, list[int]] = {}
    for place in members.tolist():
        for fan in rims.ends[place].tolist():
            at.setdefault(fan, []).append(place)
    current, fan = int(members[0]), int(rims.ends[members[0], 1])
    run = [current]
    while True:
        one, two = at[fan]
        current = two if one == current else one
        if current == run[0]:
            return rims.half_edge[run]
        run.append(current)
        fan = int(rims.ends[current].sum()) - fan
