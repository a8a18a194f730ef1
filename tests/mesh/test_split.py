"""Parting: the mesh is manifold afterwards, and opened no more than it must be."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from damaged import joined, moebius_band, three_wings
from meshes import closed_ball, closed_box, enclosed_volume, flat_disk

from meshflow.geometry.topology import boundary_loops, edge_table, shells
from meshflow.mesh.split import drawn_apart, is_manifold, parted
from meshflow.mesh.weld import joined as first_of_equal
from meshflow.mesh.weld import weld
from meshflow.model.surface import Surface


def welded(*parts):
    vertices, faces = joined(*parts)
    return vertices, first_of_equal(vertices, 1e-9)[faces]


def part(vertices, faces):
    return parted(vertices, faces, np.zeros(len(faces), dtype=bool))


def two_boxes_on_an_edge():
    box, faces = closed_box()
    return welded((box, faces), (box + np.array([40.0, 0, 20]), faces))


def two_balls_in_a_point():
    ball, faces = closed_ball()
    return welded((ball, faces), (2 * ball[0] - ball, faces[:, ::-1]))


def test_two_solids_that_touch_along_an_edge_come_apart_closed():
    vertices, faces = two_boxes_on_an_edge()
    assert edge_table(faces).face_count.max() == 4
    done = part(vertices, faces)
    assert (done.edges, done.points) == (1, 0)
    assert len(boundary_loops(done.faces)) == 0
    assert int(shells(done.faces).max()) == 1  # two of them
    volume = enclosed_volume(vertices[done.old_vertex], done.faces)
    assert volume == pytest.approx(2 * 40 * 30 * 20)


def test_two_balls_that_touch_in_a_point_come_apart():
    vertices, faces = two_balls_in_a_point()
    assert not is_manifold(faces, len(vertices))
    done = part(vertices, faces)
    assert (done.edges, done.points) == (0, 1)
    assert is_manifold(done.faces, len(done.old_vertex))
    assert len(done.old_vertex) == len(vertices) + 1


def test_a_sheet_that_stands_on_another_is_cut_off_and_the_flat_one_stays_whole():
    disk, faces = flat_disk(50.0, 4)
    upright = disk[:, [0, 2, 1]]
    vertices, faces = welded((disk, faces), (upright, faces))
    done = part(vertices, faces)
    assert is_manifold(done.faces, len(done.old_vertex))
    assert done.edges == 8  # the diameter
    assert len(boundary_loops(done.faces[: len(faces) // 2])) == 1  # the first disk is a disk still


def test_three_wings_on_one_spine_are_manifold_afterwards():
    vertices, faces = three_wings()
    done = part(vertices, faces)
    assert is_manifold(done.faces, len(done.old_vertex))
    assert trimesh.Trimesh(vertices[done.old_vertex], done.faces, process=False).area == pytest.approx(3 * 40 * 40)


def spiral_stair():
    """Three faces on one edge that hang together round both of its ends: cutting along the edge parts nothing."""
    vertices = [[0, 0, 0], [0, 10, 0], [-10, 5, 0], [10, 5, 0], [5, 5, 8], [9, -2, 5], [9, 12, 5]]
    faces = [[0, 1, 2], [1, 0, 3], [3, 0, 5], [5, 0, 4], [1, 3, 6], [1, 6, 4], [0, 1, 4]]
    return np.array(vertices, dtype=float), np.array(faces)


def test_a_surface_that_winds_back_to_its_own_edge_is_cut_loose_at_one_end():
    vertices, faces = spiral_stair()
    done = part(vertices, faces)
    assert is_manifold(done.faces, len(done.old_vertex))
    assert len(done.old_vertex) == len(vertices) + 2  # the step at the end gets both its corners there
    assert int(shells(done.faces).max()) == 0  # still one piece
    assert np.array_equal(done.old_vertex[done.faces], faces)


@pytest.mark.parametrize("build", [closed_ball, moebius_band, flat_disk])
def test_a_manifold_mesh_comes_back_as_it_was(build):
    vertices, faces = build()
    done = part(vertices, faces)
    assert np.array_equal(done.faces, faces)
    assert np.array_equal(done.old_vertex, np.arange(len(vertices)))
    assert not done.touched.any()
    assert np.array_equal(drawn_apart(vertices, done, 1e-3), vertices)


@pytest.mark.parametrize("build", [two_boxes_on_an_edge, two_balls_in_a_point, three_wings])
def test_what_was_parted_stays_apart_when_it_is_welded_again(build):
    vertices, faces = build()
    done = part(vertices, faces)
    tolerance = 1e-4
    apart = drawn_apart(vertices, done, tolerance)
    move = np.linalg.norm(apart - vertices[done.old_vertex], axis=1)
    assert 0 < move.max() <= 4.0 * tolerance * (1 + 1e-9)
    again = weld(Surface(apart, done.faces), tolerance_mm=tolerance)
    assert is_manifold(again.faces, len(again.vertices))


def test_the_second_sides_of_a_sheet_are_parted_from_the_first():
    disk, faces = flat_disk(50.0, 4)
    both = np.concatenate([faces, faces[:, ::-1]])
    done = parted(disk, both, np.arange(len(both)) >= len(faces))
    assert is_manifold(done.faces, len(done.old_vertex))
    assert int(shells(done.faces).max()) == 1
    assert [len(loop) for loop in boundary_loops(done.faces)] == [24, 24]
