"""Sections with a plane against closed forms and against trimesh's own section."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.closest import closest_points
from meshflow.geometry.sections import section_curves


def cut(mesh, normal, distance):
    normal = np.asarray(normal, dtype=float) / np.linalg.norm(normal)
    return section_curves(*mesh, mesh[0] @ normal - distance)


def doubled_area(points: np.ndarray) -> float:
    x, y = points.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


SHAPES = {
    "ball": meshes.closed_ball(25.0, 3),
    "torus": meshes.closed_torus(),
    "saddle": meshes.saddle(),
    "wall": meshes.developable_cylinder(),
    "box": meshes.closed_box(),
}


@pytest.mark.parametrize("name", sorted(SHAPES))
@settings(max_examples=40, deadline=None, derandomize=True)
@given(direction=st.tuples(*[st.floats(-1, 1)] * 3), share=st.floats(0.02, 0.98))
def test_a_section_is_as_long_as_the_one_of_a_second_library(name, direction, share):
    # Reference: trimesh.Trimesh.section. Planes within a billionth of a corner are left to the tests below.
    vertices, faces = SHAPES[name]
    length = np.linalg.norm(direction)
    if length < 1e-3:
        return
    normal = np.array(direction) / length
    height = vertices @ normal
    distance = height.min() + share * np.ptp(height)
    if np.abs(height - distance).min() < 1e-7:
        return
    found = cut((vertices, faces), normal, distance)
    reference = trimesh.Trimesh(vertices, faces, process=False).section(normal, normal * distance)
    assert sum(curve.length for curve in found) == pytest.approx(reference.length, rel=1e-9)
    assert len(found) == len(reference.entities)
    assert sorted(curve.closed for curve in found) == sorted(bool(entity.closed) for entity in reference.entities)
    on_plane = np.concatenate([curve.points for curve in found]) @ normal
    assert np.abs(on_plane - distance).max() < 1e-9


@settings(max_examples=60, deadline=None, derandomize=True)
@given(corners=st.lists(st.integers(0, 641), min_size=3, max_size=3, unique=True))
def test_a_plane_through_three_corners_of_a_ball_gives_one_whole_curve(corners):
    # A convex body: every section is one convex polygon; its area is that of the hull of the crossings.
    vertices, faces = SHAPES["ball"]
    normal = np.cross(*(vertices[corners[1:]] - vertices[corners[0]]))
    if np.linalg.norm(normal) < 1e-6:
        return
    normal /= np.linalg.norm(normal)
    heights = vertices @ normal - vertices[corners[0]] @ normal
    heights[corners] = 0.0
    heights[np.abs(heights) < 1e-12] = 0.0
    (curve,) = section_curves(vertices, faces, heights)
    assert curve.closed
    for corner in corners:
        assert np.linalg.norm(curve.points - vertices[corner], axis=1).min() == 0.0


def test_a_plane_along_whole_edges_of_a_torus_gives_both_circles_once():
    # The mesh has a row of vertices in the plane z = 0, inside and outside: polygons of 60 sides.
    curves = cut(meshes.closed_torus(60.0, 20.0, 60, 30), (0, 0, 1), 0.0)
    expected = [2 * 60 * r * np.sin(np.pi / 60) for r in (80.0, 40.0)]
    assert [curve.length for curve in curves] == pytest.approx(expected, rel=1e-12)
    assert all(curve.closed and len(curve.points) == 60 for curve in curves)


@pytest.mark.parametrize("height", [0.0, 7.0, 20.0])
def test_a_box_gives_its_rectangle_even_where_the_plane_lies_in_a_face(height):
    (curve,) = cut(meshes.closed_box((40, 30, 20)), (0, 0, 1), height)
    assert curve.closed
    assert curve.length == pytest.approx(140.0, rel=1e-12)
    assert doubled_area(curve.points[:, :2]) == pytest.approx(2 * 1200.0, rel=1e-12)  # counter-clockwise


def test_the_outside_lies_on_the_right_so_a_hollow_runs_clockwise():
    outer, inner = cut(meshes.closed_torus(), (0, 0, 1), 3.0)
    assert doubled_area(outer.points[:, :2]) > 0 > doubled_area(inner.points[:, :2])


def test_seen_from_behind_the_curve_still_runs_counter_clockwise():
    (curve,) = cut(meshes.closed_box(), (0, 0, -1), -7.0)
    assert doubled_area(curve.points[:, :2] * [-1, 1]) > 0


def test_a_plane_that_touches_one_corner_gives_nothing():
    ball = meshes.closed_ball(25.0, 2)
    top = np.argmax(ball[0][:, 2])
    assert cut(ball, (0, 0, 1), ball[0][top, 2]) == ()


def test_an_open_wall_gives_an_open_curve_of_the_polygon_s_length():
    (curve,) = cut(meshes.developable_cylinder(50.0, np.radians(270), 80.0, 91, 21), (0, 0, 1), 33.3)
    assert not curve.closed
    assert curve.length == pytest.approx(90 * 100 * np.sin(np.radians(1.5)), rel=1e-12)


def test_each_side_names_the_face_it_runs_through():
    vertices, faces = meshes.saddle()
    (curve,) = cut((vertices, faces), (1, 0.3, 0.1), 5.0)
    middle = 0.5 * (curve.points[1:] + curve.points[:-1])
    assert len(curve.faces) == len(middle)
    for point, face in zip(middle, curve.faces, strict=True):
        assert closest_points(vertices, faces[[face]], point)[1] < 1e-12


def test_a_side_wound_the_wrong_way_does_not_break_the_curve():
    vertices, faces = meshes.closed_box()
    faces = faces.copy()
    faces[4] = faces[4, ::-1]
    (curve,) = cut((vertices, faces), (0, 0, 1), 7.0)
    assert curve.closed
    assert doubled_area(curve.points[:, :2]) == pytest.approx(2400.0)


def test_at_an_edge_of_three_faces_the_curves_end():
    vertices = np.array([[0.0, 0, 0], [0, 0, 10], [9, 0, 0], [-9, 0, 0], [0, 9, 0]])
    curves = cut((vertices, np.array([[0, 2, 1], [0, 1, 3], [0, 4, 1]])), (0, 0, 1), 5.0)
    assert [curve.closed for curve in curves] == [False] * 3
    assert [curve.length for curve in curves] == pytest.approx([4.5] * 3)


def test_a_plane_in_a_shelf_gives_the_section_just_below_it():
    # A step: a wall at x = 0 up to the plane, a shelf in it to x = 4, a wall on from there.
    x, z = np.array([0.0, 0.0, 4.0, 4.0]), np.array([-5.0, 0.0, 0.0, 5.0])
    vertices = np.stack([np.tile(x, 2), np.repeat([0.0, 9.0], 4), np.tile(z, 2)], axis=1)
    (curve,) = cut((vertices, meshes.grid_faces(4, 2)), (0, 0, 1), 0.0)
    assert curve.length == pytest.approx(9.0)
    assert (curve.points[:, 0] == 0.0).all()
