"""Curves against closed forms: circle, stadium, rounded rectangle, circular segment (Euclid; any table of areas)."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.geometry.curves import (
    bounds,
    distance_to,
    length,
    point_at,
    resample,
    reversed_curve,
    signed_area,
    tangent_at,
    tessellate,
    transformed,
)
from meshflow.geometry.pieces import piece_lengths, pieces, project
from meshflow.model.curve import Circle, Dot, Motion, Polycurve

QUARTER = math.tan(math.pi / 8)  # bulge of a quarter turn


def stadium(straight: float = 100.0, radius: float = 20.0) -> Polycurve:
    corners = [(0, 0), (straight, 0), (straight, 2 * radius), (0, 2 * radius)]
    return Polycurve(np.array(corners, float), np.array([0.0, 1.0, 0.0, 1.0]))


def rounded_rectangle(width: float = 80.0, height: float = 50.0, radius: float = 12.0) -> Polycurve:
    w, h, r = width, height, radius
    corners = [(r, 0), (w - r, 0), (w, r), (w, h - r), (w - r, h), (r, h), (0, h - r), (0, r)]
    return Polycurve(np.array(corners, float), np.array([0.0, QUARTER] * 4))


def wavy() -> Polycurve:
    """Convex, concave and straight pieces, one arc over half a turn."""
    points = np.array([[0, 0], [60, 0], [70, 30], [40, 50], [0, 40]], float)
    return Polycurve(points, np.array([0.0, 1.4, -0.3, 0.2, -0.05]))


def test_stadium_has_the_length_and_area_of_its_closed_form():
    curve = stadium(100.0, 20.0)
    assert length(curve) == pytest.approx(200.0 + 2 * math.pi * 20.0, rel=1e-14)
    assert signed_area(curve) == pytest.approx(100.0 * 40.0 + math.pi * 400.0, rel=1e-14)
    assert bounds(curve) == pytest.approx((-20.0, 0.0, 120.0, 40.0), abs=1e-12)


def test_rounded_rectangle_loses_four_corner_squares_less_a_circle():
    curve = rounded_rectangle(80.0, 50.0, 12.0)
    assert length(curve) == pytest.approx(2 * (80 + 50) - 8 * 12 + 2 * math.pi * 12, rel=1e-14)
    assert signed_area(curve) == pytest.approx(80 * 50 - (4 - math.pi) * 144, rel=1e-14)
    assert bounds(curve) == pytest.approx((0.0, 0.0, 80.0, 50.0), abs=1e-12)


@pytest.mark.parametrize("bulge", [1e-7, 9.99e-4, 1.001e-3, 0.1, 1.0, 2.0])
def test_circular_segment_area_is_r_squared_over_two_times_sweep_less_sine(bulge):
    chord = 10.0
    radius = chord * (1 + bulge**2) / (4 * bulge)
    sweep = 4 * math.atan(bulge)
    wanted = 0.5 * radius**2 * (sweep - math.sin(sweep)) if bulge > 1e-5 else 2 / 3 * chord * (bulge * chord / 2)
    curve = Polycurve(np.array([[3.0, 4.0], [13.0, 4.0]]), np.array([bulge, 0.0]))
    assert signed_area(curve) == pytest.approx(wanted, rel=1e-6 if bulge < 0.01 else 1e-12)
    assert piece_lengths(curve)[0] == pytest.approx(radius * sweep, rel=1e-12)


def test_area_of_a_far_off_part_keeps_its_digits():
    near = wavy()
    far = transformed(near, Motion(dx_mm=1e7, dy_mm=-1e7))
    assert signed_area(far) == pytest.approx(signed_area(near), rel=1e-9)


def test_circle_is_its_own_closed_form():
    circle = Circle((3.0, -2.0), 7.0)
    assert length(circle) == pytest.approx(2 * math.pi * 7, rel=1e-14)
    assert signed_area(circle) == pytest.approx(math.pi * 49, rel=1e-14)
    assert bounds(circle) == (-4.0, -9.0, 10.0, 5.0)
    assert np.hypot(*(resample(circle, 9) - [3.0, -2.0]).T) == pytest.approx(7.0, rel=1e-13)


def test_bounds_of_arcs_are_those_of_a_dense_polyline():
    curve = transformed(wavy(), Motion(angle_rad=0.7, dx_mm=5.0))
    dense = tessellate(curve, tolerance=1e-7)
    box = bounds(curve)
    assert box == pytest.approx((*dense.min(axis=0), *dense.max(axis=0)), abs=1e-6)
    assert box[0] <= dense[:, 0].min() + 1e-9
    assert box[3] >= dense[:, 1].max() - 1e-9
    assert bounds(curve, Dot((500.0, 0.0)))[2] == 500.0


def test_bounds_of_nothing_are_refused():
    with pytest.raises(OptionError, match="no curve"):
        bounds()


@pytest.mark.parametrize("tolerance", [1.0, 0.1, 0.001])
def test_chords_stay_within_the_tolerance_and_on_the_curve(tolerance):
    curve = wavy()
    ring = tessellate(curve, tolerance=tolerance)
    assert distance_to(curve, ring).max() < 1e-12
    line = shapely.LinearRing(ring)
    apart = shapely.distance(line, shapely.points(resample(curve, 5000)))
    assert 0.2 * tolerance < apart.max() <= tolerance * (1 + 1e-9)


@pytest.mark.parametrize("tolerance", [2.0, 0.1, 0.001])
def test_outer_polygon_contains_the_part_and_is_within_the_tolerance(tolerance):
    curve = wavy()
    outer = shapely.Polygon(tessellate(curve, tolerance=tolerance, outside=True))
    fine = shapely.Polygon(tessellate(curve, tolerance=1e-7))
    assert outer.is_valid
    assert fine.difference(outer).area < 1e-4  # what the fine polygon itself adds on concave arcs
    assert outer.contains(fine.buffer(-1e-6))
    off = distance_to(curve, shapely.get_coordinates(outer))
    assert off.max() <= tolerance * (1 + 1e-9)


def test_outer_polygon_of_a_disk_touches_it_with_its_sides():
    polygon = shapely.Polygon(tessellate(Circle((0.0, 0.0), 10.0), tolerance=0.1, outside=True))
    assert shapely.distance(polygon.exterior, shapely.Point(0, 0)) == pytest.approx(10.0, rel=1e-12)


def test_outer_polygon_of_a_hole_walked_clockwise_keeps_the_material():
    hole = reversed_curve(stadium())
    ring = shapely.Polygon(tessellate(hole, tolerance=0.1, outside=True))
    fine = shapely.Polygon(tessellate(hole, tolerance=1e-7))
    assert ring.difference(fine.buffer(1e-6)).area == 0.0  # the opening only gets smaller


def test_tolerance_of_nothing_is_refused():
    with pytest.raises(OptionError, match="not positive"):
        tessellate(wavy(), tolerance=0.0)


def test_reversing_twice_is_the_curve_and_once_turns_the_area():
    curve = wavy()
    back = reversed_curve(curve)
    assert signed_area(back) == pytest.approx(-signed_area(curve), rel=1e-14)
    assert (back.points[0] == curve.points[0]).all()
    again = reversed_curve(back)
    assert (again.points == curve.points).all()
    assert (again.bulges == curve.bulges).all()
    opened = Polycurve(curve.points, curve.bulges, closed=False)
    turned = reversed_curve(opened)
    assert point_at(turned, [10.0]) == pytest.approx(point_at(opened, [length(opened) - 10.0]))


def test_mirroring_an_arc_mirrors_the_points_on_it():
    curve = wavy()
    over = transformed(curve, Motion(mirrored=True))
    share = np.linspace(0, length(curve), 50, endpoint=False)
    assert point_at(over, share) == pytest.approx(point_at(curve, share) * [-1, 1], abs=1e-12)
    assert signed_area(over) == pytest.approx(-signed_area(curve))
    assert transformed(Dot((2.0, 1.0)), Motion(True, math.pi / 2, 10.0, 0.0)) == Dot((9.0, -2.0))
    assert transformed(Circle((2.0, 1.0), 3.0), Motion(dx_mm=1.0)) == Circle((3.0, 1.0), 3.0)


def test_points_by_arc_length_are_evenly_spaced_along_an_arc():
    half = Polycurve(np.array([[10.0, 0.0], [-10.0, 0.0]]), np.array([1.0, 0.0]), closed=False)
    angle = np.linspace(0, math.pi, 7)
    assert resample(half, 7) == pytest.approx(10 * np.stack([np.cos(angle), np.sin(angle)], 1), abs=1e-12)
    tangent = tangent_at(half, angle * 10)
    assert tangent == pytest.approx(np.stack([-np.sin(angle), np.cos(angle)], 1), abs=1e-12)
    assert point_at(half, [1e6]) == pytest.approx(np.array([[-10.0, 0.0]]))  # held at the end
    with pytest.raises(OptionError):
        resample(half, 1)


def test_nearly_straight_arcs_lose_no_digits():
    almost = Polycurve(np.array([[0.0, 0.0], [1000.0, 0.0]]), np.array([-1e-10, 0.0]), closed=False)
    middle = point_at(almost, [0.5 * length(almost)])
    assert middle == pytest.approx(np.array([[500.0, 500e-10]]), abs=1e-12)
    assert distance_to(almost, [[500.0, 3.0]]) == pytest.approx([3.0], abs=1e-7)


def test_projection_agrees_with_a_dense_polyline():
    curve = wavy()
    query = np.random.default_rng(4).uniform(-40, 110, (300, 2))
    along, distance = project(curve, query)
    line = shapely.LinearRing(tessellate(curve, tolerance=1e-6))
    assert distance == pytest.approx(shapely.distance(line, shapely.points(query)), abs=1e-5)
    assert np.hypot(*(point_at(curve, along) - query).T) == pytest.approx(distance, abs=1e-9)


def test_distance_to_several_curves_is_to_the_nearest():
    curves = [Circle((0.0, 0.0), 5.0), Dot((20.0, 0.0))]
    assert distance_to(curves, [[0.0, 0.0], [18.0, 0.0], [6.0, 0.0]]) == pytest.approx([5.0, 2.0, 1.0])


def test_a_circle_is_two_half_turns_counter_clockwise():
    table = pieces(Circle((1.0, 1.0), 2.0))
    assert table.points(np.array([0]), np.array([0.5])) == pytest.approx(np.array([[1.0, 3.0]]))
    assert table.sweep.sum() == pytest.approx(2 * math.pi)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=3, max_size=8, unique=True),
    st.floats(-1.5, 1.5),
    st.floats(-4, 4),
    st.booleans(),
)
def test_rigid_motion_keeps_length_and_the_size_of_the_area(corners, bulge, angle, mirrored):
    curve = Polycurve(np.array(corners), np.full(len(corners), bulge))
    moved = transformed(curve, Motion(mirrored, angle, 12.0, -7.0))
    assert length(moved) == pytest.approx(length(curve), rel=1e-9)
    assert abs(signed_area(moved)) == pytest.approx(abs(signed_area(curve)), rel=1e-9, abs=1e-6)
