"""Smoothing the grain of a scan without rounding its creases.

What the maker calls it: taking the orange peel off, leaving the arrises sharp.

Method: first the normals of the faces are smoothed, each face listening to its neighbours the more, the larger, the
nearer and the more alike they are, so that faces across a crease do not listen to each other (bilateral). Then the
points move until the faces have those normals. How unlike counts as a crease is taken from the scan: twice the median
difference of neighbouring normals, within limits. No point moves further than the bound, so neither does the surface:
a point of a face is a mean of its corners. A face that would turn over takes its corners back.

References
----------
Y. Zheng, H. Fu, O. K.-C. Au, C.-L. Tai, "Bilateral normal filtering for mesh denoising", IEEE TVCG 17:10, 2011 (the
local scheme). X. Sun, P. L. Rosin, R. R. Martin, F. C. Langbein, "Fast and effective feature-preserving mesh
denoising", IEEE TVCG 13:5, 2007 (moving the points).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.geometry.topology import EdgeTable, face_adjacency
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Denoised", "denoised", "smooth_normals"]

_NORMAL_ROUNDS = 20
_POINT_ROUNDS = 20
_UNLIKE = 2.0  # median differences of neighbouring normals
_LEAST_UNLIKE, _MOST_UNLIKE = 0.08, 0.45  # 5 and 26 degrees
_MOST_REPAIRS = 20


@dataclass(frozen=True, eq=False)
class Denoised:
    """Positions without grain.

    Parameters
    ----------
    vertices : (n, 3) float array
        New positions [mm].
    moved_mm : float
        Largest move [mm].
    rms_mm : float
        Root mean square of the moves [mm].
    held : int
        Points that the bound held back.
    """

    vertices: FloatArray
    moved_mm: float
    rms_mm: float
    held: int


def denoised(vertices: FloatArray, faces: IntArray, table: EdgeTable, bound_mm: float) -> Denoised:
    """Smooth the grain and keep creases.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Consistently wound faces with an area.
    table : EdgeTable
        Their edges.
    bound_mm : float
        No point moves further [mm]; may be infinite.

    Returns
    -------
    Denoised
        New positions; no face looks the other way than its smoothed normal unless it did so before.
    """
    wanted = smooth_normals(vertices, faces, table)
    points, held = _follow(vertices, faces, wanted, bound_mm)
    points = _without_turned(vertices, points, faces, wanted)
    distance = np.linalg.norm(points - vertices, axis=1)
    return Denoised(
        points,
        float(distance.max(initial=0.0)),
        float(np.sqrt(np.mean(distance**2))) if len(distance) else 0.0,
        int((held & (distance > 0)).sum()),
    )


def smooth_normals(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> FloatArray:
    """Return the smoothed unit normals of the faces, shape (m, 3).

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable
        Their edges.

    Returns
    -------
    (m, 3) float array
        Unit normals.
    """
    normal, area, middle = face_normals(vertices, faces), face_areas(vertices, faces), vertices[faces].mean(axis=1)
    pairs, _ = face_adjacency(faces, table)
    if len(pairs) == 0:
        return normal
    apart = np.linalg.norm(middle[pairs[:, 0]] - middle[pairs[:, 1]], axis=1)
    unlike = np.linalg.norm(normal[pairs[:, 0]] - normal[pairs[:, 1]], axis=1)
    reach = float(apart.mean()) or 1.0
    tell = float(np.clip(_UNLIKE * np.median(unlike), _LEAST_UNLIKE, _MOST_UNLIKE))
    near = _round_vertices(faces, len(vertices))
    row = np.repeat(np.arange(len(faces)), np.diff(near.indptr))
    column = near.indices
    square = ((middle[row] - middle[column]) ** 2).sum(axis=1)
    still = area[column] * np.exp(-square / (2.0 * reach**2))
    for _ in range(_NORMAL_ROUNDS):
        difference = ((normal[row] - normal[column]) ** 2).sum(axis=1)
        near.data = still * np.exp(-difference / (2.0 * tell**2))
        total = near @ normal
        length = np.linalg.norm(total, axis=1, keepdims=True)
        normal = np.where(length > 0, total / np.where(length > 0, length, 1.0), normal)
    return np.asarray(normal)


def _round_vertices(faces: IntArray, count: int) -> Any:
    """Sparse matrix with an entry for each pair of faces that share a vertex, a face with itself included."""
    from scipy.sparse import csr_array

    m = len(faces)
    uses = csr_array((np.ones(3 * m), faces.reshape(-1), np.arange(0, 3 * m + 1, 3)), shape=(m, count))
    near = (uses @ uses.T).tocsr()
    near.sort_indices()
    return near


def _follow(vertices: FloatArray, faces: IntArray, wanted: FloatArray, bound: float) -> tuple[FloatArray, BoolArray]:
    """Move the points until the faces have the wanted normals, within the bound; say which it held back."""
    corner = faces.reshape(-1)
    number = np.maximum(np.bincount(corner, minlength=len(vertices)), 1)
    points, held = vertices.copy(), np.zeros(len(vertices), dtype=np.bool_)
    for _ in range(_POINT_ROUNDS):
        at = points[faces]
        height = np.einsum("fi,fki->fk", wanted, at.mean(axis=1)[:, None] - at)
        shift = height[:, :, None] * wanted[:, None, :]
        for axis in range(3):
            points[:, axis] += (
                np.bincount(corner, weights=shift[:, :, axis].reshape(-1), minlength=len(points)) / number
            )
        move = points - vertices
        length = np.linalg.norm(move, axis=1)
        held = length > bound
        points[held] = vertices[held] + move[held] * (bound * (1.0 - 1e-9) / length[held])[:, None]
    return points, np.asarray(held)


def _without_turned(before: FloatArray, points: FloatArray, faces: IntArray, wanted: FloatArray) -> FloatArray:
    """Put back the corners of faces that turned over."""
    was_turned = np.einsum("fi,fi->f", face_normals(before, faces), wanted) <= 0
    for _ in range(_MOST_REPAIRS):
        turned = (np.einsum("fi,fi->f", face_normals(points, faces), wanted) <= 0) & ~was_turned
        turned &= (points[faces] != before[faces]).any(axis=(1, 2))
        if not turned.any():
            return points
        back = np.unique(faces[turned])
        points[back] = before[back]
    return before.copy()
