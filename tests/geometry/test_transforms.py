"""Rigid motions: the order mirror, turn, move; exact quarters; inverse and composition."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.transforms import composed, inverse, motion_of, move_points, turn_matrix, turned_direction
from meshflow.model.curve import Motion
from meshflow.model.layout import Placement

motions = st.builds(Motion, st.booleans(), st.floats(-7, 7), st.floats(-100, 100), st.floats(-100, 100))


def test_mirror_comes_before_turn_and_turn_before_move():
    # (1, 2) -> (-1, 2) -> (-2, -1) -> (8, 19), by hand
    assert move_points([[1.0, 2.0]], Motion(True, math.pi / 2, 10.0, 20.0)).tolist() == [[8.0, 19.0]]


@pytest.mark.parametrize("degrees", [0, 90, 180, 270, 360, -90, 450])
def test_quarter_turns_are_exact(degrees):
    matrix = turn_matrix(math.radians(degrees))
    assert set(np.abs(matrix).ravel()) == {0.0, 1.0}
    assert np.linalg.det(matrix) == 1.0
    point = np.array([[0.1, 0.7]])
    for _ in range(4):
        point = move_points(point, Motion(angle_rad=math.pi / 2))
    assert point.tolist() == [[0.1, 0.7]]


def test_a_placement_turns_counter_clockwise_by_degrees():
    placed = motion_of(Placement("skirt", 1, 5.0, 6.0, 30.0, True))
    assert placed == Motion(True, math.radians(30), 5.0, 6.0)


@settings(max_examples=60, deadline=None)
@given(motions, motions)
def test_composition_is_one_motion_after_the_other_and_inverse_undoes_it(first, second):
    points = np.array([[0.0, 0.0], [3.0, 1.0], [-2.0, 5.0]])
    both = move_points(move_points(points, first), second)
    assert move_points(points, composed(first, second)) == pytest.approx(both, abs=1e-9)
    assert move_points(both, inverse(composed(first, second))) == pytest.approx(points, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(motions, st.floats(-3, 3))
def test_directions_turn_as_points_do(motion, angle):
    ends = move_points([[0.0, 0.0], [math.cos(angle), math.sin(angle)]], motion)
    new = turned_direction(angle, motion)
    assert ends[1] - ends[0] == pytest.approx([math.cos(new), math.sin(new)], abs=1e-9)
