"""Flat to surface and back: points and lines by faces and weights, against positions worked out by hand."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.flatten.isometric import isometric
from meshflow.flatten.roundtrip import PatternMap
from meshflow.flatten.start import first_map
from meshflow.model.region import Region
from meshflow.model.surface import Surface


def dome_map(rings: int = 8) -> PatternMap:
    vertices, faces = meshes.spherical_cap(30.0, np.radians(60), rings)
    flat = isometric(vertices, faces, first_map(vertices, faces)[0]).flat
    return PatternMap(meshes.laid_flat(vertices, faces, flat=flat))


def half_cylinder_map() -> PatternMap:
    """A cylinder of radius 10 unrolled: x is the angle times the radius, y the height."""
    vertices, faces = meshes.developable_cylinder(radius=10, angle=np.pi, height=20, around=41, up=9)
    angle = np.arctan2(vertices[:, 1], vertices[:, 0])
    return PatternMap(meshes.laid_flat(vertices, faces, flat=np.stack([10 * angle, vertices[:, 2]], axis=1)))


DOME = dome_map()


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_points_come_back_to_where_they_were(seed):
    random = np.random.default_rng(seed)
    pattern = DOME.pattern
    face = random.integers(0, len(pattern.faces), 50)
    weights = random.dirichlet([0.4, 0.4, 0.4], 50)
    flat = DOME.to_flat(face, weights)
    there = DOME.to_surface(flat)
    assert there.inside.all()
    np.testing.assert_allclose(there.flat, flat, rtol=0, atol=1e-9 * 30)
    by_hand = np.einsum("ki,kid->kd", weights, pattern.region.vertices[pattern.faces[face]])
    np.testing.assert_allclose(there.formed, by_hand, rtol=0, atol=1e-9 * 30)
    np.testing.assert_allclose(DOME.to_flat(there.face, there.barycentric), flat, rtol=0, atol=1e-9 * 30)
    back = DOME.from_scan(there.scan_face, there.scan_barycentric)
    np.testing.assert_allclose(back.flat, flat, rtol=0, atol=1e-9 * 30)


@given(seed=st.integers(0, 2**32 - 1), closed=st.booleans())
@settings(max_examples=30, deadline=None)
def test_lines_come_back_to_where_they_were(seed, closed):
    random = np.random.default_rng(seed)
    angle, radius = random.uniform(0, 2 * np.pi, 6), random.uniform(0, 27.0, 6)
    line = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1) + DOME.pattern.vertices[0]
    (run,) = DOME.line_to_surface(line, closed=closed)
    assert run.share[0] == 0.0
    assert run.share[-1] == pytest.approx(6 if closed else 5, abs=1e-9)
    assert (np.diff(run.share) > 0).all()
    flat = DOME.line_to_flat(run.face, run.ends)
    np.testing.assert_allclose(flat, run.flat, rtol=0, atol=1e-9 * 30)
    # Every corner of the line is there, and each step lies in one face from border to border.
    for k, corner in enumerate(line):
        np.testing.assert_allclose(run.flat[np.argmin(np.abs(run.share - k))], corner, rtol=0, atol=1e-9 * 30)
    assert run.ends.min() > -1e-8
    # The step before ends where the next starts, on the formed piece too.
    region = DOME.pattern.region
    start = np.einsum("ki,kid->kd", run.ends[:, 0], region.vertices[region.faces[run.face]])
    np.testing.assert_allclose(start, run.formed[:-1], rtol=0, atol=1e-7)


def test_a_straight_line_on_an_unrolled_cylinder_is_a_helix_of_the_same_length():
    there = half_cylinder_map()
    (run,) = there.line_to_surface([[2.0, 1.0], [29.0, 18.5]])
    # Elementary: the 40 facets are 2 R n sin(pi / 2n) / (R pi) times as wide as their arcs.
    narrow = 2 * 40 * np.sin(np.pi / 80) / np.pi
    assert run.length_formed_mm == pytest.approx(np.hypot(27.0 * narrow, 17.5), rel=1e-12)
    assert (np.hypot(run.formed[:, 0], run.formed[:, 1]) <= 10 + 1e-12).all()
    np.testing.assert_allclose(run.formed[:, 2], run.flat[:, 1], atol=1e-12)


def test_points_outside_and_in_a_hole_are_reported():
    there = PatternMap(meshes.laid_flat(*meshes.washer(outer=50.0, inner=20.0)))
    places = there.to_surface([[30.0, 0.0], [0.0, 0.0], [70.0, 3.0], [np.nan, 0.0]])
    assert places.inside.tolist() == [True, False, False, False]
    assert places.face[1:].tolist() == places.scan_face[1:].tolist() == [-1, -1, -1]
    assert np.isnan(places.formed[1:]).all()


def test_a_line_over_a_hole_and_off_the_edge_falls_into_runs():
    there = PatternMap(meshes.laid_flat(*meshes.washer(outer=50.0, inner=20.0)))
    runs = there.line_to_surface([[-60.0, 0.0], [60.0, 0.0]])
    assert len(runs) == 2
    for run, (start, end) in zip(runs, [(-50.0, -20.0), (20.0, 50.0)], strict=True):
        np.testing.assert_allclose(run.flat[[0, -1], 0], [start, end], atol=1e-9)
    assert there.line_to_surface([[60.0, -60.0], [60.0, 60.0]]) == []


def test_a_line_along_edges_and_through_corners_names_each_stretch_once():
    x, y = np.meshgrid(np.arange(5.0), np.arange(5.0))
    vertices = np.stack([x, y, 0 * x], axis=2).reshape(-1, 3)
    there = PatternMap(meshes.laid_flat(vertices, meshes.grid_faces(5, 5)))
    for line in ([[0, 2], [4, 2]], [[0, 0], [4, 4]], [[0, 4], [4, 0]], [[0, 0], [4, 0]]):
        (run,) = there.line_to_surface(line)
        assert run.length_formed_mm == pytest.approx(float(np.linalg.norm(np.subtract(*line))), rel=1e-12)
        assert np.diff(run.share).sum() == pytest.approx(1.0, abs=1e-12)
        assert len(run.face) in (4, 8)  # one face for each edge, two for each cell crossed off its diagonal


def test_a_point_on_a_border_has_one_face_whatever_the_order_of_asking():
    there = PatternMap(meshes.laid_flat(*meshes.flat_disk(10.0, 4)))
    corners = there.pattern.vertices
    places = there.to_surface(corners)
    assert places.inside.all()
    np.testing.assert_allclose(places.flat, corners, atol=1e-12)
    assert places.face.tolist() == there.to_surface(corners[::-1]).face[::-1].tolist()


def test_weights_on_the_scan_hold_across_a_border_that_the_scan_never_joined():
    # Two faces of the scan with corners of their own along the line they share; the piece joins them there, and its
    # vertices on the line name the first face, by whose corners the second cannot know them.
    own = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]])
    surface = Surface(own, np.array([[0, 1, 2], [3, 4, 5]]))
    vertices, faces = own[[0, 1, 2, 4]], np.array([[0, 1, 2], [1, 3, 2]])
    weights = np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1], [0, 1, 0]])
    region = Region("joined", surface, vertices, faces, np.array([0, 1]), np.array([0, 0, 0, 1]), weights)
    flat = meshes.laid_flat(vertices, faces)
    object.__setattr__(flat, "region", region)
    places = PatternMap(flat).to_surface([[1.0, 1.0], [3.0, 2.0]])
    assert places.scan_face.tolist() == [0, 1]
    np.testing.assert_allclose(places.scan_barycentric, [[2 / 4, 1 / 4, 1 / 4], [2 / 4, 1 / 4, 1 / 4]], atol=1e-12)
    for face, there, at in zip(places.scan_face, places.scan_barycentric, [[1, 1, 0], [3, 2, 0]], strict=True):
        np.testing.assert_allclose(there @ own[surface.faces[face]], at, atol=1e-12)


def test_weights_on_the_scan_hold_for_faces_that_were_cut():
    # One face of the scan, cut in two by a line from its corner to the middle of its far side.
    surface = Surface(np.array([[0.0, 0, 0], [8, 0, 0], [0, 8, 0], [8, 8, 3]]), np.array([[0, 1, 2], [1, 3, 2]]))
    vertices = np.array([[0.0, 0, 0], [8, 0, 0], [4, 4, 0], [0, 8, 0]])
    parents, weights = np.array([0, 1, 1, 0]), np.array([[1.0, 0, 0], [1, 0, 0], [0.5, 0, 0.5], [0, 0, 1]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    region = Region("cut", surface, vertices, faces, np.array([0, 0]), parents, weights)
    flat = meshes.laid_flat(vertices, faces)
    object.__setattr__(flat, "region", region)
    there = PatternMap(flat)
    places = there.to_surface([[4.0, 1.0], [1.0, 4.0]])
    assert places.face.tolist() == [0, 1]
    assert places.scan_face.tolist() == [0, 0]
    np.testing.assert_allclose(places.scan_barycentric, [[3 / 8, 4 / 8, 1 / 8], [3 / 8, 1 / 8, 4 / 8]], atol=1e-12)
    np.testing.assert_allclose(there.from_scan([0, 0], places.scan_barycentric).flat, [[4, 1], [1, 4]], atol=1e-12)
    assert there.from_scan([1], [[0.1, 0.8, 0.1]]).face.tolist() == [-1]
