"""The compiled loop of `geodesics.geodesic_distance`; imported only when a distance is asked for.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["march"]

# A vertex is handed on again only if it came nearer by this share: far below the accuracy of the method.
_WORTH_TELLING = 1e-10
# A few times are usual, some hundred on badly sheared meshes. Where a side is next to nothing, rounding lets its two
# ends pull each other down without end.
_MOST_TELLINGS = 1000


@njit(cache=True)
def march(
    faces: IntArray, sides: FloatArray, first: IntArray, corner: IntArray, distance: FloatArray
) -> None:  # pragma: no cover - compiled
    """Spread distances from the vertices that already have one; `distance` is changed in place.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    sides : (m, 3) float array
        Side lengths; column k is opposite to corner k.
    first : (n + 1,) int array
        Where the corners of each vertex start in `corner`.
    corner : (3m,) int array
        Corners ``3 * face + k``, grouped by vertex.
    distance : (n,) float array
        Finite at the seeds, infinite elsewhere.
    """
    count = len(distance)
    heap = np.empty(count, np.int64)
    place = np.full(count, -1, np.int64)
    told = np.zeros(count, np.int64)
    size = 0
    for vertex in range(count):
        if distance[vertex] < np.inf:
            size = _push(heap, place, distance, size, vertex)
    while size > 0:
        vertex = heap[0]
        size = _pop(heap, place, distance, size)
        for index in range(first[vertex], first[vertex + 1]):
            face, k = corner[index] // 3, corner[index] % 3
            p, q = (k + 1) % 3, (k + 2) % 3
            for target, other in ((p, q), (q, p)):
                # The side between vertex and target is opposite to the third corner, and so on.
                reached = distance[vertex] + sides[face, other]
                if distance[faces[face, other]] < np.inf:
                    across = _circular_wave(
                        distance[vertex], distance[faces[face, other]], sides[face, target], sides[face, other],
                        sides[face, k],
                    )  # fmt: skip
                    reached = min(reached, across)
                goal = faces[face, target]
                if reached < distance[goal] * (1.0 - _WORTH_TELLING) and told[goal] < _MOST_TELLINGS:
                    told[goal] += 1
                    distance[goal] = reached
                    size = _push(heap, place, distance, size, goal)


@njit(cache=True)
def _circular_wave(da: float, db: float, ab: float, ac: float, bc: float) -> float:  # pragma: no cover - compiled
    """Distance at C of a circular wave that reached A and B from beyond the side AB; infinite if it misses AB.

    A lies at (0, 0), B at (ab, 0), C above the side and the source below it (Novotni and Klein, section 3).
    """
    if ab <= 0.0:
        return np.inf
    source_x = 0.5 * (ab + (da - db) * (da + db) / ab)
    below = (da - source_x) * (da + source_x)
    if below < 0.0:
        return np.inf
    source_y = sqrt(below)
    c_x = 0.5 * (ab + (ac - bc) * (ac + bc) / ab)
    c_y = sqrt(max((ac - c_x) * (ac + c_x), 0.0))
    if source_y + c_y <= 0.0:
        return np.inf
    crossing = source_x + (c_x - source_x) * source_y / (source_y + c_y)
    if crossing < 0.0 or crossing > ab:
        return np.inf
    return hypot(c_x - source_x, c_y + source_y)


@njit(cache=True)
def _before(distance: FloatArray, one: int, two: int) -> bool:  # pragma: no cover - compiled
    """Order of the queue: nearer first, equal distances by index."""
    if distance[one] != distance[two]:
        return bool(distance[one] < distance[two])
    return one < two


@njit(cache=True)
def _push(
    heap: IntArray, place: IntArray, distance: FloatArray, size: int, vertex: int
) -> int:  # pragma: no cover - compiled
    """Put a vertex into the queue, or move it up when it is in it; return the new size."""
    at = place[vertex]
    if at < 0:
        at = size
        size += 1
    while at > 0:
        above = (at - 1) // 2
        if not _before(distance, vertex, heap[above]):
            break
        heap[at] = heap[above]
        place[heap[at]] = at
        at = above
    heap[at] = vertex
    place[vertex] = at
    return size


@njit(cache=True)
def _pop(heap: IntArray, place: IntArray, distance: FloatArray, size: int) -> int:  # pragma: no cover - compiled
    """Take the nearest vertex off the queue; return the new size."""
    place[heap[0]] = -1
    size -= 1
    moved = heap[size]
    at = 0
    while size > 0:
        below = 2 * at + 1
        if below >= size:
            break
        if below + 1 < size and _before(distance, heap[below + 1], heap[below]):
            below += 1
        if not _before(distance, heap[below], moved):
            break
        heap[at] = heap[below]
        place[heap[at]] = at
        at = below
    if size > 0:
        heap[at] = moved
        place[moved] = at
    return size
