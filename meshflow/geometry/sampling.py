"""Points spread over a surface, each with the area it stands for.

Terms: a *sample* is a point of the surface with a weight; the weights add up to the area.

Method: long faces are divided evenly until their sides are short; then every corner takes a twelfth of the area of each
of its faces and every middle of a face the other three quarters. That rule is exact for quadratic functions on each
face (degree 2; A. H. Stroud, "Approximate Calculation of Multiple Integrals", 1971).
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["corner_areas", "divided", "spread_order", "surface_samples"]

_MOST_DIVISIONS = 64
_GRID_BITS = 10


def surface_samples(vertices: FloatArray, faces: IntArray, spacing: float) -> tuple[FloatArray, FloatArray]:
    """Return samples of a surface.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    spacing : float
        Longest side that is not divided [mm].

    Returns
    -------
    points : (k, 3) float array
        The first n are the vertices, in their order [mm].
    weights : (k,) float array
        Area of each [mm2]; zero for a vertex that no face uses.

    Examples
    --------
    >>> points, weights = surface_samples(np.array([[0.0, 0, 0], [6, 0, 0], [0, 4, 0]]), np.array([[0, 1, 2]]), 10.0)
    >>> weights.tolist()
    [1.0, 1.0, 1.0, 9.0]
    """
    vertices, faces = divided(vertices, faces, spacing)
    area = face_areas(vertices, faces)
    weights = np.concatenate([corner_areas(faces, area, len(vertices)) / 4.0, 0.75 * area])
    return np.concatenate([vertices, vertices[faces].mean(axis=1)]), weights


def corner_areas(faces: IntArray, area: FloatArray, count: int) -> FloatArray:
    """Return a third of the area of the faces round each of `count` vertices [mm2]."""
    return np.asarray(np.bincount(faces.reshape(-1), weights=np.repeat(area / 3.0, 3), minlength=count))


def divided(vertices: FloatArray, faces: IntArray, spacing: float) -> tuple[FloatArray, IntArray]:
    """Return the mesh with long faces cut evenly into smaller ones of their own shape.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    spacing : float
        Longest side that is not divided [mm]; no side is cut into more than 64.

    Returns
    -------
    vertices : (n', 3) float array
        The old ones, then the new ones; pieces of neighbouring faces do not share these.
    faces : (m', 3) int array
        Short faces as they were, then the pieces.
    """
    longest = edge_lengths(vertices, faces).max(axis=1, initial=0.0)
    parts = np.clip(np.ceil(longest / max(spacing, np.finfo(np.float64).tiny) - 1e-9), 1, _MOST_DIVISIONS).astype(int)
    new_vertices, new_faces, count = [vertices], [faces[parts == 1]], len(vertices)
    for number in np.unique(parts[parts > 1]).tolist():
        weights, pattern = _lattice(number)
        corners = vertices[faces[parts == number]]
        new_vertices.append(np.einsum("lc,fcd->fld", weights, corners).reshape(-1, 3))
        first = count + len(weights) * np.arange(len(corners))
        new_faces.append((first[:, None, None] + pattern).reshape(-1, 3))
        count += len(weights) * len(corners)
    return np.concatenate(new_vertices), np.concatenate(new_faces)


def _lattice(number: int) -> tuple[FloatArray, IntArray]:
    """Return the weights of the lattice points of a triangle with `number` parts a side, and its small triangles."""
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(number + 1), np.arange(number + 1), indexing="ij"))
    inside = i + j <= number
    place = np.full((number + 1, number + 1), -1)
    place[i[inside], j[inside]] = np.arange(int(inside.sum()))
    weights = np.stack([number - i - j, i, j], axis=1)[inside] / number
    i, j = i[i + j < number], j[i + j < number]
    up = np.stack([place[i, j], place[i + 1, j], place[i, j + 1]], axis=1)
    i, j = i[i + j < number - 1], j[i + j < number - 1]
    down = np.stack([place[i + 1, j], place[i + 1, j + 1], place[i, j + 1]], axis=1)
    return weights, np.concatenate([up, down])


def spread_order(points: FloatArray) -> IntArray:
    """Return an order of points in which neighbours in the row are neighbours in space (G. M. Morton, 1966)."""
    low, size = points.min(axis=0), float(np.ptp(points, axis=0).max())
    cell = ((points - low) / (size or 1.0) * (2**_GRID_BITS - 1)).astype(np.int64)
    code = np.zeros(len(points), dtype=np.int64)
    for bit in range(_GRID_BITS):
        for axis in range(3):
            code |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(code, kind="stable")
