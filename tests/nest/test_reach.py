"""What of a hide parts can reach: closed forms, and never less than a layout that was found."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hides import blob, box, hide, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.model.curve import Circle
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest
from meshflow.nest.reach import reached_by, usable_area, usable_shape


def reach(sheet: Sheet, parts: list[Part], margin: float = 0.0) -> float:
    """Area that parts of grade 0 reach."""
    return float(reached_by(usable_shape(sheet, margin, 0), parts).area)


def test_disks_do_not_reach_into_the_corners_of_a_rectangle():
    # Closed form: the rectangle opened by the disk lacks 4 - pi squares of the radius.
    disk, sheet = Part("disk", Circle((3.0, 4.0), 10.0)), Sheet("s", 100.0, 60.0)
    assert reach(sheet, [disk]) == pytest.approx(6000 - (4 - math.pi) * 100, rel=2e-3)
    assert reach(sheet, [disk], 5.0) == pytest.approx(4500 - (4 - math.pi) * 100, rel=2e-3)


def test_usable_area_is_that_inside_the_margin_clear_of_flaws():
    sheet = Sheet("s", 200.0, 100.0, flaws=(Flaw(Circle((100.0, 50.0), 10.0), 5.0), Flaw(box(50.0, 100.0), 0.0, 3)))
    assert usable_area(sheet, margin_mm=0.0) == pytest.approx(20_000 - math.pi * 225, rel=1e-3)
    assert usable_area(sheet, margin_mm=0.0, least_grade=2) == pytest.approx(15_000 - math.pi * 225, rel=1e-3)
    assert usable_area(sheet, margin_mm=0.0, least_grade=3) == pytest.approx(20_000 - math.pi * 225, rel=1e-3)


def test_a_part_that_is_too_wide_reaches_nothing():
    assert reach(Sheet("s", 300.0, 15.0), [Part("a", blob(20.0))]) == 0.0
    assert reach(Sheet("s", 300.0, 15.0), []) == 0.0


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 1000), margin=st.sampled_from([0.0, 8.0]))
def test_no_layout_covers_more_than_its_parts_reach(seed, margin):
    chance = np.random.default_rng(seed)
    flaws = (Flaw(Circle((150.0, 120.0), float(chance.uniform(3, 25))), 4.0), Flaw(box(400.0, 110.0), 0.0, 2))
    parts = [Part(f"p{k}", blob(float(chance.uniform(12, 35)), k), quantity=40) for k in range(2)]
    stuff = hide(200.0, flaws=flaws)
    answer = nest(parts, [stuff], margin_mm=margin, spacing_mm=1.0, seconds=0.0)
    areas = {part.name: ring(part.outline).area for part in parts}
    covered = sum(areas[place.part] for layout in answer.sheets for place in layout.placements)
    reached = reach(stuff, parts, margin)
    assert 0.0 < covered <= reached <= usable_area(stuff, margin_mm=margin) * (1 + 1e-9)
