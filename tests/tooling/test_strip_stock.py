"""Widths of strip by the rules of the trade, against a worked example and against each other."""

from __future__ import annotations

import pytest

from meshflow.errors import OptionError
from meshflow.stock import load_stock
from meshflow.tooling.strip_stock import pilot_edge_mm, strip_bridge, strip_edge, strip_mass_kg, utilisation

STOCK = load_stock()


# T-STRIP-1: MSME Mumbai, press tools, chapter 6 (inputs READ, arithmetic CALC): part 10 x 27 mm, t = 1.5, B = 1.25 t.
def test_the_worked_example_of_a_strip_comes_out():
    size = {"thickness_mm": 1.5, "length_mm": 10.0, "width_mm": 27.0, "rule": "strip_tools"}
    bridge = strip_bridge(STOCK, **size)
    assert bridge.value_mm == pytest.approx(1.875, abs=0.01)
    assert "MSME" in bridge.rule
    assert "READ" in bridge.rule
    pitch, width = 10.0 + bridge.value_mm, 27.0 + 2.0 * strip_edge(STOCK, **size).value_mm
    assert (pitch, width) == pytest.approx((11.875, 30.75), abs=0.01)
    assert 100.0 * utilisation(270.0, strip_width_mm=width, pitch_mm=pitch) == pytest.approx(73.94, abs=0.01)
    # The text rounds up to stock of 32 mm and gives a side margin of 2.3 mm; (32 - 27) / 2 is 2.5.
    assert 100.0 * utilisation(270.0, strip_width_mm=32.0, pitch_mm=pitch) == pytest.approx(71.05, abs=0.01)


@pytest.mark.parametrize(
    ("rule", "thickness", "length", "width", "bridge", "edge"),
    [
        ("strip_tools", 1.5, 60.0, 27.0, 1.875, 1.875),  # 60 + 1.875 is under 64
        ("strip_tools", 1.5, 63.0, 27.0, 2.25, 2.25),  # from 64 mm of pitch
        ("strip_tools", 0.5, 10.0, 27.0, 1.3, 1.3),  # thin strip
        ("strip_tools", 0.7, 10.0, 27.0, 1.3, 1.3),  # between the rules: the larger
        ("strip_notes", 0.5, 10.0, 40.0, 0.8, 1.1),  # t + 0.015 h; bridge held at 0.8
        ("strip_notes", 4.0, 10.0, 40.0, 3.2, 4.6),
        ("strip_table", 1.0, 75.0, 20.0, 1.5, 1.5),  # least values of the first row
        ("strip_table", 2.0, 100.0, 20.0, 3.0, 3.0),
        ("strip_table", 2.0, 20.0, 200.0, 3.5, 3.5),
        ("strip_table", 2.0, 400.0, 20.0, 4.0, 4.75),
    ],
)
def test_each_rule_gives_what_its_source_prints(rule, thickness, length, width, bridge, edge):
    size = {"thickness_mm": thickness, "length_mm": length, "width_mm": width, "rule": rule}
    assert strip_bridge(STOCK, **size).value_mm == pytest.approx(bridge)
    assert strip_edge(STOCK, **size).value_mm == pytest.approx(edge)


@pytest.mark.parametrize("thickness", [0.3, 0.5, 0.7, 0.8, 1.0, 1.5, 3.0])
@pytest.mark.parametrize("size", [8.0, 40.0, 90.0, 300.0])
def test_where_the_rules_disagree_the_widest_is_taken_and_the_others_are_named(thickness, size):
    both = {"thickness_mm": thickness, "length_mm": 12.0, "width_mm": size}
    for way in (strip_bridge, strip_edge):
        margin = way(STOCK, **both)
        each = [way(STOCK, **both, rule=rule).value_mm for rule in ("strip_tools", "strip_notes", "strip_table")]
        assert margin.value_mm == max(each)
        assert sorted(value for _, value in margin.others) == sorted(each)
        assert margin.conflict.count(" mm by ") == 2


def test_an_edge_for_pilots_holds_the_hole_and_a_web_on_both_sides():
    assert pilot_edge_mm(STOCK, thickness_mm=0.8, pilot_mm=3.0) == pytest.approx(3.0 + 2 * 1.5 * 0.8)


def test_the_mass_of_a_strip_is_its_volume_times_density():
    assert strip_mass_kg(1000.0, width_mm=20.0, thickness_mm=0.5, density_kg_m3=8940.0) == pytest.approx(0.0894)


def test_senseless_sizes_and_unknown_rules_are_refused():
    with pytest.raises(OptionError, match="makes no sense"):
        strip_edge(STOCK, thickness_mm=0.0, length_mm=10.0, width_mm=10.0)
    with pytest.raises(OptionError, match="strip_tools, strip_notes, strip_table"):
        strip_edge(STOCK, thickness_mm=1.0, length_mm=10.0, width_mm=10.0, rule="guess")
