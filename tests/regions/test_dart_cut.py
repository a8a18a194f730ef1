"""Drawing ways into a piece and opening it; where the cone points are; seams that make a disk.

Closed forms: the conformal scale of a spherical cap (stereographic projection); Euler characteristics; Gauss.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import TopologyError
from meshflow.geometry.topology import boundary_loops, euler_characteristic, submesh
from meshflow.geometry.triangles import face_areas
from meshflow.model.surface import Surface
from meshflow.regions.dart_cones import cone_points, log_scale
from meshflow.regions.dart_cut import open_along, with_point
from meshflow.regions.dart_record import whole_sheet
from meshflow.regions.dart_route import drawn_way, ground_of
from meshflow.regions.dart_seams import disk_seams
from meshflow.regions.piece import whole_piece


def cap_piece(rings=12, half_angle=60.0):
    return whole_sheet(meshes.whole_region(*meshes.spherical_cap(50.0, np.radians(half_angle), rings)))


def ground(piece, ways=(), kept=None):
    opened = open_along(piece, list(ways))
    return ground_of(opened, np.zeros(len(piece.faces), dtype=bool) if kept is None else kept)


def skew_way(piece):
    """A way that crosses many faces: from a point inside to a rim vertex that lies aslant of it."""
    start = int(np.argmin(np.linalg.norm(piece.vertices - [11.0, 3.0, 48.0], axis=1)))
    goal = int(np.argmin(np.linalg.norm(piece.vertices - [30.0, 31.0, 25.0], axis=1)))
    return drawn_way(piece, ground(piece), start, goal)


def test_a_way_drawn_through_faces_keeps_the_area_of_each():
    piece = cap_piece()
    drawn, way = skew_way(piece)
    assert len(way) > 8  # it does cross faces
    assert len(drawn.vertices) > len(piece.vertices)
    area = np.bincount(drawn.face_parent, weights=face_areas(drawn.vertices, drawn.faces))
    assert np.abs(area / face_areas(piece.vertices, piece.faces) - 1.0).max() < 1e-9
    np.testing.assert_array_equal(drawn.vertices[: len(piece.vertices)], piece.vertices)


def test_a_way_is_no_longer_than_the_great_circle_between_its_ends():
    # The faceted sphere lies inside the round one, so its straight ways are a little shorter than great circles.
    piece = cap_piece(24)
    drawn, way = skew_way(piece)
    length = np.linalg.norm(np.diff(drawn.vertices[way], axis=0), axis=1).sum()
    a, b = drawn.vertices[way[[0, -1]]] / 50.0
    circle = 50.0 * np.arccos(a @ b)
    assert 0.99 * circle < length < circle


def test_opening_along_a_way_leaves_a_disk_whose_legs_coincide():
    drawn, way = skew_way(cap_piece())
    opened = open_along(drawn, [way])
    assert euler_characteristic(opened.piece.faces) == 1
    assert len(boundary_loops(opened.piece.faces)) == 1
    (run,) = opened.runs
    assert len(opened.piece.vertices) == len(drawn.vertices) + len(way) - 1  # all but the tip stand twice
    np.testing.assert_array_equal(opened.piece.vertices[run.pairs[:, 0]], opened.piece.vertices[run.pairs[:, 1]])
    np.testing.assert_array_equal(opened.closed_vertex[run.pairs[:, 0]], way[::-1])
    assert run.pairs[-1, 0] == run.pairs[-1, 1]
    # Seen from outside, walking in from the rim, the first column lies on the left.
    ahead = drawn.vertices[way[-2]] - drawn.vertices[way[-1]]
    faces_left = (opened.piece.faces == run.pairs[0, 0]).any(axis=1)
    aside = opened.piece.vertices[opened.piece.faces[faces_left]].mean(axis=(0, 1)) - drawn.vertices[way[-1]]
    assert np.cross(ahead, aside) @ drawn.vertices[way[-1]] > 0


def test_a_point_inside_a_face_becomes_a_vertex_and_a_corner_stays_one():
    piece = cap_piece()
    grown, vertex = with_point(piece, 40, [0.2, 0.3, 0.5])
    np.testing.assert_allclose(grown.vertices[vertex], [0.2, 0.3, 0.5] @ piece.vertices[piece.faces[40]], atol=1e-12)
    same, corner = with_point(piece, 40, [1e-9, 1.0, 0.0])
    assert corner == piece.faces[40, 1]
    assert len(same.vertices) == len(piece.vertices)


def test_log_scale_of_a_cap_is_that_of_the_stereographic_projection():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 40)
    scale = log_scale(vertices, faces)
    exact = np.log((1 + np.cos(np.radians(60))) / (1 + vertices[:, 2] / 50.0))
    assert np.abs(scale - exact).max() < 2e-3
    assert cone_points(faces, scale, np.ones(len(vertices), dtype=bool), 3)[0] == 0  # the pole


def test_log_scale_of_a_saddle_has_the_other_sign_and_of_a_cylinder_is_nothing():
    vertices, faces = meshes.saddle()
    assert log_scale(vertices, faces).max() > 0.02
    assert np.abs(log_scale(*meshes.developable_cylinder())).max() < 1e-9


def test_a_cone_point_with_a_hole_in_the_piece_is_found_as_without():
    # The fan that closes the hole carries the hole's curvature: the scale stays extreme there.
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 20)
    points, left, old = submesh(vertices, faces, np.flatnonzero(~(faces == 0).any(axis=1)))
    assert len(boundary_loops(left)) == 2
    assert np.abs(log_scale(points, left) - log_scale(vertices, faces)[old]).max() < 5e-3


def test_ways_keep_out_of_faces_that_must_stay_whole():
    piece = cap_piece(16)
    middle = piece.vertices[piece.faces].mean(axis=1)
    kept = (np.abs(middle[:, 0] - 20.0) < 6.0) & (np.abs(middle[:, 1]) < 14.0)
    tip = int(np.argmin(np.linalg.norm(piece.vertices - [8.0, 0.0, 49.0], axis=1)))
    goal = int(np.argmax(piece.vertices[:, 0]))
    straight, _ = drawn_way(piece, ground(piece), tip, goal)
    round_it, _ = drawn_way(piece, ground(piece, kept=kept), tip, goal)
    divided = [np.bincount(one.face_parent)[kept].max() for one in (straight, round_it)]
    assert divided[0] > 1
    assert divided[1] == 1


@pytest.mark.parametrize("mesh", [meshes.closed_ball(25.0, 3), meshes.closed_torus()], ids=["ball", "torus"])
def test_a_closed_piece_falls_open_into_one_disk(mesh):
    piece, ways = disk_seams(whole_piece(Surface(*mesh)))
    opened = open_along(piece, list(ways))
    assert euler_characteristic(opened.piece.faces) == 1
    assert len(boundary_loops(opened.piece.faces)) == 1


def test_the_loops_of_a_torus_are_about_as_short_as_its_two_circles():
    # Major 60, minor 20: the circle through the hole is 2 pi 20, the inner equator 2 pi 40; both through one vertex of
    # the outer equator, where the second is 2 pi 80 at most.
    piece, ways = disk_seams(whole_piece(Surface(*meshes.closed_torus())))
    length = sum(np.linalg.norm(np.diff(piece.vertices[way], axis=0), axis=1).sum() for way in ways)
    assert length < 2 * np.pi * (20 + 80)


def test_a_torus_with_an_opening_keeps_it():
    vertices, faces = meshes.closed_torus()
    piece, ways = disk_seams(whole_piece(Surface(vertices, faces[~(faces == 500).any(axis=1)])))
    opened = open_along(piece, list(ways))
    assert euler_characteristic(opened.piece.faces) == 1  # the cut starts at the opening, which becomes the rim
    assert len(boundary_loops(opened.piece.faces)) == 1


def test_a_disk_needs_no_seam_and_loose_pieces_are_refused():
    assert disk_seams(cap_piece())[1] == ()
    vertices, faces = meshes.closed_ball(10.0, 1)
    two = Surface(np.concatenate([vertices, vertices + 50.0]), np.concatenate([faces, faces + len(vertices)]))
    with pytest.raises(TopologyError, match="2 loose pieces"):
        disk_seams(whole_piece(two))
