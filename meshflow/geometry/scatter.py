"""The compiled loop behind `operators.cotan_laplacian`: entries of faces scattered straight into rows.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["laplacian_rows"]


@njit(cache=True)
def laplacian_rows(
    faces: IntArray, weights: FloatArray, count: int
) -> tuple[IntArray, IntArray, FloatArray]:  # pragma: no cover - compiled
    """Return the Laplacian of edge weights by compressed rows, columns ascending.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    weights : (m, 3) float array
        Column k is what the face adds to the weight of the edge opposite to corner k.
    count : int
        Number of vertices.

    Returns
    -------
    starts, columns, entries : arrays
        Compressed rows.
    """
    begin = np.zeros(count + 1, np.int64)
    for face in range(len(faces)):
        for k in range(3):
            begin[faces[face, k] + 1] += 1
    for vertex in range(count):
        begin[vertex + 1] += begin[vertex]
    filled, corners = begin[:-1].copy(), np.empty(3 * len(faces), np.int64)
    for face in range(len(faces)):
        for k in range(3):
            corners[filled[faces[face, k]]] = 3 * face + k
            filled[faces[face, k]] += 1
    starts = np.zeros(count + 1, np.int64)
    columns, entries = np.empty(count + 6 * len(faces), np.int64), np.empty(count + 6 * len(faces))
    around, value = np.empty(1, np.int64), np.zeros(count)
    end = 0
    for vertex in range(count):
        if len(around) < 1 + 2 * (begin[vertex + 1] - begin[vertex]):
            around = np.empty(2 + 4 * (begin[vertex + 1] - begin[vertex]), np.int64)
        around[0], size = vertex, 1
        for at in range(begin[vertex], begin[vertex + 1]):
            face, k = corners[at] // 3, corners[at] % 3
            for turn in range(1, 3):
                other, weight = faces[face, (k + turn) % 3], weights[face, (k + 3 - turn) % 3]
                around[size] = other
                size += 1
                value[other] -= weight
                value[vertex] += weight
        around[:size].sort()
        for k in range(size):
            other = around[k]
            if k == 0 or other != around[k - 1]:
                columns[end], entries[end] = other, value[other]
                value[other] = 0.0
                end += 1
        starts[vertex + 1] = end
    return starts, columns[:end].copy(), entries[:end].copy()
