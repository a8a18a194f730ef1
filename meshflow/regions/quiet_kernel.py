"""The compiled loop of `quiet_normals`; imported only when a surface is noisy.

This module needs numba at its top, because the compiled code is cached by file; nobody imports it at start-up.
"""

from __future__ import annotations

from math import exp, sqrt

from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["filter_once"]


@njit(cache=True)
def filter_once(
    normals: FloatArray, first: IntArray, beside: IntArray, near: FloatArray, alike: float, filtered: FloatArray
) -> None:  # pragma: no cover - compiled
    """Replace each normal by the mean of those beside it, weighted by `near` and by how alike they are.

    Parameters
    ----------
    normals : (m, 3) float array
        Unit normals.
    first : (m + 1,) int array
        Where the neighbours of each face start in `beside`.
    beside : (k,) int array
        Neighbours, the face itself among them.
    near : (k,) float array
        Weight of each by area and distance.
    alike : float
        Standard deviation of the weight over the length of the difference of two normals.
    filtered : (m, 3) float array
        Takes the new normals.
    """
    scale = -0.5 / (alike * alike)
    for face in range(len(normals)):
        a, b, c = normals[face, 0], normals[face, 1], normals[face, 2]
        x, y, z = 0.0, 0.0, 0.0
        for index in range(first[face], first[face + 1]):
            other = beside[index]
            u, v, w = normals[other, 0], normals[other, 1], normals[other, 2]
            square = (u - a) * (u - a) + (v - b) * (v - b) + (w - c) * (w - c)
            weight = near[index] * exp(scale * square)
            x, y, z = x + weight * u, y + weight * v, z + weight * w
        length = sqrt(x * x + y * y + z * z)
        if length > 0.0:
            filtered[face, 0], filtered[face, 1], filtered[face, 2] = x / length, y / length, z / length
        else:
            filtered[face, 0], filtered[face, 1], filtered[face, 2] = a, b, c
