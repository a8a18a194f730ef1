"""No-fit polygons of many sides cut into cells, so that depths are found fast: compiled by numba and cached.

Below `MANY` sides it is as fast to ask them all. Beyond, the box of the no-fit polygon is divided into cells. Each cell
knows whether it lies inside, outside or across the boundary, and which sides can be the nearest to some place in it;
each row of cells knows which sides reach into it. So a depth takes a handful of sides instead of all, and comes out the
same to the last bit.

Which sides a cell keeps: going somewhere changes a distance by no more than the way, so the side nearest to a place in
a cell lies no farther from its middle than the side nearest to that, plus the diagonal of the cell. The pictures of
`separation_kernel` have four nodes along a cell: finer cells take more memory and save no time.
"""

# Plain loops on purpose: compiled they need no temporaries, and their order is the same on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["ACROSS", "INSIDE", "MANY", "OUTSIDE", "SHIFT", "cells", "cells_along", "rows"]

OUTSIDE, INSIDE, ACROSS = 0, 1, 2
MANY = 24  # sides of a polygon that has cells
SHIFT = 2  # a cell is so long: two to the power of this, in nodes of the picture
_SLACK = 1e-6  # share of a cell, for the rounding of places to cells


@njit(cache=True, nogil=True)
def cells_along(nodes):  # type: ignore[no-untyped-def]
    """Return how many cells there are along a row of so many nodes."""
    return (nodes - 2 >> SHIFT) + 1


@njit(cache=True, nogil=True)
def _is_inside(sides, begin, end, x, y):  # type: ignore[no-untyped-def]
    inside = False
    for k in range(begin, end):
        y1, y2 = sides[k, 1], sides[k, 3]
        if (y1 > y) != (y2 > y) and x - sides[k, 0] < (sides[k, 2] - sides[k, 0]) * (y - y1) / (y2 - y1):
            inside = not inside
    return inside


@njit(cache=True, nogil=True)
def _keep(sides, begin, end, x, y, diagonal, kept, fars):  # type: ignore[no-untyped-def]
    """Keep those sides that may be the nearest within half a diagonal; return how many, and the least distance."""
    nearest = np.inf
    for k in range(begin, end):
        dx, dy = sides[k, 2] - sides[k, 0], sides[k, 3] - sides[k, 1]
        wx, wy = x - sides[k, 0], y - sides[k, 1]
        share = min(max((wx * dx + wy * dy) * sides[k, 4], 0.0), 1.0)
        fars[k - begin] = math.hypot(wx - share * dx, wy - share * dy)
        nearest = min(nearest, fars[k - begin])
    most = (nearest + diagonal * (1.0 + _SLACK)) * (1.0 + 1e-12)
    found = 0
    for k in range(begin, end):
        if fars[k - begin] <= most:
            kept[found] = k
            found += 1
    return found, nearest


@njit(cache=True, nogil=True)
def _roomy(array, least):  # type: ignore[no-untyped-def]
    """Return the array, or where it is shorter than `least` a copy at least twice as long."""
    if len(array) >= least:
        return array
    more = np.empty(max(2 * len(array), least), array.dtype)
    more[: len(array)] = array
    return more


@njit(cache=True, nogil=True)
def rows(sides, first, box, shape):  # type: ignore[no-untyped-def]
    """Return the sides that reach into each row of cells.

    Returns the number of the first row of each polygon, where the sides of each row begin, and the sides.
    """
    pairs = len(first) - 1
    at = np.zeros(pairs + 1, np.int64)
    for pair in range(pairs):
        many = first[pair + 1] - first[pair] >= MANY
        at[pair + 1] = at[pair] + (cells_along(shape[pair, 0]) if many else 0)
    begins = np.zeros(at[pairs] + 1, np.int64)
    found = np.empty(4 * at[pairs] + 1, np.int32)
    filled = 0
    for pair in range(pairs):
        high = (box[pair, 3] - box[pair, 1]) / (shape[pair, 0] - 1) * (1 << SHIFT)
        for row in range(at[pair + 1] - at[pair]):
            low, top = box[pair, 1] + high * (row - _SLACK), box[pair, 1] + high * (row + 1 + _SLACK)
            found = _roomy(found, filled + first[pair + 1] - first[pair])
            for k in range(first[pair], first[pair + 1]):
                if max(sides[k, 1], sides[k, 3]) >= low and min(sides[k, 1], sides[k, 3]) <= top:
                    found[filled] = k
                    filled += 1
            begins[at[pair] + row + 1] = filled
    return at, begins, found[:filled].copy()


@njit(cache=True, nogil=True)
def cells(sides, first, box, shape):  # type: ignore[no-untyped-def]
    """Return the sides that can be the nearest in each cell.

    Returns the number of the first cell of each polygon, row by row from there on, the kinds of the cells, where the
    sides of each begin and end, and the sides.
    """
    pairs = len(first) - 1
    at, most = np.zeros(pairs + 1, np.int64), 0
    for pair in range(pairs):
        many = first[pair + 1] - first[pair] >= MANY
        at[pair + 1] = at[pair] + (cells_along(shape[pair, 0]) * cells_along(shape[pair, 1]) if many else 0)
        most = max(most, first[pair + 1] - first[pair])
    kinds, spans = np.zeros(at[pairs], np.uint8), np.zeros((at[pairs], 2), np.int32)
    near, kept, fars = np.empty(4 * at[pairs] + 1, np.int32), np.empty(most, np.int32), np.empty(most)
    filled = 0
    for pair in range(pairs):
        begin, end = first[pair], first[pair + 1]
        wide = (box[pair, 2] - box[pair, 0]) / (shape[pair, 1] - 1) * (1 << SHIFT)
        high = (box[pair, 3] - box[pair, 1]) / (shape[pair, 0] - 1) * (1 << SHIFT)
        diagonal = math.hypot(wide, high)
        long = cells_along(shape[pair, 1])
        for number in range(at[pair + 1] - at[pair]):
            x = box[pair, 0] + wide * (number % long + 0.5)
            y = box[pair, 1] + high * (number // long + 0.5)
            found, nearest = _keep(sides, begin, end, x, y, diagonal, kept, fars)
            cell = at[pair] + number
            if nearest <= 0.5 * diagonal * (1.0 + _SLACK):
                kinds[cell] = ACROSS
            elif _is_inside(sides, begin, end, x, y):
                kinds[cell] = INSIDE
            else:
                continue
            near = _roomy(near, filled + found)
            near[filled : filled + found] = kept[:found]
            spans[cell, 0], spans[cell, 1] = filled, filled + found
            filled += found
    return at, kinds, spans, near[:filled].copy()
