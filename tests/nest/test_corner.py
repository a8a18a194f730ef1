"""The last sheet used from a corner: closed forms, and never a larger rectangle than without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hides import blob, box, hide
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import NestError
from meshflow.model.curve import Circle
from meshflow.model.layout import Locked
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest

TILE = Part("tile", box(100.0, 100.0), quantity=4, turns_deg=(0.0,))
LARGE = Sheet("2000x1000", 2000.0, 1000.0)


def used(layout):
    """Area of the rectangle from the corner to the last and the highest part, margins included [mm2]."""
    return layout.used_length_mm * layout.used_width_mm


def test_four_squares_lie_two_by_two_in_the_corner():
    (strip,) = nest([TILE], [LARGE], margin_mm=10.0, spacing_mm=5.0).sheets
    assert strip.used_length_mm == pytest.approx(120.0, abs=0.01)
    assert strip.used_width_mm is None
    (corner,) = nest([TILE], [LARGE], margin_mm=10.0, spacing_mm=5.0, keep_small="area").sheets
    # All four in one column: 120 x 435; two by two: 225 x 225, which is smaller.
    assert (corner.used_length_mm, corner.used_width_mm) == pytest.approx((225.0, 225.0), abs=0.01)
    assert corner.utilisation == pytest.approx(4 * 100.0**2 / 225.0**2, abs=1e-4)


def test_pieces_of_a_jigsaw_fill_their_rectangle():
    # Cut from 300 x 200: the least rectangle is known, and neither side is the sheet's.
    sides = [(200.0, 120.0), (100.0, 200.0), (80.0, 80.0), (120.0, 80.0)]
    parts = [Part(f"p{k}", box(*side), turns_deg=(0.0,)) for k, side in enumerate(sides)]
    answer = nest(parts, [LARGE], margin_mm=0.0, spacing_mm=0.0, effort=4, keep_small="area")
    (layout,) = answer.sheets
    assert used(layout) == pytest.approx(60_000.0, rel=1e-3)
    said = nest_json(answer, parts)
    assert said["sheets"][0]["used_width_mm"] == layout.used_width_mm
    assert said["hull_utilisation_hint"] == pytest.approx(1.0, abs=1e-3)


def test_fewer_sheets_come_before_a_smaller_corner():
    sheet = Sheet("s", 250.0, 250.0)
    parts = [replace(TILE, quantity=5)]
    plain = nest(parts, [sheet], margin_mm=10.0, spacing_mm=5.0)
    answer = nest(parts, [sheet], margin_mm=10.0, spacing_mm=5.0, keep_small="area")
    assert len(answer.sheets) == len(plain.sheets) == 2
    assert used(answer.sheets[-1]) == pytest.approx(120.0**2, abs=5.0)
    assert used(answer.sheets[0]) == pytest.approx(225.0**2, abs=5.0)


def test_fillers_stay_within_the_rectangle():
    parts = [replace(TILE, quantity=3), Part("filler", box(40.0, 40.0), quantity=0, most=50, turns_deg=(0.0,))]
    (layout,) = nest(parts, [LARGE], margin_mm=10.0, spacing_mm=5.0, keep_small="area").sheets
    counts = [place.part for place in layout.placements].count("filler")
    (alone,) = nest(parts[:1], [LARGE], margin_mm=10.0, spacing_mm=5.0, keep_small="area").sheets
    assert used(layout) == pytest.approx(used(alone))
    # Three squares take a row, 120 x 330, with no room left: none goes beside it.
    assert used(alone) == pytest.approx(120.0 * 330.0, abs=5.0)
    assert counts == 0
    # A slat of 55 x 40 above or beside a tile leaves a gap of 40 x 40 in the rectangle, and room for just one there.
    parts[:1] = [replace(TILE, quantity=1), Part("slat", box(55.0, 40.0), turns_deg=(0.0,))]
    (layout,) = nest(parts, [LARGE], margin_mm=10.0, spacing_mm=5.0, keep_small="area").sheets
    assert used(layout) == pytest.approx(120.0 * 165.0, abs=5.0)
    assert [place.part for place in layout.placements].count("filler") == 1


def test_what_is_said_of_the_width_is_checked():
    answer = nest([TILE], [LARGE], margin_mm=10.0, spacing_mm=5.0, keep_small="area")
    assert verify_nest(answer, [TILE]) == ()
    (layout,) = answer.sheets
    for change in ({"used_width_mm": 224.9}, {"used_width_mm": None}, {"utilisation": layout.utilisation + 0.001}):
        faults = verify_nest(replace(answer, sheets=(replace(layout, **change),)), [TILE])
        assert {fault.code for fault in faults} == {"N118"}


def test_where_copies_are_locked_the_sheet_stays_as_it_is():
    there = Locked("tile", 1, 800.0, 500.0)
    (layout,) = nest([TILE], [LARGE], margin_mm=10.0, spacing_mm=5.0, locked=[there], keep_small="area").sheets
    assert layout.used_width_mm == pytest.approx(610.0, abs=0.01)


def test_nothing_else_can_be_kept_small():
    with pytest.raises(NestError, match="nothing to keep small"):
        nest([TILE], [LARGE], keep_small="price")  # type: ignore[arg-type]


def test_the_cap_leaves_time_for_the_corner():
    parts = [Part(f"p{k}", blob(30.0 + 5.0 * k, k), quantity=3) for k in range(3)]
    long = nest(parts, [LARGE], margin_mm=5.0, spacing_mm=2.0, effort=10**6, seconds=2.0, keep_small="area")
    assert long.stopped_by == "time"
    (strip,) = nest(parts, [LARGE], margin_mm=5.0, spacing_mm=2.0, effort=2).sheets
    assert used(long.sheets[0]) < 0.8 * strip.used_length_mm * LARGE.width_mm


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 1000), shaped=st.booleans(), fine=st.booleans())
def test_any_parts_lie_in_a_rectangle_that_is_no_larger_and_pass_the_check(seed, shaped, fine):
    chance = np.random.default_rng(seed)
    parts = [
        Part(
            f"p{k}", blob(float(chance.uniform(10, 40)), k), quantity=int(chance.integers(1, 5)), turn_play_deg=4.0 * k
        )
        for k in range(3)
    ]
    sheet = hide(250.0, flaws=(Flaw(Circle((150.0, 120.0), 15.0), 4.0),)) if shaped else Sheet("s", 900.0, 600.0)
    options = {"margin_mm": 5.0, "spacing_mm": 2.0, "fine_turns": fine}
    answer = nest(parts, [sheet], keep_small="area", **options)
    assert verify_nest(answer, parts) == ()
    assert answer == nest(parts, [sheet], keep_small="area", **options)
    plain = nest(parts, [sheet], **options)
    highest = max(
        place.y_mm + 60.0 for place in plain.sheets[-1].placements
    )  # no part reaches farther than 60 mm from its origin
    assert len(answer.sheets) == len(plain.sheets)
    assert used(answer.sheets[-1]) <= plain.sheets[-1].used_length_mm * min(highest, plain.sheets[-1].sheet.width_mm)
