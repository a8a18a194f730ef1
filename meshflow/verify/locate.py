"""Finding points in the triangles of a flat mesh, and the nearest place of its rim.

Method: the faces are entered into square cells by their boxes; a point is tried in the faces of its own cell. Plain
numpy, made for checking and not for speed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Finder", "nearest_on", "within"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
_CHUNK = 2_000_000
_ON_EDGE = -1e-7
_BLOCK, _BUNDLE = 64, 16
_MOST_CELLS = 4_000_000


class Finder:
    """Finds the face and the weights of points.

    Parameters
    ----------
    flat : (n, 2) float array
        Corners [mm].
    faces : (m, 3) int array
        Triangles, all of one orientation.
    """

    def __init__(self, flat: FloatArray, faces: IntArray) -> None:
        self._flat, self._faces = flat, faces
        corner = flat[faces]
        low, high = corner.min(axis=1), corner.max(axis=1)
        self._low = low.min(axis=0)
        size = high.max(axis=0) - self._low
        side = max(float(np.median(high - low)), float(np.sqrt(np.prod(size) / _MOST_CELLS)), 1e-9)
        self._side, self._columns = side, int(size[0] / side) + 2
        first, last = self._cell(low), self._cell(high)
        wide, tall = (last - first + 1).T
        count = wide * tall
        face = np.repeat(np.arange(len(faces)), count)
        step = np.arange(len(face)) - np.repeat(np.cumsum(count) - count, count)
        x, y = first[face, 0] + step % wide[face], first[face, 1] + step // wide[face]
        key = y * self._columns + x
        order = np.argsort(key, kind="stable")
        self._key, self._held = key[order], face[order]

    def _cell(self, points: FloatArray) -> IntArray:
        return np.asarray(np.floor((points - self._low) / self._side), dtype=np.int64)

    def find(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the face of each point, -1 off the mesh, and its weights there, shapes (k,) and (k, 3)."""
        cell = self._cell(points)
        key = np.where(
            (cell >= 0).all(axis=1) & (cell[:, 0] < self._columns), cell[:, 1] * self._columns + cell[:, 0], -1
        )
        start, stop = (np.searchsorted(self._key, key, side=side) for side in ("left", "right"))
        count = stop - start
        who = np.repeat(np.arange(len(points)), count)
        candidate = self._held[start[who] + np.arange(len(who)) - np.repeat(np.cumsum(count) - count, count)]
        weights = self._weights(points[who], candidate)
        depth = weights.min(axis=1, initial=np.inf) if len(who) else np.zeros(0)
        face, best = np.full(len(points), -1, dtype=np.int64), np.zeros((len(points), 3))
        order = np.lexsort((-candidate, depth))  # the deepest last, so that it stays
        order = order[depth[order] >= _ON_EDGE]
        face[who[order]], best[who[order]] = candidate[order], weights[order]
        return face, best

    def _weights(self, points: FloatArray, face: IntArray) -> FloatArray:
        a, b, c = (self._flat[self._faces[face, corner]] for corner in range(3))
        twice = _cross(b - a, c - a)
        u, v = _cross(b - points, c - points) / twice, _cross(c - points, a - points) / twice
        return np.stack([u, v, 1.0 - u - v], axis=1)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def nearest_on(points: FloatArray, start: FloatArray, end: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
    """Return the distance of points from straight segments, in the plane or in space.

    Parameters
    ----------
    points : (k, d) float array
        Points [mm].
    start, end : (s, d) float array
        Segments [mm].

    Returns
    -------
    distance : (k,) float array
        To the nearest [mm].
    segment : (k,) int array
        Which that is.
    share : (k,) float array
        How far along it, 0 to 1.
    """
    bundles = _bundles(start, end)
    distance, segment, share = np.zeros(len(points)), np.zeros(len(points), dtype=np.int64), np.zeros(len(points))
    for at in range(0, len(points), _BLOCK):
        some = points[at : at + _BLOCK]
        near = _near(some, start, bundles)
        apart, best, along = _brute(some, start[near], end[near])
        distance[at : at + _BLOCK], segment[at : at + _BLOCK], share[at : at + _BLOCK] = apart, near[best], along
    return distance, segment, share


def _bundles(start: FloatArray, end: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the boxes round every few segments that follow each other."""
    first = np.arange(0, len(start), _BUNDLE)
    low = np.minimum.reduceat(np.minimum(start, end), first, axis=0)
    high = np.maximum.reduceat(np.maximum(start, end), first, axis=0)
    return low, high


def _near(some: FloatArray, start: FloatArray, bundles: tuple[FloatArray, FloatArray]) -> IntArray:
    """Return the segments that can be nearest to any of some points: no bundle farther than the farthest possible."""
    low, high = bundles
    centre = 0.5 * (some.min(axis=0) + some.max(axis=0))
    radius = float(np.linalg.norm(some - centre, axis=1).max())
    most = float(np.sqrt(((start - centre) ** 2).sum(axis=1).min())) + 2.0 * radius
    apart = np.linalg.norm(np.maximum(np.maximum(low - centre, centre - high), 0.0), axis=1)
    kept = np.flatnonzero(apart <= most + 1e-9)
    ids = (kept[:, None] * _BUNDLE + np.arange(_BUNDLE)).ravel()
    return np.asarray(ids[ids < len(start)])


def _brute(some: FloatArray, start: FloatArray, end: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
    along = end - start
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    t = np.clip(((some[:, None] - start) * along).sum(axis=2) / square, 0.0, 1.0)
    apart = np.linalg.norm(some[:, None] - (start + t[..., None] * along), axis=2)
    best = np.argmin(apart, axis=1)
    row = np.arange(len(some))
    return apart[row, best], best, t[row, best]


def within(points: FloatArray, ring: FloatArray) -> BoolArray:
    """Return which points lie inside a closed chain of points, by counting crossings to the right."""
    start, end = ring, np.roll(ring, -1, axis=0)
    inside = np.zeros(len(points), dtype=bool)
    rows = max(1, _CHUNK // max(1, len(ring)))
    for at in range(0, len(points), rows):
        x, y = points[at : at + rows, 0][:, None], points[at : at + rows, 1][:, None]
        spans = (start[:, 1] > y) != (end[:, 1] > y)
        rise = np.where(end[:, 1] == start[:, 1], 1.0, end[:, 1] - start[:, 1])
        cut = start[:, 0] + (y - start[:, 1]) / rise * (end[:, 0] - start[:, 0])
        inside[at : at + rows] = (spans & (x < cut)).sum(axis=1) % 2 == 1
    return inside
