"""Turns between the listed ones: to the fraction of a degree, and where a part fits no other way."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest, verify_nest
from meshflow.nest.fine_turns import FINEST_DEG, Turner, with_fitting_turns
from meshflow.nest.placement import Layout
from meshflow.nest.prepare import make_pieces


def bar(length, width, **options):
    return Part("bar", Polycurve([[0, 0], [length, 0], [length, width], [0, width]]), **options)


def test_a_bar_longer_than_the_sheet_is_laid_along_its_diagonal():
    # 1080 x 20 into 1000 x 500: by geometry only between 24.9 and 25.9 degrees, a turn that no step lists.
    part = bar(1080.0, 20.0, turns_deg=(0.0,), turn_play_deg=180.0)
    answer = nest([part], [Sheet("s", 1000.0, 500.0)], margin_mm=0.0, spacing_mm=0.0)
    (placement,) = answer.sheets[0].placements
    turn = math.radians(placement.angle_deg % 180.0)
    assert 1080.0 * abs(math.cos(turn)) + 20.0 * math.sin(turn) <= 1000.0
    assert 1080.0 * math.sin(turn) + 20.0 * abs(math.cos(turn)) <= 500.0


def test_a_bar_longer_than_the_diagonal_is_named():
    part = bar(1200.0, 20.0, turns_deg=(0.0,), turn_play_deg=180.0)
    answer = nest([part], [Sheet("s", 1000.0, 500.0)], margin_mm=0.0, spacing_mm=0.0)
    assert answer.unplaced == (("bar", 1),)
    assert [note.code for note in answer.notes] == ["N101"]


def test_a_bar_that_may_not_turn_so_far_is_named():
    part = bar(1080.0, 20.0, turns_deg=(0.0,), turn_play_deg=20.0)
    answer = nest([part], [Sheet("s", 1000.0, 500.0)], margin_mm=0.0, spacing_mm=0.0)
    assert [note.code for note in answer.notes] == ["N101"]


def test_parts_that_fit_as_listed_get_no_further_turns():
    pieces = make_pieces([bar(100.0, 20.0, turns_deg=(0.0,), turn_play_deg=10.0)], 0.0)
    assert with_fitting_turns(pieces, [], 0.0) == pieces


def test_a_bent_part_uses_less_length_at_a_turn_between_the_listed_ones():
    # A bar drawn askew by 5 degrees in a sheet with room to straighten it: its length then is its own.
    turn = math.radians(5.0)
    ring = np.array([[0, 0], [300, 0], [300, 10], [0, 10.0]])
    askew = ring @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    part = Part("bar", Polycurve(askew), turns_deg=(90.0,), turn_play_deg=6.0)
    options = {"margin_mm": 0.0, "spacing_mm": 0.0}
    sheet = Sheet("s", 1000.0, 400.0)
    by_steps = nest([part], [sheet], effort=4, **options).sheets[0].used_length_mm
    answer = nest([part], [sheet], effort=4, fine_turns=True, **options)
    assert by_steps > 14.0  # at 6 degrees, one off
    assert answer.sheets[0].used_length_mm <= 10.0 + 300.0 * math.sin(math.radians(2.0 * FINEST_DEG))
    assert answer.sheets[0].placements[0].angle_deg == pytest.approx(85.0, abs=2.0 * FINEST_DEG)


def test_turns_stay_within_their_play_and_the_same_input_gives_the_same_answer():
    part = Part("dart", Polycurve([[0, 0], [90, 0], [60, 30], [40, 140]]), quantity=7, turn_play_deg=4.0)
    options = {"margin_mm": 2.0, "spacing_mm": 1.5, "effort": 3, "fine_turns": True}
    one, two = (nest([part], [Sheet("s", 600.0, 260.0)], **options) for _ in range(2))
    assert one == two
    for placement in one.sheets[0].placements:
        assert min(abs(math.remainder(placement.angle_deg - turn, 360.0)) for turn in (0, 90, 180, 270)) <= 4.0 + 1e-9


def test_parts_without_play_are_searched_in_one_stage_and_others_get_ever_finer_turns():
    stiff, loose = bar(100.0, 20.0), bar(100.0, 20.0, turn_play_deg=3.0)
    assert [stage.moves for stage in Turner(0.0, make_pieces([stiff], 0.0), 1).stages(9000)] == [9000]
    stages = list(Turner(0.0, make_pieces([loose], 0.0), 1).stages(9000))
    assert sum(stage.moves for stage in stages) == 9000
    steps = [stage.step_deg for stage in stages]
    assert steps[0] == 0.0
    fine = steps[1 : steps.index(0.0, 1)]
    assert fine == sorted(fine, reverse=True)
    assert FINEST_DEG <= fine[-1] < 3.0 * FINEST_DEG


def test_poses_of_an_empty_layout_are_the_listed_ones():
    pieces = make_pieces([bar(100.0, 20.0, turn_play_deg=3.0)], 0.0)
    assert Turner(0.0, pieces, 1).turned(Layout(), 1.0) == pieces


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.1, 180.0), st.floats(0.0, 5.0))
def test_whatever_is_laid_passes_the_check(seed, play, spacing):
    chance = np.random.default_rng(seed)
    parts = []
    for number in range(3):
        angle = np.sort(chance.random(6)) * 2.0 * math.pi
        ring = (20.0 + 60.0 * chance.random((6, 1))) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        if len(np.unique(angle)) < 6 or np.diff(angle, append=angle[0] + 2.0 * math.pi).max() >= math.pi:
            return
        parts.append(Part(f"p{number}", Polycurve(ring), quantity=2, turn_play_deg=play))
    answer = nest(parts, [Sheet("s", 700.0, 300.0)], spacing_mm=spacing, effort=1, fine_turns=True)
    assert verify_nest(answer, parts) == ()
