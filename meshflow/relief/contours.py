"""Lines of one height on a grid: marching squares, the crossings interpolated along the sides of the cells.

Convention: higher ground lies on the left of a line. Lines end at the rim of the piece; others are closed.

Source: W. E. Lorensen and H. E. Cline, "Marching cubes", SIGGRAPH 1987, in the plane. A saddle cell is split by the
mean of its corners.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["contour_runs"]


def contour_runs(height: FloatArray, inside: BoolArray, level: float) -> list[tuple[FloatArray, bool]]:
    """Return the lines of one height.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights.
    inside : (rows, columns) bool array
        Only cells with all four corners inside are looked at.
    level : float
        The height.

    Returns
    -------
    list of ((k, 2) float array, bool)
        Column and row of the points, and whether the line is closed.
    """
    rows, columns = height.shape
    up = height >= level
    cell = inside[:-1, :-1] & inside[:-1, 1:] & inside[1:, :-1] & inside[1:, 1:]
    case = up[:-1, :-1] + 2 * up[:-1, 1:] + 4 * up[1:, 1:] + 8 * up[1:, :-1].astype(np.int64)
    row, column = np.nonzero(cell & (case > 0) & (case < 15))
    if not len(row):
        return []
    kind = case[row, column]
    # Sides of a cell: 0 below, 1 right, 2 above, 3 left; numbered by the grid, horizontal ones first.
    across = rows * columns
    side = np.stack(
        [
            row * columns + column,
            across + row * columns + column + 1,
            (row + 1) * columns + column,
            across + row * columns + column,
        ],
        axis=1,
    )
    mean = 0.25 * (
        height[row, column] + height[row, column + 1] + height[row + 1, column + 1] + height[row + 1, column]
    )
    starts, ends = [], []
    for code, pairs in _PAIRS.items():
        of = np.flatnonzero(kind == code)
        for start, end in pairs:
            starts.append(side[of, start])
            ends.append(side[of, end])
    for code in (5, 10):
        for high in (False, True):
            of = np.flatnonzero((kind == code) & ((mean >= level) == high))
            for start, end in _SADDLE[code, high]:
                starts.append(side[of, start])
                ends.append(side[of, end])
    return _chained(np.concatenate(starts), np.concatenate(ends), height, level)


# From which side to which side the line runs, with the higher corners on its left. Corners: 1 lower left, 2 lower
# right, 4 upper right, 8 upper left.
_PAIRS = {
    1: ((0, 3),),
    2: ((1, 0),),
    4: ((2, 1),),
    8: ((3, 2),),
    3: ((1, 3),),
    6: ((2, 0),),
    12: ((3, 1),),
    9: ((0, 2),),
    7: ((2, 3),),
    14: ((3, 0),),
    13: ((0, 1),),
    11: ((1, 2),),
}
_SADDLE = {
    (5, False): ((0, 3), (2, 1)),
    (5, True): ((0, 1), (2, 3)),
    (10, False): ((1, 0), (3, 2)),
    (10, True): ((3, 0), (1, 2)),
}


def _chained(starts: np.ndarray, ends: np.ndarray, height: FloatArray, level: float) -> list[tuple[FloatArray, bool]]:
    """Return the pieces put end to end: at each side one piece arrives and one leaves, at most."""
    follows = dict(zip(starts.tolist(), ends.tolist(), strict=True))
    arrived = set(ends.tolist())
    found = []
    heads = [start for start in starts.tolist() if start not in arrived]
    for closed, order in ((False, heads), (True, starts.tolist())):
        for start in order:
            if start not in follows:
                continue
            run = [start]
            while run[-1] in follows:
                after = follows.pop(run[-1])
                if closed and after == start:
                    break
                run.append(after)
            found.append((_crossing(np.array(run), height, level), closed))
    return found


def _crossing(side: np.ndarray, height: FloatArray, level: float) -> FloatArray:
    """Return column and row where a level crosses sides of the grid."""
    rows, columns = height.shape
    upright, number = np.divmod(side, rows * columns)
    row, column = np.divmod(number, columns)
    low = height[row, column]
    high = height[row + upright, column + 1 - upright]
    share = (level - low) / np.where(high == low, 1.0, high - low)
    return np.stack([column + share * (1 - upright), row + share * upright], axis=1)
