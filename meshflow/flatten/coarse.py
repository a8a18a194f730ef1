"""A coarse copy of a large patch, for a start near the answer: the inner loops of `meshflow.flatten.nested`.

The copy lives in the plane of a first flat map. Vertices are taken away one by one, never two neighbours in one pass;
the hole is closed by a fan from one of the neighbours, chosen for well-shaped triangles. What is kept of the surface
is kept by area: each triangle carries the surface area it stands for, and the sums of its strain tensors, which the
triangles of a closed hole share by their areas in the plane. So the copy knows how strained the map is although it
has forgotten the shape.

References
----------
W. J. Schroeder, J. A. Zarge and W. E. Lorensen, "Decimation of triangle meshes", SIGGRAPH 1992 (vertex removal).
Lee, Sweldens, Schroeder, Cowsar and Dobkin, "MAPS: multiresolution adaptive parameterization of surfaces", SIGGRAPH
1998 (independent sets, hierarchy of barycentric coordinates).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["coarse_frames", "coarsen", "prolong", "strain_sums"]

MOST_FACES = 9  # round a vertex that is taken away
SHAPE = 0.15  # of a triangle that closes a hole: twice its area over its longest side squared


@njit(cache=True)
def strain_sums(
    flat: FloatArray, faces: IntArray, gradients: FloatArray, areas: FloatArray
) -> FloatArray:  # pragma: no cover - compiled
    """Return for each face the area, and area times ``F F^T`` and its inverse (xx, xy, yy): shape (m, 7)."""
    sums = np.empty((len(faces), 7))
    for face in range(len(faces)):
        a = b = c = d = 0.0
        for k in range(3):
            v = faces[face, k]
            a += flat[v, 0] * gradients[face, k, 0]
            b += flat[v, 0] * gradients[face, k, 1]
            c += flat[v, 1] * gradients[face, k, 0]
            d += flat[v, 1] * gradients[face, k, 1]
        xx, xy, yy, det = a * a + b * b, a * c + b * d, c * c + d * d, (a * d - b * c) ** 2
        area = areas[face]
        sums[face, 0] = area
        sums[face, 1], sums[face, 2], sums[face, 3] = area * xx, area * xy, area * yy
        sums[face, 4], sums[face, 5], sums[face, 6] = area * yy / det, -area * xy / det, area * xx / det
    return sums


@njit(cache=True)
def coarsen(
    flat: FloatArray, faces: IntArray, sums: FloatArray, target: int
) -> tuple[IntArray, FloatArray, IntArray, IntArray, FloatArray]:  # pragma: no cover - compiled
    """Take vertices away until about `target` faces are left, or none can go.

    Returns
    -------
    faces, sums : arrays
        What is left.
    removed : (r,) int array
        Vertices in the order they went.
    parents, shares : (r, 3) arrays
        Corners of the triangle each lay in, and its barycentric coordinates there.
    """
    count = len(flat)
    faces, sums = faces.copy(), sums.copy()
    removed, gone = np.empty(count, np.int64), 0
    parents, shares = np.empty((count, 3), np.int64), np.empty((count, 3))
    ring, fan = np.empty(MOST_FACES + 1, np.int64), np.empty(MOST_FACES, np.int64)
    left = len(faces)
    while left > target:
        before = gone
        begin, corners = _corners(faces, count)
        locked = np.zeros(count, np.bool_)
        for vertex in range(count):
            size = begin[vertex + 1] - begin[vertex]
            if left <= target or size < 2 or size > MOST_FACES or locked[vertex]:
                continue
            closed = _ring(vertex, faces, begin, corners, locked, ring, fan)
            if closed < 0 or (closed == 1 and size < 3):
                continue
            hub = _best_hub(vertex, flat, faces, begin, corners, ring, size, closed)
            if hub < 0:
                continue
            _close(vertex, hub, flat, faces, sums, ring, fan, size, closed, parents[gone], shares[gone])
            removed[gone] = vertex
            gone += 1
            left -= 1 + closed
            for k in range(size + 1 - closed):
                locked[ring[k]] = True
        kept = 0
        for face in range(len(faces)):
            if faces[face, 0] >= 0:
                faces[kept] = faces[face]
                sums[kept] = sums[face]
                kept += 1
        faces, sums = faces[:kept], sums[:kept]
        if gone - before < 0.02 * kept:
            break
    return faces.copy(), sums.copy(), removed[:gone].copy(), parents[:gone].copy(), shares[:gone].copy()


@njit(cache=True)
def _corners(faces, count):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Return the corners ``3 * face + k`` of each vertex: where they begin, and themselves."""
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
    return begin, corners


@njit(cache=True)
def _ring(vertex, faces, begin, corners, locked, ring, fan):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Set the neighbours in order and the faces between them; return 1 if they close, 0 on a rim, -1 if unusable."""
    low, high = begin[vertex], begin[vertex + 1]
    start = corners[low]
    for at in range(low, high):  # on a rim begin with the face that nothing leads to
        first = faces[corners[at] // 3, (corners[at] % 3 + 1) % 3]
        if locked[first] or locked[faces[corners[at] // 3, (corners[at] % 3 + 2) % 3]]:
            return -1
        led = False
        for other in range(low, high):
            led = led or faces[corners[other] // 3, (corners[other] % 3 + 2) % 3] == first
        if not led:
            start = corners[at]
    corner = start
    for k in range(high - low):
        face = corner // 3
        fan[k], ring[k] = face, faces[face, (corner % 3 + 1) % 3]
        ring[k + 1] = faces[face, (corner % 3 + 2) % 3]
        if k + 1 == high - low:
            break
        found = -1
        for other in range(low, high):
            if faces[corners[other] // 3, (corners[other] % 3 + 1) % 3] == ring[k + 1]:
                found = corners[other]
        if found < 0 or found == start:
            return -1
        corner = found
    return 1 if ring[high - low] == ring[0] else 0


@njit(cache=True)
def _shape(flat, i, j, k):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Twice the signed area over the longest side squared."""
    ux, uy, vx, vy = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1], flat[k, 0] - flat[i, 0], flat[k, 1] - flat[i, 1]
    longest = max(ux * ux + uy * uy, vx * vx + vy * vy, (ux - vx) ** 2 + (uy - vy) ** 2)
    return (ux * vy - uy * vx) / longest if longest > 0.0 else 0.0


@njit(cache=True)
def _best_hub(vertex, flat, faces, begin, corners, ring, size, closed):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the place in the ring from which the hole is closed best, -1 if from none."""
    worst = 1.0
    for k in range(size):
        worst = min(worst, _shape(flat, vertex, ring[k], ring[k + 1]))
    best, hub = min(SHAPE, 0.7 * worst), -1
    for place in range(0, size + 1 - closed, 1 if closed == 1 else size):
        quality = 1.0
        for k in range(size):
            after = (k + 1) % size if closed == 1 else k + 1
            if k != place and after != place:
                quality = min(quality, _shape(flat, ring[place], ring[k], ring[after]))
        if quality > best and _is_new(vertex, place, faces, begin, corners, ring, size, closed):
            best, hub = quality, place
    return hub


@njit(cache=True)
def _is_new(vertex, place, faces, begin, corners, ring, size, closed):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Whether none of the edges that would close the hole is there already."""
    hub, number = ring[place], size + 1 - closed
    for at in range(begin[hub], begin[hub + 1]):
        face = corners[at] // 3
        if faces[face, 0] == vertex or faces[face, 1] == vertex or faces[face, 2] == vertex:
            continue
        for k in range(number):
            apart = abs(k - place)
            if apart <= 1 or (closed == 1 and apart == number - 1):
                continue
            for c in range(3):
                if faces[face, c] == ring[k]:
                    return False
    return True


@njit(cache=True)
def _close(vertex, hub, flat, faces, sums, ring, fan, size, closed, parent, share):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Replace the faces round a vertex by a fan; note where the vertex lay in it."""
    total = np.zeros(7)
    for k in range(size):
        total += sums[fan[k]]
    plane, used, best = 0.0, 0, -math.inf
    for k in range(size):
        after = (k + 1) % size if closed == 1 else k + 1
        if k == hub or after == hub:
            continue
        i, j, m = ring[hub], ring[k], ring[after]
        face = fan[used]
        faces[face, 0], faces[face, 1], faces[face, 2] = i, j, m
        twice = _twice(flat, i, j, m)
        sums[face, 0] = twice
        plane += twice
        used += 1
        one, two = _twice(flat, vertex, m, i) / twice, _twice(flat, vertex, i, j) / twice
        inside = min(one, two, 1.0 - one - two)
        if inside > best:
            best = inside
            parent[0], parent[1], parent[2] = i, j, m
            share[0], share[1], share[2] = 1.0 - one - two, one, two
    for k in range(size):
        if k < used:
            sums[fan[k]] = total * (sums[fan[k], 0] / plane)
        else:
            faces[fan[k], 0] = -1


@njit(cache=True)
def _twice(flat, i, j, k):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    return (flat[j, 0] - flat[i, 0]) * (flat[k, 1] - flat[i, 1]) - (flat[j, 1] - flat[i, 1]) * (flat[k, 0] - flat[i, 0])


@njit(cache=True)
def coarse_frames(
    flat: FloatArray, faces: IntArray, sums: FloatArray
) -> tuple[FloatArray, FloatArray]:  # pragma: no cover - compiled
    """Return rest gradients (m, 3, 2) and areas (m,) that give a triangle the strain of the faces it stands for.

    Stretching is seen rightly by the mean of ``F F^T``, gathering by the mean of its inverse; between the one and the
    inverse of the other stands their geometric mean G, and ``F = sqrt(G)``, both in closed form for 2 x 2 matrices.
    """
    gradients, areas = np.empty((len(faces), 3, 2)), np.empty(len(faces))
    for face in range(len(faces)):
        areas[face] = sums[face, 0]
        axx, axy, ayy = sums[face, 1], sums[face, 2], sums[face, 3]
        bxx, bxy, byy = sums[face, 6], -sums[face, 5], sums[face, 4]  # the inverse but for a factor
        a, b = math.sqrt(axx * ayy - axy * axy), math.sqrt(bxx * byy - bxy * bxy)
        gxx, gxy, gyy = axx / a + bxx / b, axy / a + bxy / b, ayy / a + byy / b
        # det G = (a / area) / (b / area); its square root is the share of the area that the mean keeps.
        root = math.sqrt(a / b)
        scale = root / math.sqrt(gxx * gyy - gxy * gxy)
        gxx, gxy, gyy = scale * gxx, scale * gxy, scale * gyy
        scale = 1.0 / math.sqrt(gxx + gyy + 2.0 * root)
        fxx, fxy, fyy = scale * (gxx + root), scale * gxy, scale * (gyy + root)
        twice = _twice(flat, faces[face, 0], faces[face, 1], faces[face, 2])
        for k in range(3):
            i, j = faces[face, (k + 1) % 3], faces[face, (k + 2) % 3]
            hx, hy = (flat[i, 1] - flat[j, 1]) / twice, (flat[j, 0] - flat[i, 0]) / twice
            gradients[face, k, 0] = fxx * hx + fxy * hy
            gradients[face, k, 1] = fxy * hx + fyy * hy
    return gradients, areas


@njit(cache=True)
def prolong(
    values: FloatArray, removed: IntArray, parents: IntArray, shares: FloatArray
) -> None:  # pragma: no cover - compiled
    """Fill in the values (n, 2) of removed vertices, last removed first."""
    for at in range(len(removed) - 1, -1, -1):
        for c in range(2):
            values[removed[at], c] = (
                shares[at, 0] * values[parents[at, 0], c]
                + shares[at, 1] * values[parents[at, 1], c]
                + shares[at, 2] * values[parents[at, 2], c]
            )
