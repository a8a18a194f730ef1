"""The bound on the number of sheets: never above the truth, and at it where the truth is plain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import guillotine_cells, rectangle, star, tromino

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.nest.bounds import sheets_lower_bound

SQUARE = Sheet("s", 100.0, 100.0)


def bound(parts: list[Part], sheets: list[Sheet], *, margin: float = 0.0, spacing: float = 0.0) -> int:
    return sheets_lower_bound([(p, p.quantity) for p in parts], sheets, margin_mm=margin, spacing_mm=spacing)


def test_nothing_needs_no_sheet():
    assert bound([rectangle("plate", 10, 10, quantity=0)], [SQUARE]) == 0


def test_jigsaws_that_fill_their_sheets_need_just_those():
    for count in (1, 2, 5):
        parts = [
            rectangle(f"piece-{k}-{i}", a, b)
            for k in range(count)
            for i, (a, b) in enumerate(guillotine_cells(100, 100, 6, k))
        ]
        assert bound(parts, [SQUARE]) == count
        assert bound([*parts, rectangle("one-more", 10, 10)], [SQUARE]) == count + 1


def test_spacing_and_margin_count_in_the_area():
    # 16 tiles of 22 mm with gaps of 4 fill 100 mm exactly when the margin is 0: 4 x 22 + 3 x 4 = 100, by hand. The
    # outer strip of half a gap is free on each side, so one sheet takes them and the bound may not say two.
    tiles = [rectangle("tile", 22, 22, quantity=16)]
    assert bound(tiles, [SQUARE], spacing=4.0) == 1
    # 17 tiles of 22 mm, grown by 2 with round corners: 17 x (26^2 - (4 - pi) 4) = 11434 > 104^2 = 10816.
    assert bound([rectangle("tile", 22, 22, quantity=17)], [SQUARE], spacing=4.0) == 2
    assert bound([rectangle("tile", 22, 22, quantity=16)], [SQUARE], margin=10.0, spacing=4.0) == 2


@pytest.mark.parametrize(("radius", "sheets"), [(29.28, 1), (29.32, 2)])
def test_two_disks_share_a_square_up_to_the_textbook_radius(radius, sheets):
    # Two equal circles in a unit square: r = 1 / (2 + sqrt 2) = 0.29289, by hand; the check's 0.01 mm come on top.
    assert bound([Part("disk", Circle((0.0, 0.0), radius), quantity=2)], [SQUARE]) == sheets


def test_plates_over_half_the_sheet_in_both_ways_need_one_each():
    assert bound([rectangle("plate", 51, 51, quantity=4)], [SQUARE]) == 4
    assert bound([rectangle("plate", 49.9, 49.9, quantity=4)], [SQUARE]) == 1
    # In opposite corners the gap is the diagonal of 1.6 x 1.6 mm, 2.26 mm; with 49.9 mm only 0.28 mm.
    assert bound([rectangle("plate", 49.2, 49.2, quantity=2)], [SQUARE], spacing=2.0) == 1
    assert bound([rectangle("plate", 49.9, 49.9, quantity=2)], [SQUARE], spacing=2.0) == 2


def test_long_plates_that_may_stand_or_lie_can_share():
    assert bound([rectangle("beam", 90, 51, quantity=2, turns_deg=(0.0,))], [SQUARE]) == 2
    assert bound([rectangle("beam", 90, 40, quantity=2)], [SQUARE]) == 1


def test_parts_in_a_hollow_of_another_are_not_said_to_conflict():
    # Two C shapes over half the sheet each way interlock: boxes overlap, parts need not.
    ring = [[0, 0], [70, 0], [70, 8], [8, 8], [8, 62], [70, 62], [70, 70], [0, 70]]
    assert bound([Part("c", Polycurve(ring), quantity=2)], [SQUARE]) == 1
    frame = Part("frame", Polycurve([[0, 0], [90, 0], [90, 90], [0, 90]]), holes=(Circle((45.0, 45.0), 40.0),))
    assert bound([frame, rectangle("coin", 52, 52)], [SQUARE]) == 1  # it fits into the hole, if someone lays it there


def test_large_parts_that_are_no_rectangles_conflict_by_what_they_hold():
    assert bound([star("star", 62, 40, 1, least=0.9, quantity=3)], [Sheet("s", 130, 130)]) == 3


def test_the_largest_sheet_counts():
    tiles = [rectangle("plate", 60, 60, quantity=4)]
    assert bound(tiles, [SQUARE]) == 4
    assert bound(tiles, [SQUARE, Sheet("large", 200, 200)]) == 1


def test_materials_add_up():
    parts = [rectangle(name, 30, 30, material=name, thickness_mm=1.0) for name in ("copper", "leather", "steel")]
    assert bound(parts, [SQUARE]) == 3
    assert bound([rectangle(name, 30, 30) for name in "abc"], [SQUARE]) == 1
    # A part that says nothing could lie with any of them.
    assert bound([*parts, rectangle("any", 30, 30)], [SQUARE]) == 3


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(1, 8), st.sampled_from([(0.0, 0.0), (5.0, 3.0), (1.0, 6.0)]))
def test_no_layout_found_beats_the_bound(seed, count, distances):
    chance = np.random.default_rng(seed)
    margin, spacing = distances
    parts: list[Part] = []
    for i in range(count):
        size = float(chance.uniform(15, 60))
        shape = int(chance.integers(4))
        if shape == 0:
            parts.append(rectangle(f"p{i}", size, float(chance.uniform(10, 70)), turns_deg=(0.0,)))
        elif shape == 1:
            parts.append(Part(f"p{i}", Circle((0.0, 0.0), size / 2)))
        elif shape == 2:
            parts.append(tromino(f"p{i}", size / 2))
        else:
            parts.append(star(f"p{i}", size * 0.7, 7, seed + i))
    answer = nest(parts, [SQUARE], margin_mm=margin, spacing_mm=spacing, seconds=0.0)
    assert answer.sheets_lower_bound <= len(answer.sheets)
    room = (100 - 2 * margin + spacing) ** 2
    assert answer.sheets_lower_bound >= math.floor(0.8 * sum(_area(p) for p in parts if not _left(answer, p)) / room)


def _area(part: Part) -> float:
    from meshflow.nest.inputs import net_area

    return net_area(part)


def _left(answer: object, part: Part) -> bool:
    return part.name in dict(answer.unplaced)  # type: ignore[attr-defined]
