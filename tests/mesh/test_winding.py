"""Windings, fans and loops."""

from __future__ import annotations

import numpy as np
import pytest
from damaged import cavity, joined, moebius_band, three_wings
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_box, closed_torus, flat_disk, ring_band, saddle, washer

from meshflow.geometry.topology import boundary_loops, edge_table, vertex_fans
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.anatomy import anatomy
from meshflow.mesh.rims import corner_fans, fans_at, ordered_loop, rim_loops
from meshflow.mesh.winding import consistent_winding, inside_out_shells, turned_faces


def rims_of(vertices, faces):
    table = edge_table(faces)
    return rim_loops(vertices, faces, table, corner_fans(faces, table))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([closed_ball, closed_torus, saddle, ring_band]))
def test_turned_faces_are_found_whichever_they_are(seed, build):
    vertices, faces = build()
    random = np.random.default_rng(seed)
    planted = random.random(len(faces)) < random.uniform(0.0, 0.4)
    mixed = turned_faces(faces, planted)
    winding = consistent_winding(mixed, edge_table(mixed), face_areas(vertices, mixed))
    assert (winding.turned == planted).all()
    assert not winding.one_sided.any()


def test_the_larger_area_has_its_way_not_the_larger_number():
    vertices = np.array([[0.0, 0, 0], [50, 0, 0], [50, 50, 0], [0, 50, 0], [55, 25, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3], [1, 2, 4]])  # the last and smallest runs 1-2 as the first does
    winding = consistent_winding(faces, edge_table(faces), face_areas(vertices, faces))
    assert winding.turned.tolist() == [False, False, True]
    winding = consistent_winding(faces, edge_table(faces), np.array([1.0, 1.0, 5.0]))
    assert winding.turned.tolist() == [True, True, False]


def test_a_moebius_band_is_one_sided_and_a_plain_band_is_not():
    for (vertices, faces), expected in ((moebius_band(), True), (ring_band(), False)):
        winding = consistent_winding(faces, edge_table(faces), face_areas(vertices, faces))
        assert winding.one_sided.all() == expected
        assert not winding.turned.any()


def test_the_wall_of_a_cavity_is_not_inside_out_but_a_turned_shell_beside_is():
    ball, faces = closed_ball()
    beside = joined(cavity(), (ball + np.array([200.0, 0, 0]), faces[:, ::-1]))
    body = anatomy(*beside)
    closed = body.closed_shells()
    assert closed.all()
    assert inside_out_shells(body.vertices, body.faces, body.shell, closed).tolist() == [2]


@pytest.mark.parametrize("build", [ring_band, washer, flat_disk, saddle, closed_box])
def test_loops_are_those_of_the_walk_round_the_rim(build):
    vertices, faces = build()
    rims = rims_of(vertices, faces)
    walks = boundary_loops(faces)
    assert len(rims.whole) == len(walks)
    assert rims.whole.all()
    found = [set(faces.reshape(-1)[ordered_loop(faces, rims, k)].tolist()) for k in range(len(walks))]
    assert sorted(map(sorted, found)) == sorted(sorted(walk.tolist()) for walk in walks)
    lengths = [np.linalg.norm(vertices[walk] - vertices[np.roll(walk, -1)], axis=1).sum() for walk in walks]
    assert np.sort(rims.length_mm) == pytest.approx(np.sort(lengths))


def test_loops_keep_to_the_fan_of_faces_they_run_along_whatever_the_winding():
    vertices, faces = saddle(count=9)
    around = np.flatnonzero((faces == 30).any(axis=1))
    opposite = [f for f in around if (faces[f] == 20).any() or (faces[f] == 40).any()]
    left = np.delete(faces, opposite, axis=0)  # two holes that touch in vertex 30 are one: their rims change over
    ball, ball_faces = closed_ball()
    two_sheets = joined((ball, ball_faces[1:]), (ball, ball_faces[1:]))[1].copy()
    two_sheets[two_sheets == ball_faces[0, 0] + len(ball)] = ball_faces[0, 0]  # two cups that touch in a rim corner
    for points, mesh, edges in ((vertices, left, [8, 32]), (np.tile(ball, (2, 1)), two_sheets, [3, 3])):
        for seed in range(3):
            mixed = turned_faces(mesh, np.random.default_rng(seed).random(len(mesh)) < 0.5)
            assert sorted(rims_of(points, mixed).edge_count.tolist()) == edges
            fan = corner_fans(mixed, edge_table(mixed))
            fans = fans_at(mixed, fan, len(points))
            assert (fans == vertex_fans(mesh, len(points))).all()
            assert fans.max() == 2


def test_a_branching_surface_has_one_rim_that_does_not_close_simply():
    rims = rims_of(*three_wings())
    assert len(rims.whole) == 1
    assert not rims.whole[0]
    assert len(rims.half_edge) == 9


def test_an_ordered_loop_runs_with_the_surface_on_its_left():
    vertices, faces = flat_disk()
    half = ordered_loop(faces, rims_of(vertices, faces), 0)
    start = faces.reshape(-1)[half]
    end = faces[half // 3, (half + 1) % 3]
    assert (np.roll(start, -1) == end).all()
    x, y, _ = vertices[start].T
    assert (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() > 0  # counter-clockwise round a disk that faces up
