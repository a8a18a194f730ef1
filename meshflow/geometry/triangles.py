"""Measures of single triangles: areas, normals, edge lengths, angles, and what follows from angles.

Convention: the edge opposite to corner k has number k; normals point to the side from which the corners run
counter-clockwise.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = [
    "angle_defects",
    "corner_angles",
    "edge_lengths",
    "face_areas",
    "face_normals",
    "face_vectors",
    "total_curvature",
    "vertex_normals",
]


def face_vectors(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the cross product of two sides of each face: normal times twice the area, shape (m, 3)."""
    a, b, c = vertices[faces[:, 0]], vertices[faces[:, 1]], vertices[faces[:, 2]]
    return np.asarray(np.cross(b - a, c - a))


def face_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the area of each face, for vertices of the plane (signed) or of space (not negative).

    Parameters
    ----------
    vertices : (n, 2) or (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (m,) float array
        Areas [mm2]; in the plane negative where a face lies upside down.
    """
    if vertices.shape[1] == 2:
        u = vertices[faces[:, 1]] - vertices[faces[:, 0]]
        v = vertices[faces[:, 2]] - vertices[faces[:, 0]]
        return np.asarray(0.5 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))
    return np.asarray(0.5 * np.linalg.norm(face_vectors(vertices, faces), axis=1))


def face_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return unit normals, shape (m, 3); zero where a face has no area."""
    return _unit(face_vectors(vertices, faces))


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1.0))


def edge_lengths(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the side lengths of each face, shape (m, 3); column k is opposite to corner k [mm]."""
    corner = vertices[faces]
    return np.asarray(np.linalg.norm(np.roll(corner, -1, axis=1) - np.roll(corner, -2, axis=1), axis=2))


def corner_angles(lengths: FloatArray) -> FloatArray:
    """Return the inner angles of triangles from their side lengths, by Kahan's stable formula.

    Parameters
    ----------
    lengths : (m, 3) float array
        Sides; column k is opposite to corner k. They must satisfy the triangle inequality.

    Returns
    -------
    (m, 3) float array
        Angles [rad].

    References
    ----------
    W. Kahan, "Miscalculating area and angles of a needle-like triangle", 2014 (half-angle form).

    Examples
    --------
    >>> np.degrees(corner_angles(np.array([[3.0, 4.0, 5.0]]))).round(3).tolist()
    [[36.87, 53.13, 90.0]]
    """
    one, two = np.roll(lengths, -1, axis=1), np.roll(lengths, -2, axis=1)
    # What two sides have over the third: the longer of the two first, or the short side of a needle is lost.
    over = np.maximum((np.maximum(one, two) - lengths) + np.minimum(one, two), 0.0)
    above = np.roll(over, -1, axis=1) * np.roll(over, -2, axis=1)
    below = lengths.sum(axis=1, keepdims=True) * over
    return np.asarray(2.0 * np.arctan2(np.sqrt(above), np.sqrt(below)))


def angle_defects(faces: IntArray, angles: FloatArray, on_boundary: BoolArray) -> FloatArray:
    """Return the angle defect of each vertex: 2 pi (inside) or pi (rim) less the angles round it [rad].

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    angles : (m, 3) float array
        Corner angles [rad].
    on_boundary : (n,) bool array
        Which vertices lie on a boundary.

    Returns
    -------
    (n,) float array
        Gaussian curvature inside, turning of the rim on the boundary; together 2 pi times the Euler characteristic
        (Gauss-Bonnet).
    """
    total = np.bincount(faces.reshape(-1), weights=angles.reshape(-1), minlength=len(on_boundary))
    return np.asarray(np.where(on_boundary, np.pi, 2.0 * np.pi) - total)


def total_curvature(vertices: FloatArray, faces: IntArray, on_boundary: BoolArray) -> float:
    """Return the net Gaussian curvature of the interior: the sum of its angle defects [rad]."""
    defects = angle_defects(faces, corner_angles(edge_lengths(vertices, faces)), on_boundary)
    used = np.bincount(faces.reshape(-1), minlength=len(on_boundary)) > 0
    return float(defects[used & ~on_boundary].sum())


def vertex_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return unit normals at the vertices, faces weighted by the angle they span there.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions.
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (n, 3) float array
        Unit normals; zero for a vertex that no face uses.

    References
    ----------
    Thuermer and Wuethrich, "Computing vertex normals from polygonal facets", J. Graphics Tools 3:1, 1998.
    """
    angles = corner_angles(edge_lengths(vertices, faces))
    weighted = angles[:, :, None] * face_normals(vertices, faces)[:, None, :]
    total = np.zeros_like(vertices)
    for axis in range(3):
        total[:, axis] = np.bincount(
            faces.reshape(-1), weights=weighted[:, :, axis].reshape(-1), minlength=len(vertices)
        )
    return _unit(total)
