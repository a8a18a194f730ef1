"""The compiled loop that spreads distances from a line; imported only when a rim is moved.

From a line the wave starts straight: distances from points put along it would run ahead, and ever more from face to
face. So each vertex remembers which end of the line its distance comes from. Where two corners of a face were reached
from the same end, the wave is the circle about it (exact on the flat); else it is the straight one through both (exact
for a straight line on the flat; R. Kimmel and J. A. Sethian, "Computing geodesic paths on manifolds", PNAS 95:15,
1998). A vertex that is reached again on a shorter way is handed on again.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["spread"]

_WORTH_TELLING = 1e-10


@njit(cache=True)
def spread(
    faces: IntArray, sides: FloatArray, first: IntArray, corner: IntArray, distance: FloatArray, limit: float
) -> None:  # pragma: no cover - compiled
    """Spread distances from the vertices of a line, which have 0; `distance` is changed in place.

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
        0 on the line, infinite elsewhere.
    limit : float
        Distances beyond it are not handed on.
    """
    count = len(distance)
    source = np.full(count, -1, np.int64)
    queue = np.empty(count + 1, np.int64)
    waits = np.zeros(count, np.bool_)
    head, tail = 0, 0
    for vertex in range(count):
        if distance[vertex] == 0.0:
            source[vertex] = vertex
            queue[tail] = vertex
            waits[vertex] = True
            tail += 1
    while head != tail:
        vertex = queue[head]
        head = (head + 1) % (count + 1)
        waits[vertex] = False
        if distance[vertex] > limit:
            continue
        for index in range(first[vertex], first[vertex + 1]):
            face, k = corner[index] // 3, corner[index] % 3
            p, q = (k + 1) % 3, (k + 2) % 3
            for target, other in ((p, q), (q, p)):
                goal, beside = faces[face, target], faces[face, other]
                reached, origin = distance[vertex] + sides[face, other], source[vertex]
                if distance[beside] < np.inf:
                    same = source[vertex] == source[beside] and source[vertex] >= 0
                    across = _wave(
                        distance[vertex],
                        distance[beside],
                        sides[face, target],
                        sides[face, other],
                        sides[face, k],
                        same,
                    )
                    if across < reached:
                        reached, origin = across, source[vertex] if same else -1
                if reached < distance[goal] * (1.0 - _WORTH_TELLING):
                    distance[goal], source[goal] = reached, origin
                    if not waits[goal]:
                        queue[tail] = goal
                        waits[goal] = True
                        tail = (tail + 1) % (count + 1)


@njit(cache=True)
def _wave(
    da: float, db: float, ab: float, ac: float, bc: float, circular: bool
) -> float:  # pragma: no cover - compiled
    """Distance at C of a wave that reached A and B; infinite if it does not come through the side AB."""
    if ab <= 0.0:
        return np.inf
    cx = 0.5 * (ab + (ac - bc) * (ac + bc) / ab)
    cy = sqrt(max((ac - cx) * (ac + cx), 0.0))
    if circular:
        sx = 0.5 * (ab + (da - db) * (da + db) / ab)
        sy = sqrt(max((da - sx) * (da + sx), 0.0))
        if sy + cy <= 0.0:
            return np.inf
        crossing = sx + (cx - sx) * sy / (sy + cy)
        if crossing < 0.0 or crossing > ab:
            return np.inf
        return sqrt((cx - sx) ** 2 + (cy + sy) ** 2)
    slope = (db - da) / ab
    if abs(slope) >= 1.0:
        return np.inf
    rise = sqrt(1.0 - slope * slope)
    crossing = cx - cy * slope / rise  # where the ray through C left AB
    if crossing < 0.0 or crossing > ab:
        return np.inf
    return da + slope * cx + rise * cy
