"""Connectivity of triangle meshes: edges, boundary loops, shells, Euler characteristic.

Terms: an *edge* is an unordered vertex pair; a *half-edge* is the side of a face, ordered counter-clockwise; a
*boundary loop* is a closed chain of edges that one face has; a *shell* is a set of faces joined by edges.
Half-edge ``3 * f + k`` runs from corner k to corner k + 1 of face f.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = [
    "EdgeTable",
    "boundary_loops",
    "components",
    "corner_fans",
    "edge_sides",
    "edge_table",
    "euler_characteristic",
    "face_adjacency",
    "shells",
    "submesh",
    "vertex_fans",
]


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Unique edges of a mesh and the faces on them.

    Parameters
    ----------
    vertices : (e, 2) int array
        Smaller index first, sorted.
    of_half_edge : (3m,) int array
        Edge of each half-edge.
    face_count : (e,) int array
        How many faces share the edge: 1 on a boundary, over 2 where it is not manifold.
    """

    vertices: IntArray
    of_half_edge: IntArray
    face_count: IntArray

    @property
    def boundary(self) -> BoolArray:
        """Which edges have one face only."""
        return np.asarray(self.face_count == 1)


def half_edges(faces: IntArray) -> IntArray:
    """Return the ordered vertex pairs of all half-edges, shape (3m, 2)."""
    return np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)


def edge_table(faces: IntArray) -> EdgeTable:
    """Return the unique edges of a mesh.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    EdgeTable
        Edges sorted by their vertex pair.

    Examples
    --------
    >>> edge_table(np.array([[0, 1, 2], [2, 1, 3]])).face_count.tolist()
    [1, 1, 2, 1, 1]
    """
    pairs = np.sort(half_edges(np.asarray(faces, dtype=np.int64)), axis=1)
    width = int(faces.max()) + 1 if len(faces) else 1
    keys, inverse, count = np.unique(pairs[:, 0] * width + pairs[:, 1], return_inverse=True, return_counts=True)
    vertices = np.stack([keys // width, keys % width], axis=1)
    return EdgeTable(vertices, inverse.reshape(-1), count)


def face_adjacency(faces: IntArray, table: EdgeTable | None = None) -> tuple[IntArray, IntArray]:
    """Return neighbouring faces across edges that exactly two faces share.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable, optional
        The edges, when already known.

    Returns
    -------
    pairs : (a, 2) int array
        Face ids on both sides.
    edges : (a,) int array
        The edge between them.
    """
    table = edge_table(faces) if table is None else table
    return edge_sides(table) // 3, np.flatnonzero(table.face_count == 2)


def edge_sides(table: EdgeTable) -> IntArray:
    """Return the two half-edges of each edge that exactly two faces share, shape (a, 2), in edge order."""
    order = np.argsort(table.of_half_edge, kind="stable")
    start = np.concatenate([[0], np.cumsum(table.face_count)[:-1]]).astype(np.int64)
    first = start[table.face_count == 2]
    return np.stack([order[first], order[first + 1]], axis=1)


def shells(faces: IntArray, table: EdgeTable | None = None) -> IntArray:
    """Return the shell number of each face, numbered by size (0 is the largest), ties by first face.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable, optional
        The edges, when already known.

    Returns
    -------
    (m,) int array
        Shell of each face.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    table = edge_table(faces) if table is None else table
    count = len(faces)
    # A face and an edge it has are linked: this joins faces over non-manifold edges as well.
    rows = np.repeat(np.arange(count), 3)
    graph = coo_array(
        (np.ones(3 * count, dtype=np.int8), (rows, count + table.of_half_edge)),
        shape=(count + len(table.vertices),) * 2,
    )
    _, label = connected_components(graph, directed=False)
    return _by_size(np.asarray(label[:count], dtype=np.int64))


def components(count: int, pairs: IntArray) -> IntArray:
    """Return what hangs together over pairs, numbered by first member.

    Parameters
    ----------
    count : int
        How many things there are.
    pairs : (k, 2) int array
        Things that hang together.

    Returns
    -------
    (count,) int array
        Number of the component of each.

    Examples
    --------
    >>> components(4, np.array([[0, 2], [3, 1]])).tolist()
    [0, 1, 0, 1]
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _by_size(label: IntArray) -> IntArray:
    _, first, inverse, size = np.unique(label, return_index=True, return_inverse=True, return_counts=True)
    order = np.lexsort((first, -size))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return np.asarray(rank[inverse.reshape(-1)], dtype=np.int64)


def euler_characteristic(faces: IntArray) -> int:
    """Return V - E + F of the vertices that faces use: 1 for a disk, 0 for a ring, 2 for a closed ball."""
    return len(np.unique(faces)) - len(edge_table(faces).vertices) + len(faces)


def boundary_loops(faces: IntArray) -> list[IntArray]:
    """Return the boundary loops, with the surface on the left of the direction of travel.

    Parameters
    ----------
    faces : (m, 3) int array
        Consistently wound faces.

    Returns
    -------
    list of (k,) int array
        Vertex indices of each loop, longest loop (by vertices) first, each starting at its least vertex index. Where
        two loops touch in one vertex they are walked apart round its fan of faces.
    """
    table = edge_table(faces)
    on_rim = np.flatnonzero(table.boundary[table.of_half_edge])
    # Plain numbers of the rim alone: single look-ups in arrays would take most of the time.
    half = dict(zip(on_rim.tolist(), half_edges(faces)[on_rim].tolist(), strict=True))
    leaving: dict[int, list[int]] = {}
    for index, (start, _) in half.items():
        leaving.setdefault(start, []).append(index)
    opposite = _opposite_half_edges(table)
    unused = set(half)
    loops = [_walk(first, half, leaving, unused, opposite) for first in half if first in unused]
    loops.sort(key=lambda loop: (-len(loop), int(loop.min())))
    return [np.roll(loop, -int(np.argmin(loop))) for loop in loops]


def _opposite_half_edges(table: EdgeTable) -> IntArray:
    opposite = np.full(len(table.of_half_edge), -1, dtype=np.int64)
    one, two = edge_sides(table).T
    opposite[one], opposite[two] = two, one
    return opposite


def _walk(
    first: int, half: dict[int, list[int]], leaving: dict[int, list[int]], unused: set[int], opposite: IntArray
) -> IntArray:
    loop: list[int] = []
    current = first
    while current in unused:
        unused.remove(current)
        start, end = half[current]
        loop.append(start)
        choices = leaving.get(end, [])
        current = choices[0] if len(choices) == 1 else _next_round_fan(current, opposite)
        if current < 0:
            break
    return np.array(loop, dtype=np.int64)


def _next_round_fan(current: int, opposite: IntArray) -> int:
    """Turn about the end vertex of a rim half-edge, face by face, to the rim half-edge that leaves it."""
    turning = 3 * (current // 3) + (current + 1) % 3
    for _ in range(len(opposite)):
        across = int(opposite[turning])
        if across < 0:
            return turning
        turning = 3 * (across // 3) + (across + 1) % 3
    return -1


def vertex_fans(faces: IntArray, vertex_count: int) -> IntArray:
    """Return how many separate fans of faces meet at each vertex: over 1 where it is not manifold.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    vertex_count : int
        Number of vertices.

    Returns
    -------
    (n,) int array
        Fans at each vertex; 0 for a vertex that no face uses.
    """
    corners = np.unique(np.stack([faces.reshape(-1), corner_fans(faces)], axis=1), axis=0)
    return np.bincount(corners[:, 0], minlength=vertex_count)


def corner_fans(faces: IntArray, apart: BoolArray | None = None) -> IntArray:
    """Return the number of the fan that each corner belongs to.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    apart : (e,) bool array, optional
        Edges (of `edge_table`) that count as cut: their two faces are not neighbours.

    Returns
    -------
    (3m,) int array
        Fan of corner ``3 * f + k``. Corners of one fan have one vertex; a vertex may have several fans.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    table = edge_table(faces)
    opposite = _opposite_half_edges(table)
    joined = opposite >= 0
    if apart is not None:
        joined &= ~apart[table.of_half_edge]
    across = np.flatnonzero(joined)
    # Corner c of a face is linked to the corner of the neighbour at the same vertex: the start of half-edge h
    # is the end of its opposite.
    partner = opposite[across]
    end_corner = 3 * (partner // 3) + (partner + 1) % 3
    same = faces.reshape(-1)[across] == faces.reshape(-1)[end_corner]
    graph = coo_array(
        (np.ones(int(same.sum()), dtype=np.int8), (across[same], end_corner[same])), shape=(3 * len(faces),) * 2
    )
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def submesh(vertices: FloatArray, faces: IntArray, keep: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    """Return the faces `keep` as a mesh of their own.

    Parameters
    ----------
    vertices : (n, d) float array
        Positions.
    faces : (m, 3) int array
        Vertex indices.
    keep : (k,) int array
        Face ids to keep.

    Returns
    -------
    vertices : (n', d) float array
        The vertices these faces use, in their old order.
    faces : (k, 3) int array
        Renumbered faces.
    old_vertex : (n',) int array
        Old index of each vertex.
    """
    old, inverse = np.unique(faces[keep], return_inverse=True)
    return vertices[old], inverse.reshape(-1, 3), old
