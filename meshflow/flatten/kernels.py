"""Inner loops of the flattening, compiled by numba on first use and cached.

Here s is flat over formed, as in the papers; the rest of the house reports the reciprocal. For one face with flat
corners q_k and rest gradients g_k the map's Jacobian is ``F = sum_k q_k g_k^T``.

References
----------
Smith and Schaefer, "Bijective parameterization with free boundaries", ACM TOG 34:4, 2015 (step to first flip).
"""

# Plain loops over faces on purpose: one pass, no temporaries, and the same summation order on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["block_pattern", "longest_step", "rest_gradients", "singular_values"]

LEAST_HEIGHT = 1e-9  # of the longest side: flatter faces have no frame of their own
ROOM = 1e-5  # of the mean side: room left in the triangle inequalities of a mollified face


@njit(cache=True)
def rest_gradients(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return gradients of the corner hat functions in each face's own frame, (m, 3, 2), and areas (m,).

    Corner 0 lies at the origin, corner 1 on the x axis. A face so flat that its frame would not be finite gets a
    mollified frame: it says nothing about strain, but must not fold over either.
    """
    count = faces.shape[0]
    gradients = np.empty((count, 3, 2))
    areas = np.empty(count)
    mean = 0.0
    for face in range(count):
        for k in range(3):
            i, j = faces[face, k], faces[face, (k + 1) % 3]
            mean += math.sqrt(
                (vertices[i, 0] - vertices[j, 0]) ** 2
                + (vertices[i, 1] - vertices[j, 1]) ** 2
                + (vertices[i, 2] - vertices[j, 2]) ** 2
            )
    mean /= 3 * count
    for face in range(count):
        i, j, k = faces[face, 0], faces[face, 1], faces[face, 2]
        ux, uy, uz = vertices[j, 0] - vertices[i, 0], vertices[j, 1] - vertices[i, 1], vertices[j, 2] - vertices[i, 2]
        vx, vy, vz = vertices[k, 0] - vertices[i, 0], vertices[k, 1] - vertices[i, 1], vertices[k, 2] - vertices[i, 2]
        c2, b2, dot = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, ux * vx + uy * vy + uz * vz
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        twice = math.sqrt(nx * nx + ny * ny + nz * nz)
        c = math.sqrt(c2)
        if twice <= LEAST_HEIGHT * max(c2, b2, c2 + b2 - 2.0 * dot):
            c, x, y = _mollified_frame(c, math.sqrt(b2), math.sqrt(max(c2 + b2 - 2.0 * dot, 0.0)), ROOM * mean)
        else:
            x, y = dot / c, twice / c
        areas[face] = 0.5 * c * y
        gradients[face, 1, 0] = 1.0 / c
        gradients[face, 1, 1] = -x / (c * y)
        gradients[face, 2, 0] = 0.0
        gradients[face, 2, 1] = 1.0 / y
        gradients[face, 0, 0] = -gradients[face, 1, 0]
        gradients[face, 0, 1] = -gradients[face, 1, 1] - gradients[face, 2, 1]
    return gradients, areas


@njit(cache=True)
def _mollified_frame(c, b, a, room):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Lengthen the sides by one amount so that they leave room for a triangle; return its frame (c, x, y)."""
    lack = room + 2.0 * max(a, b, c) - a - b - c
    if lack > 0.0:
        a, b, c = a + lack, b + lack, c + lack
    x = (b * b + c * c - a * a) / (2.0 * c)
    # Heron's formula by factors, without a difference of squares.
    twice = 0.5 * math.sqrt((a + b + c) * (a + b - c) * (a - b + c) * (b + c - a))
    return c, x, twice / c


@njit(cache=True)
def block_pattern(
    faces: IntArray, count: int
) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:  # pragma: no cover - compiled
    """Return the pattern of the lower half of a matrix of 2 x 2 blocks, and where each face writes into it.

    Returns
    -------
    starts, indices : int arrays
        Compressed columns of single unknowns. Blocks on the diagonal are whole: one entry of each lies above it.
    diagonal : (2n,) int array
        Places of the diagonal.
    slot, stride : (m, 9) int array
        See `meshflow.flatten.newton`.
    """
    # Corners by vertex, then the sorted neighbours of higher index of each vertex.
    begin = np.zeros(count + 1, np.int64)
    for corner in range(3 * len(faces)):
        begin[faces[corner // 3, corner % 3] + 1] += 1
    for vertex in range(count):
        begin[vertex + 1] += begin[vertex]
    filled, corners = begin[:-1].copy(), np.empty(3 * len(faces), np.int64)
    for corner in range(3 * len(faces)):
        vertex = faces[corner // 3, corner % 3]
        corners[filled[vertex]] = corner
        filled[vertex] += 1
    slot, stride = np.full((len(faces), 9), -1), np.zeros((len(faces), 9), np.int64)
    starts, diagonal = np.zeros(2 * count + 1, np.int64), np.empty(2 * count, np.int64)
    indices = np.empty(4 * count + 24 * len(faces), np.int64)
    end = 0
    for vertex in range(count):
        around = np.empty(1 + 2 * (begin[vertex + 1] - begin[vertex]), np.int64)
        around[0], size = vertex, 1
        for at in range(begin[vertex], begin[vertex + 1]):
            for turn in range(1, 3):
                other = faces[corners[at] // 3, (corners[at] % 3 + turn) % 3]
                if other > vertex:
                    around[size] = other
                    size += 1
        around[:size].sort()
        degree = 1
        for k in range(1, size):
            if around[k] != around[degree - 1]:
                around[degree] = around[k]
                degree += 1
        for side in range(2):
            for k in range(degree):
                at = end + 2 * degree * side + 2 * k
                indices[at], indices[at + 1] = 2 * around[k], 2 * around[k] + 1
            diagonal[2 * vertex + side] = end + 2 * degree * side + side
            starts[2 * vertex + side + 1] = end + 2 * degree * (side + 1)
        for at in range(begin[vertex], begin[vertex + 1]):
            face, column = corners[at] // 3, corners[at] % 3
            for row in range(3):
                if faces[face, row] >= vertex:
                    place = np.searchsorted(around[:degree], faces[face, row])
                    slot[face, 3 * row + column] = end + 2 * place
                    stride[face, 3 * row + column] = 2 * degree
        end += 4 * degree
    return starts, indices[:end].copy(), diagonal, slot, stride


@njit(cache=True)
def _jacobian(flat, faces, gradients, face):  # type: ignore[no-untyped-def]
    f00 = f01 = f10 = f11 = 0.0
    for k in range(3):
        v = faces[face, k]
        f00 += flat[v, 0] * gradients[face, k, 0]
        f01 += flat[v, 0] * gradients[face, k, 1]
        f10 += flat[v, 1] * gradients[face, k, 0]
        f11 += flat[v, 1] * gradients[face, k, 1]
    return f00, f01, f10, f11


@njit(cache=True)
def singular_values(flat: FloatArray, faces: IntArray, gradients: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the larger and the signed smaller singular value of each face's Jacobian."""
    count = faces.shape[0]
    large, small = np.empty(count), np.empty(count)
    for face in range(count):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        turn = math.hypot(f00 + f11, f10 - f01)
        flip = math.hypot(f00 - f11, f10 + f01)
        large[face] = 0.5 * (turn + flip)
        small[face] = 0.5 * (turn - flip)
    return large, small


@njit(cache=True)
def longest_step(flat: FloatArray, step: FloatArray, faces: IntArray) -> float:
    """Return the least positive t at which a face of ``flat + t step`` loses its area; infinite if none does."""
    least = math.inf
    for face in range(faces.shape[0]):
        i, j, k = faces[face, 0], faces[face, 1], faces[face, 2]
        ux, uy = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1]
        vx, vy = flat[k, 0] - flat[i, 0], flat[k, 1] - flat[i, 1]
        dux, duy = step[j, 0] - step[i, 0], step[j, 1] - step[i, 1]
        dvx, dvy = step[k, 0] - step[i, 0], step[k, 1] - step[i, 1]
        # Twice the area along the step: c + b t + a t^2, with c > 0.
        c = ux * vy - uy * vx
        b = ux * dvy - uy * dvx + dux * vy - duy * vx
        a = dux * dvy - duy * dvx
        root = b * b - 4.0 * a * c
        if root < 0.0:
            continue
        # Both roots by the form that loses no digits; c over q stays right when a is 0.
        q = -0.5 * (b + math.copysign(math.sqrt(root), b))
        if q != 0.0 and 0.0 < c / q < least:
            least = c / q
        if a != 0.0 and 0.0 < q / a < least:
            least = q / a
    return least
