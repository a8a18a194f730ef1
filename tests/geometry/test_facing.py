"""Widths of webs and slots, and sharpness of inside corners, of shapes that have them in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.curves import length, point_at, transformed
from meshflow.geometry.facing import inside_corners, narrows
from meshflow.geometry.parted import begun_at, stretch, with_gaps
from meshflow.model.curve import Circle, Motion, Polycurve

QUARTER = math.tan(math.pi / 8)
PLATE = Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]])


def rectangle(x: float, y: float, wide: float, high: float) -> Polycurve:
    """Clockwise, as a hole."""
    return Polycurve([[x, y], [x, y + high], [x + wide, y + high], [x + wide, y]])


def comb(slot: float) -> Polycurve:
    """A plate with a slot of that width sawn in from above, and a tongue 5 mm wide beside it."""
    return Polycurve(
        [[0, 0], [60, 0], [60, 40], [35 + slot, 40], [35 + slot, 10], [35, 10], [35, 40], [30, 40], [30, 10], [0, 10]]
    )


@pytest.mark.parametrize("gap", [0.05, 0.3, 1.0, 1.9])
def test_a_round_hole_near_a_straight_edge_leaves_a_web_of_their_distance(gap: float) -> None:
    found = narrows([PLATE, Circle((20.0, 5.0 + gap), 5.0)], 2.0, across="web")
    assert [narrow.contours for narrow in found] == [(0, 1)]
    assert found[0].width_mm == pytest.approx(gap, abs=1e-4)
    assert np.allclose(found[0].place, (20.0, 0.5 * gap), atol=0.05)


@pytest.mark.parametrize("gap", [0.05, 0.7, 1.9])
def test_two_round_holes_leave_a_web_of_their_distance(gap: float) -> None:
    holes = [Circle((20.0, 20.0), 4.0), Circle((20.0 + 10.0 + gap, 20.0), 6.0)]
    (narrow,) = narrows([PLATE, *holes], 2.0, across="web")
    assert narrow.contours == (1, 2)
    assert narrow.width_mm == pytest.approx(gap, abs=1e-4)
    assert np.allclose(narrow.place, (24.0 + 0.5 * gap, 20.0), atol=0.05)


def test_a_slot_is_as_wide_as_drawn_and_the_tongue_beside_it_is_a_web() -> None:
    (slot,) = narrows([comb(0.8)], 1.0, across="slot")
    assert slot.width_mm == pytest.approx(0.8, abs=1e-6)
    assert 35.0 < slot.place[0] < 35.8
    (web,) = narrows([comb(0.8)], 5.5, across="web")
    assert web.width_mm == pytest.approx(5.0, abs=1e-6)
    assert 30.0 < web.place[0] < 35.0


def test_what_is_as_wide_as_asked_is_not_narrow() -> None:
    assert narrows([comb(1.0)], 1.0 - 1e-6, across="slot") == []
    assert narrows([PLATE, Circle((20.0, 7.0), 5.0)], 2.0 - 1e-6, across="web") == []


def test_corners_are_no_narrow_places() -> None:
    """The two sides of a corner come as near to each other as one likes."""
    for angle in (40.0, 60.0, 90.0, 120.0):
        turn = math.radians(angle)
        wedge = Polycurve([[0, 0], [80, 0], [80 * math.cos(turn), 80 * math.sin(turn)]])
        assert narrows([wedge], 3.0, across="web") == []
    assert narrows([PLATE, rectangle(10, 10, 20, 20)], 3.0, across="slot") == []


def test_a_needle_is_a_narrow_web() -> None:
    needle = Polycurve([[0, 0], [80, -4], [80, 4]])  # 5.7 degrees
    (narrow,) = narrows([needle], 1.0, across="web")
    assert narrow.width_mm < 0.3


@settings(max_examples=25, deadline=None)
@given(st.floats(-math.pi, math.pi), st.booleans(), st.floats(0.2, 2.8))
def test_a_web_is_as_wide_however_the_part_lies(turn: float, mirrored: bool, gap: float) -> None:
    motion = Motion(mirrored, turn, 30.0, -70.0)
    contours = [PLATE, Circle((20.0, 5.0 + gap), 5.0), rectangle(40, 10, 10, 10)]
    (narrow,) = narrows([transformed(contour, motion) for contour in contours], 3.0, across="web")
    assert narrow.width_mm == pytest.approx(gap, abs=2e-4)


def test_inside_corners_are_those_that_turn_into_the_material() -> None:
    ell = Polycurve([[0, 0], [60, 0], [60, 20], [20, 20], [20, 40], [0, 40]])
    assert inside_corners([ell], 1.0) == [(0.0, 20.0, 20.0)]
    assert inside_corners([PLATE], 1.0) == []
    assert [corner[0] for corner in inside_corners([PLATE, rectangle(10, 10, 20, 20)], 1.0)] == [0.0] * 4


@pytest.mark.parametrize(("radius", "found"), [(0.4, 1), (0.6, 0)])
def test_a_rounded_inside_corner_counts_by_its_radius(radius: float, found: int) -> None:
    r = radius
    ell = Polycurve(
        [[0, 0], [60, 0], [60, 20], [20 + r, 20], [20, 20 + r], [20, 40], [0, 40]], [0, 0, 0, -QUARTER, 0, 0, 0]
    )
    corners = inside_corners([ell], 0.5)
    assert len(corners) == found
    if found:
        assert corners[0][0] == pytest.approx(radius)


@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.01, 0.99))
def test_a_stretch_runs_along_its_curve_and_is_as_long_as_asked(start: float, share: float) -> None:
    curve = Polycurve([[0, 0], [30, 0], [30, 20], [0, 20]], [0.3, 0.0, -0.4, 1.0])
    total = length(curve)
    run = stretch(curve, start * total, (start + share) * total)
    assert length(run) == pytest.approx(share * total, rel=1e-9)
    along = np.linspace(0.0, length(run), 7)
    assert np.allclose(point_at(run, along), point_at(curve, start * total + along), atol=1e-7)


def test_a_curve_begun_elsewhere_is_the_same_curve() -> None:
    curve = Polycurve([[0, 0], [30, 0], [30, 20], [0, 20]], [0.3, 0.0, -0.4, 1.0])
    other = begun_at(curve, 17.0)
    assert other.closed
    assert length(other) == pytest.approx(length(curve))
    assert np.allclose(other.points[0], point_at(curve, [17.0])[0])


def test_gaps_take_their_width_out_of_a_contour_and_nothing_else() -> None:
    circle = Circle((0.0, 0.0), 20.0)
    runs = with_gaps(circle, [10.0, 70.0, 100.0], 0.5)
    assert sum(length(run) for run in runs) == pytest.approx(length(circle) - 1.5)
    apart = [np.hypot(*(one.points[-1] - two.points[0])) for one, two in zip(runs, [*runs[1:], runs[0]], strict=True)]
    assert apart == pytest.approx([2.0 * 20.0 * math.sin(0.25 / 20.0)] * 3)
