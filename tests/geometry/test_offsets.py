"""Offset directions against closed forms: polyhedra, their rims and corners."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from scipy.spatial import Delaunay

from meshflow.geometry.offset_room import face_room
from meshflow.geometry.offset_sheet import MovingSheet
from meshflow.geometry.offsets import LONGEST_MITRE, offset_directions
from meshflow.geometry.triangles import face_normals


@pytest.mark.parametrize("facets", [12, 90])
def test_a_cylinder_wall_becomes_the_offset_polyhedron_rim_included(facets):
    # Each facet of angle a moves by 1; neighbours meet at 1 / cos(a / 2) along the radius, at the rim too.
    angle = np.radians(270)
    vertices, faces = meshes.developable_cylinder(50.0, angle, 80.0, facets + 1, 5)
    directions, held = offset_directions(vertices, faces)
    expected = vertices * [1, 1, 0] / 50.0 / np.cos(angle / facets / 2)
    if facets == 12:  # 22.5 degrees a facet: every line is a fold, and a rim line of a fold has one plane only
        rim = np.isclose(np.arctan2(vertices[:, 1], vertices[:, 0]) % (2 * np.pi), [[0.0], [angle]]).any(axis=0)
        directions, expected = directions[~rim], expected[~rim]
    assert np.abs(directions - expected).max() < 1e-9
    assert not held.any()


def test_the_rim_of_a_cap_moves_along_its_radius():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 30)
    directions, _ = offset_directions(vertices, faces)
    along = directions / np.linalg.norm(directions, axis=1)[:, None]
    # A rim normal half a facet off would be 1 degree = 0.017 off.
    off = np.linalg.norm(along - vertices / 50.0, axis=1)
    assert off.max() < 0.0015
    assert off[-180:].max() < 0.0005


def test_every_face_of_a_box_moves_by_one():
    vertices, faces = meshes.closed_box()
    directions, _ = offset_directions(vertices, faces)
    assert np.einsum("fd,fkd->fk", face_normals(vertices, faces), directions[faces]) == pytest.approx(1.0, abs=1e-9)


def test_a_knife_edge_is_held_at_the_longest_mitre():
    vertices, faces = meshes.folded_strip(turn=np.radians(160))
    directions, held = offset_directions(vertices, faces)
    assert held.sum() == 7
    assert np.linalg.norm(directions, axis=1).max() == pytest.approx(LONGEST_MITRE)


def test_directions_turn_with_the_piece():
    vertices, faces = meshes.saddle()
    moved = meshes.turned(np.concatenate([vertices, [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]]))
    turn = (moved[-3:] - moved[-4]).T
    one, two = offset_directions(vertices, faces)[0], offset_directions(moved[:-4], faces)[0]
    assert np.abs(one @ turn.T - two).max() < 1e-10


def test_on_a_wall_of_uneven_triangles_the_rim_is_as_good_as_the_inside():
    # Points thrown about on a cylinder and joined by Delaunay; the true direction is the radius.
    random, width, height, side = np.random.default_rng(0), 50.0 * np.radians(270), 60.0, 3.0
    across, up = np.meshgrid(np.arange(side, width - 1.5, side), np.arange(side, height - 1.5, side))
    inner = np.stack([across.ravel(), up.ravel()], axis=1)
    inner += random.uniform(-0.35, 0.35, inner.shape) * side
    rim = [(x, y) for x in np.linspace(0, width, 80) for y in (0.0, height)]
    rim += [(x, y) for y in np.linspace(0, height, 21)[1:-1] for x in (0.0, width)]
    flat = np.concatenate([rim, inner])
    faces = Delaunay(flat).simplices.astype(np.int64)
    one, two = (flat[faces[:, k]] - flat[faces[:, 0]] for k in (1, 2))
    doubled = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    faces = np.where((doubled < 0)[:, None], faces[:, ::-1], faces)[np.abs(doubled) > 1e-6]
    turn = flat[:, 0] / 50.0
    vertices = np.stack([50.0 * np.cos(turn), 50.0 * np.sin(turn), flat[:, 1]], axis=1)
    off = np.linalg.norm(offset_directions(vertices, faces)[0] - vertices * [1, 1, 0] / 50.0, axis=1)
    at_rim, inside = off[: len(rim)], off[len(rim) :]
    # A mean over one side would be half a facet off: 1.5 / 50 = 0.03 at every rim vertex.
    assert np.sqrt((at_rim**2).mean()) < np.sqrt((inside**2).mean()) < 0.008
    assert at_rim.max() < 0.012


@pytest.mark.parametrize(
    ("radius", "way", "share"), [(10.0, -20.0, 0.475), (10.0, 20.0, np.inf), (10.0, -9.0, 9.5 / 9.0)]
)
def test_a_wall_of_a_cylinder_has_room_until_a_twentieth_of_it_is_left(radius, way, share):
    # The width of a facet falls with (R + way t) / R; it reaches 1 / 20 at t = 0.95 R / |way|.
    vertices, faces = meshes.developable_cylinder(radius, np.radians(270), 20.0, 91, 5)
    room = face_room(vertices, faces, way * vertices * [1, 1, 0] / radius)
    assert room == pytest.approx(share)


def test_a_tight_tube_has_nothing_to_hang_on_and_stays_at_its_shares():
    vertices, faces = meshes.ring_band(3.0, 20.0, 60, 9)
    sheet = MovingSheet(vertices, faces, -8.0)
    assert sheet.tight.all()
    assert sheet.turned.all()
    assert np.linalg.norm(sheet.moved()[:, :2], axis=1) == pytest.approx(0.05 * 3.0)
