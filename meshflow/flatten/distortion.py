"""How much the material must give: stretch of every face, rim lengths, net curvature, tightest curve.

Everything is measured on true lengths, by code that the minimisation does not share. ``stretch`` is formed over flat;
see `meshflow.model.pattern` for the definitions.

References
----------
S. Rusinkiewicz, "Estimating curvatures and their derivatives on triangle meshes", 3DPVT 2004 (shape operator a face).
"""

from __future__ import annotations

import numpy as np

from meshflow.flatten.overlap import overlap_places
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas, face_normals, total_curvature, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import Distortion

__all__ = ["distortion", "face_stretch", "tight_faces", "tightest_radius"]

NO_AREA = 1e-14  # of the square of the longest side: such faces say nothing about strain


def distortion(vertices: FloatArray, flat: FloatArray, faces: IntArray, rim: IntArray) -> Distortion:
    """Measure a flattening.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    rim : (k,) int array
        The outer boundary loop.

    Returns
    -------
    Distortion
        Stretch by face and the figures of the whole piece.
    """
    s1, s2 = face_stretch(vertices, flat, faces)
    signed = face_areas(flat, faces)
    on_rim = _on_boundary(faces, len(vertices))
    return Distortion(
        s1=s1,
        s2=s2,
        area_surface=face_areas(vertices, faces),
        area_flat=np.abs(signed),
        rim_length_surface_mm=_length(vertices, rim),
        rim_length_flat_mm=_length(flat, rim),
        flipped_faces=int((~(signed > 0.0)).sum()),  # what is no number counts as well
        overlap=len(overlap_places(vertices, flat, faces)) > 0,
        total_curvature_rad=total_curvature(vertices, faces, on_rim),
        least_bend_radius_mm=tightest_radius(vertices, faces),
    )


def face_stretch(vertices: FloatArray, flat: FloatArray, faces: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the principal stretches s1 >= s2 (formed over flat) of each face.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    s1, s2 : (m,) float array
        Stretches; 1 for a face without area on either side.
    """
    p = flat[faces[:, 1]] - flat[faces[:, 0]]
    q = flat[faces[:, 2]] - flat[faces[:, 0]]
    u = vertices[faces[:, 1]] - vertices[faces[:, 0]]
    v = vertices[faces[:, 2]] - vertices[faces[:, 0]]
    # Metric of the formed face in an orthonormal flat frame: its eigenvalues are the squared stretches.
    det = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    longest = np.maximum((u * u).sum(axis=1), (v * v).sum(axis=1))
    formed = np.linalg.norm(np.cross(u, v), axis=1)
    sound = (np.abs(det) > NO_AREA * longest) & (formed > NO_AREA * longest)
    d = np.where(sound, det, 1.0)[:, None]
    x = (u * q[:, 1:2] - v * p[:, 1:2]) / d
    y = (v * p[:, 0:1] - u * q[:, 0:1]) / d
    s1, s2 = _singular_values_of_columns(x, y)
    return np.where(sound, s1, 1.0), np.where(sound, s2, 1.0)


def _singular_values_of_columns(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Singular values of the 3 x 2 matrices [x y], without squaring away the small differences."""
    length = np.linalg.norm(x, axis=1)
    along = (x * y).sum(axis=1) / np.where(length > 0, length, 1.0)
    across = np.linalg.norm(np.cross(x, y), axis=1) / np.where(length > 0, length, 1.0)
    turn = np.hypot(length + across, along)
    flip = np.hypot(length - across, along)
    return 0.5 * (turn + flip), 0.5 * np.abs(turn - flip)


def _length(points: FloatArray, loop: IntArray) -> float:
    return float(np.linalg.norm(points[np.roll(loop, -1)] - points[loop], axis=1).sum())


def _on_boundary(faces: IntArray, count: int) -> BoolArray:
    on_rim = np.zeros(count, dtype=bool)
    for loop in boundary_loops(faces):
        on_rim[loop] = True
    return on_rim


def tightest_radius(vertices: FloatArray, faces: IntArray, *, share: float = 0.01) -> float:
    """Return the radius of the tightest curve, by the area-weighted percentile `share` of the faces [mm].

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    share : float
        Share of the area that is allowed to be tighter: single faces are noise.

    Returns
    -------
    float
        Radius [mm]; infinite for a flat piece.
    """
    curvature = _largest_curvature(vertices, faces)
    areas = face_areas(vertices, faces)
    order = np.argsort(-curvature, kind="stable")
    reached = np.cumsum(areas[order])
    index = int(np.searchsorted(reached, share * reached[-1]))
    tightest = float(curvature[order[min(index, len(order) - 1)]])
    size = float(np.sqrt(areas.sum()))
    return 1.0 / tightest if tightest * size > 1e-9 else float("inf")


def tight_faces(vertices: FloatArray, faces: IntArray, radius_mm: float) -> IntArray:
    """Return the faces that are curved tighter than a radius, tightest first.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    radius_mm : float
        The radius [mm].

    Returns
    -------
    (t,) int array
        Face ids.
    """
    curvature = _largest_curvature(vertices, faces)
    order = np.argsort(-curvature, kind="stable")
    return np.asarray(order[curvature[order] * radius_mm > 1.0])


def _largest_curvature(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Largest principal curvature of each face [1/mm] from the change of the vertex normals across it."""
    normal = face_normals(vertices, faces)
    e = vertices[faces[:, 1]] - vertices[faces[:, 0]]
    length = np.linalg.norm(e, axis=1, keepdims=True)
    t1 = e / np.where(length > 0, length, 1.0)
    t2 = np.cross(normal, t1)
    frame = np.stack([t1, t2], axis=1)
    corner, normals = vertices[faces], vertex_normals(vertices, faces)[faces]
    sides = np.einsum("mij,mkj->mki", frame, np.roll(corner, -1, axis=1) - corner)
    turns = np.einsum("mij,mkj->mki", frame, np.roll(normals, -1, axis=1) - normals)
    # Least squares for the symmetric shape operator (a, b, c): 6 equations a face.
    rows = np.zeros((len(faces), 6, 3))
    rows[:, 0::2, 0], rows[:, 0::2, 1] = sides[:, :, 0], sides[:, :, 1]
    rows[:, 1::2, 1], rows[:, 1::2, 2] = sides[:, :, 0], sides[:, :, 1]
    normal_matrix = np.einsum("mri,mrj->mij", rows, rows)
    scale = np.trace(normal_matrix, axis1=1, axis2=2)
    normal_matrix += (1e-12 * scale + np.finfo(float).tiny)[:, None, None] * np.eye(3)
    right = np.einsum("mri,mr->mi", rows, turns.reshape(len(faces), 6))
    a, b, c = np.linalg.solve(normal_matrix, right[:, :, None])[:, :, 0].T
    return np.asarray(np.abs(0.5 * (a + c)) + np.hypot(0.5 * (a - c), b))
