"""Straight lines that bound a convex region of free places: the compiled part of `compaction`.

Method: the side of the no-fit polygon nearest to the place gives the first line, square to the way there; what lies
beyond the line is cut off, and the nearest of the rest gives the next line, until nothing is left within reach. So
the region is convex, holds the place, and holds nothing of the no-fit polygon. A place inside is first taken across
the nearest side.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["MOST_LINES", "free_lines"]

MOST_LINES = 12
_HAIR = 1e-7


@njit(cache=True, nogil=True)
def free_lines(sides, begin, end, x, y, reach, lines):  # type: ignore[no-untyped-def]
    """Write lines (nx, ny, c), each bounding the places with ``n . v >= c``; return how many.

    When there are more lines than there is room for, 0 is returned.
    """
    count = end - begin
    low, high = np.zeros(count), np.ones(count)  # what is left of each side, as shares of its length
    inside = False
    for k in range(begin, end):
        y1, y2 = sides[k, 1], sides[k, 3]
        if (y1 > y) != (y2 > y) and x - sides[k, 0] < (sides[k, 2] - sides[k, 0]) * (y - y1) / (y2 - y1):
            inside = not inside
    found = 0
    while True:
        nearest, side, px, py = np.inf, -1, 0.0, 0.0
        for k in range(count):
            if high[k] <= low[k]:
                continue
            x1, y1 = sides[begin + k, 0], sides[begin + k, 1]
            dx, dy = sides[begin + k, 2] - x1, sides[begin + k, 3] - y1
            share = ((x - x1) * dx + (y - y1) * dy) * sides[begin + k, 4]
            share = min(max(share, low[k]), high[k])
            qx, qy = x1 + share * dx, y1 + share * dy
            far = (qx - x) ** 2 + (qy - y) ** 2
            if far < nearest:
                nearest, side, px, py = far, k, qx, qy
        if side < 0 or (math.sqrt(nearest) > reach and not (inside and found == 0)):
            return found
        if found == len(lines):
            return 0
        far = math.sqrt(nearest)
        dx, dy = sides[begin + side, 2] - sides[begin + side, 0], sides[begin + side, 3] - sides[begin + side, 1]
        length = math.sqrt(dx * dx + dy * dy)
        out_x, out_y = dy / length, -dx / length  # the free side: outer rings run counter-clockwise, holes clockwise
        if inside and found == 0:
            nx, ny = out_x, out_y
            x, y = px + _HAIR * length * out_x, py + _HAIR * length * out_y
        elif far < _HAIR * length:
            nx, ny = out_x, out_y
        else:
            nx, ny = (x - px) / far, (y - py) / far
        c = nx * px + ny * py
        lines[found, 0], lines[found, 1], lines[found, 2] = nx, ny, c
        found += 1
        for k in range(count):
            if high[k] <= low[k]:
                continue
            start = nx * sides[begin + k, 0] + ny * sides[begin + k, 1] - c
            slope = nx * (sides[begin + k, 2] - sides[begin + k, 0]) + ny * (sides[begin + k, 3] - sides[begin + k, 1])
            tiny = 1e-9 * (abs(c) + 1.0)
            if slope == 0.0:
                if start <= tiny:
                    high[k] = low[k]
            elif slope > 0.0:
                low[k] = max(low[k], (tiny - start) / slope)
            else:
                high[k] = min(high[k], (tiny - start) / slope)
        high[side] = low[side] if found == 1 else high[side]
