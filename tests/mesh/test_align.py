"""Datum by points and by principal axes: closed forms, trimesh, and what turning must not change."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import trimesh

from meshflow.errors import InputError
from meshflow.geometry.rigid import moved_points
from meshflow.mesh.align import datum_by_points, move, principal_axes
from meshflow.model.surface import Surface


def test_three_points_become_origin_x_axis_and_xy_plane():
    origin, along, inside = np.random.default_rng(3).normal(size=(3, 3)) * 50
    motion = datum_by_points(origin, along, inside)
    zero, x, xy = moved_points([origin, along, inside], motion)
    np.testing.assert_allclose(zero, 0.0, atol=1e-12)
    np.testing.assert_allclose(x, [np.linalg.norm(along - origin), 0, 0], atol=1e-12)
    assert xy[1] > 0
    assert abs(xy[2]) < 1e-12
    assert np.linalg.det(motion.rotation) == pytest.approx(1.0)


@pytest.mark.parametrize("third", [(2.0, 4.0, 6.0), (0.0, 0.0, 0.0), (1.0, 2.0, 3.0)])
def test_points_in_one_line_are_no_datum(third):
    with pytest.raises(InputError, match="one line"):
        datum_by_points((0.0, 0, 0), (1.0, 2, 3), third)


def test_a_box_lies_on_its_axes_with_the_spreads_of_the_closed_form():
    surface = Surface(*meshes.closed_box((40.0, 30.0, 20.0)))
    axes = principal_axes(surface)
    np.testing.assert_allclose(axes.centre, [20, 15, 10], atol=1e-12)
    np.testing.assert_allclose(np.abs(axes.axes), np.eye(3), atol=1e-12)
    # int x^2 over the surface of a box about its centre, over its area
    a, b, c = 40.0, 30.0, 20.0
    area = 2 * (a * b + b * c + c * a)
    exact = (2 * b * c * (a / 2) ** 2 + 2 * (b + c) * a**3 / 12) / area
    assert axes.spread_mm[0] == pytest.approx(np.sqrt(exact))
    assert axes.notes == ()


def test_centre_and_directions_are_those_of_trimesh():
    vertices, faces = meshes.lopsided_blob(3)
    axes = principal_axes(Surface(vertices, faces))
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    np.testing.assert_allclose(axes.centre, mesh.centroid if not mesh.is_watertight else mesh.triangles_center.T
                               @ mesh.area_faces / mesh.area, atol=1e-9)  # fmt: skip
    # Sampled densely, the second moments must agree to the sampling error.
    fine = mesh.subdivide().subdivide()
    offset = fine.triangles_center - axes.centre
    moment = (offset * fine.area_faces[:, None]).T @ offset / fine.area
    np.testing.assert_allclose(np.sqrt(np.diag(axes.axes @ moment @ axes.axes.T)), axes.spread_mm, rtol=2e-3)


def test_a_turned_piece_comes_to_the_same_place_whatever_its_place():
    vertices, faces = meshes.lopsided_blob(3)
    at_home = move(Surface(vertices, faces), principal_axes(Surface(vertices, faces)).motion).vertices
    for seed in range(5):
        surface = Surface(meshes.turned(vertices, seed, shift=1e4), faces)
        motion = principal_axes(surface).motion
        assert np.linalg.det(motion.rotation) == pytest.approx(1.0)
        np.testing.assert_allclose(move(surface, motion).vertices, at_home, atol=1e-7)


@pytest.mark.parametrize("sign", [1, -1])
def test_uneven_triangles_move_neither_centre_nor_directions(sign):
    vertices, faces = trimesh.remesh.subdivide(*meshes.closed_box((40.0, 30.0, 20.0)))
    one_end = np.flatnonzero(sign * (vertices[faces].mean(axis=1)[:, 0] - 20.0) > 1.0)
    vertices, faces = trimesh.remesh.subdivide(vertices, faces, face_index=one_end)
    axes = principal_axes(Surface(vertices, faces))
    np.testing.assert_allclose(axes.centre, [20, 15, 10], atol=1e-12)
    np.testing.assert_allclose(axes.axes, np.eye(3), atol=1e-9)  # even on both sides: the file's own directions


def test_the_axis_points_to_the_longer_reach():
    # A cone reaches farther towards its apex than towards its base.
    vertices, faces = meshes.cone_band(np.radians(10), 200.0, 1.0)
    axes = principal_axes(Surface(vertices, faces))
    assert axes.axes[0] @ [0, 0, 1.0] == pytest.approx(1.0, abs=1e-3)


def test_a_ball_has_no_axes_of_its_own():
    (note,) = principal_axes(Surface(*meshes.closed_ball(50.0, 3))).notes
    assert note.code == "A109"
    assert "along x and y and along y and z" in note.text


def test_a_surface_without_area_has_no_axes():
    with pytest.raises(InputError, match="no area"):
        principal_axes(Surface([[0.0, 0, 0], [1, 1, 1], [2, 2, 2]], [[0, 1, 2]]))
