"""The compiled loop of `panels_cells`: growing two or more cells at once over neighbouring faces.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["grow"]


@njit(cache=True)
def grow(neighbour: IntArray, cost: FloatArray, seeds: IntArray) -> IntArray:  # pragma: no cover - compiled
    """Assign each face to the seed that reaches it first, the cheapest pair of face and seed always next.

    Parameters
    ----------
    neighbour : (m, 3) int array
        Faces across the three edges; -1 for none.
    cost : (m, k) float array
        What it costs seed j to take face i.
    seeds : (k,) int array
        First face of each.

    Returns
    -------
    (m,) int array
        Seed of each face; -1 where no way leads. Equal costs are told apart by who asked first.
    """
    count, kinds = cost.shape
    label = np.full(count, -1, np.int64)
    room = 4 * count + kinds + 8
    key = np.empty(room, np.float64)
    turn = np.empty(room, np.int64)
    what = np.empty(room, np.int64)
    size = 0
    asked = 0
    for kind in range(kinds):
        size = _push(key, turn, what, size, -1.0, asked, seeds[kind] * kinds + kind)
        asked += 1
    while size > 0:
        face, kind = what[0] // kinds, what[0] % kinds
        size = _pop(key, turn, what, size)
        if label[face] >= 0:
            continue
        label[face] = kind
        for side in range(3):
            other = neighbour[face, side]
            if other >= 0 and label[other] < 0:
                size = _push(key, turn, what, size, cost[other, kind], asked, other * kinds + kind)
                asked += 1
    return label


@njit(cache=True)
def _before(key: FloatArray, turn: IntArray, one: int, two: int) -> bool:  # pragma: no cover - compiled
    if key[one] != key[two]:
        return bool(key[one] < key[two])
    return bool(turn[one] < turn[two])


@njit(cache=True)
def _swap(key: FloatArray, turn: IntArray, what: IntArray, one: int, two: int) -> None:  # pragma: no cover - compiled
    key[one], key[two] = key[two], key[one]
    turn[one], turn[two] = turn[two], turn[one]
    what[one], what[two] = what[two], what[one]


@njit(cache=True)
def _push(
    key: FloatArray, turn: IntArray, what: IntArray, size: int, price: float, asked: int, item: int
) -> int:  # pragma: no cover - compiled
    key[size], turn[size], what[size] = price, asked, item
    at = size
    while at > 0 and _before(key, turn, at, (at - 1) // 2):
        _swap(key, turn, what, at, (at - 1) // 2)
        at = (at - 1) // 2
    return size + 1


@njit(cache=True)
def _pop(key: FloatArray, turn: IntArray, what: IntArray, size: int) -> int:  # pragma: no cover - compiled
    size -= 1
    _swap(key, turn, what, 0, size)
    at = 0
    while 2 * at + 1 < size:
        below = 2 * at + 1
        if below + 1 < size and _before(key, turn, below + 1, below):
            below += 1
        if not _before(key, turn, below, at):
            break
        _swap(key, turn, what, at, below)
        at = below
    return size
