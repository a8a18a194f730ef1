"""Areas, crossings and room, on shapes whose answers are plain."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meshflow.geometry.polygons import (
    boxes_inside,
    crossing_places,
    curves_inside,
    depth_of,
    gap_between,
    inside,
    least_rectangle_angle,
    material,
    pole_of_inaccessibility,
    rings_cross,
    rings_overlap,
    shrunk,
    without_box,
    without_curves,
)
from meshflow.geometry.transforms import turn_matrix
from meshflow.model.curve import Circle, Dot, Polycurve

SQUARE = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])


def test_material_is_outline_less_holes():
    area = material(Polycurve(SQUARE), [Circle((5.0, 5.0), 2.0)], tolerance=1e-5).area
    assert area == pytest.approx(100.0 - math.pi * 4.0, abs=1e-3)


def test_a_bow_tie_crosses_in_its_middle():
    assert crossing_places([[0, 0], [2, 2], [2, 0], [0, 2]]).tolist() == [[1.0, 1.0]]


def test_a_run_back_over_itself_is_found_and_a_touch_too():
    assert len(crossing_places([[0, 0], [2, 0], [1, 0], [1, 1]])) == 2
    touching = [[0, 0], [4, 0], [4, 2], [2, 0], [0, 2]]
    assert len(crossing_places(touching)) > 0


def test_simple_polylines_cross_nowhere():
    assert len(crossing_places(SQUARE)) == 0
    assert len(crossing_places([[0, 0], [2, 2], [2, 0], [1.5, 0]], closed=False)) == 0
    assert len(crossing_places([[0, 0], [1, 0], [0, 1]])) == 0


def test_rings_that_meet_and_rings_that_do_not():
    assert len(rings_cross(SQUARE, SQUARE + 5.0)) == 1
    assert len(rings_cross(SQUARE, SQUARE + 50.0)) == 0
    assert len(rings_cross(SQUARE, 5.0 + 0.1 * SQUARE)) == 0
    assert rings_overlap(SQUARE, 5.0 + 0.1 * SQUARE)
    assert not rings_overlap(SQUARE, SQUARE + 50.0)


def test_inside_is_strict_and_depth_is_signed():
    area = material(Polycurve(SQUARE))
    points = [[5.0, 5.0], [0.0, 5.0], [12.0, 5.0], [1.0, 3.0]]
    assert inside(area, points).tolist() == [True, False, False, True]
    assert depth_of(area, points).tolist() == [5.0, 0.0, -2.0, 1.0]


def test_curves_inside_may_not_touch_the_rim():
    area = material(Polycurve(SQUARE))
    across = Polycurve(np.array([[1.0, 5.0], [9.0, 5.0]]), closed=False)
    to_rim = Polycurve(np.array([[1.0, 5.0], [10.0, 5.0]]), closed=False)
    assert curves_inside(area, [across, Circle((5.0, 5.0), 4.0), Dot((1.0, 1.0))])
    assert not curves_inside(area, [across, to_rim])


def test_gap_between_two_groups():
    assert gap_between([Circle((0.0, 0.0), 1.0)], [Dot((5.0, 0.0)), Dot((3.0, 0.0))]) == pytest.approx(2.0)
    assert gap_between([], [Dot((5.0, 0.0))]) == math.inf


def test_room_shrinks_and_loses_what_is_taken():
    area = material(Polycurve(SQUARE))
    assert shrunk(area, 1.0).area == pytest.approx(64.0)
    assert without_box(area, [5.0, 5.0], width=4.0, height=2.0, angle=0.3).area == pytest.approx(92.0)
    line = Polycurve(np.array([[-5.0, 5.0], [15.0, 5.0]]), closed=False)
    assert without_curves(area, [line], clearance=1.0).area == pytest.approx(80.0)


def test_a_box_fits_where_its_corners_do():
    area = material(Polycurve(SQUARE))
    centres = np.array([[5.0, 5.0], [5.0, 9.5]])
    assert boxes_inside(area, centres, width=8.0, height=2.0, angle=0.0).tolist() == [True, False]
    assert boxes_inside(area, centres, width=12.0, height=0.5, angle=math.pi / 4).tolist() == [True, False]


def test_pole_of_a_right_triangle_is_its_incentre():
    # 3-4-5 triangle times ten: inradius (a + b - c) / 2 = 10, incentre (10, 10)
    centre, radius = pole_of_inaccessibility(
        material(Polycurve(np.array([[0.0, 0.0], [40.0, 0.0], [0.0, 30.0]]))), tolerance=0.01
    )
    assert radius == pytest.approx(10.0, abs=0.01)
    assert centre == pytest.approx((10.0, 10.0), abs=0.05)


@pytest.mark.parametrize("degrees", [0.0, 10.0, -33.0, 89.0])
def test_the_long_side_of_a_turned_rectangle_is_found(degrees):
    corners = (
        np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 7.0], [0.0, 7.0], [15.0, 3.0]]) @ turn_matrix(math.radians(degrees)).T
    )
    assert math.degrees(least_rectangle_angle(corners)) == pytest.approx(degrees, abs=1e-9)


def test_upright_shapes_turn_by_a_quarter_and_squares_not_at_all():
    assert least_rectangle_angle(SQUARE * [1.0, 3.0]) == pytest.approx(math.pi / 2)
    assert least_rectangle_angle(SQUARE) == 0.0
