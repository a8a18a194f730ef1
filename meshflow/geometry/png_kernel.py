"""The compiled loop of `grey_png`; imported only when a picture is read.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

from numba import njit

from meshflow.model.arrays import UInt8Array

__all__ = ["undo_filters"]


@njit(cache=True)
def undo_filters(filters: UInt8Array, lines: UInt8Array, step: int) -> None:  # pragma: no cover - compiled
    """Turn what a PNG stores of its rows into the rows themselves, in place (PNG, section 9.2).

    Parameters
    ----------
    filters : (rows,) uint8 array
        0 none, 1 left, 2 above, 3 mean of both, 4 the nearest of left, above and beyond (Paeth).
    lines : (rows, width) uint8 array
        The bytes stored.
    step : int
        Bytes of a pixel.
    """
    rows, width = lines.shape
    for row in range(rows):
        kind = filters[row]
        for place in range(width):
            left = int(lines[row, place - step]) if place >= step else 0
            above = int(lines[row - 1, place]) if row > 0 else 0
            beyond = int(lines[row - 1, place - step]) if row > 0 and place >= step else 0
            told = 0
            if kind == 1:
                told = left
            elif kind == 2:
                told = above
            elif kind == 3:
                told = (left + above) // 2
            elif kind == 4:
                guess = left + above - beyond
                to_left, to_above, to_beyond = abs(guess - left), abs(guess - above), abs(guess - beyond)
                if to_left <= to_above and to_left <= to_beyond:
                    told = left
                elif to_above <= to_beyond:
                    told = above
                else:
                    told = beyond
            lines[row, place] = (int(lines[row, place]) + told) & 255
