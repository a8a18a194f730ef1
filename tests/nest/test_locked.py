"""Copies whose place the maker has decided: they stay, the rest is laid round them, and what cannot be is named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hides import NEAR_MM, blob, box, check, hide
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import NestError
from meshflow.model.curve import Circle
from meshflow.model.layout import Locked
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest

STRIP = Sheet("strip", 1000.0, 100.0)
PLATE = Part("plate", box(100.0, 100.0), quantity=3, turns_deg=(0.0,))


def places(answer, sheet: int = 0) -> list[tuple[str, float, float]]:
    return [(place.part, place.x_mm, place.y_mm) for place in answer.sheets[sheet].placements]


def test_what_is_locked_stays_and_the_rest_is_laid_round_it():
    # Closed form: plates as high as the strip. One is locked at 230, so 2 fit before it and none has to go behind.
    answer = nest([PLATE], [STRIP], margin_mm=0, spacing_mm=10, locked=[Locked("plate", 1, 230.0, 0.0)])
    assert sorted(x for _, x, _ in places(answer)) == pytest.approx([0.0, 110.0, 230.0], abs=NEAR_MM)
    assert ("plate", 230.0, 0.0) in places(answer)
    assert answer.sheets[0].used_length_mm == pytest.approx(330.0, abs=NEAR_MM)
    # Locked at 110 + 99 the second gap is too short by 1 mm: one goes behind it.
    answer = nest([PLATE], [STRIP], margin_mm=0, spacing_mm=10, locked=[Locked("plate", 1, 209.0, 0.0)])
    assert sorted(x for _, x, _ in places(answer)) == pytest.approx([0.0, 209.0, 319.0], abs=NEAR_MM)
    assert answer.verified


def test_the_used_length_reaches_to_what_is_locked_and_so_does_what_is_covered():
    answer = nest([replace(PLATE, quantity=1)], [STRIP], margin_mm=0, locked=[Locked("plate", 1, 700.0, 0.0)])
    (layout,) = answer.sheets
    assert (layout.used_length_mm, layout.utilisation) == (800.0, 0.125)
    assert [placement.copy for placement in layout.placements] == [1]
    assert answer.locked == (Locked("plate", 1, 700.0, 0.0),)
    assert nest_json(answer, [PLATE])["sheets"][0]["placements"][0]["locked"] is True


def test_held_sheets_stay_come_first_and_count_against_the_stock():
    sheet = replace(STRIP, length_mm=330.0, count=3)
    locked = [Locked("plate", 2, 0.0, 0.0), Locked("plate", 1, 230.0, 0.0)]
    answer = nest([replace(PLATE, quantity=6)], [sheet], margin_mm=0, spacing_mm=10, locked=locked)
    # All six fit two sheets of three, but for the search to give up the second would be to lose what is marked on it.
    assert [len(layout.placements) for layout in answer.sheets] == [3, 3]
    assert ("plate", 230.0, 0.0) in places(answer)
    assert ("plate", 0.0, 0.0) in places(answer, 1)
    few = nest([replace(PLATE, quantity=2)], [sheet], margin_mm=0, spacing_mm=10, locked=locked)
    assert [len(layout.placements) for layout in few.sheets] == [1, 1]
    full = nest([replace(PLATE, quantity=11)], [sheet], margin_mm=0, spacing_mm=10, locked=locked)
    assert [len(layout.placements) for layout in full.sheets] == [3, 3, 3]
    assert full.unplaced == (("plate", 2),)
    assert [note.code for note in full.notes] == ["N102"]
    assert "2 of 11" in full.notes[0].text


def test_a_dear_sheet_that_holds_a_copy_is_not_changed_for_a_cheap_one():
    dear, cheap = replace(STRIP, id="dear", price=90.0), replace(STRIP, id="cheap", length_mm=150.0, price=1.0)
    plain = nest([replace(PLATE, quantity=1)], [dear, cheap], margin_mm=0)
    assert [layout.sheet.id for layout in plain.sheets] == ["cheap"]
    locked = [Locked("plate", 1, 0.0, 0.0, on="dear")]
    held = nest([replace(PLATE, quantity=1)], [dear, cheap], margin_mm=0, locked=locked)
    assert [layout.sheet.id for layout in held.sheets] == ["dear"]


def test_locked_copies_of_two_materials_hold_sheets_of_their_own():
    tin = Part("tin", box(50.0, 50.0), quantity=2, material="tin", thickness_mm=0.5)
    copper = Part("copper", box(50.0, 50.0), quantity=2, material="copper", thickness_mm=0.8)
    sheets = [Sheet(name, 200.0, 100.0, name, thick) for name, thick in (("tin", 0.5), ("copper", 0.8))]
    locked = [Locked("tin", 1, 30.0, 30.0), Locked("copper", 2, 30.0, 30.0)]
    answer = nest([tin, copper], sheets, locked=locked)
    assert [layout.sheet.id for layout in answer.sheets] == ["tin", "copper"]
    assert [len(layout.placements) for layout in answer.sheets] == [2, 2]


def test_a_turn_within_its_play_can_be_locked_and_fillers_go_beside_it():
    part = replace(PLATE, outline=box(80.0, 40.0), turn_play_deg=10.0, quantity=1)
    tag = Part("tag", box(10.0, 10.0), quantity=0, most=40)
    answer = nest([part, tag], [STRIP], margin_mm=1, spacing_mm=2, locked=[Locked("plate", 1, 400.0, 20.0, 7.3)])
    assert answer.sheets[0].placements[0].angle_deg == 7.3
    assert len(answer.sheets[0].placements) == 41
    # Within the length that is used anyway: 40 tags need no more.
    assert answer.sheets[0].used_length_mm == pytest.approx(400 + 80 * np.cos(np.radians(7.3)) + 1, abs=NEAR_MM)
    check(answer, [part, tag], margin=1, spacing=2)


@settings(max_examples=3, deadline=None)
@given(
    margin=st.sampled_from([0.0, 4.0]),
    spacing=st.sampled_from([0.0, 0.3, 3.0]),
    kept=st.integers(1, 6),
    seed=st.integers(0, 5),
    round_hide=st.booleans(),
)
def test_any_copies_of_a_nest_can_be_kept_and_the_others_laid_anew(margin, spacing, kept, seed, round_hide):
    flaws = (Flaw(Circle((120.0, 150.0), 12.0), 2.0),)
    stuff = [hide(flaws=flaws)] if round_hide else [Sheet("s", 400.0, 250.0), Sheet("t", 300.0, 200.0, count=1)]
    parts = [Part(f"p{k}", blob(22.0 + 9.0 * k, k), quantity=3, turn_play_deg=5.0 * k, may_mirror=True) for k in (0, 1)]
    first = nest(parts, stuff, margin_mm=margin, spacing_mm=spacing, seed=seed)
    chance = np.random.default_rng(seed)
    every = [
        (layout.sheet.id, number, place) for number, layout in enumerate(first.sheets, 1) for place in layout.placements
    ]
    chosen = [every[k] for k in chance.permutation(len(every))[:kept]]
    numbers = {old: new for new, old in enumerate(sorted({number for _, number, _ in chosen}), start=1)}
    locked = [Locked(p.part, numbers[number], p.x_mm, p.y_mm, p.angle_deg, p.mirrored, on) for on, number, p in chosen]
    again = nest(parts, stuff, margin_mm=margin, spacing_mm=spacing, seed=seed + 1, locked=locked)
    assert again.verified
    check(again, parts, margin=margin, spacing=spacing)
    for one in locked:
        there = [(p.part, p.x_mm, p.y_mm, p.angle_deg, p.mirrored) for p in again.sheets[one.sheet - 1].placements]
        assert (one.part, one.x_mm, one.y_mm, one.angle_deg, one.mirrored) in there
    twice = nest(parts, stuff, margin_mm=margin, spacing_mm=spacing, seed=seed + 1, locked=locked)
    assert twice == again


@pytest.mark.parametrize(
    ("locked", "code", "said"),
    [
        ([Locked("strap", 1, 0, 0)], "N123", "The parts are plate"),
        ([Locked("plate", 2, 0, 0)], "N123", "from 1 on"),
        ([Locked("plate", 1, 0, 0, on="none")], "N123", "The sheets are strip"),
        ([Locked("plate", 1, 0, 0), Locked("plate", 1, 0, 0, on="b"), Locked("plate", 1, 0, 0, on="c")], "N123", "one"),
        ([Locked("plate", 1, 110.0 * k, 0) for k in range(4)], "N124", "Ask for 4"),
        ([Locked("plate", 1, 0, 0), Locked("plate", 2, 0, 0), Locked("plate", 3, 0, 0)], "N124", "Raise the stock"),
        ([Locked("plate", 1, 100, 0, 90)], "N125", "Allow this turn"),
        ([Locked("plate", 1, 100, 0, 0, True)], "N125", "turned over"),
        ([Locked("plate", 1, 0, 5)], "N125", "-5.000 mm from the edge"),
        ([Locked("plate", 1, 901, 0)], "N125", "-1.000 mm from the edge"),
        ([Locked("plate", 1, 0, 0), Locked("plate", 1, 109, 0)], "N125", "9.000 mm apart, not 10 mm"),
        ([Locked("plate", 1, 0, 0), Locked("plate", 1, 50, 0)], "N125", "overlap"),
        ([Locked("plate", 1, 430, 0)], "N125", "from flaw 1"),
        ([Locked("plate", 1, float("nan"), 0)], "N125", "plain numbers"),
    ],
)
def test_what_cannot_be_locked_is_named_with_its_place_and_remedy(locked, code, said):
    sheet = replace(STRIP, count=2, flaws=(Flaw(Circle((540.0, 50.0), 2.0), 9.0),))
    with pytest.raises(NestError, match=code) as caught:
        nest([PLATE], [sheet], margin_mm=0, spacing_mm=10, locked=locked)
    assert said in str(caught.value)


def test_which_sheet_is_meant_must_be_said_where_there_are_two():
    two = [STRIP, replace(STRIP, id="other", length_mm=500.0)]
    with pytest.raises(NestError, match=r"N123 sheet 1: it is not said which sheet.*Say one of strip, other"):
        nest([PLATE], two, margin_mm=0, locked=[Locked("plate", 1, 0, 0)])
    answer = nest([PLATE], two, margin_mm=0, locked=[Locked("plate", 1, 0, 0, on="other")])
    assert answer.sheets[0].sheet.id == "other"


def test_the_check_finds_a_locked_copy_that_was_moved():
    # Planted faults: the same layout, told of other places than those it keeps.
    answer = nest([PLATE], [STRIP], margin_mm=0, spacing_mm=10, locked=[Locked("plate", 1, 230.0, 0.0)])

    def codes(**changes) -> list[str]:
        told = replace(answer, locked=(replace(answer.locked[0], **changes),))
        return [fault.code for fault in verify_nest(told, [PLATE])]

    assert codes() == []
    assert codes(x_mm=230.00001) == ["N126"]
    assert codes(angle_deg=180.0) == ["N126"]
    assert codes(mirrored=True) == ["N126"]
    assert codes(sheet=2) == ["N126"]
    assert codes(on="other") == ["N126"]
    assert codes(part="strap") == ["N126"]
    twice = replace(answer, locked=answer.locked * 2)
    assert [fault.code for fault in verify_nest(twice, [PLATE])] == ["N126"]


def test_an_interrupt_before_the_first_layout_leaves_what_is_locked():
    def stop(what: str, share: float) -> None:
        raise KeyboardInterrupt

    locked = [Locked("plate", 1, 230.0, 0.0)]
    answer = nest([PLATE], [STRIP], margin_mm=0, spacing_mm=10, locked=locked, progress=stop)
    assert (answer.verified, answer.stopped_by) == (True, "interrupt")
    assert ("plate", 230.0, 0.0) in places(answer)
    assert len(answer.sheets[0].placements) + sum(count for _, count in answer.unplaced) == 3
