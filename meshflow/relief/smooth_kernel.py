"""The compiled loop of `smoothing` at rims; imported only when heights are smoothed.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["fit_at"]

_FIRM = 1e-6  # of the largest pivot: below, the samples do not fix this term of the quadric


@njit(cache=True)
def fit_at(
    height: FloatArray, inside: BoolArray, rows: IntArray, columns: IntArray, weights: FloatArray, reach: int
) -> FloatArray:  # pragma: no cover - compiled
    """Return the middle of the quadric fitted to the samples inside about each place, shape (k,).

    Parameters
    ----------
    height, inside : (rows, columns) arrays
        Heights and which of them count.
    rows, columns : (k,) int array
        The places.
    weights : (2 reach + 1,) float array
        Weights along one axis.
    reach : int
        Samples that the window goes out.
    """
    result = np.empty(len(rows))
    term = np.empty(6)
    for place in range(len(rows)):
        row, column = rows[place], columns[place]
        gram, right = np.zeros((6, 6)), np.zeros(6)
        for dy in range(-reach, reach + 1):
            y = row + dy
            if y < 0 or y >= height.shape[0]:
                continue
            for dx in range(-reach, reach + 1):
                x = column + dx
                if x < 0 or x >= height.shape[1] or not inside[y, x]:
                    continue
                weight = weights[dy + reach] * weights[dx + reach]
                u, v = dx / reach, dy / reach
                term[0], term[1], term[2], term[3], term[4], term[5] = 1.0, u, v, u * u, u * v, v * v
                for i in range(6):
                    right[i] += weight * term[i] * height[y, x]
                    for j in range(i + 1):
                        gram[i, j] += weight * term[i] * term[j]
        result[place] = _first(gram, right)
    return result


@njit(cache=True)
def _first(gram: FloatArray, right: FloatArray) -> float:  # pragma: no cover - compiled
    """Return the first unknown of the least squares, with terms that the samples do not fix left out (Cholesky)."""
    low = np.zeros((6, 6))
    fixed = np.zeros(6, np.bool_)
    for j in range(6):
        pivot = gram[j, j]
        for k in range(j):
            pivot -= low[j, k] * low[j, k]
        fixed[j] = pivot > _FIRM * gram[j, j] and pivot > 0.0
        if not fixed[j]:
            continue
        low[j, j] = np.sqrt(pivot)
        for i in range(j + 1, 6):
            total = gram[i, j]
            for k in range(j):
                total -= low[i, k] * low[j, k]
            low[i, j] = total / low[j, j]
    found = np.zeros(6)
    for i in range(6):
        if fixed[i]:
            total = right[i]
            for k in range(i):
                total -= low[i, k] * found[k]
            found[i] = total / low[i, i]
    for i in range(5, -1, -1):
        if fixed[i]:
            total = found[i]
            for k in range(i + 1, 6):
                total -= low[k, i] * found[k]
            found[i] = total / low[i, i]
    return float(found[0])
