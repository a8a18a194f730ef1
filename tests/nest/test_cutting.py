"""Length of cut, pierces, time and cost of a sheet, by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from plates import rectangle

from meshflow.errors import NestError
from meshflow.model.curve import Circle
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.stock import Fact, Process, Sheet
from meshflow.nest.cutting import sheet_cut
from meshflow.report.supply import cut_figures
from meshflow.stock import load_stock

PLATE = replace(rectangle("plate", 100, 50, thickness_mm=1.5), holes=(Circle((50.0, 25.0), 10.0),))
LAYOUT = SheetLayout(Sheet("s", 500, 500), tuple(Placement("plate", k, 0, 100 * k, 0) for k in (1, 2)), 100, 0.2)


def process(**rows: tuple[float, str]) -> Process:
    facts = {key: Fact(value, unit, "USER", "own figures") for key, (value, unit) in rows.items()}
    return Process("jet", "Jet", 1.0, "caution", facts)


def test_time_and_cost_are_those_of_the_sum_done_by_hand():
    rows = {"cutting_speed": (600.0, "mm/min"), "pierce_time": (3.0, "s"), "hourly_rate": (72.0, "1/h")}
    found = sheet_cut(LAYOUT, [PLATE], process(**rows))
    cut = 2 * (300 + 20 * math.pi)
    assert found.cut_mm == pytest.approx(cut)
    assert found.pierces == 4
    assert found.time_s == pytest.approx(cut / 10 + 12)
    assert found.cost == pytest.approx((cut / 10 + 12) * 0.02)
    assert found.missing == ()
    assert "cutting_speed: USER, own figures" in found.words


def test_of_a_range_the_slow_end_counts_and_what_is_missing_is_said():
    slow = Fact((120.0, 240.0), "mm/min", "USER", "own figures", note="brass, 1.5 mm")
    jet = process(pierce_time=(0.0, "s"))
    found = sheet_cut(LAYOUT, [PLATE], replace(jet, facts={**jet.facts, "cutting_speed": slow}))
    assert found.time_s == pytest.approx(found.cut_mm / 2)
    assert found.cost is None
    assert found.missing == ("no cost: process jet has no hourly_rate.",)
    assert found.words.startswith("cutting_speed: USER, own figures, brass, 1.5 mm; ")


def test_every_process_of_the_tables_gives_figures_or_says_what_is_missing():
    for row in load_stock().processes.values():
        found = sheet_cut(LAYOUT, [PLATE], row)
        assert (found.time_s is None) == any(line.startswith("no time") for line in found.missing)
        assert (found.cost is None) == any(line.startswith("no cost") for line in found.missing)


def test_length_and_pierces_are_those_of_the_order():
    found, order = sheet_cut(LAYOUT, [PLATE], process()), cut_figures({"plate": PLATE}, {"plate": 2})
    assert (found.cut_mm, found.pierces) == (pytest.approx(order.cut_mm), order.pierces)


def test_a_wrong_unit_a_speed_of_nothing_and_a_strange_part_are_refused():
    with pytest.raises(NestError, match="m/min"):
        sheet_cut(LAYOUT, [PLATE], process(cutting_speed=(1.0, "m/min"), pierce_time=(0.0, "s")))
    with pytest.raises(NestError, match="too little"):
        sheet_cut(LAYOUT, [PLATE], process(cutting_speed=(0.0, "mm/min"), pierce_time=(0.0, "s")))
    with pytest.raises(NestError, match="not given"):
        sheet_cut(LAYOUT, [], process())
