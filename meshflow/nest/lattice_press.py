"""Pressing one lattice together: pair, row and step moved at once, so that the cell becomes least.

The six numbers are where the second piece lies, the row and the step. About each neighbour the free places are bounded
by straight lines (`compaction_kernel.free_lines`), and within those the area of the cell, made straight about where it
is, is the aim of a linear program; where row or step are tied to the edge of a sheet the aim is straight anyway. A few
rounds do, each with less reach when the last gained nothing.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["pressed"]

_ALL = np.array([(1, i, j) for i in range(-4, 5) for j in range(-4, 5)], dtype=np.int64)
_HALF = np.array([(0, i, j) for i in range(-4, 5) for j in range(5) if (j, i) > (0, 0)], dtype=np.int64)
_ENOUGH = 1e-6  # share of the cell: a round that gains less was the last


def pressed(
    own: tuple[FloatArray, ...],
    other: FloatArray,
    vectors: FloatArray,
    *,
    fixed: tuple[int, ...],
    reach: float,
    rounds: int,
    margin: float,
) -> FloatArray | None:
    """Return pair, row and step of a smaller cell, or None where the first program has no answer.

    Parameters
    ----------
    own : tuple of (k, 5) float array
        Sides of the no-fit polygon of each pose with itself, and 1 over the square of their length.
    other : (k, 5) float array
        Those of the second pose about the first; empty where there is no second.
    vectors : (6,) float array
        Place of the second piece, row, step [grid steps].
    fixed : tuple of int
        Which of the six stay as they are.
    reach : float
        How far they move in the first round [grid steps].
    rounds : int
        Linear programs at most.
    margin : float
        How far bodies are kept apart, for the sake of rounding [grid steps].
    """
    now, cell, answer = vectors, np.inf, None
    still = [*fixed, *(() if len(other) else (0, 1))]
    for _ in range(rounds):
        lines = _lines(own, other, now, 8.0 * reach)
        moved = _program(lines, now, still, reach, margin)
        if moved is None:
            return answer
        smaller = abs(_area(moved))
        if smaller >= cell * (1.0 - _ENOUGH):
            if reach < 16.0:
                return answer
            reach *= 0.25
            continue
        now = answer = moved
        cell = smaller
    return answer


def _area(vectors: FloatArray) -> float:
    return float(vectors[2] * vectors[5] - vectors[3] * vectors[4])


def _program(lines: FloatArray, now: FloatArray, still: list[int], reach: float, margin: float) -> FloatArray | None:
    from scipy.optimize import linprog

    turn = 1.0 if _area(now) > 0.0 else -1.0
    cost = turn * np.array([0.0, 0.0, now[5], -now[4], -now[3], now[2]]) / reach
    low, high = now - reach, now + reach
    low[still] = high[still] = now[still]
    answer: Any = linprog(  # type: ignore[call-overload]
        cost,
        A_ub=-lines[:, :6] if len(lines) else None,
        b_ub=-lines[:, 6] - margin if len(lines) else None,
        bounds=np.stack([low, high], axis=1),
        method="highs",
    )
    return np.asarray(answer.x, dtype=np.float64) if answer.status == 0 else None


def _lines(own: tuple[FloatArray, ...], other: FloatArray, now: FloatArray, reach: float) -> FloatArray:
    """Return lines about all neighbours: six factors and what they must come to at least."""
    found = [_about(table, _HALF, now, reach) for table in own]
    if len(other):
        found.append(_about(other, _ALL, now, reach))
    return np.concatenate(found)


def _about(table: FloatArray, times: IntArray, now: FloatArray, reach: float) -> FloatArray:
    """Return the lines of one no-fit polygon about the neighbours so many pairs, rows and steps away."""
    from meshflow.nest.compaction_kernel import MOST_LINES, free_lines

    places = np.stack([times @ now[0::2], times @ now[1::2]], axis=1)
    low, high = table[:, :2].min(axis=0) - reach, table[:, :2].max(axis=0) + reach
    near = np.flatnonzero(np.all((places > low) & (places < high), axis=1))
    room = np.empty((MOST_LINES, 3))
    rows = [np.empty((0, 7))]
    for k in near.tolist():
        count = free_lines(table, 0, len(table), places[k, 0], places[k, 1], reach, room)
        normal = room[:count, None, :2] * times[k][None, :, None]
        rows.append(np.concatenate([normal.reshape(count, 6), room[:count, 2:]], axis=1))
    return np.concatenate(rows)
