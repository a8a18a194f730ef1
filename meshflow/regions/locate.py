"""Which triangle of the plane holds a point."""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["least_shares", "nearest_triangles", "plane_weights"]

_FEW = 100_000  # pairs of points and triangles that are simply all measured
_NEIGHBOURS = 24


def nearest_triangles(points: FloatArray, triangles: FloatArray) -> IntArray:
    """Return, for each point, a triangle that holds it, or the one it lies outside of by least.

    Parameters
    ----------
    points : (k, 2) float array
        Points of the plane.
    triangles : (m, 3, 2) float array
        Corners, counter-clockwise.

    Returns
    -------
    (k,) int array
        Index of the triangle.
    """
    if len(triangles) <= _NEIGHBOURS or len(points) * len(triangles) <= _FEW:
        return np.asarray(least_shares(points, triangles).argmax(axis=1))
    from scipy.spatial import cKDTree

    near = np.asarray(cKDTree(triangles.mean(axis=1)).query(points, k=_NEIGHBOURS)[1])
    shares = _least(points[:, None], *(triangles[near][:, :, corner] for corner in range(3)))
    best = shares.argmax(axis=1)
    index = np.arange(len(points))
    found = near[index, best]
    # Long triangles hold points that lie nearer to the middle of others.
    for lost in np.flatnonzero(shares[index, best] < 0.0).tolist():
        found[lost] = least_shares(points[lost : lost + 1], triangles)[0].argmax()
    return np.asarray(found)


def least_shares(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Return the least of the three weights of each point on the corners of each triangle.

    Parameters
    ----------
    points : (k, 2) float array
        Points of the plane.
    triangles : (m, 3, 2) float array
        Corners, counter-clockwise.

    Returns
    -------
    (k, m) float array
        Not negative where the triangle holds the point; minus infinity where it has no area.
    """
    return _least(points[:, None], triangles[:, 0], triangles[:, 1], triangles[:, 2])


def _least(p: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    least = plane_weights(p, a, b, c).min(axis=-1)
    return np.where((_cross(b - a, c - a) > 0) & np.isfinite(least), least, -np.inf)


def plane_weights(p: FloatArray, a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Return the weights of points of the plane on the corners of triangles, wound either way.

    Parameters
    ----------
    p, a, b, c : (..., 2) float array
        Points, and the corners of a triangle for each; shapes that broadcast.

    Returns
    -------
    (..., 3) float array
        They sum to 1; not finite where the triangle has no area.
    """
    a, b, c = a - p, b - p, c - p
    parts = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)], axis=-1)
    whole = parts.sum(axis=-1, keepdims=True)
    return np.asarray(parts / np.where(whole != 0, whole, np.nan))


def _cross(u: FloatArray, v: FloatArray) -> FloatArray:
    return np.asarray(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
