"""The compiled loop that finds which face of a surface is seen at each pixel. Import it when it is used.

Method: every face is run over the pixels of its box, and at each pixel the one nearest to the eye is kept (a depth
buffer; E. Catmull, "A subdivision algorithm for computer display of curved surfaces", 1974). Of a wide box only the
pixels between the sides of the face are looked at, and one more at each end, for long thin faces.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["faces_seen"]

_WIDE = 8  # pixels from which the sides are looked for first
_LEVEL = 1e-6  # pixels: sides that rise less leave their place in a row to rounding


@njit(cache=True)
def _within(
    x: float, weight: float, rise: float, low: float, high: float
) -> tuple[float, float]:  # pragma: no cover - compiled
    """Return what is left of a row where a weight, that rises from its value at x, is not negative; a pixel more."""
    foot = x - weight / rise
    return (max(low, foot - 1.5), high) if rise > 0.0 else (low, min(high, foot + 1.5))


@njit(cache=True)
def faces_seen(
    points: FloatArray, faces: IntArray, columns: int, rows: int
) -> tuple[IntArray, FloatArray, FloatArray]:  # pragma: no cover - compiled
    """Return the face seen at each pixel.

    Parameters
    ----------
    points : (n, 3) float array
        Vertices: pixels to the right, pixels down, and how near to the eye (more is nearer).
    faces : (m, 3) int array
        Vertex indices.
    columns, rows : int
        Size of the picture; the middle of the first pixel is 0.5, 0.5.

    Returns
    -------
    face : (rows, columns) int array
        The face; -1 where there is none. Of equally near faces the first.
    weights : (rows, columns, 3) float array
        Where in the face: weights on its corners.
    near : (rows, columns) float array
        How near to the eye; minus infinite where there is none.
    """
    face = np.full((rows, columns), -1, np.int64)
    weights = np.zeros((rows, columns, 3))
    near = np.full((rows, columns), -np.inf)
    for f in range(len(faces)):
        ax, ay, az = points[faces[f, 0], 0], points[faces[f, 0], 1], points[faces[f, 0], 2]
        bx, by, bz = points[faces[f, 1], 0], points[faces[f, 1], 1], points[faces[f, 1], 2]
        cx, cy, cz = points[faces[f, 2], 0], points[faces[f, 2], 1], points[faces[f, 2], 2]
        twice = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        if twice == 0.0:
            continue
        left, right = max(0, int(np.ceil(min(ax, bx, cx) - 0.5))), min(columns - 1, int(max(ax, bx, cx) - 0.5))
        top, bottom = max(0, int(np.ceil(min(ay, by, cy) - 0.5))), min(rows - 1, int(max(ay, by, cy) - 0.5))
        for row in range(top, bottom + 1):
            y = row + 0.5
            first, last = left, right
            if right - left > _WIDE:
                x, low, high = left + 0.5, float(left), float(right)
                if abs(by - cy) > _LEVEL:
                    wa = ((bx - x) * (cy - y) - (cx - x) * (by - y)) / twice
                    low, high = _within(left, wa, (by - cy) / twice, low, high)
                if abs(cy - ay) > _LEVEL:
                    wb = ((cx - x) * (ay - y) - (ax - x) * (cy - y)) / twice
                    low, high = _within(left, wb, (cy - ay) / twice, low, high)
                if abs(ay - by) > _LEVEL:
                    wc = ((ax - x) * (by - y) - (bx - x) * (ay - y)) / twice
                    low, high = _within(left, wc, (ay - by) / twice, low, high)
                if low > high:
                    continue
                first, last = int(low), int(high)
            for column in range(first, last + 1):
                x = column + 0.5
                wa = ((bx - x) * (cy - y) - (cx - x) * (by - y)) / twice
                wb = ((cx - x) * (ay - y) - (ax - x) * (cy - y)) / twice
                wc = 1.0 - wa - wb
                # A pixel on an edge must not fall between its two faces.
                if wa < -1e-9 or wb < -1e-9 or wc < -1e-9:
                    continue
                depth = wa * az + wb * bz + wc * cz
                if depth > near[row, column]:
                    near[row, column], face[row, column] = depth, f
                    weights[row, column, 0], weights[row, column, 1], weights[row, column, 2] = wa, wb, wc
    return face, weights, near
