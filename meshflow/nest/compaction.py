"""Pressing a layout together: all pieces of one room moved at once, so that its used length becomes least.

For each pair of pieces near each other the free places about where they lie are bounded by straight lines
(`compaction_kernel`); within those, moves are a linear program. A few rounds of it close gaps that single moves do not
see, and bring pieces that lie in each other by a hair to touch. Every answer is asked for its depths again by the
caller: it is a proposal.

References
----------
Li and Milenkovic, "Compaction and separation algorithms for non-convex polygons and their applications", EJOR 84, 1995.
Gomes and Oliveira, "Solving irregular strip packing problems by hybridising simulated annealing and linear
programming", EJOR 171, 2006.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.nest.depths import DepthTable

__all__ = ["pressed"]

_REACH = 0.1  # of the room's width: how far a piece may be moved in a round, and how near pieces see each other
_ENOUGH = 1e-5  # share of the length: a round that gains less was the last
_LEFTWARD = 1e-4  # what moving all pieces left counts, against the length


def pressed(
    table: DepthTable,
    pos: FloatArray,
    poses: IntArray,
    room: FloatArray,
    *,
    movable: BoolArray | None = None,
    rounds: int = 3,
) -> tuple[FloatArray, float] | None:
    """Return places with a shorter used length, not verified; None when there are none.

    Parameters
    ----------
    table : DepthTable
        No-fit polygons.
    pos : (n, 2) float array
        Places of the pieces in the room [grid steps].
    poses : (n,) int array
        Their poses.
    room : (4,) float array
        Left and lower edge, length and width; the length is what becomes less.
    movable : (n,) bool array, optional
        Which pieces may be moved; all when left out.
    rounds : int
        Linear programs at most.
    """
    length = float(room[2])
    moved = np.ones(len(poses), dtype=np.bool_) if movable is None else movable
    for _ in range(rounds):
        answer = _round(table, pos, poses, room, moved)
        if answer is None:
            return None
        pos, shorter = answer
        if shorter > length * (1.0 - _ENOUGH):
            return pos, min(length, shorter)
        length = shorter
    return pos, length


def _round(
    table: DepthTable, pos: FloatArray, poses: IntArray, room: FloatArray, movable: BoolArray
) -> tuple[FloatArray, float] | None:
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    count = len(poses)
    reach = _REACH * float(room[3])
    size = table.sizes[poses]
    first, second, lines = _lines(table, pos, poses, reach)
    rows = len(lines)
    number = np.arange(rows)
    ending = np.flatnonzero(movable)  # what lies fixed may reach beyond the used length
    one, last = np.ones(len(ending)), rows + np.arange(len(ending))
    values = np.concatenate([-lines[:, 0], -lines[:, 1], lines[:, 0], lines[:, 1], one, -one])
    row = np.concatenate([number, number, number, number, last, last])
    column = np.concatenate(
        [2 * first, 2 * first + 1, 2 * second, 2 * second + 1, 2 * ending, np.full(len(ending), 2 * count)]
    )
    limits = np.concatenate([-lines[:, 2], -room[0] - size[ending, 0]])
    matrix = csr_array((values, (row, column)), shape=(rows + len(ending), 2 * count + 1))
    low, high = np.zeros(2 * count + 1), np.full(2 * count + 1, np.inf)
    low[: 2 * count : 2] = np.maximum(room[0], pos[:, 0] - 0.5 * reach)
    high[: 2 * count : 2] = pos[:, 0] + 0.5 * reach
    low[1 : 2 * count : 2] = np.maximum(room[1], pos[:, 1] - 0.5 * reach)
    high[1 : 2 * count : 2] = np.minimum(room[1] + room[3] - size[:, 1], pos[:, 1] + 0.5 * reach)
    still = np.concatenate([np.repeat(~movable, 2), [False]])
    low[still] = high[still] = pos[~movable].ravel()
    cost = np.zeros(2 * count + 1)
    cost[: 2 * count : 2], cost[-1] = _LEFTWARD / count, 1.0
    answer: Any = linprog(  # type: ignore[call-overload]
        cost, A_ub=matrix, b_ub=limits, bounds=np.stack([low, np.maximum(low, high)], axis=1), method="highs"
    )
    if answer.status != 0:
        return None
    return answer.x[: 2 * count].reshape(count, 2), float(answer.x[-1])


def _lines(table: DepthTable, pos: FloatArray, poses: IntArray, reach: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return for each line the moving and the fixed piece, and the line."""
    from meshflow.nest.compaction_kernel import MOST_LINES, free_lines

    sides, begin, box = table.arrays[:3]
    ways = len(table.sizes)
    room = np.empty((MOST_LINES, 3))
    first, second, lines = [], [], [np.empty((0, 3))]
    for i in range(len(poses)):
        pairs = poses[:i] * ways + poses[i]
        apart = pos[i] - pos[:i]
        near = np.all((apart > box[pairs, :2] - reach) & (apart < box[pairs, 2:] + reach), axis=1)
        for j in np.flatnonzero(near).tolist():
            pair = int(pairs[j])
            found = free_lines(sides, begin[pair], begin[pair + 1], apart[j, 0], apart[j, 1], 1.5 * reach, room)
            first += [i] * found
            second += [j] * found
            lines.append(room[:found].copy())
    return np.array(first, dtype=np.int64), np.array(second, dtype=np.int64), np.concatenate(lines)
