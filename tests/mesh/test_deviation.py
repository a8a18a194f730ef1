"""Deviation: exact on shapes of known distance, and what two reference libraries measure."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from meshes import closed_ball, closed_box, flat_disk, rough

from meshflow.errors import InputError, OptionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.mesh.deviation import deviation
from meshflow.model.surface import Evidence, Surface


def test_a_surface_does_not_deviate_from_itself():
    surface = Surface(*closed_box())
    measured = deviation(surface, surface)
    assert measured.max_mm == pytest.approx(0.0, abs=1e-12)
    assert measured.rms_mm == pytest.approx(0.0, abs=1e-12)


def test_a_lifted_plate_deviates_by_its_lift_everywhere():
    vertices, faces = flat_disk(50.0, 10)
    measured = deviation(Surface(vertices, faces), Surface(vertices + np.array([0, 0, 0.3]), faces))
    for value in (measured.max_mm, measured.mean_mm, measured.rms_mm, measured.there_mm, measured.back_mm):
        assert value == pytest.approx(0.3, rel=1e-9)


def test_what_is_missing_shows_from_the_original_and_what_was_added_shows_back():
    vertices, faces = flat_disk(50.0, 10)
    near = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 40
    whole, part = Surface(vertices, faces), Surface(vertices, faces[near])
    lost = deviation(whole, part)
    assert lost.back_mm == pytest.approx(0.0, abs=1e-12)
    assert lost.there_mm == pytest.approx(10.0, rel=0.01)  # one ring of ten is gone
    added = deviation(part, whole)
    assert (added.there_mm, added.back_mm) == (pytest.approx(0.0, abs=1e-12), pytest.approx(10.0, rel=0.01))


def test_conjecture_can_be_left_out():
    vertices, faces = flat_disk(50.0, 10)
    near = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 40
    evidence = np.where(near, Evidence.MEASURED, Evidence.CONJECTURED)
    guessed = Surface(vertices, faces, evidence=evidence.astype(np.uint8))
    assert deviation(Surface(vertices, faces[near]), guessed, measured_only=True).max_mm == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("place", [0.0, 1e5])
def test_both_ways_agree_with_libigl_and_trimesh(place):
    vertices, faces = closed_ball(25.0, 3)
    vertices = vertices + place
    moved = rough(vertices, faces, 0.4, seed=5)
    measured = deviation(Surface(vertices, faces), Surface(moved, faces), spacing_mm=1000.0)
    points = [np.concatenate([v, v[faces].mean(axis=1)]) for v in (vertices, moved)]
    there = np.sqrt(igl.point_mesh_squared_distance(points[0], moved, faces)[0])
    back = np.sqrt(igl.point_mesh_squared_distance(points[1], vertices, faces)[0])
    assert measured.there_mm == pytest.approx(there.max(), rel=1e-5)
    assert measured.back_mm == pytest.approx(back.max(), rel=1e-5)
    assert measured.samples == len(there) + len(back)
    # trimesh's nearest point of one triangle to one point, asked for every pair of a few points and all faces.
    asked = points[0][:: len(points[0]) // 60]
    corners = np.tile(moved[faces], (len(asked), 1, 1))
    repeated = np.repeat(asked, len(faces), axis=0)
    apart = np.linalg.norm(trimesh.triangles.closest_point(corners, repeated) - repeated, axis=1)
    ours = SurfaceTree(moved, faces).nearest(asked).distance
    assert ours == pytest.approx(apart.reshape(len(asked), -1).min(axis=1), abs=1e-6)


def test_a_closer_spacing_finds_no_less():
    ball = Surface(*closed_ball(25.0, 1))
    fine = Surface(*closed_ball(25.0, 4))
    sparse, dense = (deviation(fine, ball, spacing_mm=s) for s in (50.0, 0.5))
    assert dense.max_mm >= sparse.max_mm - 1e-12
    assert dense.samples > 10 * sparse.samples / 2
    # The sagitta of a flat face: radius less the distance of its middle.
    middle = np.linalg.norm(ball.vertices[ball.faces].mean(axis=1), axis=1)
    assert dense.max_mm == pytest.approx(25.0 - middle.min(), rel=0.03)


def test_nothing_to_measure_is_refused():
    surface = Surface(*closed_box())
    with pytest.raises(InputError, match="without faces"):
        deviation(surface, Surface(surface.vertices, np.empty((0, 3))))
    with pytest.raises(OptionError, match="spacing"):
        deviation(surface, surface, spacing_mm=0.0)
