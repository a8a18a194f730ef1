"""The compiled loop of `over`: triangles on the flat become samples of a grid. Imported when heights are asked for.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

from math import ceil, floor

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["rasterise"]

_ON = 1e-9  # weights above -1e-9 count as on the triangle: a sample on an edge must not fall between two faces


@njit(cache=True)
def rasterise(
    flat: FloatArray,
    faces: IntArray,
    height: FloatArray,
    corner_x: float,
    corner_y: float,
    pitch: float,
    top: FloatArray,
    owner: IntArray,
    layers: IntArray,
) -> None:  # pragma: no cover - compiled
    """Lay triangles on a grid; where several lie on a sample the highest is kept, as a tool sees it from above.

    Parameters
    ----------
    flat : (n, 2) float array
        Corners on the flat [mm].
    faces : (m, 3) int array
        Vertex indices, wound either way.
    height : (n,) float array
        Heights of the corners [mm].
    corner_x, corner_y : float
        Where sample (0, 0) stands [mm].
    pitch : float
        Distance between samples [mm].
    top : (rows, columns) float array
        Set to minus infinity by the caller; becomes the greatest height.
    owner : (rows, columns) int array
        Set to -1 by the caller; becomes the face of that height, the first of those alike.
    layers : (rows, columns) int array
        Set to 0 by the caller; counts the faces that have the sample inside, edges not counted.
    """
    rows, columns = top.shape
    for face in range(len(faces)):
        a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
        ax, ay = (flat[a, 0] - corner_x) / pitch, (flat[a, 1] - corner_y) / pitch
        bx, by = (flat[b, 0] - corner_x) / pitch, (flat[b, 1] - corner_y) / pitch
        cx, cy = (flat[c, 0] - corner_x) / pitch, (flat[c, 1] - corner_y) / pitch
        double = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if double == 0.0 or not np.isfinite(double):
            continue
        first_row = max(0, ceil(min(ay, by, cy) - _ON))
        last_row = min(rows - 1, floor(max(ay, by, cy) + _ON))
        first_column = max(0, ceil(min(ax, bx, cx) - _ON))
        last_column = min(columns - 1, floor(max(ax, bx, cx) + _ON))
        for row in range(first_row, last_row + 1):
            for column in range(first_column, last_column + 1):
                wa = ((bx - column) * (cy - row) - (by - row) * (cx - column)) / double
                wb = ((cx - column) * (ay - row) - (cy - row) * (ax - column)) / double
                wc = 1.0 - wa - wb
                least = min(wa, wb, wc)
                if least < -_ON:
                    continue
                if least > _ON:
                    layers[row, column] += 1
                value = wa * height[a] + wb * height[b] + wc * height[c]
                if value > top[row, column]:
                    top[row, column] = value
                    owner[row, column] = face
