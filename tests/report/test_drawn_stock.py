"""A hide that was drawn round is in the rack: it is not to be ordered, and counts by its own area."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hides import blob, hide

from meshflow.geometry.curves import signed_area
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.report.orders import HIDE_YIELD, order_list
from meshflow.report.supply import supply_lines
from meshflow.stock.load import load_stock

STRAP = Part("strap", blob(30.0), quantity=3, material="leather_veg", thickness_mm=2.0)
LEATHER = load_stock().material("leather_veg")


def test_a_hide_is_not_ordered_and_a_sheet_is():
    stuff = replace(hide(), material="leather_veg", thickness_mm=2.0)
    on_hide = nest([STRAP], [stuff], margin_mm=5)
    on_sheet = nest([STRAP], [Sheet("s", 500.0, 300.0)], margin_mm=5)
    assert order_list([], [(on_hide, "leather", 2.0)], hide_yield=HIDE_YIELD).sheets == ()
    assert len(order_list([], [(on_sheet, "leather", 2.0)], hide_yield=HIDE_YIELD).sheets) == 1


def test_its_line_in_a_pack_has_its_name_and_its_own_area():
    stuff = replace(hide(), material="leather_veg", thickness_mm=2.0)
    lines = supply_lines(nest([STRAP], [stuff], margin_mm=5), [STRAP], LEATHER, 2.0)
    (line,) = [line for line in lines if line.what == "sheet"]
    assert (line.name, line.count) == ("hide", 1)
    assert line.area_mm2[0] == pytest.approx(abs(signed_area(stuff.outline)))
    assert line.area_mm2[0] < stuff.length_mm * stuff.width_mm
    assert [line.what for line in lines] == ["sheet", "piece"]  # neither strip nor so many square feet of hide
