"""Unrolling: a developable piece is laid flat exactly, face by face, as the trade does by triangulation.

Every face is laid beside its neighbour at true size. Where the surface is developable the order does not matter and
nothing is strained; the result is kept only when that is so to one part in a million. Vertices are placed level by
level from the face in the middle of the walk, so rounding stays near 1e-12 of the size.

References
----------
The sheet-metal trade's development by triangulation (handbook method): true lengths of a triangle's sides fix it.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import face_adjacency
from meshflow.geometry.triangles import angle_defects, corner_angles, edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["unrolled"]

CLOSE_TO_FLAT = 1e-3  # rad: no inner vertex of a developable mesh misses more than this of a full turn
EXACT = 1e-6  # strain up to which an unrolling counts as exact


def unrolled(vertices: FloatArray, faces: IntArray, on_boundary: BoolArray) -> FloatArray | None:
    """Return the exact flat shape of a developable disk, or None if it is not developable.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices of one shell.
    on_boundary : (n,) bool array
        Which vertices lie on the rim or a hole.

    Returns
    -------
    (n, 2) float array or None
        Flat positions [mm], every side true to 1e-6; None where curvature forbids it.
    """
    lengths = edge_lengths(vertices, faces)
    defects = angle_defects(faces, corner_angles(lengths), on_boundary)
    if np.abs(defects[~on_boundary]).max(initial=0.0) > CLOSE_TO_FLAT:
        return None
    if lengths.min() <= 0.0:
        return None  # a side without length has no direction to lay the next face along
    flat = _laid_out(lengths, faces, len(vertices))
    corner = flat[faces]
    sides = np.linalg.norm(np.roll(corner, -1, axis=1) - np.roll(corner, -2, axis=1), axis=2)
    return flat if float(np.abs(sides / lengths - 1.0).max()) <= EXACT else None


def _laid_out(lengths: FloatArray, faces: IntArray, count: int) -> FloatArray:
    flat = np.zeros((count, 2))
    placed = np.zeros(count, dtype=bool)
    first = int(np.argmax(lengths.min(axis=1)))
    a, b = faces[first, 0], faces[first, 1]
    flat[b] = (lengths[first, 2], 0.0)
    placed[[a, b]] = True
    for parents, ids in _levels(faces, first):
        _place(flat, placed, lengths[ids], faces[ids], faces[parents] if parents is not None else None)
    return flat


def _levels(faces: IntArray, first: int) -> list[tuple[IntArray | None, IntArray]]:
    """Faces by their distance from `first`, each with the neighbour it is laid beside."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order

    pairs, _ = face_adjacency(faces)
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(faces),) * 2).tocsr()
    order, before = breadth_first_order(graph, first, directed=False)
    depth = np.zeros(len(faces), dtype=np.int64)
    rank = np.empty(len(faces), dtype=np.int64)
    rank[order] = np.arange(len(order))
    for face in order[1:].tolist():
        depth[face] = depth[before[face]] + 1
    levels: list[tuple[IntArray | None, IntArray]] = [(None, np.array([first]))]
    by_depth = order[np.argsort(depth[order], kind="stable")]
    ends = np.cumsum(np.bincount(depth[order]))
    for start, end in pairwise(ends):
        ids = np.asarray(by_depth[start:end], dtype=np.int64)
        levels.append((np.asarray(before[ids], dtype=np.int64), ids))
    return levels


def _place(flat: FloatArray, placed: BoolArray, lengths: FloatArray, faces: IntArray, parents: IntArray | None) -> None:
    """Set the third corner of each face from the side it shares with its parent."""
    if parents is None:
        third = np.array([2])
    else:
        shared = (faces[:, :, None] == parents[:, None, :]).any(axis=2)
        third = np.argmin(shared, axis=1)
    row = np.arange(len(faces))
    i, j, k = (faces[row, (third + step) % 3] for step in (1, 2, 0))
    base, to_i, to_j = lengths[row, third], lengths[row, (third + 2) % 3], lengths[row, (third + 1) % 3]
    along = (base**2 + to_i**2 - to_j**2) / (2.0 * base)
    above = np.sqrt(np.maximum(to_i**2 - along**2, 0.0))
    unit = (flat[j] - flat[i]) / np.linalg.norm(flat[j] - flat[i], axis=1, keepdims=True)
    normal = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    position = flat[i] + along[:, None] * unit + above[:, None] * normal
    new = ~placed[k]
    flat[k[new]] = position[new]
    placed[k[new]] = True
