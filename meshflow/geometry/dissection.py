"""Nested dissection: an order of the unknowns of a mesh in which a factorisation stays sparse.

The unknowns sit at points of a surface. The points are halved across their longest extent, again and again; the
points of one half that are linked with the other *separate* the two, and come after both. What is left is a tree of
*nodes*: leaves of a few points, and separators. Each node's unknowns are eliminated together, as one dense block.

References
----------
A. George, "Nested dissection of a regular finite element mesh", SIAM J. Numer. Anal. 10:2, 1973.
"""

# The compiled loops need numba at the top of their module, because the cache goes by file; nobody imports this one at
# start-up.

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["dissect", "neighbour_lists"]

LEAF = 8  # points that are no longer halved: measured, flat between 4 and 12


@njit(cache=True)
def neighbour_lists(
    rows: IntArray, columns: IntArray, count: int
) -> tuple[IntArray, IntArray]:  # pragma: no cover - compiled
    """Return the neighbours of each point, both ways round, as starts (n + 1,) and indices; doubles stay."""
    starts = np.zeros(count + 1, np.int64)
    for link in range(len(rows)):
        if rows[link] != columns[link]:
            starts[rows[link] + 1] += 1
            starts[columns[link] + 1] += 1
    for point in range(count):
        starts[point + 1] += starts[point]
    filled = starts[:-1].copy()
    indices = np.empty(starts[count], np.int32)
    for link in range(len(rows)):
        i, j = rows[link], columns[link]
        if i != j:
            indices[filled[i]] = j
            indices[filled[j]] = i
            filled[i] += 1
            filled[j] += 1
    return starts, indices


@njit(cache=True)
def dissect(
    points: FloatArray, starts: IntArray, indices: IntArray
) -> tuple[IntArray, IntArray, IntArray]:  # pragma: no cover - compiled
    """Return an order of few fill-ins and its tree.

    Parameters
    ----------
    points : (n, 3) float array
        Positions.
    starts, indices : int arrays
        Neighbours of each point; see `neighbour_lists`.

    Returns
    -------
    order : (n,) int array
        Old index of each new position.
    first : (nodes + 1,) int array
        Node k holds the new positions ``first[k]`` to ``first[k + 1] - 1``; below nodes come before those above.
    parent : (nodes,) int array
        The node above, -1 at the top.
    """
    count = len(points)
    order = np.arange(count)
    side = np.zeros(count, np.int64)  # which half, by a number used only once
    key = np.empty(count)
    first = np.zeros(count + 1, np.int64)
    parent = np.full(count, -1)
    nodes, used = 0, 0
    # A task is a range of `order`: 0 to be halved, 1 a separator whose halves are done; with the roots below it.
    stack = np.empty((200, 4), np.int64)
    open_roots = np.empty(count + 1, np.int64)
    roots, height = 0, 1
    stack[0, 0], stack[0, 1], stack[0, 2], stack[0, 3] = 0, 0, count, 0
    while height > 0:
        height -= 1
        kind, low, high, below = stack[height, 0], stack[height, 1], stack[height, 2], stack[height, 3]
        if kind == 0 and high - low > LEAF:
            middle, cut = _halve(points, starts, indices, order, side, key, low, high, used)
            used += 2
            stack[height, 0], stack[height, 1], stack[height, 2], stack[height, 3] = 1, cut, high, roots
            stack[height + 1, 0], stack[height + 1, 1], stack[height + 1, 2] = 0, middle, cut
            stack[height + 2, 0], stack[height + 2, 1], stack[height + 2, 2] = 0, low, middle
            height += 3
            continue
        if kind == 0:
            below = roots
        if high > low:  # a node; whatever is open since `below` hangs on it
            for root in range(below, roots):
                parent[open_roots[root]] = nodes
            roots = below
            open_roots[roots] = nodes
            roots += 1
            first[nodes + 1] = high
            nodes += 1
    return order, first[: nodes + 1].copy(), parent[:nodes].copy()


@njit(cache=True)
def _halve(points, starts, indices, order, side, key, low, high, used):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Reorder a range into left half, right half, separator; return where the second and the third begin."""
    _project(points, order, key, low, high)
    middle = (low + high) // 2
    _select(order, key, low, high, middle)
    for at in range(low, high):
        side[order[at]] = used + 1 if at < middle else used + 2
    touched = np.zeros(2, np.int64)
    for at in range(low, high):
        touched[0 if at < middle else 1] += _touches(starts, indices, side, order[at], used)
    separated = np.empty(min(touched[0], touched[1]), np.int64)
    found = 0
    if touched[0] <= touched[1]:
        kept = low
        for at in range(low, middle):
            point = order[at]
            if _touches(starts, indices, side, point, used):
                separated[found] = point
                found += 1
            else:
                order[kept] = point
                kept += 1
        for at in range(middle, high):
            order[at - found] = order[at]
        cut, middle = high - found, middle - found
    else:
        kept = middle
        for at in range(middle, high):
            point = order[at]
            if _touches(starts, indices, side, point, used):
                separated[found] = point
                found += 1
            else:
                order[kept] = point
                kept += 1
        cut = kept
    for at in range(found):
        order[cut + at] = separated[at]
        side[separated[at]] = 0
    return middle, cut


@njit(cache=True)
def _touches(starts, indices, side, point, used):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    other = 2 * used + 3 - side[point]
    for link in range(starts[point], starts[point + 1]):
        if side[indices[link]] == other:
            return 1
    return 0


@njit(cache=True)
def _project(points, order, key, low, high):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Set the key of each point of a range to its place along the direction in which the range is longest."""
    mean = np.zeros(3)
    for at in range(low, high):
        for k in range(3):
            mean[k] += points[order[at], k]
    mean /= high - low
    spread = np.zeros((3, 3))
    for at in range(low, high):
        for i in range(3):
            for j in range(i + 1):
                spread[i, j] += (points[order[at], i] - mean[i]) * (points[order[at], j] - mean[j])
    for i in range(3):
        for j in range(i):
            spread[j, i] = spread[i, j]
    # The longest direction by squaring the matrix a few times: exact enough to choose where to cut.
    for _ in range(6):
        size = spread[0, 0] + spread[1, 1] + spread[2, 2]
        if size <= 0.0:
            break
        spread /= size
        spread = _squared(spread)
    row = 0
    for k in range(3):
        if spread[k, k] > spread[row, row]:
            row = k
    for at in range(low, high):
        p = order[at]
        key[p] = points[p, 0] * spread[row, 0] + points[p, 1] * spread[row, 1] + points[p, 2] * spread[row, 2]


@njit(cache=True)
def _squared(a):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    product = np.zeros((3, 3))
    for i in range(3):
        for j in range(3):
            for k in range(3):
                product[i, j] += a[i, k] * a[k, j]
    return product


@njit(cache=True)
def _before(key, one, two):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    return key[one] < key[two] or (key[one] == key[two] and one < two)


@njit(cache=True)
def _select(order, key, low, high, middle):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Reorder a range so that what stands before `middle` has smaller keys than what stands after it (Hoare 1961)."""
    high -= 1
    while low < high:
        pivot = order[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while _before(key, order[i], pivot):
                i += 1
            while _before(key, pivot, order[j]):
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if middle <= j:
            high = j
        elif middle >= i:
            low = i
        else:
            return
