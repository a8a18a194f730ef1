"""Membranes: they close, carry the surface on, and hold the rim."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_torus, developable_cylinder, enclosed_volume, flat_disk, ring_band

from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.mesh import fill
from meshflow.mesh.anatomy import anatomy
from meshflow.mesh.fill import Patch, filled, filling
from meshflow.mesh.membrane import membrane
from meshflow.mesh.sound import face_quality
from meshflow.model.surface import Evidence, Surface


def closed_by_membranes(vertices, faces, **fields):
    surface = Surface(vertices, faces, **fields)
    body = anatomy(surface.vertices, surface.faces)
    out, closed = filled(surface, body, np.arange(len(body.rims.whole)), membrane)
    assert closed == len(body.rims.whole)
    return out


def opened_ball(halvings, below=15.0):
    vertices, faces = closed_ball(25.0, halvings)
    return vertices, faces[vertices[faces].mean(axis=1)[:, 2] < below]


def test_the_dome_cut_off_a_ball_is_carried_on():
    # Cut at 15 mm of 25: an opening 40 mm across whose dome is 10 mm high; a flat filling would miss it by 10 mm.
    vertices, faces = opened_ball(4)
    out = closed_by_membranes(vertices, faces)
    new = out.vertices[len(vertices) :]
    radius = np.linalg.norm(new, axis=1)
    assert np.abs(radius - 25.0).max() < 0.8
    assert (edge_table(out.faces).face_count == 2).all()
    assert euler_characteristic(out.faces) == 2
    assert enclosed_volume(out.vertices, out.faces) == pytest.approx(4 / 3 * np.pi * 25**3, rel=0.01)


def test_a_hole_in_a_plate_is_filled_flat_with_even_triangles_of_the_size_round_it():
    vertices, faces = flat_disk(50.0, 12)
    hole = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 25
    surface = Surface(vertices, faces[~hole])
    body = anatomy(vertices, surface.faces)
    inner = np.flatnonzero(body.rims.edge_count == 36)
    out, _ = filled(surface, body, inner, membrane)
    new = out.faces[len(surface.faces) :]
    assert np.abs(out.vertices[:, 2]).max() < 1e-9
    assert face_areas(out.vertices, out.faces).sum() == pytest.approx(face_areas(vertices, faces).sum())
    assert (face_normals(out.vertices, out.faces)[:, 2] > 0.999).all()
    assert face_quality(out.vertices, new).min() > 0.3
    assert 0.5 * hole.sum() < len(new) < 2.0 * hole.sum()


def test_a_hole_in_a_cylinder_wall_is_filled_round():
    vertices, faces = developable_cylinder(50.0, np.radians(270), 80.0, 91, 31)
    middle = vertices[faces].mean(axis=1)
    hole = np.linalg.norm(middle - [50 * np.cos(2.0), 50 * np.sin(2.0), 40.0], axis=1) < 22
    surface = Surface(vertices, faces[~hole])
    body = anatomy(surface.vertices, surface.faces)
    inner = np.flatnonzero(body.rims.length_mm < 200)
    assert len(inner) == 1
    out, _ = filled(surface, body, inner, membrane)
    radius = np.linalg.norm(out.vertices[len(vertices) :, :2], axis=1)
    assert np.abs(radius - 50.0).max() < 1.2  # the chord lies 5 mm inside
    assert len(boundary_loops(out.faces)) == 1


def test_all_new_faces_are_conjecture_and_old_ones_are_as_they_were():
    vertices, faces = opened_ball(3)
    colours = np.tile(np.array([200, 10, 10, 255], dtype=np.uint8), (len(faces), 1))
    sets = {"group:ball": np.arange(len(faces))}
    points = np.tile(np.array([9, 8, 7, 255], dtype=np.uint8), (len(vertices), 1))
    out = closed_by_membranes(vertices, faces, face_sets=sets, face_colours=colours, vertex_colours=points)
    count = len(faces)
    assert (out.evidence[:count] == Evidence.MEASURED).all()
    assert (out.evidence[count:] == Evidence.CONJECTURED).all()
    assert np.array_equal(out.faces[:count], faces)
    assert np.array_equal(out.vertices[: len(vertices)], vertices)
    assert len(out.face_sets["group:ball"]) == len(out.faces)
    assert (out.face_colours == [200, 10, 10, 255]).all()
    assert (out.vertex_colours == [9, 8, 7, 255]).all()
    assert len(out.vertices) > len(vertices)


def test_a_patch_with_a_face_without_area_is_not_taken():
    surface = Surface(*opened_ball(2))
    body = anatomy(surface.vertices, surface.faces)

    def pinched(body, corners, taken):
        plain = filling(body.vertices[corners], taken)
        tip = len(corners)  # a new point in the place of an old corner
        return Patch(body.vertices[corners[:1]], np.concatenate([plain, [[0, 1, tip]]]))

    out, closed = filled(surface, body, np.arange(len(body.rims.whole)), pinched)
    assert closed == 0
    assert out is surface


def test_both_ends_of_a_tube_are_closed_and_it_holds_its_volume():
    vertices, faces = ring_band(60.0, 100.0, 60, 13)
    out = closed_by_membranes(vertices, faces)
    assert (edge_table(out.faces).face_count == 2).all()
    # Straight walls carry on straight: the caps bulge, but no further than a hemisphere of the same edge would.
    assert enclosed_volume(out.vertices, out.faces) > 0.9 * np.pi * 60**2 * 100


def test_a_hole_far_from_the_origin_is_filled_alike():
    vertices, faces = opened_ball(3)
    here, far = closed_by_membranes(vertices, faces), closed_by_membranes(vertices + 1e6, faces)
    assert np.array_equal(here.faces, far.faces)
    assert np.abs(far.vertices - 1e6 - here.vertices).max() < 1e-5


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6))
def test_any_bite_out_of_a_torus_is_closed_without_a_branch(seed):
    random = np.random.default_rng(seed)
    vertices, faces = closed_torus(60.0, 20.0, 40, 20)
    middle = vertices[faces].mean(axis=1)
    bite = np.linalg.norm(middle - middle[random.integers(len(faces))], axis=1) < random.uniform(8, 30)
    out = closed_by_membranes(vertices, faces[~bite])
    assert (edge_table(out.faces).face_count == 2).all()


def test_compiled_and_plain_loops_find_the_same_triangulation(monkeypatch):
    random = np.random.default_rng(3)
    turn = np.arange(50) * 2 * np.pi / 50
    points = np.stack([np.cos(turn), np.sin(turn), 0.3 * np.sin(3 * turn)], axis=1) * 20 + random.normal(
        0, 0.2, (50, 3)
    )
    taken = np.zeros((50, 50), dtype=bool)
    for one, two in random.integers(0, 50, (40, 2)):
        if abs(int(one) - int(two)) > 1:
            taken[one, two] = taken[two, one] = True
    taken[0, 49] = taken[49, 0] = True
    plain = filling(points, taken)
    monkeypatch.setattr(fill, "_FEW", 3)
    assert np.array_equal(filling(points, taken), plain)
    assert not taken[plain[:, 0], plain[:, 1]][np.abs(plain[:, 0] - plain[:, 1]) % 49 > 1].any()


def test_a_very_long_loop_is_cut_in_two_and_filled(monkeypatch):
    monkeypatch.setattr(fill, "_MOST", 20)
    turn = np.arange(70) * 2 * np.pi / 70
    points = np.stack([40 * np.cos(turn), 15 * np.sin(turn), 0 * turn], axis=1)
    found = filling(points, np.zeros((70, 70), dtype=bool))
    assert len(found) == 68
    assert face_areas(points[:, :2], found).min() > 0
    assert face_areas(points, found).sum() == pytest.approx(35 * 40 * 15 * np.sin(2 * np.pi / 70))
