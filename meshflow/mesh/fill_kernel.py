"""The compiled loops of filling holes: the best triangulation of a loop, and its refinement. Import it when it is used.

A triangulation is kept as corners (t, 3) and, for each half-edge ``3 t + k`` from corner k to corner k + 1, the
half-edge across it, -1 on the rim.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["best_apexes", "refine"]

_FLAT = 1e-9  # cotangents this much under zero: the edge is not locally Delaunay
_MOST_SWEEPS = 40
_MOST_ROUNDS = 24


@njit(cache=True)
def best_apexes(points: FloatArray, taken: BoolArray, evenness: float) -> tuple[IntArray, float]:  # pragma: no cover
    """Find the triangulation of a loop with the least sum of area and weighted squared sides.

    Parameters
    ----------
    points : (k, 3) float array
        Corners in order [mm].
    taken : (k, k) bool array
        Chords that must not be used.
    evenness : float
        Weight of the squared sides.

    Returns
    -------
    apex : (k, k) int array
        Third corner of the triangle over each run of corners.
    cost : float
        Sum for the whole loop; infinite when every triangulation needs a forbidden chord.
    """
    count = len(points)
    cost = np.zeros((count, count))
    apex = np.zeros((count, count), dtype=np.int64)
    square = np.empty((count, count))
    for i in range(count):
        for j in range(count):
            square[i, j] = (
                (points[i, 0] - points[j, 0]) ** 2
                + (points[i, 1] - points[j, 1]) ** 2
                + (points[i, 2] - points[j, 2]) ** 2
            )
    for span in range(2, count):
        for first in range(count - span):
            last = first + span
            if taken[first, last] and span < count - 1:
                cost[first, last] = cost[last, first] = np.inf
                continue
            base, least, best = square[first, last], np.inf, first + 1
            for middle in range(first + 1, last):
                rest = cost[first, middle] + cost[last, middle]  # the lower half mirrors the upper: cache lines
                if rest >= least:
                    continue
                one, two = square[first, middle], square[middle, last]
                # Heron: 16 area^2 = 4 a^2 b^2 - (a^2 + b^2 - c^2)^2
                sixteen = max(4.0 * one * two - (one + two - base) ** 2, 0.0)
                total = rest + 0.25 * np.sqrt(sixteen) + evenness * (one + two + base)
                if total < least:
                    least, best = total, middle
            cost[first, last] = cost[last, first] = least
            apex[first, last] = best
    return apex, cost[0, count - 1]


@njit(cache=True)
def _cot(apex: FloatArray, one: FloatArray, two: FloatArray) -> float:  # pragma: no cover
    """Cotangent of the angle at `apex`; very large for a needle."""
    u0, u1, u2 = one[0] - apex[0], one[1] - apex[1], one[2] - apex[2]
    v0, v1, v2 = two[0] - apex[0], two[1] - apex[1], two[2] - apex[2]
    x, y, z = u1 * v2 - u2 * v1, u2 * v0 - u0 * v2, u0 * v1 - u1 * v0
    sine = np.sqrt(x * x + y * y + z * z)
    cosine = u0 * v0 + u1 * v1 + u2 * v2
    return float(cosine / max(sine, 1e-300))


@njit(cache=True)
def _alike(points: FloatArray, a: int, b: int, c: int, d: int, e: int, f: int) -> bool:  # pragma: no cover
    """Whether two triangles look the same way."""
    total = 0.0
    for axis in range(3):
        i, j = (axis + 1) % 3, (axis + 2) % 3
        one = (points[b, i] - points[a, i]) * (points[c, j] - points[a, j])
        one -= (points[b, j] - points[a, j]) * (points[c, i] - points[a, i])
        two = (points[e, i] - points[d, i]) * (points[f, j] - points[d, j])
        two -= (points[e, j] - points[d, j]) * (points[f, i] - points[d, i])
        total += one * two
    return total > 0.0


@njit(cache=True)
def _linked(tri: IntArray, across: IntArray, leaving: int, other: int) -> bool:  # pragma: no cover
    """Whether the vertex that a half-edge leaves has an edge to `other` in the patch."""
    half = leaving
    while True:
        t, k = half // 3, half % 3
        if tri[t, (k + 1) % 3] == other or tri[t, (k + 2) % 3] == other:
            return True
        half = across[3 * t + (k + 2) % 3]
        if half == leaving:
            return False
        if half < 0:
            break
    half = across[leaving]
    while half >= 0:
        t, k = half // 3, (half + 1) % 3
        if tri[t, (k + 1) % 3] == other or tri[t, (k + 2) % 3] == other:
            return True
        half = across[3 * t + k]
    return False


@njit(cache=True)
def _relax(
    points: FloatArray, tri: IntArray, across: IntArray, taken: BoolArray, faces: int
) -> None:  # pragma: no cover
    """Turn edges until the triangulation is locally Delaunay, as far as no edge would stand twice."""
    rim = len(taken)
    for _ in range(_MOST_SWEEPS):
        turned = 0
        for half in range(3 * faces):
            back = across[half]
            if back < half:
                continue
            t, i, s, j = half // 3, half % 3, back // 3, back % 3
            a, b, c = tri[t, i], tri[t, (i + 1) % 3], tri[t, (i + 2) % 3]
            d = tri[s, (j + 2) % 3]
            now = _cot(points[c], points[a], points[b]) + _cot(points[d], points[a], points[b])
            if now >= -_FLAT:
                continue
            then = _cot(points[a], points[c], points[d]) + _cot(points[b], points[c], points[d])
            if then <= now + _FLAT or not _alike(points, c, a, d, d, b, c):
                continue
            if c < rim and d < rim and taken[c, d]:
                continue
            if _linked(tri, across, 3 * t + (i + 2) % 3, d):
                continue
            ca, ad = across[3 * t + (i + 2) % 3], across[3 * s + (j + 1) % 3]
            db, bc = across[3 * s + (j + 2) % 3], across[3 * t + (i + 1) % 3]
            tri[t, 0], tri[t, 1], tri[t, 2] = c, a, d
            tri[s, 0], tri[s, 1], tri[s, 2] = d, b, c
            across[3 * t], across[3 * t + 1], across[3 * t + 2] = ca, ad, 3 * s + 2
            across[3 * s], across[3 * s + 1], across[3 * s + 2] = db, bc, 3 * t + 2
            if ca >= 0:
                across[ca] = 3 * t
            if ad >= 0:
                across[ad] = 3 * t + 1
            if db >= 0:
                across[db] = 3 * s
            if bc >= 0:
                across[bc] = 3 * s + 1
            turned += 1
        if turned == 0:
            return


@njit(cache=True)
def refine(
    points: FloatArray,
    size: FloatArray,
    tri: IntArray,
    across: IntArray,
    taken: BoolArray,
    count: int,
    faces: int,
    alpha: float,
) -> tuple[int, int]:  # pragma: no cover
    """Add points to a patch until its triangles are as large as those round it; arrays are filled in place.

    Parameters
    ----------
    points : (cap, 3) float array
        Corners of the loop first, then room for new points [mm].
    size : (cap,) float array
        Wanted edge length at each point [mm].
    tri : (2 cap, 3) int array
        Triangles, then room.
    across : (6 cap,) int array
        Half-edge across each half-edge.
    taken : (k, k) bool array
        Edges between corners of the loop that the mesh outside has.
    count, faces : int
        Points and triangles there are.
    alpha : float
        A point is added where it is further than ``size / alpha`` from all three corners.

    Returns
    -------
    count, faces : int
        Points and triangles there are now.
    """
    _relax(points, tri, across, taken, faces)
    for _ in range(_MOST_ROUNDS):
        before = faces
        for t in range(before):
            if count >= len(points):
                break
            a, b, c = tri[t, 0], tri[t, 1], tri[t, 2]
            wanted = (size[a] + size[b] + size[c]) / 3.0
            near = False
            for axis in range(3):
                points[count, axis] = (points[a, axis] + points[b, axis] + points[c, axis]) / 3.0
            for corner in (a, b, c):
                square = 0.0
                for axis in range(3):
                    square += (points[count, axis] - points[corner, axis]) ** 2
                reach = alpha * np.sqrt(square)
                if reach <= wanted or reach <= size[corner]:
                    near = True
            if near:
                continue
            size[count] = wanted
            ab, bc, ca = across[3 * t], across[3 * t + 1], across[3 * t + 2]
            one, two = faces, faces + 1
            tri[t, 2] = count
            tri[one, 0], tri[one, 1], tri[one, 2] = b, c, count
            tri[two, 0], tri[two, 1], tri[two, 2] = c, a, count
            across[3 * t], across[3 * t + 1], across[3 * t + 2] = ab, 3 * one + 2, 3 * two + 1
            across[3 * one], across[3 * one + 1], across[3 * one + 2] = bc, 3 * two + 2, 3 * t + 1
            across[3 * two], across[3 * two + 1], across[3 * two + 2] = ca, 3 * t + 2, 3 * one + 1
            if bc >= 0:
                across[bc] = 3 * one
            if ca >= 0:
                across[ca] = 3 * two
            count += 1
            faces += 2
        if faces == before:
            break
        _relax(points, tri, across, taken, faces)
    return count, faces
