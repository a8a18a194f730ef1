"""Cutting closed bodies: volumes add up, halves are closed, pins fit, whatever the plane meets."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.plan_mesh import circle, plan_mesh, with_more_points
from meshflow.geometry.solid import closed_between, is_closed, volume
from meshflow.geometry.solid_cut import Round, cut_solid, section_of
from tests.meshes import closed_ball, closed_torus

unit = st.floats(-1.0, 1.0)


@settings(max_examples=25, deadline=None)
@given(st.tuples(unit, unit, unit), st.floats(-15.0, 15.0))
def test_both_halves_are_closed_and_their_volumes_add_up(normal, distance) -> None:
    way = np.array(normal)
    if np.linalg.norm(way) < 0.1:
        return
    way /= np.linalg.norm(way)
    for body in (closed_ball(25.0, 2), closed_torus(60.0, 20.0, 30, 15)):
        below, above = cut_solid(*body, way, distance)
        assert is_closed(below[1])
        assert is_closed(above[1])
        assert volume(*below) + volume(*above) == pytest.approx(volume(*body), rel=1e-9)


def test_a_plane_through_vertices_edges_and_faces_cuts_cleanly() -> None:
    low = np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]])
    box = closed_between(low + np.array([0, 0, 8.0]), low, np.array([[0, 1, 2], [0, 2, 3]]))
    for normal, at in (((1.0, 1.0, 0.0), 10.0 / np.sqrt(2)), ((1.0, -1.0, 0.0), 0.0), ((1.0, 0, 0), 5.0)):
        way = np.array(normal) / np.linalg.norm(normal)
        below, above = cut_solid(*box, way, at)
        assert is_closed(below[1])
        assert is_closed(above[1])
        assert volume(*below) == pytest.approx(400.0, abs=2.0)  # moved by at most 0.01 mm


def test_a_section_has_its_openings() -> None:
    ring = with_more_points(circle(0.0, 0.0, 60.0), 2.0)
    points, faces = plan_mesh([ring, circle(10.0, 0.0, 8.0)], pitch=2.0)
    up = np.column_stack([points, np.full(len(points), 20.0)])
    body = closed_between(up, up * [1, 1, 0], faces)
    joint = section_of(*body, np.array([0.0, 0.0, 1.0]), 9.0)
    assert [len(piece) for piece in joint.rings] == [2]


def test_a_pin_stands_on_one_half_and_its_socket_is_in_the_other() -> None:
    body = closed_ball(25.0, 3)
    pin = Round(3.0, 2.0, 4.0, 4.4, -5.0, 5.5)
    below, above = cut_solid(*body, np.array([0.0, 0.0, 1.0]), 1.0, [pin])
    area = 0.5 * 48 * np.sin(2 * np.pi / 48)
    assert is_closed(below[1])
    assert is_closed(above[1])
    assert below[0][:, 2].max() == pytest.approx(6.0, abs=0.02)
    gained = area * (2.0**2 * 5.0 - 2.2**2 * 5.5)
    assert volume(*below) + volume(*above) - volume(*body) == pytest.approx(gained, rel=1e-6)


def test_a_plan_keeps_its_outline_and_its_area() -> None:
    ring = circle(0.0, 0.0, 50.0, flats=200)
    points, faces = plan_mesh([ring, circle(8.0, 3.0, 6.0)], pitch=1.3)
    assert np.array_equal(points[:200], ring)
    corner = points[faces]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    double = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    wanted = 0.5 * 200 * 25.0**2 * np.sin(2 * np.pi / 200) - 0.5 * 48 * 9.0 * np.sin(2 * np.pi / 48)
    assert (double > 0.0).all()
    assert 0.5 * double.sum() == pytest.approx(wanted, rel=1e-9)
