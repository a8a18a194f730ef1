"""Bounds of the used length: at the truth where it is plain, never above a layout that was found."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import rectangle, rounded_plate, star, tromino

from meshflow.errors import NestError
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import length_bounds as room
from meshflow.nest import nest
from meshflow.nest.length_bounds import LengthBounds, length_bounds


def bounds_of(*parts: Part, width: float = 100.0, margin: float = 0.0, spacing: float = 0.0) -> LengthBounds:
    return length_bounds([(p, p.quantity) for p in parts], width_mm=width, margin_mm=margin, spacing_mm=spacing)


def test_parts_that_fill_the_width_are_bounded_by_their_area():
    found = bounds_of(rectangle("tile", 25, 25, quantity=8))
    assert found.area_mm == pytest.approx(50.0, abs=0.05)
    assert found.length_mm <= 50.0


def test_tall_parts_cannot_stand_over_each_other():
    found = bounds_of(rectangle("strip", 40, 60, quantity=5, turns_deg=(0.0,)))
    assert found.sections_mm == pytest.approx(200.0, abs=0.05)
    assert found.length_mm == found.sections_mm > found.area_mm


def test_thirds_of_a_little_more_are_two_to_a_line():
    found = bounds_of(rectangle("strip", 40, 34, quantity=4, turns_deg=(0.0, 180.0)))
    assert found.sections_mm == pytest.approx(80.0, abs=0.05)


def test_a_turn_that_lies_flat_is_the_one_that_counts():
    strip = rectangle("strip", 10, 60, quantity=3)
    assert bounds_of(strip).sections_mm < 30.0
    assert bounds_of(strip).widest_mm == pytest.approx(10.0, abs=0.05)


def test_margins_and_spacing_count():
    found = bounds_of(rectangle("strip", 40, 60, quantity=2, turns_deg=(0.0,)), width=120, margin=10, spacing=4)
    assert found.sections_mm == pytest.approx(104.0, abs=0.5)
    assert found.length_mm <= 104.0


def test_play_of_turns_shortens_the_widest_part_as_the_cosine_says():
    strip = rectangle("strip", 100, 1, turns_deg=(0.0,), turn_play_deg=10.0)
    truth = 100 * math.cos(math.radians(10)) + math.sin(math.radians(10))
    assert bounds_of(strip).widest_mm == pytest.approx(truth, abs=0.05)
    upright = rectangle("strip", 1, 100, turns_deg=(3.0,), turn_play_deg=5.0)
    assert bounds_of(upright).widest_mm == pytest.approx(1.0, abs=0.05)


def test_the_hulls_are_a_hint():
    found = bounds_of(tromino("elbow", 10.0, quantity=2))
    assert found.hull_area_mm2 == pytest.approx(2 * 350.0)
    assert found.hull_utilisation(6.0) > 1.0


def test_nothing_needs_nothing_and_too_wide_a_margin_is_refused():
    assert bounds_of(rectangle("tile", 5, 5, quantity=0)).length_mm == 0.0
    with pytest.raises(NestError, match="leave nothing"):
        bounds_of(rectangle("tile", 5, 5), margin=60.0)


def parts_of(seed: int, mirror: bool, play: float) -> list[Part]:
    return [
        star("star", 60.0, 9, seed, quantity=2, may_mirror=mirror, turn_play_deg=play),
        rounded_plate("plate", 90.0, 130.0, 15.0, quantity=2, turns_deg=(0.0, 180.0)),
        tromino("elbow", 55.0, quantity=1 + seed % 3, may_mirror=mirror, turns_deg=(0.0, 90.0)),
    ]


def shortest(parts: list[Part], margin: float, spacing: float) -> float:
    answer = nest(parts, [Sheet("s", 3000.0, 200.0)], margin_mm=margin, spacing_mm=spacing, seconds=0.01)
    assert not answer.unplaced
    assert len(answer.sheets) == 1
    return answer.sheets[0].used_length_mm


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.booleans(), st.sampled_from([0.0, 5.0]), st.sampled_from([0.0, 6.0]))
def test_no_layout_found_is_shorter_than_the_bound(seed, mirror, play, spacing):
    parts = parts_of(seed, mirror, play)
    found = bounds_of(*parts, width=200.0, margin=4.0, spacing=spacing)
    assert 0.0 < found.length_mm <= shortest(parts, 4.0, spacing)


def test_a_function_that_is_not_dual_feasible_is_caught(monkeypatch):
    plates = [rectangle("plate", 40.0, 75.0, quantity=4, turns_deg=(0.0,))]
    used = shortest(plates, 0.0, 0.0)
    assert used == pytest.approx(80.0)
    assert used - 0.1 < bounds_of(*plates, width=200.0).length_mm <= used
    # All chords over a third count whole, as if no two of them could stand over each other.
    monkeypatch.setattr(room, "_cut_off", lambda epsilon: lambda t: np.maximum(t - 1.0 / 3.0, 0.0))
    assert bounds_of(*plates, width=200.0).length_mm > used
