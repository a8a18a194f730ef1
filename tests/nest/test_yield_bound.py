"""What could be covered of a hide at most: closed forms, never under a layout that passes the check, quick enough."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hides import blob, box, hide, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import UsableArea
from meshflow.model.part import Part, Zone
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest
from meshflow.nest.reach import reached_by, usable_shape
from meshflow.nest.yield_bound import covered_at_most, usable_area_of

MANY = 10**6
TILE = Part("tile", box(40.0, 40.0))


def most(sheet: Sheet, *counts: tuple[Part, int], margin: float = 0.0, spacing: float = 0.0) -> float:
    return covered_at_most(sheet, counts, margin_mm=margin, spacing_mm=spacing)


def test_no_more_is_covered_than_there_are_copies():
    sheet = Sheet("s", 900.0, 900.0)
    assert most(sheet, (TILE, 3)) == pytest.approx(3 * 1600.0)
    washer = Part("washer", Circle((0.0, 0.0), 20.0), (Circle((0.0, 0.0), 10.0),))
    assert most(sheet, (TILE, 3), (washer, 2)) == pytest.approx(4800.0 + 2 * 300.0 * math.pi)
    assert most(sheet) == most(sheet, (TILE, 0)) == 0.0


def test_a_part_with_its_spacing_takes_the_area_that_steiner_gives_it():
    # Grown by half of 10 mm a square of 40 takes 1600 + 160 * 5 + 25 pi; the sheet is grown as well: 890 + 10, rounded.
    sheet = Sheet("s", 900.0, 900.0)
    grown = 1600.0 + 800.0 + 25.0 * math.pi
    room = 890.0**2 + 4.0 * 890.0 * 5.0 + 25.0 * math.pi
    assert most(sheet, (TILE, MANY), margin=5.0, spacing=10.0) == pytest.approx(1600.0 / grown * room, rel=1e-3)


def test_large_and_small_parts_share_the_room_by_what_they_waste():
    # All that wastes least first: 100 large squares, and what their grown area leaves goes to the small ones.
    sheet, large, small = Sheet("s", 1000.0, 1000.0), Part("large", box(90.0, 90.0)), Part("small", box(10.0, 10.0))

    def grown(side: float) -> float:
        return side**2 + 4.0 * side + math.pi

    left = 1000.0**2 + 4000.0 + math.pi - 50 * grown(90.0)
    wanted = 50 * 8100.0 + 100.0 / grown(10.0) * left
    assert most(sheet, (large, 50), (small, MANY), spacing=2.0) == pytest.approx(wanted, rel=1e-3)


def test_parts_that_ask_for_the_best_fill_no_more_than_there_is_of_it():
    sheet = Sheet("s", 600.0, 200.0, flaws=(Flaw(box(450.0, 200.0), 0.0, 2),))
    best = replace(TILE, least_grade=1)
    assert most(sheet, (best, MANY)) == pytest.approx(150.0 * 200.0, rel=1e-3)
    assert most(sheet, (replace(TILE, least_grade=2), MANY)) == pytest.approx(600.0 * 200.0, rel=1e-3)
    # Four others fit beside them, and there is room for all four.
    others = Part("other", box(50.0, 40.0))
    assert most(sheet, (best, MANY), (others, 4)) == pytest.approx(150.0 * 200.0 + 8000.0, rel=1e-3)


def test_zones_fill_no_more_than_there_is_of_their_grade():
    # A quarter of each strip asks for the best; there are 30 000 mm2 of it, so at most 4 x 30 000 are covered.
    sheet = Sheet("s", 2000.0, 200.0, flaws=(Flaw(box(1850.0, 200.0), 0.0, 2),))
    strip = Part("strip", box(40.0, 20.0), zones=(Zone(box(10.0, 20.0), 1),))
    assert most(sheet, (strip, MANY)) == pytest.approx(4 * 150.0 * 200.0, rel=2e-2)
    assert most(sheet, (replace(strip, zones=()), MANY)) == pytest.approx(2000.0 * 200.0, rel=1e-3)


def test_a_flaw_within_the_hole_of_a_part_takes_nothing_from_the_bound():
    # A ring round a scar is a sound layout: the disk that is sought must lie in the stuff, not in the hole.
    sheet = Sheet("s", 210.0, 210.0, flaws=(Flaw(Circle((105.0, 105.0), 80.0)),))
    ring_part = Part("ring", Circle((0.0, 0.0), 100.0), (Circle((0.0, 0.0), 85.0),))
    assert most(sheet, (ring_part, 1)) == pytest.approx(math.pi * (100.0**2 - 85.0**2), rel=1e-6)


def test_no_corner_of_a_hide_counts_that_no_part_reaches():
    # Of a hide with a scar and low stuff both bounds hold at once: what is reached, and what is lost between parts.
    flaws = (Flaw(Circle((150.0, 120.0), 20.0), 4.0), Flaw(box(400.0, 110.0), 0.0, 2))
    parts = [Part(f"p{k}", blob(20.0 + 8 * k, k)) for k in range(3)]
    stuff = hide(200.0, flaws=flaws)
    reached = float(reached_by(usable_shape(stuff, 6.0, 0), parts).area)
    assert most(stuff, *((part, MANY) for part in parts), margin=6.0) <= reached * (1.0 + 1e-3)
    apart = most(stuff, *((part, MANY) for part in parts), margin=6.0, spacing=3.0)
    assert apart < 0.97 * reached


@settings(max_examples=6, deadline=None)
@given(
    seed=st.integers(0, 1000),
    margin=st.sampled_from([0.0, 8.0]),
    spacing=st.sampled_from([0.0, 2.0, 9.0]),
    effort=st.sampled_from([1, 3]),
)
def test_no_layout_that_passes_the_check_covers_more_than_the_bound(seed, margin, spacing, effort):
    """Several parts, grades, zones, holes, fillers and hides; the areas by shapely."""
    chance = np.random.default_rng(seed)
    low = Flaw(box(500.0, 110.0), 0.0, 2)
    flaws = (Flaw(Circle((150.0, 120.0), float(chance.uniform(3, 25))), 4.0), low)
    parts = []
    for k in range(3):
        size = float(chance.uniform(12, 35))
        parts.append(
            Part(
                f"p{k}",
                blob(size, k),
                (Circle((0.0, 0.0), 0.3 * size),) if k == 1 else (),
                quantity=int(chance.integers(1, 15)),
                most=int(chance.integers(0, 40)),
                least_grade=int(chance.integers(0, 2)),
                zones=(Zone(Circle((0.2 * size, 0.0), 0.3 * size), 1),) if k == 2 else (),
                turn_play_deg=5.0 * k,
            )
        )
    stock = [hide(180.0, flaws=flaws), replace(hide(140.0, name="small"), count=1)]
    answer = nest(parts, stock, margin_mm=margin, spacing_mm=spacing, effort=effort, seconds=1.0)
    areas = {part.name: ring(part.outline).area - sum(math.pi * h.radius**2 for h in part.holes) for part in parts}
    counts = [(part, max(part.quantity, part.most)) for part in parts]
    assert answer.sheets
    for layout in answer.sheets:
        covered = sum(areas[place.part] for place in layout.placements)
        bound = covered_at_most(layout.sheet, counts, margin_mm=margin, spacing_mm=spacing)
        assert covered <= bound * (1.0 + 1e-9)
        assert layout.usable is not None
        assert layout.usable.covered == pytest.approx(covered / layout.usable.area_mm2, abs=1e-5)
        assert layout.usable.covered <= layout.usable.upper_bound <= 1.0


def test_a_jigsaw_that_covers_everything_reaches_the_bound():
    # Four quarters of a frame of 200 x 100 on a sheet with its edge drawn: all is covered, and all may be.
    sheet = Sheet("offcut", 200.0, 100.0, count=1, outline=box(200.0, 100.0))
    quarter = Part("quarter", box(100.0, 50.0), quantity=4, turns_deg=(0.0,))
    bound = most(sheet, (quarter, 4))
    assert bound == pytest.approx(20_000.0)
    assert most(sheet, (quarter, 5)) == pytest.approx(20_000.0, rel=1e-3)


def test_a_plain_rectangle_has_no_such_figures_and_a_flaw_gives_it_some():
    plain = Sheet("s", 300.0, 200.0)
    assert nest([TILE], [plain]).sheets[0].usable is None
    flawed = replace(plain, flaws=(Flaw(Circle((250.0, 150.0), 10.0), 5.0),))
    layout = nest([TILE], [flawed], margin_mm=10.0).sheets[0]
    assert layout.usable is not None
    # Closed form: 280 x 180 less a disk of 15.
    area = 280.0 * 180.0 - math.pi * 225.0
    assert layout.usable.area_mm2 == pytest.approx(area, abs=0.5)
    assert layout.usable.covered == pytest.approx(1600.0 / area, abs=1e-5)
    assert layout.usable.upper_bound == pytest.approx(1600.0 / area, abs=1e-4)  # there is one tile
    said = nest_json(nest([TILE], [flawed], margin_mm=10.0), [TILE])["sheets"][0]
    assert list(said)[4:7] == ["usable_area_mm2", "usable_yield", "usable_yield_upper_bound"]


def test_nothing_usable_has_no_yield():
    sheet = Sheet("s", 100.0, 100.0, flaws=(Flaw(box(100.0, 100.0)),))
    assert usable_area_of(sheet, [], [(TILE, 1)], margin_mm=0.0, spacing_mm=0.0) is None


def test_the_check_finds_figures_of_usable_area_that_are_not_true():
    # Planted faults, one figure at a time.
    sheet = hide(300.0, flaws=(Flaw(Circle((150.0, 150.0), 12.0), 3.0),))
    answer = nest([TILE], [sheet], margin_mm=5.0)
    layout = answer.sheets[0]
    true = layout.usable
    assert true is not None

    def said(usable: UsableArea) -> list[str]:
        bad = replace(answer, sheets=(replace(layout, usable=usable),))
        return [fault.text for fault in verify_nest(bad, [TILE]) if fault.code == "N118"]

    assert said(true) == []
    assert "usable; it is" in said(replace(true, area_mm2=1.001 * true.area_mm2))[0]
    assert "covered" in said(replace(true, covered=true.covered + 2e-3))[0]
    assert "impossible" in said(replace(true, upper_bound=true.covered - 2e-3))[0]


def test_round_offcuts_and_arcs_are_measured_as_the_check_measures_them():
    stadium = Polycurve(np.array([[20.0, 0.0], [180.0, 0.0], [180.0, 40.0], [20.0, 40.0]]), np.array([0, 1.0, 0, 1.0]))
    for sheet in (
        Sheet("round", 40.0, 40.0, count=1, outline=Circle((20.0, 20.0), 20.0)),
        Sheet("stadium", 200.0, 40.0, count=1, outline=stadium),
    ):
        answer = nest([Part("a", box(12.0, 9.0), quantity=2)], [sheet], margin_mm=1.0, spacing_mm=1.0)
        assert answer.verified
        assert answer.unplaced == ()


@pytest.mark.parametrize("radius", [3.0, 5.7, 11.3, 80.0])
def test_offcuts_as_small_as_a_coin_are_measured_as_finely_as_the_check_does(radius):
    part = Part("disc", Circle((0.0, 0.0), radius / 4.0), quantity=3)
    round_one = Sheet("off", 2.0 * radius, 2.0 * radius, outline=Circle((radius, radius), radius))
    answer = nest([part], [round_one], margin_mm=0.1, spacing_mm=0.2)
    assert answer.sheets[0].usable.area_mm2 == pytest.approx(math.pi * (radius - 0.1) ** 2, rel=1e-4)
