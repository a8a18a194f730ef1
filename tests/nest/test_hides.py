"""Hides, offcuts, flaws, grades, play of turns and fillers; shapely as an independent reader of every layout."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hides import NEAR_MM, blob, box, check, hide, laid, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import NestError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, verify_nest
from meshflow.nest.prepare import usable_steps
from meshflow.nest.shaped import fixed_pieces


@settings(max_examples=6, deadline=None)
@given(
    margin=st.sampled_from([0.0, 0.5, 4.0, 30.0]),
    spacing=st.sampled_from([0.0, 0.3, 3.0, 12.0]),
    clearance=st.sampled_from([0.0, 0.2, 2.0, 9.0]),
    scale=st.floats(0.05, 4.0),
    seed=st.integers(0, 5),
)
def test_any_layout_on_a_hide_keeps_its_distances(margin, spacing, clearance, scale, seed):
    chance = np.random.default_rng(seed)
    flaws = (
        Flaw(Circle((120.0, 150.0), float(chance.uniform(0.5, 30.0))), clearance),
        Flaw(box(60.0, 0.2, 250.0, 120.0), clearance),
        Flaw(box(250.0, 250.0, -20.0, -20.0), 0.0, 2),
    )
    parts = [
        Part(f"p{k}", blob(float(chance.uniform(15, 45)), k), quantity=3, least_grade=k % 3, turn_play_deg=5.0 * k)
        for k in range(3)
    ]
    stuff = hide(flaws=flaws)
    parts = [replace(part, outline=Polycurve(part.outline.points * min(scale, 1.5))) for part in parts]
    answer = nest(parts, [stuff], margin_mm=margin, spacing_mm=spacing, seed=seed)
    assert answer.verified
    check(answer, parts, margin=margin, spacing=spacing)


def test_a_part_that_asks_for_the_best_keeps_off_the_lower_grade_and_others_do_not():
    zone = Flaw(box(300.0, 200.0), 0.0, 3)
    sheet = Sheet("half", 600.0, 200.0, count=1, flaws=(zone,))
    best = Part("best", box(140.0, 90.0), quantity=4, least_grade=2, turns_deg=(0.0,))
    any_grade = Part("any", box(140.0, 90.0), quantity=4, turns_deg=(0.0,))
    answer = nest([best, any_grade], [sheet], margin_mm=0, spacing_mm=3)
    assert answer.unplaced == ()
    check(answer, [best, any_grade], margin=0, spacing=3)
    for part, shape in laid(answer, [best, any_grade])[0]:
        assert (shape.bounds[0] >= 300.0 - NEAR_MM) == (part.name == "best")


def test_grade_three_will_do_for_parts_that_ask_for_three():
    sheet = Sheet("belly", 200.0, 100.0, count=1, flaws=(Flaw(box(200.0, 100.0), 0.0, 3),))
    fine = nest([Part("a", box(50, 50), least_grade=3)], [sheet], margin_mm=0)
    poor = nest([Part("a", box(50, 50), least_grade=2)], [sheet], margin_mm=0)
    assert (len(fine.sheets), fine.unplaced) == (1, ())
    assert poor.unplaced == (("a", 1),)
    assert [note.code for note in poor.notes] == ["N101"]
    assert "lower grade" in poor.notes[0].remedy


def test_a_hide_that_its_inset_parts_in_two_is_used_on_both_sides():
    left, right = box(100.0, 100.0), box(100.0, 100.0, 140.0)
    both = shapely.union_all([ring(left), ring(right), shapely.box(100.0, 45.0, 140.0, 55.0)])
    edge = Polycurve(np.asarray(both.exterior.coords)[:-1])
    sheet = Sheet("bow", 240.0, 100.0, count=1, outline=edge)
    answer = nest([Part("square", box(80.0, 80.0), quantity=2)], [sheet], margin_mm=8, spacing_mm=2)
    assert answer.unplaced == ()
    check(answer, [Part("square", box(80.0, 80.0))], margin=8, spacing=2)


def test_a_small_round_offcut_is_measured_as_the_check_measures_it():
    # Chords of 0.01 mm once made its utilisation differ from the checked one by more than the check allows.
    sheet = Sheet("round", 40.0, 40.0, count=1, outline=Circle((20.0, 20.0), 20.0))
    answer = nest([Part("a", box(12.0, 9.0))], [sheet], margin_mm=1.0, spacing_mm=1.0)
    assert answer.unplaced == ()
    check(answer, [Part("a", box(12.0, 9.0))], margin=1.0, spacing=1.0)


def test_a_scratch_as_thin_as_a_hair_is_kept_off():
    sheet = Sheet(
        "plate",
        300.0,
        100.0,
        flaws=(
            Flaw(
                box(0.02, 100.0, 149.99),
            ),
        ),
        count=1,
    )
    wide = Part("wide", box(160.0, 90.0))
    narrow = Part("narrow", box(140.0, 90.0), quantity=2)
    assert nest([wide], [sheet], margin_mm=0, spacing_mm=6).unplaced == (("wide", 1),)
    answer = nest([narrow], [sheet], margin_mm=0, spacing_mm=6)
    assert answer.unplaced == ()
    check(answer, [narrow], margin=0, spacing=6)


def test_prices_count_before_areas():
    offcut = Sheet("offcut", 260.0, 150.0, count=1, outline=box(260.0, 150.0), price=0.0)
    new = Sheet("new", 1000.0, 500.0, price=90.0)
    answer = nest([Part("a", box(100.0, 60.0), quantity=2)], [new, offcut], margin_mm=5, spacing_mm=3)
    assert [layout.sheet.id for layout in answer.sheets] == ["offcut"]
    # A sheet without a price is no present: it is reckoned by its area. A dear offcut is left in the rack.
    unpriced = replace(new, price=None)
    answer = nest([Part("a", box(100.0, 60.0), quantity=2)], [unpriced, offcut], margin_mm=5, spacing_mm=3)
    assert [layout.sheet.id for layout in answer.sheets] == ["offcut"]
    dear = replace(offcut, price=200.0)
    answer = nest([Part("a", box(100.0, 60.0), quantity=2)], [new, dear], margin_mm=5, spacing_mm=3)
    assert [layout.sheet.id for layout in answer.sheets] == ["new"]


def test_fillers_take_the_room_that_is_left_and_no_new_sheet():
    must, filler = Part("must", box(90.0, 90.0), quantity=2), Part("tag", box(20.0, 10.0), quantity=1, most=500)
    answer = nest([must, filler], [Sheet("s", 200.0, 100.0)], margin_mm=0, spacing_mm=2)
    plain = nest([must, replace(filler, most=0)], [Sheet("s", 200.0, 100.0)], margin_mm=0, spacing_mm=2)
    tags = [place for place in answer.sheets[0].placements if place.part == "tag"]
    assert len(answer.sheets) == 1
    assert 1 < len(tags) < 500
    assert answer.sheets[0].used_length_mm <= plain.sheets[0].used_length_mm + NEAR_MM
    check(answer, [must, filler], margin=0, spacing=2)
    none = nest([replace(filler, quantity=0)], [Sheet("s", 200.0, 100.0)], margin_mm=0, spacing_mm=2)
    assert none.sheets == ()


def test_turns_with_play_lie_within_it_and_let_in_what_would_not_fit():
    diagonal = Part("bar", box(205.0, 4.0), turns_deg=(0.0,), turn_play_deg=30.0)
    sheet = Sheet("small", 200.0, 80.0, count=1)
    assert nest([replace(diagonal, turn_play_deg=0.0)], [sheet], margin_mm=0).unplaced == (("bar", 1),)
    answer = nest([diagonal], [sheet], margin_mm=0)
    angle = math.remainder(answer.sheets[0].placements[0].angle_deg, 360.0)
    assert 0.0 < abs(angle) <= 30.0


def test_the_check_finds_a_part_on_a_flaw_on_a_poor_grade_and_over_the_edge():
    # Planted faults: the same layout, told of flaws, grades and an edge it does not keep.
    part = Part("a", box(50.0, 50.0), least_grade=1)
    answer = nest([part], [Sheet("s", 100.0, 100.0, count=1)], margin_mm=5)
    layout = answer.sheets[0]

    def codes(**changes) -> set[str]:
        sheet = replace(layout.sheet, **changes)
        bad = replace(answer, sheets=(replace(layout, sheet=sheet),))
        return {fault.code for fault in verify_nest(bad, [part])}

    assert codes() == set()
    assert codes(flaws=(Flaw(Circle((30.0, 30.0), 3.0)),)) == {"N121"}
    assert codes(flaws=(Flaw(Circle((60.0, 30.0), 3.0), 4.0),)) == {"N121"}
    assert codes(flaws=(Flaw(Circle((60.0, 30.0), 3.0), 1.0),)) == set()
    assert codes(flaws=(Flaw(box(100.0, 20.0), 0.0, 2),)) == {"N122"}
    assert codes(flaws=(Flaw(box(100.0, 20.0), 0.0, 1),)) == set()
    cut = Polycurve(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [30.0, 100.0]]))
    assert "N112" in codes(outline=cut)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"outline": Polycurve(np.array([[0.0, 0], [90, 90], [90, 0], [0, 90]]))}, "crosses"),
        ({"outline": Polycurve(np.array([[0.0, 0], [90, 0], [90, 90]]), closed=False)}, "not closed"),
        ({"outline": box(150.0, 50.0)}, "beyond its size"),
        ({"outline": box(100.0, 8.0)}, "nothing of it is left"),
        ({"flaws": (Flaw(box(10.0, 10.0), -1.0),)}, "clearance"),
        ({"flaws": (Flaw(box(10.0, 10.0), 0.0, -1),)}, "grade"),
        ({"price": -3.0}, "price"),
        ({"price": math.nan}, "price"),
    ],
)
def test_hides_of_no_use_are_named(changes, said):
    sheet = replace(Sheet("odd", 100.0, 100.0), **changes)
    with pytest.raises(NestError, match=said) as caught:
        nest([Part("a", box(5.0, 5.0))], [sheet], margin_mm=5)
    assert "odd" in str(caught.value)


@pytest.mark.parametrize(
    "changes", [{"most": -1}, {"least_grade": -1}, {"turn_play_deg": -1.0}, {"turn_play_deg": math.inf}]
)
def test_parts_that_ask_for_nonsense_are_named(changes):
    with pytest.raises(NestError) as caught:
        nest([replace(Part("odd", box(5.0, 5.0)), **changes)], [Sheet("s", 100.0, 100.0)])
    assert caught.value.where == "odd"


def test_what_is_fixed_covers_all_that_is_not_hide():
    stuff = hide(flaws=(Flaw(Circle((150.0, 150.0), 12.0), 3.0),))
    corner, length, width = usable_steps(stuff, 6.0, 2.0)
    fixed, free = fixed_pieces(stuff, corner, (length, width), -1, margin_mm=6.0, spacing_mm=2.0)
    steps = [shapely.Polygon(one.pose.ring + np.array([one.x + corner, one.y + corner])) for one in fixed]
    taken = shapely.union_all([shapely.transform(shape, lambda points: points / 10_000.0) for shape in steps])
    room = shapely.box(*(side / 10_000.0 for side in (corner, corner, corner + length, corner + width)))
    # What is left: the hide moved in by the margin less half the spacing, less the flaw grown; from outside to 0.2 mm.
    wanted = ring(stuff.outline).buffer(-5.0).difference(shapely.Point(150, 150).buffer(12.0 + 2.0))
    left = room.difference(taken)
    assert left.difference(wanted.buffer(NEAR_MM)).area < 1e-3
    assert wanted.buffer(-0.25).difference(left).area < 1e-3
    assert free * 0.5e-8 == pytest.approx(left.area, rel=1e-4)


def test_the_same_hide_gives_the_same_places_again():
    parts = [Part(f"p{k}", blob(25.0 + 5 * k, k), quantity=4) for k in range(3)]
    one, two = (nest(parts, [hide(flaws=(Flaw(Circle((150, 150), 9.0)),))], effort=2) for _ in range(2))
    assert [layout.placements for layout in one.sheets] == [layout.placements for layout in two.sheets]
