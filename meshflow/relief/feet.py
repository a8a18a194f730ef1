"""Feet that lie over each other: spread to lay the base flat, and found again on the flat.

Where a scan leans back, its faces have their feet one over the other, and the base of such a region is a surface with
folds. Laid flat it would come out too large by every fold. So before it is laid flat, the feet about a fold are spread:
each goes to the middle of its neighbours, the ring round them held, and back onto the base (the uniform harmonic map).
Afterwards the true place of every foot is found on the flat through the face of the spread surface that it lies in.

References
----------
W. T. Tutte, "How to draw a graph", Proc. London Math. Soc. 13, 1963 (points in the middle of their neighbours do not
cross).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from meshflow.geometry.linear import factorise
from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import face_vectors
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import FlatPattern
from meshflow.model.region import Region

__all__ = ["feet_on_flat", "folded_faces", "spread_feet"]

_ROUNDS: Final = 96  # of smoothing: how far, in edges, the normal of the base is asked about
_THIN: Final = 1e-4  # of the median area: feet as thin as that are spread as well
_RINGS: Final = (2, 2, 3, 4, 6, 8, 12, 18)  # how far more each time, where the last time did not do
_NEAREST: Final = 16
_MOVED_MM: Final = 1e-9


def folded_faces(vertices: FloatArray, faces: IntArray) -> BoolArray:
    """Return which faces of a base lie with their outer side down, or have next to no area, shape (m,).

    The outer side is that of the area-weighted mean of the faces some edges about: over a fold the areas of its layers
    cancel, and what is left is that of the base.
    """
    area = face_vectors(vertices, faces)
    field = _sum_at_vertices(area, faces, len(vertices))
    near = _neighbours(faces, len(vertices))
    for _ in range(_ROUNDS):
        field = field + near @ field
        field /= np.maximum(np.abs(field).max(), np.finfo(np.float64).tiny)
    mean = field[faces].sum(axis=1)
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    signed = np.einsum("ij,ij->i", area, mean)
    return np.asarray(signed <= _THIN * float(np.median(np.linalg.norm(area, axis=1))))


def spread_feet(region: Region) -> tuple[Region, IntArray]:
    """Spread the feet of a base that lie over each other.

    Parameters
    ----------
    region : Region
        The region of a `Base`: every vertex at its foot.

    Returns
    -------
    region : Region
        The same faces, spread; the same object where nothing lay over anything.
    left : (k,) int array
        Faces that could not be spread, such as folds at the rim.
    """
    vertices, faces = region.vertices, region.faces
    bad = folded_faces(vertices, faces)
    if not bad.any():
        return region, np.empty(0, dtype=np.int64)
    table, near = edge_table(faces), _neighbours(faces, len(vertices))
    held = np.zeros(len(vertices), dtype=np.bool_)
    held[table.vertices[table.boundary].reshape(-1)] = True
    free = np.zeros(len(vertices), dtype=np.bool_)
    spread = vertices
    for rings in _RINGS:
        free |= _touched(bad, faces, len(vertices))
        free = _grown(free, near, rings) & ~held
        if not free.any():
            break
        middled = _middled(vertices, near, free)
        spread = _back_on(vertices, faces, middled, free)
        bad = folded_faces(spread, faces)
        if bad.any():
            # Where a fold is thin the way back is not sure: then the middles stay, a little inside the form.
            spread = middled
            bad = folded_faces(spread, faces)
        if not bad.any():
            break
    return replace(region, vertices=spread), np.flatnonzero(bad)


def feet_on_flat(feet: FloatArray, pattern: FlatPattern) -> tuple[FloatArray, BoolArray]:
    """Return where feet lie on the flat, and which of them had been spread.

    Parameters
    ----------
    feet : (n, 3) float array
        Vertices of the base, folds and all [mm].
    pattern : FlatPattern
        The same faces laid flat, spread or not.

    Returns
    -------
    flat : (n, 2) float array
        Places [mm].
    moved : (n,) bool array
        Which feet had been spread.
    """
    laid, faces = pattern.region.vertices, pattern.faces
    moved = np.linalg.norm(feet - laid, axis=1) > _MOVED_MM
    if not moved.any():
        return pattern.vertices, moved
    touched = faces[moved[faces].any(axis=1)]
    face, weights = _located(laid, touched, feet[moved])
    flat = pattern.vertices.copy()
    flat[moved] = np.einsum("ki,kid->kd", weights, pattern.vertices[touched[face]])
    return flat, moved


def _sum_at_vertices(values: FloatArray, faces: IntArray, count: int) -> FloatArray:
    total = np.zeros((count, 3))
    for axis in range(3):
        for corner in range(3):
            total[:, axis] += np.bincount(faces[:, corner], weights=values[:, axis], minlength=count)
    return total


def _neighbours(faces: IntArray, count: int) -> Any:
    """Return the sparse matrix that takes the mean of each vertex's neighbours."""
    from scipy.sparse import coo_array

    a, b = edge_table(faces).vertices.T
    pairs = (np.concatenate([a, b]), np.concatenate([b, a]))
    ones = coo_array((np.ones(2 * len(a)), pairs), shape=(count, count)).tocsr()
    number = np.maximum(np.asarray(ones.sum(axis=1)).reshape(-1), 1.0)
    ones.data = ones.data / np.repeat(number, np.diff(ones.indptr))
    return ones


def _touched(chosen: BoolArray, faces: IntArray, count: int) -> BoolArray:
    """Return which vertices are corners of chosen faces."""
    corners = np.zeros(count, dtype=np.bool_)
    corners[faces[chosen].reshape(-1)] = True
    return corners


def _grown(chosen: BoolArray, near: Any, rings: int) -> BoolArray:
    for _ in range(rings):
        chosen = chosen | (near @ chosen.astype(np.float64) > 0)
    return chosen


def _middled(vertices: FloatArray, near: Any, free: BoolArray) -> FloatArray:
    """Return the vertices with every free one in the middle of its neighbours."""
    from scipy.sparse import csc_array, diags_array

    inner, outer = np.flatnonzero(free), np.flatnonzero(~free)
    count = np.diff(near.indptr)[inner].astype(np.float64)
    rows = diags_array(count) @ near[inner]  # times the number of neighbours: symmetric again
    matrix = csc_array(diags_array(count) - rows[:, inner])
    right = rows[:, outer] @ vertices[outer]
    result = vertices.copy()
    result[inner] = factorise(matrix).solve(np.asarray(right))
    return result


def _back_on(vertices: FloatArray, faces: IntArray, spread: FloatArray, free: BoolArray) -> FloatArray:
    """Return the free vertices set on the surface they were spread from, which lies on the base, folds and all."""
    touched = faces[free[faces].any(axis=1)]
    face, weights = _located(vertices, touched, spread[free])
    result = spread.copy()
    result[free] = np.einsum("ki,kid->kd", weights, vertices[touched[face]])
    return result


def _located(vertices: FloatArray, faces: IntArray, points: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the face that each point lies deepest in, seen along the face's normal, and its weights there."""
    from scipy.spatial import cKDTree

    corner = vertices[faces]
    tree = cKDTree(corner.mean(axis=1))
    _, near = tree.query(points, k=min(_NEAREST, len(faces)))
    near = near.reshape(len(points), -1)
    a = corner[near, 0]
    u, v, w = corner[near, 1] - a, corner[near, 2] - a, points[:, None] - a
    uu, uv, vv = (np.einsum("kij,kij->ki", *pair) for pair in ((u, u), (u, v), (v, v)))
    wu, wv = np.einsum("kij,kij->ki", w, u), np.einsum("kij,kij->ki", w, v)
    area = uu * vv - uv * uv
    thin = area <= 1e-12 * uu * vv
    area = np.where(thin, 1.0, area)
    second, third = (vv * wu - uv * wv) / area, (uu * wv - uv * wu) / area
    weights = np.stack([1.0 - second - third, second, third], axis=2)
    depth = np.where(thin, -np.inf, weights.min(axis=2))
    best = np.argmax(depth, axis=1)
    row = np.arange(len(points))
    chosen = np.clip(weights[row, best], 0.0, None)
    return near[row, best].astype(np.int64), chosen / chosen.sum(axis=1, keepdims=True)
