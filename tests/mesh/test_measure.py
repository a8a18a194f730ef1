"""Measures against closed forms: cylinder, ball, box, torus."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError, SelectionError
from meshflow.mesh.girth import girth
from meshflow.mesh.measure import area_of, distance_between, geodesic_length, thickness_at
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

BALL = Surface(*meshes.closed_ball(50.0, 5))
BOX = Surface(*meshes.closed_box((40.0, 30.0, 20.0)), face_sets={"label:top": [2, 3]})
TORUS = Surface(*meshes.closed_torus(60.0, 20.0, 240, 120))


def test_a_straight_distance_is_that_of_pythagoras():
    found = distance_between((1, 2, 3), (4, 6, 15))
    assert (found.value, found.unit) == (13.0, "mm")
    assert found.where == ((1.0, 2.0, 3.0), (4.0, 6.0, 15.0))
    with pytest.raises(InputError, match="not a point"):
        distance_between((1, 2), (4, 6, 15))


def test_areas_of_the_whole_and_of_a_set():
    assert area_of(BOX).value == pytest.approx(2 * (1200 + 600 + 800))
    assert area_of(BOX, "label:top").value == pytest.approx(1200.0)
    assert area_of(BALL).value == pytest.approx(4 * np.pi * 2500, rel=2e-3)
    with pytest.raises(SelectionError, match="label:top"):
        area_of(BOX, "label:bottom")


@pytest.mark.parametrize("height", [0.0, 30.0, -40.0])
def test_the_girth_of_a_ball_is_a_circle(height):
    exact = 2 * np.pi * np.sqrt(2500 - height**2)
    for taut in (False, True):
        found = girth(BALL, Plane([0, 0, 2.0], height), taut=taut)
        assert found.value == pytest.approx(exact, rel=1e-3)
        assert found.where[0][2] == pytest.approx(height)


def test_of_two_rings_the_nearer_one_is_measured():
    # across the ring: two circles of radius 20 about x = +-60
    found = girth(TORUS, Plane([0, 1.0, 0], 0.1), near=(60.0, 0.1, 25.0))
    assert found.value == pytest.approx(2 * np.pi * 20, rel=2e-3)
    assert found.where[0][0] > 0
    assert girth(TORUS, Plane([0, 1.0, 0], 0.1), near=(-60.0, 0, 25)).where[0][0] < 0
    # through the middle: two rings, of which the outer one is the longest and the inner one the nearest to the centre
    assert girth(TORUS, Plane([0, 0, 1.0], 0.01)).value == pytest.approx(2 * np.pi * 80, rel=1e-3)
    assert girth(TORUS, Plane([0, 0, 1.0], 0.01), near=(0, 0, 0)).value == pytest.approx(2 * np.pi * 40, rel=1e-3)


def test_a_taut_tape_bridges_a_hollow():
    # an L of 40 by 40 with legs 10 wide: walls 160 round, a tape cuts the inner corner
    ground = np.array([[0, 0], [40, 0], [40, 10], [10, 10], [10, 40], [0, 40]], dtype=float)
    ring = np.concatenate([np.c_[ground, np.zeros(6)], np.c_[ground, np.full(6, 25.0)]])
    walls = [(k, (k + 1) % 6, 6 + (k + 1) % 6) for k in range(6)] + [(k, 6 + (k + 1) % 6, 6 + k) for k in range(6)]
    shape = Surface(ring, walls)
    assert girth(shape, Plane([0, 0, 1], 12.0)).value == pytest.approx(160.0)
    assert girth(shape, Plane([0, 0, 1], 12.0), taut=True).value == pytest.approx(100.0 + 30 * np.sqrt(2.0))


def test_no_girth_where_nothing_closes():
    with pytest.raises(SelectionError, match="open curves"):
        girth(Surface(*meshes.saddle()), Plane([1, 0, 0.0]))
    with pytest.raises(SelectionError, match=r"misses.* between d = -50 and 50"):
        girth(BALL, Plane([0, 0, 1], 90.0))


def test_the_way_along_a_cylinder_is_straight_when_unrolled():
    radius, angle = 50.0, 1.7
    vertices, faces = meshes.developable_cylinder(radius, np.radians(270), 80.0, 361, 21)
    ends = [(radius * np.cos(a), radius * np.sin(a), z) for a, z in ((0.31, 11.3), (0.31 + angle, 63.1))]
    found = geodesic_length(Surface(vertices, faces), *ends)
    assert found.value == pytest.approx(np.hypot(radius * angle, 63.1 - 11.3), rel=2e-4)
    assert len(found.where) == 2


def test_the_way_round_a_ball_is_a_great_circle():
    one, two = np.array([1.0, 0.2, 0.3]), np.array([-0.1, 1.0, 0.5])
    angle = np.arccos(one @ two / np.linalg.norm(one) / np.linalg.norm(two))
    assert geodesic_length(BALL, 70 * one, 70 * two).value == pytest.approx(50 * angle, rel=5e-3)


@pytest.mark.parametrize(
    "points", [((0.0, 0, 0), (40.0, 30, 0)), ((13.0, 7, 0), (29.0, 7, 0)), ((20.0, 0, 0), (20, 30, 0))]
)
def test_on_a_flat_side_the_way_is_straight_from_corner_edge_or_middle(points):
    straight = np.linalg.norm(np.subtract(*points))
    assert geodesic_length(BOX, *points).value == pytest.approx(straight)


def test_over_an_edge_of_a_box_the_way_unfolds():
    # from the middle of the top to the middle of the long side: 15 mm on the top, 10 mm down
    assert geodesic_length(BOX, (20, 15, 20), (20, 0, 10)).value == pytest.approx(25.0)


def test_separate_pieces_have_no_way_between_them():
    vertices, faces = meshes.closed_ball(10.0, 1)
    two = Surface(np.concatenate([vertices, vertices + 50]), np.concatenate([faces, faces + len(vertices)]))
    with pytest.raises(SelectionError, match="separate pieces"):
        geodesic_length(two, (0, 0, 10), (50, 50, 60))


def test_thickness_straight_in_and_to_the_nearest_opposite():
    assert thickness_at(BOX, (20.0, 14, 25)).value == pytest.approx(20.0)
    assert thickness_at(BOX, (20.0, 14, 25), method="nearest").value == pytest.approx(20.0)
    found = thickness_at(BOX, (20.0, 14, 25))
    assert found.where[1] == pytest.approx((20.0, 14.0, 0.0))
    assert "normal" in found.what


def test_in_a_wedge_callipers_find_less_than_a_drilled_hole():
    # two planes that meet at 30 degrees: straight in d tan 30, nearest d sin 30
    far, tilt = 60.0, np.radians(30)
    edge = np.array([[0.0, 0, 0], [0, 40, 0]])
    flat = np.array([[far, 0, 0], [far, 40, 0]])
    up = np.array([[far, 0, far * np.tan(tilt)], [far, 40, far * np.tan(tilt)]])
    wedge = Surface(np.concatenate([edge, flat, up]), [[0, 3, 2], [0, 1, 3], [0, 4, 5], [0, 5, 1]])
    assert thickness_at(wedge, (30.0, 20, -1), method="nearest").value == pytest.approx(30 * np.sin(tilt), rel=1e-6)


def test_a_tube_is_as_thick_as_its_wall():
    outer, faces = meshes.ring_band(60.0, 30.0, 360, 31)
    inner, _ = meshes.ring_band(57.0, 30.0, 360, 31)
    tube = Surface(np.concatenate([outer, inner]), np.concatenate([faces, faces[:, [0, 2, 1]] + len(outer)]))
    for method in ("ray", "nearest"):
        assert thickness_at(tube, (60.0, 1.0, 15.0), method=method).value == pytest.approx(3.0, rel=2e-3)


def test_one_side_has_no_thickness():
    for method in ("ray", "nearest"):
        with pytest.raises(SelectionError, match="one side only"):
            thickness_at(Surface(*meshes.flat_disk()), (1.0, 2, 3), method=method)
    with pytest.raises(OptionError, match="ray or nearest"):
        thickness_at(BOX, (1.0, 2, 3), method="guess")
