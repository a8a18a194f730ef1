"""Borders that close on themselves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.tooling.strip_border import frame_closing, mirror_line, neutral_radius, ring_closing


# Middle fibre of thin strip (DIN 6935 puts it at half the thickness from r = 5 s upward).
def test_a_wide_ring_keeps_its_length_in_the_middle_of_the_strip():
    assert neutral_radius(100.0, thickness_mm=1.0) == pytest.approx(50.5)
    assert neutral_radius(100.0, thickness_mm=1.0, side="inside") == pytest.approx(49.5)


def test_relief_moves_the_neutral_line_towards_itself():
    assert neutral_radius(100.0, thickness_mm=1.0, mean_height_mm=0.2) == pytest.approx(50.7)
    assert neutral_radius(100.0, thickness_mm=1.0, mean_height_mm=0.2, side="inside") == pytest.approx(49.3)


# T-BEND-2 of the facts: r = 6, s = 5 gives k = 0.68959 (DIN 6935), so K = 0.3448.
def test_a_tight_ring_takes_the_factor_of_din_6935():
    assert neutral_radius(12.0, thickness_mm=5.0) == pytest.approx(6.0 + 0.5 * 0.68959 * 5.0, abs=1e-4)


@settings(max_examples=80, deadline=None)
@given(period=st.floats(3.0, 40.0), diameter=st.floats(60.0, 900.0), thickness=st.floats(0.2, 2.0))
def test_a_whole_number_of_repeats_goes_round_and_no_other_number_changes_them_less(period, diameter, thickness):
    radius = neutral_radius(diameter, thickness_mm=thickness)
    closing = ring_closing(period, diameter_mm=diameter, neutral_radius_mm=radius)
    count = closing.counts[0]
    assert count * closing.period_mm == pytest.approx(2 * math.pi * radius, rel=1e-12)
    assert closing.change == pytest.approx(closing.period_mm / period - 1.0, abs=1e-12)
    for other in (count - 1, count + 1):
        if other >= 1:
            assert abs(2 * math.pi * radius / other / period - 1.0) >= abs(closing.change) - 1e-12


def test_the_ring_said_to_close_unchanged_does():
    closing = ring_closing(12.0, diameter_mm=100.0, neutral_radius_mm=50.5)
    radius = neutral_radius(closing.exact_mm[0], thickness_mm=1.0)
    assert ring_closing(12.0, diameter_mm=closing.exact_mm[0], neutral_radius_mm=radius).change == pytest.approx(0.0)


def test_a_frame_whose_sides_are_whole_repeats_is_left_as_it_is():
    closing = frame_closing(12.0, width_mm=20 * 12 + 15, height_mm=14 * 12 + 15, ornament_mm=15.0)
    assert closing.counts == (20, 14)
    assert closing.change == pytest.approx(0.0)
    assert closing.misfit_mm == pytest.approx((0.0, 0.0))
    assert closing.length_mm == pytest.approx(2 * (20 + 14) * 12)


@settings(max_examples=80, deadline=None)
@given(period=st.floats(5.0, 30.0), width=st.floats(120.0, 900.0), height=st.floats(120.0, 900.0))
def test_what_one_tool_leaves_over_on_a_frame_is_said_and_comes_out_at_the_size_named(period, width, height):
    closing = frame_closing(period, width_mm=width, height_mm=height, ornament_mm=15.0)
    sides = (width - 15.0, height - 15.0)
    for side, count, misfit in zip(sides, closing.counts, closing.misfit_mm, strict=True):
        assert count * closing.period_mm + misfit == pytest.approx(side)
        assert abs(misfit) < period
    assert sum(closing.misfit_mm) == pytest.approx(0.0, abs=1e-9)
    exact = frame_closing(
        closing.period_mm, width_mm=closing.exact_mm[0], height_mm=closing.exact_mm[1], ornament_mm=15.0
    )
    assert exact.change == pytest.approx(0.0, abs=1e-9)
    assert exact.misfit_mm == pytest.approx((0.0, 0.0), abs=1e-6)


def test_a_repeat_is_mirrored_where_it_was_made_so():
    x = np.arange(120) / 120
    leaf = np.exp(4 * (np.cos(2 * np.pi * (x - 0.3)) - 1))[None] * np.ones((5, 1))
    line, alike = mirror_line(leaf)
    assert line == pytest.approx(0.3, abs=0.01)
    assert alike == pytest.approx(1.0)
    twisted = np.stack([np.exp(4 * (np.cos(2 * np.pi * (x - 0.1 * row)) - 1)) for row in range(5)])
    assert mirror_line(twisted)[1] < 0.8


def test_borders_with_no_room_are_refused():
    with pytest.raises(OptionError, match="too small"):
        neutral_radius(1.5, thickness_mm=1.0)
    with pytest.raises(OptionError, match="no room"):
        ring_closing(100.0, diameter_mm=10.0, neutral_radius_mm=5.0)
    with pytest.raises(OptionError, match="no room"):
        frame_closing(30.0, width_mm=20.0, height_mm=300.0, ornament_mm=15.0)
