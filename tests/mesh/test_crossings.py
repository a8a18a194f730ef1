"""Faces that cross, held against exact integer arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from damaged import joined
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_box, closed_torus, flat_disk, rough, saddle, turned

from meshflow.mesh.crossings import crossing_faces


def volume(a, b, c, d) -> int:
    """Six times the signed volume of a tetrahedron, exactly: Python integers do not round."""
    p, q, r = ([int(v[i]) - int(a[i]) for i in range(3)] for v in (b, c, d))
    return p[0] * (q[1] * r[2] - q[2] * r[1]) - p[1] * (q[0] * r[2] - q[2] * r[0]) + p[2] * (q[0] * r[1] - q[1] * r[0])


def pierces(one, two) -> bool:
    """Whether a side of triangle one runs through the inside of triangle two: three signs agree, two differ."""
    for k in range(3):
        p, q = one[k], one[(k + 1) % 3]
        above, below = volume(*two, p), volume(*two, q)
        if above * below >= 0:
            continue
        signs = {np.sign(volume(p, q, two[j], two[(j + 1) % 3])) for j in range(3)}
        if len(signs) == 1 and 0 not in signs:
            return True
    return False


def exact_pairs(vertices, faces) -> list[tuple[int, int]]:
    """Pairs of faces in general position that cross: a side of one runs through the inside of the other."""
    corner = vertices[faces]
    return [
        (i, j)
        for i in range(len(faces))
        for j in range(i + 1, len(faces))
        if pierces(corner[i], corner[j]) or pierces(corner[j], corner[i])
    ]


def found_pairs(vertices, faces, depth=1e-9) -> list[tuple[int, int]]:
    return [tuple(pair) for pair in crossing_faces(np.asarray(vertices, float), faces, depth_mm=depth).pairs.tolist()]


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10**6))
def test_random_triangles_cross_exactly_where_integer_arithmetic_says(seed):
    random = np.random.default_rng(seed)
    vertices = random.integers(-(10**6), 10**6, (105, 3))  # general position but for one chance in a million
    faces = np.arange(105).reshape(-1, 3)
    assert found_pairs(vertices, faces) == exact_pairs(vertices, faces)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6))
def test_triangles_that_share_a_corner_or_a_side_cross_only_beyond_what_they_share(seed):
    random = np.random.default_rng(seed)
    vertices = random.integers(-1000, 1000, (9, 3))
    faces = np.array([random.permutation(9)[:3] for _ in range(24)])
    faces = faces[np.unique(np.sort(faces, axis=1), axis=0, return_index=True)[1]]
    assert found_pairs(vertices, faces) == exact_pairs(vertices, faces)


def test_two_boxes_through_each_other_count_as_exact_arithmetic_counts():
    box, faces = closed_box()
    vertices, faces = joined((box, faces), (box + np.array([17, 5, 7]), faces))
    pairs = found_pairs(vertices, faces)
    assert pairs == exact_pairs(vertices.astype(int), faces)
    assert len(pairs) == 12


@pytest.mark.parametrize("mesh", [closed_ball(25.0, 3), closed_torus(), saddle(), flat_disk(), closed_box()])
def test_a_sound_surface_crosses_nowhere_whichever_way_it_lies(mesh):
    vertices, faces = mesh
    for seed in range(2):
        assert found_pairs(turned(vertices, seed), faces) == []


def test_scan_noise_of_a_tenth_of_the_edge_is_no_crossing():
    vertices, faces = closed_torus()
    assert found_pairs(rough(vertices, faces, 0.5), faces) == []


def test_a_flap_folded_flat_onto_its_neighbour_counts():
    vertices = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0], [3, 4, 0]])
    assert found_pairs(vertices, np.array([[0, 1, 2], [0, 3, 1]])) == [(0, 1)]


def test_faces_of_one_plane_count_when_they_overlap_and_not_when_they_meet():
    square = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
    right = np.array([1.0, 0.0, 0.0])
    faces = np.arange(6).reshape(2, 3)
    assert found_pairs(np.concatenate([square, square + 2.0 * right]), faces) == [(0, 1)]
    assert found_pairs(np.concatenate([square, square + 10.0 * right]), faces) == []
    assert found_pairs(np.concatenate([square, 10 - square]), faces) == []


def test_touching_within_the_depth_is_no_crossing():
    floor = np.array([[-50.0, -50, 0], [50, -50, 0], [0, 80, 0]])
    post = np.array([[0.0, 0, -0.001], [1, 0, 30], [-1, 0, 30]])
    vertices, faces = np.concatenate([floor, post]), np.arange(6).reshape(2, 3)
    assert found_pairs(vertices, faces, depth=0.01) == []
    assert found_pairs(vertices, faces, depth=0.0001) == [(0, 1)]


def test_a_flat_tangle_stops_at_the_cap_and_says_so():
    random = np.random.default_rng(0)
    vertices = random.normal(size=(600, 3))
    faces = np.arange(600).reshape(-1, 3)
    whole = crossing_faces(vertices, faces, depth_mm=1e-9)
    cut = crossing_faces(vertices, faces, depth_mm=1e-9, most_pairs=50)
    assert whole.complete
    assert len(whole.pairs) > 50
    assert not cut.complete
    assert len(cut.pairs) == 50
    assert {tuple(pair) for pair in cut.pairs.tolist()} <= {tuple(pair) for pair in whole.pairs.tolist()}


def test_one_face_alone_crosses_nothing():
    assert crossing_faces(np.eye(3), np.array([[0, 1, 2]]), depth_mm=0.0).pairs.shape == (0, 2)
