"""True ways on a surface: how far from a point everything lies at the most.

Terms: a *way* is a line on the surface that crosses faces straight, from point to point of their sides. Its length is
never under the geodesic distance, so what it reaches is certain to be that near; `geodesics.geodesic_distance` is
closer on the whole but may err to either side.

References
----------
M. Lanthier, A. Maheshwari and J.-R. Sack, "Approximating shortest paths on weighted polyhedral surfaces",
Algorithmica 30, 2001 (points set along the edges).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_table
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["farthest_in_faces"]

# Numbers of faces up to which so many points are set on each edge: the graph stays under three million links.
POINTS = ((6_000, 6), (20_000, 3), (60_000, 1))


def farthest_in_faces(
    vertices: FloatArray, faces: IntArray, source: int, *, points: int | None = None, parts: int = 1
) -> FloatArray:
    """Return for each part of each face a distance from the source within which all of it lies.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    source : int
        The vertex to start from.
    points : int, optional
        Points set along each edge; fewer on large meshes when left out.
    parts : int
        Each side is cut into that many pieces, each face into their square of parts, all alike and of one area.

    Returns
    -------
    (m, parts**2) float array
        Never less than the greatest geodesic distance of a point of the part [mm]; infinite where no way leads.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [3, 0, 0], [3, 4, 0], [0, 4, 0]])
    >>> farthest_in_faces(square, np.array([[0, 1, 3], [1, 2, 3]]), 0).round(2).tolist()
    [[4.0], [5.28]]
    """
    from scipy.sparse.csgraph import dijkstra

    if points is None:
        points = next((count for most, count in POINTS if len(faces) <= most), 0)
    table = edge_table(faces)
    position, on_edge = _points_on_edges(vertices, table, points)
    sides = on_edge[table.of_half_edge].reshape(len(faces), 3, points)
    graph = _graph(position, faces, table, on_edge, sides)
    reached = np.asarray(dijkstra(graph, directed=False, indices=np.array([source])))[0]
    nodes = np.concatenate([faces, sides.reshape(len(faces), 3 * points)], axis=1)
    # The farthest point of a triangle from any point is a corner.
    lattice, corner = _cut_triangle(parts)
    points = np.einsum("li,mid->mld", lattice, vertices[faces])
    farthest = np.full((len(faces), parts * parts), np.inf)
    for node in nodes.T:
        beyond = np.linalg.norm(points - position[node][:, None], axis=2)
        within = np.maximum(np.maximum(beyond[:, corner[:, 0]], beyond[:, corner[:, 1]]), beyond[:, corner[:, 2]])
        np.minimum(farthest, reached[node][:, None] + within, out=farthest)
    return farthest


def _cut_triangle(parts: int) -> tuple[FloatArray, IntArray]:
    """Weights of the corners of the parts of a triangle, and the three corners of each part."""
    keys = [(i, j) for i in range(parts + 1) for j in range(parts + 1 - i)]
    number = {key: place for place, key in enumerate(keys)}
    triples = []
    for i in range(parts):
        for j in range(parts - i):
            triples.append([number[i, j], number[i + 1, j], number[i, j + 1]])
            if i + j < parts - 1:
                triples.append([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]])
    second, third = np.array(keys, dtype=np.float64).T / parts
    return np.stack([1.0 - second - third, second, third], axis=1), np.array(triples)


def _points_on_edges(vertices: FloatArray, table: EdgeTable, points: int) -> tuple[FloatArray, IntArray]:
    start, end = vertices[table.vertices[:, 0]], vertices[table.vertices[:, 1]]
    share = ((np.arange(points) + 1.0) / (points + 1.0))[None, :, None]
    between = start[:, None] + share * (end - start)[:, None]
    on_edge = len(vertices) + np.arange(len(start) * points).reshape(len(start), points)
    return np.concatenate([vertices, between.reshape(-1, 3)]), on_edge


def _graph(position: FloatArray, faces: IntArray, table: EdgeTable, on_edge: IntArray, sides: IntArray) -> Any:
    from scipy.sparse import coo_array

    chain = np.concatenate([table.vertices[:, :1], on_edge, table.vertices[:, 1:]], axis=1)
    links = [np.stack([chain[:, :-1], chain[:, 1:]], axis=2).reshape(-1, 2)]
    points = on_edge.shape[1]
    for side in range(3):
        # Across the face: from this side's points to the opposite corner, and to the next side's points.
        own, opposite, after = sides[:, side], faces[:, (side + 2) % 3], sides[:, (side + 1) % 3]
        links.append(np.stack([own, np.repeat(opposite[:, None], points, axis=1)], axis=2).reshape(-1, 2))
        links.append(np.stack([np.repeat(own, points, axis=1), np.tile(after, (1, points))], axis=2).reshape(-1, 2))
    link = np.concatenate(links)
    length = np.linalg.norm(position[link[:, 0]] - position[link[:, 1]], axis=1)
    # A way of no length between coincident points must not vanish from the sparse pattern.
    return coo_array((np.maximum(length, 1e-300), (link[:, 0], link[:, 1])), shape=(len(position),) * 2).tocsr()
