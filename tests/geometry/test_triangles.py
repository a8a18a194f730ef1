"""Measures of triangles against trimesh, Heron, and the theorem of Gauss and Bonnet."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import trimesh

from meshflow.geometry.topology import boundary_loops, euler_characteristic
from meshflow.geometry.triangles import (
    angle_defects,
    corner_angles,
    edge_lengths,
    face_areas,
    face_normals,
    face_vectors,
    total_curvature,
    vertex_normals,
)

SHAPES = {
    "cap": meshes.spherical_cap(50.0),
    "saddle": meshes.saddle(),
    "band": meshes.ring_band(),
    "box": meshes.closed_box(),
    "torus": meshes.closed_torus(),
    "washer": meshes.washer(),
}


def on_boundary(vertices, faces):
    mask = np.zeros(len(vertices), dtype=bool)
    for loop in boundary_loops(faces):
        mask[loop] = True
    return mask


@pytest.mark.parametrize("name", SHAPES)
def test_areas_normals_and_angles_are_those_of_trimesh(name):
    vertices, faces = SHAPES[name]
    reference = trimesh.Trimesh(vertices, faces, process=False)
    assert face_areas(vertices, faces) == pytest.approx(reference.area_faces, rel=1e-12)
    assert np.abs(face_normals(vertices, faces) - reference.face_normals).max() < 1e-12
    angles = corner_angles(edge_lengths(vertices, faces))
    assert np.abs(angles - reference.face_angles).max() < 1e-7  # theirs goes through arccos


def test_vertex_normals_weigh_faces_by_angle_as_trimesh_does():
    vertices, faces = meshes.closed_box()
    normals = vertex_normals(vertices, faces)
    # By angle every corner of a box has the same diagonal normal, however its sides are divided (Thuermer 1998).
    assert np.abs(np.abs(normals) - 1 / np.sqrt(3)).max() < 1e-12
    assert np.abs(normals - trimesh.Trimesh(vertices, faces, process=False).vertex_normals).max() < 1e-9


def test_areas_agree_with_heron():
    vertices, faces = SHAPES["saddle"]
    a, b, c = edge_lengths(vertices, faces).T
    s = (a + b + c) / 2
    assert face_areas(vertices, faces) == pytest.approx(np.sqrt(s * (s - a) * (s - b) * (s - c)), rel=1e-9)


def test_a_face_upside_down_in_the_plane_has_negative_area():
    square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0]])
    assert face_areas(square, np.array([[0, 1, 2], [0, 2, 1]])).tolist() == [6.0, -6.0]


def test_side_k_lies_opposite_to_corner_k():
    vertices = np.array([[0.0, 0, 0], [3, 0, 0], [3, 4, 0]])
    assert edge_lengths(vertices, np.array([[0, 1, 2]])).tolist() == [[4.0, 5.0, 3.0]]


@pytest.mark.parametrize("short", range(3))
def test_angles_of_a_needle_sum_to_pi_and_keep_their_digits(short):
    # Kahan's case: arccos of the cosine rule loses half the digits here. Exact: 2 asin(5e-9) = 1e-8.
    needle = np.ones((1, 3))
    needle[0, short] = 1e-8
    angles = corner_angles(needle)
    assert angles.sum() == pytest.approx(np.pi, abs=1e-15)
    assert angles[0, short] == pytest.approx(1e-8, rel=1e-12, abs=0)


def test_a_face_without_area_has_no_normal_and_no_not_a_number():
    line = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]])
    faces = np.array([[0, 1, 2]])
    assert face_vectors(line, faces).tolist() == [[0, 0, 0]]
    assert face_normals(line, faces).tolist() == [[0, 0, 0]]
    assert np.isfinite(corner_angles(edge_lengths(line, faces))).all()


@pytest.mark.parametrize("sigma", [0.0, 0.4])
@pytest.mark.parametrize("name", SHAPES)
def test_defects_sum_to_two_pi_times_euler(name, sigma):
    # Gauss-Bonnet for polyhedra: do Carmo, "Differential Geometry of Curves and Surfaces", section 4-5.
    vertices, faces = SHAPES[name]
    vertices = meshes.rough(vertices, faces, sigma)
    defects = angle_defects(faces, corner_angles(edge_lengths(vertices, faces)), on_boundary(vertices, faces))
    assert defects.sum() == pytest.approx(2 * np.pi * euler_characteristic(faces), abs=1e-10)


def test_total_curvature_of_a_cap_is_its_solid_angle():
    # Gauss: the curvature of a cap of half angle a is 2 pi (1 - cos a). The rim ring is not interior, so it converges.
    errors = []
    for rings in (20, 40):
        vertices, faces = meshes.spherical_cap(50.0, np.radians(60), rings)
        half = np.radians(60) * (rings - 0.5) / rings
        found = total_curvature(vertices, faces, on_boundary(vertices, faces))
        errors.append(abs(found / (2 * np.pi * (1 - np.cos(half))) - 1))
    assert errors[0] < 2e-3
    assert errors[1] < errors[0] / 3


@pytest.mark.parametrize("build", [meshes.developable_cylinder, meshes.developable_cone])
def test_a_developable_wall_holds_no_curvature(build):
    vertices, faces = build()
    assert abs(total_curvature(vertices, faces, on_boundary(vertices, faces))) < 1e-10


def test_measures_scale_and_ignore_where_the_shape_lies():
    vertices, faces = SHAPES["cap"]
    moved = 3.0 * meshes.turned(vertices)
    assert face_areas(moved, faces) == pytest.approx(9.0 * face_areas(vertices, faces), rel=1e-9)
    angles = [corner_angles(edge_lengths(place, faces)) for place in (vertices, moved)]
    assert np.abs(angles[0] - angles[1]).max() < 1e-10
