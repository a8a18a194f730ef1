"""Hollows of a former's face, where wet leather bridges and air is trapped: the places for vent holes.

Terms: the *bridge* of a hollow is the straight line that a taut skin takes over it; its *depth* is how far the face
lies below that line, along rows, columns or diagonals of the plan, whichever is most.

Method: upper convex hull of every row, column and diagonal of a coarse grid over the plan (monotone chain, Andrew
1979); deepest places first, each at a distance from those before.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["bridge_depth", "deepest"]

_WINDOW = 9  # samples: a hollow is deeper than all within four of it


def bridge_depth(height: FloatArray, inside: BoolArray) -> FloatArray:
    """Return how far below the bridges over it each sample of a grid lies [mm]; 0 outside.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm].
    inside : (rows, columns) bool array
        Samples that belong to the piece; bridges do not lead over others.

    Examples
    --------
    >>> bridge_depth(np.array([[3.0, 1.0, 3.0]]), np.ones((1, 3), dtype=bool)).tolist()
    [[0.0, 2.0, 0.0]]
    """
    deep = np.zeros(height.shape)
    rows, columns = height.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    lines = [*number, *number.T]
    for grid in (number, number[:, ::-1]):
        lines += [np.diagonal(grid, k) for k in range(-rows + 1, columns)]
    flat, within, result = height.ravel(), inside.ravel(), deep.ravel()
    for line in lines:
        breaks = np.flatnonzero(np.diff(np.concatenate([[0], within[line].astype(np.int8), [0]])))
        for first, last in breaks.reshape(-1, 2):
            run = line[first:last]
            if len(run) > 2:
                result[run] = np.maximum(result[run], _hull(flat[run]) - flat[run])
    return deep


def _hull(z: FloatArray) -> FloatArray:
    """Return the upper convex hull of evenly spaced heights, at every sample."""
    kept: list[int] = []
    values = z.tolist()
    for index, value in enumerate(values):
        while len(kept) > 1:
            a, b = kept[-2], kept[-1]
            if (values[b] - values[a]) * (index - a) > (value - values[a]) * (b - a):
                break
            kept.pop()
        kept.append(index)
    return np.asarray(np.interp(np.arange(len(z)), kept, z[kept]))


def deepest(depth: FloatArray, *, least: float, apart: float, most: int) -> list[tuple[int, int]]:
    """Return rows and columns of samples deeper than all about them, deepest first, each `apart` from those before."""
    from scipy.ndimage import maximum_filter

    around = maximum_filter(depth, size=_WINDOW, mode="constant")
    row, column = np.nonzero((depth >= least) & (depth >= around))
    order = np.lexsort((column, row, -np.round(depth[row, column], 6)))
    found: list[tuple[int, int]] = []
    for k in order:
        if len(found) >= most:
            break
        here = int(row[k]), int(column[k])
        if all(np.hypot(here[0] - r, here[1] - c) >= apart for r, c in found):
            found.append(here)
    return found
