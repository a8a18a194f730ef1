"""Reducing: fewer faces, within the tolerance by a second library's measure, and nothing harmed."""

from __future__ import annotations

import sys

import igl
import numpy as np
import pytest
from meshes import closed_ball, closed_torus, enclosed_volume, flat_disk, saddle

from meshflow.errors import MissingExtraError, OptionError
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import face_areas
from meshflow.mesh import reduce
from meshflow.mesh.reduce import reduced
from meshflow.model.surface import Evidence, Surface


def both_ways(one, two):
    there = igl.point_mesh_squared_distance(one.vertices, two.vertices, two.faces)[0]
    middles = np.concatenate([two.vertices, two.vertices[two.faces].mean(axis=1)])
    back = igl.point_mesh_squared_distance(middles, one.vertices, one.faces)[0]
    return float(np.sqrt(max(there.max(), back.max())))


def test_without_the_package_it_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "fast_simplification", None)
    with pytest.raises(MissingExtraError, match=r"fast-simplification.*meshflow-workshop\[scan\]"):
        reduced(Surface(*closed_ball()), 0.1)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, np.nan, np.inf])
def test_a_tolerance_that_is_no_length_is_refused(tolerance):
    with pytest.raises(OptionError, match="tolerance"):
        reduced(Surface(*closed_ball()), tolerance)


@pytest.mark.parametrize("tolerance", [0.1, 0.5])
@pytest.mark.parametrize("build", [lambda: closed_ball(25.0, 4), lambda: closed_torus(60, 20, 80, 40)])
def test_a_round_piece_gets_fewer_faces_within_the_tolerance(build, tolerance):
    pytest.importorskip("fast_simplification")
    surface = Surface(*build())
    done = reduced(surface, tolerance)
    assert not done.failed
    assert len(done.surface.faces) < 0.8 * len(surface.faces)
    assert both_ways(surface, done.surface) <= tolerance
    assert done.deviation.max_mm <= tolerance
    assert (edge_table(done.surface.faces).face_count == 2).all()
    assert euler_characteristic(done.surface.faces) == euler_characteristic(surface.faces)
    volumes = [enclosed_volume(s.vertices, s.faces) for s in (surface, done.surface)]
    assert volumes[1] == pytest.approx(volumes[0], rel=0.05)


def test_a_wider_tolerance_leaves_fewer_faces():
    pytest.importorskip("fast_simplification")
    surface = Surface(*closed_ball(25.0, 4))
    left = [len(reduced(surface, tolerance).surface.faces) for tolerance in (0.06, 0.1, 0.5)]
    assert left == sorted(left, reverse=True)
    assert left[0] > 2 * left[2]


def test_the_rim_stays_point_for_point():
    pytest.importorskip("fast_simplification")
    surface = Surface(*saddle(40.0, 60.0, 41))
    done = reduced(surface, 0.3).surface
    rims = [mesh.vertices[boundary_loops(mesh.faces)[0]] for mesh in (surface, done)]
    assert len(done.faces) < len(surface.faces)
    assert {tuple(p) for p in rims[0].tolist()} == {tuple(p) for p in rims[1].tolist()}


def test_what_is_conjecture_stays_so_to_the_last_square_millimetre():
    pytest.importorskip("fast_simplification")
    vertices, faces = flat_disk(50.0, 30)
    guess = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 20
    evidence = np.where(guess, Evidence.CONJECTURED, Evidence.MEASURED).astype(np.uint8)
    surface = Surface(vertices, faces, evidence=evidence, face_sets={"label:3": np.flatnonzero(guess)})
    done = reduced(surface, 0.2).surface
    assert len(done.faces) < 0.5 * len(faces)
    area, before = face_areas(done.vertices, done.faces), face_areas(vertices, faces)
    assert area[done.evidence == Evidence.CONJECTURED].sum() == pytest.approx(before[guess].sum())
    assert area[done.face_sets["label:3"]].sum() == pytest.approx(before[guess].sum(), rel=0.02)
    assert (edge_table(done.faces).face_count <= 2).all()
    assert euler_characteristic(done.faces) == 1


def test_one_ragged_spot_does_not_keep_the_rest_from_being_thinned(monkeypatch):
    pytest.importorskip("fast_simplification")
    vertices, faces = flat_disk(50.0, 40)
    ragged = np.linalg.norm(vertices - [20, 0, 0], axis=1) < 4
    vertices = vertices.copy()
    vertices[ragged] += np.random.default_rng(1).normal(0, 1.0, (int(ragged.sum()), 3))
    surface = Surface(vertices, faces)
    done = reduced(surface, 0.05)
    assert both_ways(surface, done.surface) <= 0.05
    assert len(done.surface.faces) < 0.06 * len(faces)
    monkeypatch.setattr(reduce, "_REPAIRS", 0)
    assert len(reduced(surface, 0.05).surface.faces) > len(done.surface.faces)


def test_points_that_no_face_uses_do_not_matter():
    pytest.importorskip("fast_simplification")
    vertices, faces = closed_ball(25.0, 3)
    astray = Surface(np.concatenate([vertices, [[500.0, 0, 0]]]), faces)
    assert len(reduced(astray, 0.2).surface.faces) == len(reduced(Surface(vertices, faces), 0.2).surface.faces)


def test_what_cannot_be_reduced_comes_back_with_the_reason():
    pytest.importorskip("fast_simplification")
    surface = Surface(*closed_ball(25.0, 1))
    done = reduced(surface, 1e-6)
    assert done.surface is surface
    assert done.failed


def test_the_same_mesh_is_reduced_the_same_way_twice():
    pytest.importorskip("fast_simplification")
    surface = Surface(*closed_ball(25.0, 4))
    one, two = reduced(surface, 0.1).surface, reduced(surface, 0.1).surface
    assert np.array_equal(one.vertices, two.vertices)
    assert np.array_equal(one.faces, two.faces)
