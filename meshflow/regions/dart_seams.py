"""The seams that make a disk of a piece that is closed or has handles, before darts are cut.

Terms: a *handle* is what a cup has; its *loops* are ways round it and through it; the *cut graph* is the set of edges
along which a piece falls open into one disk.

Method: shortest ways from one vertex make a tree; the faces are joined over the edges the tree leaves, those first that
would close the longest loops. The edges left over, two for each handle, close the shortest loops there are through that
vertex (Erickson and Whittlesey 2005); their loops are the cut graph, without loose ends. A rim counts as one face, so
openings stay openings. The vertex lies on the longest rim; a closed piece without handles is cut straight between two
places that lie far apart. Where the maker names a point, the vertex nearest to it is taken (on the rim, where there is
one), and a closed piece is cut from there to the place farthest from it.

References
----------
J. Erickson, K. Whittlesey, "Greedy optimal homotopy and homology generators", SODA 2005.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import TopologyError
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import boundary_loops, edge_sides, edge_table, euler_characteristic, shells
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.dart_cones import outer_loop
from meshflow.regions.dart_cut import drawn
from meshflow.regions.piece import Piece
from meshflow.regions.seam_place import SeamPlace
from meshflow.regions.straight import Roads

__all__ = ["disk_seams"]


def disk_seams(piece: Piece, place: SeamPlace | None = None) -> tuple[Piece, tuple[IntArray, ...]]:
    """Return the ways along which a piece must be opened to become one disk, openings kept.

    Parameters
    ----------
    piece : Piece
        One shell.
    place : SeamPlace, optional
        A point that the seams start from.

    Returns
    -------
    piece : Piece
        The piece, with a straight way drawn in where it is a closed ball.
    ways : tuple of (k,) int array
        Chains of vertices between places where they meet; none for a disk.

    Raises
    ------
    TopologyError
        If it falls into several shells.
    """
    vertices, faces = piece.vertices, piece.faces
    count = int(shells(faces).max()) + 1
    if count > 1:
        raise TopologyError(f"the piece falls into {count} loose pieces.", remedy="Pick them one by one.")
    loops = boundary_loops(faces)
    if euler_characteristic(faces) == 2 - len(loops):
        return (piece, ()) if loops else _slit(piece, place)
    rim = outer_loop(vertices, faces) if loops else np.empty(0, dtype=np.int64)
    root = _nearest(vertices, place, rim) if place is not None else int(rim.min()) if len(rim) else _outermost(vertices)
    edges = _pruned(_cut_graph(vertices, faces, root, loops), rim)
    return piece, tuple(_chains(edges, rim))


def _slit(piece: Piece, place: SeamPlace | None) -> tuple[Piece, tuple[IntArray, ...]]:
    if place is not None:
        one = _nearest(piece.vertices, place)
    else:
        one = int(np.argmax(geodesic_distance(piece.vertices, piece.faces, _outermost(piece.vertices))))
    two = int(np.argmax(geodesic_distance(piece.vertices, piece.faces, one)))
    piece, way = drawn(piece, Roads(piece.vertices, piece.faces).way(one, two))
    return piece, (way,)


def _nearest(vertices: FloatArray, place: SeamPlace, among: IntArray | None = None) -> int:
    """Return the vertex nearest to the point of a place, of a rim where the piece has one."""
    ids = np.arange(len(vertices)) if among is None or len(among) == 0 else np.sort(among)
    return int(ids[np.argmin(np.linalg.norm(vertices[ids] - np.array(place.point), axis=1))])


def _outermost(vertices: FloatArray) -> int:
    """Return the vertex farthest from the middle, a choice that turning the piece does not change."""
    return int(np.argmax(np.linalg.norm(vertices - vertices.mean(axis=0), axis=1)))


def _cut_graph(vertices: FloatArray, faces: IntArray, root: int, loops: list[IntArray]) -> IntArray:
    """Return the edges of the loops through a vertex, those on a rim left out; shape (k, 2)."""
    table = edge_table(faces)
    ends = table.vertices
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
    away, before = _tree(len(vertices), ends, length, root)
    in_tree = (before[ends[:, 0]] == ends[:, 1]) | (before[ends[:, 1]] == ends[:, 0])
    left = _left_over(faces, loops, in_tree, away[ends].sum(axis=1) + length)
    found = {(int(low), int(high)) for low, high in ends[left]}
    for vertex in np.unique(ends[left]).tolist():
        while before[vertex] >= 0:
            other = int(before[vertex])
            found.add((min(vertex, other), max(vertex, other)))
            vertex = other
    cut = np.array(sorted(found), dtype=np.int64).reshape(-1, 2)
    width = len(vertices)
    rim = ends[table.boundary] @ [width, 1]
    return cut[~np.isin(cut @ [width, 1], rim)]


def _tree(count: int, ends: IntArray, length: FloatArray, root: int) -> tuple[FloatArray, IntArray]:
    """Return how far each vertex lies from the root along edges, and the vertex before it; equals by index."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    graph = coo_array((length, (ends[:, 0], ends[:, 1])), shape=(count, count)).tocsr()
    away = np.asarray(dijkstra(graph, directed=False, indices=np.array([root])))[0]
    start, end = np.concatenate([ends, ends[:, ::-1]]).T
    nearer = away[start] < away[end]
    start, end = start[nearer], end[nearer]
    detour = away[start] + np.concatenate([length, length])[nearer] - away[end]
    order = np.lexsort((start, np.round(detour / max(float(length.mean()), 1e-300), 9), end))
    first = np.unique(end[order], return_index=True)[1]
    before = np.full(count, -1, dtype=np.int64)
    before[end[order][first]] = start[order][first]
    return away, before


def _left_over(faces: IntArray, loops: list[IntArray], in_tree: BoolArray, loop_length: FloatArray) -> IntArray:
    """Return the edges that neither tree uses when faces, and rims, are joined over the longest loops first."""
    table = edge_table(faces)
    sides = np.full((len(table.vertices), 2), -1, dtype=np.int64)
    sides[table.face_count == 2] = edge_sides(table) // 3
    rim_of = np.full(int(faces.max()) + 1, -1, dtype=np.int64)
    for number, loop in enumerate(loops):
        rim_of[loop] = len(faces) + number
    lone = np.flatnonzero(table.boundary)
    half = np.empty(len(table.vertices), dtype=np.int64)
    half[table.of_half_edge] = np.arange(len(table.of_half_edge))
    sides[lone] = np.stack([half[lone] // 3, rim_of[table.vertices[lone, 0]]], axis=1)
    parent = list(range(len(faces) + len(loops)))

    def top(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    free = np.flatnonzero(~in_tree)
    left = []
    for edge in free[np.lexsort((free, -loop_length[free]))].tolist():
        one, two = top(int(sides[edge, 0])), top(int(sides[edge, 1]))
        if one == two:
            left.append(edge)
        else:
            parent[one] = two
    return np.array(left, dtype=np.int64)


def _pruned(edges: IntArray, rim: IntArray) -> IntArray:
    """Take off loose ends, except those that reach the rim."""
    while len(edges):
        vertices, count = np.unique(edges, return_counts=True)
        loose = np.setdiff1d(vertices[count == 1], rim)
        if len(loose) == 0:
            break
        edges = edges[~np.isin(edges, loose).any(axis=1)]
    return edges


def _chains(edges: IntArray, rim: IntArray) -> list[IntArray]:
    """Return edges as chains between forks, loose ends and the rim; a loop without any starts at its least vertex."""
    beside: dict[int, list[int]] = {}
    for one, two in edges.tolist():
        beside.setdefault(one, []).append(two)
        beside.setdefault(two, []).append(one)
    on_rim = np.isin(sorted(beside), rim)
    stops = {v for v, rimmed in zip(sorted(beside), on_rim.tolist(), strict=True) if rimmed or len(beside[v]) != 2}
    chains = []
    for start in [*sorted(stops), *sorted(beside)]:
        while beside[start]:
            chain = [start]
            while beside[chain[-1]] and (len(chain) == 1 or chain[-1] not in stops):
                beyond = min(beside[chain[-1]])
                beside[chain[-1]].remove(beyond)
                beside[beyond].remove(chain[-1])
                chain.append(beyond)
                if beyond == start:
                    break
            chains.append(np.array(chain, dtype=np.int64))
    return chains
