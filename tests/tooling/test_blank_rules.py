"""Blanking rules against worked examples: force, clearance, sizes of punch and die. Source and mark beside each."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import LinearRing, Point

from meshflow.errors import StockError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.stock import load_stock
from meshflow.tooling.blank import blank_tool
from meshflow.tooling.blank_options import BlankOptions
from meshflow.tooling.clearance import blanking_force_kN, die_clearance, shear_strength, sloped_share


@pytest.fixture(scope="module")
def stock():
    return load_stock()


def radii(tool, name, layer):
    """Return radii of the circles of a drawing on a layer."""
    drawing = next(one for one in tool.drawings if one.name == name)
    return [s.curve.radius for s in drawing.strokes if s.layer == layer and isinstance(s.curve, Circle)]


def test_a_disc_of_half_hard_steel_gets_the_punch_die_and_force_of_the_textbook():
    # T-BLANK-1: D 150, t 3.2, S 310, Ac 0.075 (Groover; inputs READ, result CALC): punch 149.52, die 150, 467 469 N.
    options = BlankOptions(thickness_mm=3.2, material="steel", shear_MPa=310.0, clearance_mm=0.075 * 3.2)
    tool = blank_tool(Part("disc", Circle((0.0, 0.0), 75.0)), options)
    assert 75.0 in radii(tool, "blank-die", "CUT_INSIDE")
    assert radii(tool, "blank-punch", "CUT_OUTSIDE") == [pytest.approx(149.52 / 2)]
    assert tool.record["force_kN"] == [pytest.approx(467.469, abs=1e-3)] * 2
    assert tool.record["each_blow"][0]["cut_mm"] == pytest.approx(471.24, abs=0.01)


def test_force_from_the_tensile_strength_is_that_of_the_page_and_the_safer_is_on_top():
    # T-BLANK-2: 0.7 x 500 x 2 x 32 = 22 400 N (mechref, READ). A second text says 0.8 (READ): that is the upper end.
    assert blanking_force_kN(32.0, 2.0, 0.7 * 500.0) == pytest.approx(22.4)
    row = load_stock().process("punch_press").facts["shear_per_uts"]
    assert row.span == (0.7, 0.8)


@pytest.mark.parametrize(
    ("diameter", "t", "shear", "kn", "slack"),
    [
        (20.0, 2.0, 350.0, 43.98, 0.01),  # T-BLANK-3, GATE PI 2004, READ, CALC
        (100.0, 1.5, 300.0, 141.4, 0.05),  # T-BLANK-4, GATE ME, READ, CALC
        (10.0, 2.0, 80.0, 5.03, 0.01),  # T-BLANK-5, PI 2013, READ, CALC
    ],
)
def test_forces_of_round_holes_are_those_of_the_papers(diameter, t, shear, kn, slack):
    assert blanking_force_kN(math.pi * diameter, t, shear) == pytest.approx(kn, abs=slack)


def test_force_goes_with_diameter_and_thickness():
    # T-BLANK-6: 5 kN; diameter x 1.5, thickness x 0.4 gives 3.0 kN (READ).
    shear = 5.0 * 1000.0 / (math.pi * 10.0 * 1.0)
    assert blanking_force_kN(math.pi * 15.0, 0.4, shear) == pytest.approx(3.0)


def test_a_slope_as_deep_as_the_penetration_halves_the_force():
    # 4.9: 1 mm on t = 4 at 25 % penetration: half (GATE PI 2004, READ).
    assert sloped_share(4.0, 1.0, 0.25) == 0.5


@given(st.floats(0.1, 10.0), st.floats(0.0, 10.0), st.floats(0.1, 1.0))
def test_a_slope_never_adds_force_and_keeps_the_work(t, slope, p):
    share = sloped_share(t, slope, p)
    assert 0.0 < share <= 1.0
    assert share * (p * t + slope) == pytest.approx(p * t)


@pytest.mark.parametrize(
    ("material", "temper", "total"),
    [
        ("cu_etp", "R220", (16, 20)),
        ("cu_etp", "R240", (16, 24)),
        ("cuzn30", "annealed", (20, 30)),
        ("dc01", "as_delivered", (20, 30)),
    ],
)
def test_clearance_lies_within_or_above_the_printed_table(stock, material, temper, total):
    # Berger, punches and dies, p. 82, total of both sides (READ); others ask for more (unipunch, READ): the safer.
    found = die_clearance(stock.material(material), 2.0, stock, temper=temper)
    assert found.share >= total[0] / 200.0
    assert found.share <= total[1] / 200.0
    assert found.per_side_mm == pytest.approx(2.0 * found.share)


def test_a_tight_fit_is_tighter_and_comes_from_the_tight_column(stock):
    copper = stock.material("copper")
    tight = die_clearance(copper, 1.0, stock, temper="R220", fit="tight")
    assert tight.share == 0.015  # 3 to 8 % of both sides, READ
    assert tight.share < die_clearance(copper, 1.0, stock, temper="R220").share


def test_sources_that_have_nothing_in_common_are_told(stock):
    # Steel: mechref at most 8 % per side, unipunch 12.5 %, both READ.
    found = die_clearance(stock.material("dc01"), 1.0, stock, temper="as_delivered")
    assert found.disagree
    assert len(found.others) == 4
    assert found.share == 0.125


def test_shear_is_the_printed_one_or_follows_from_the_tensile_strength(stock):
    printed = shear_strength(stock.material("cu_etp"), stock, temper="R220")
    assert (printed.low_MPa, printed.high_MPa, printed.printed) == (152.0, 152.0, True)
    worked = shear_strength(stock.material("sterling"), stock, temper="annealed")
    assert (worked.low_MPa, worked.high_MPa) == pytest.approx((0.7 * 207.0, 0.8 * 207.0))
    assert not worked.printed


def test_a_temper_that_is_not_said_counts_as_the_strongest(stock):
    copper = stock.material("cu_etp")
    unsaid = shear_strength(copper, stock)
    assert unsaid.high_MPa == max(shear_strength(copper, stock, temper=name).high_MPa for name in copper.tempers)
    assert unsaid.temper == "R360"
    with pytest.raises(StockError, match="no temper"):
        shear_strength(copper, stock, temper="H99")


def test_a_hole_is_pierced_by_a_punch_of_its_size_into_a_larger_die():
    part = Part("washer", Circle((0.0, 0.0), 20.0), (Circle((0.0, 0.0), 5.0),))
    tool = blank_tool(part, BlankOptions(thickness_mm=1.0, material="brass", clearance_mm=0.1))
    assert radii(tool, "pierce-punch", "CUT_OUTSIDE") == [5.0]
    assert pytest.approx(5.1) in radii(tool, "pierce-die", "CUT_INSIDE")
    assert pytest.approx(19.9) in radii(tool, "blank-punch", "CUT_OUTSIDE")
    assert tool.record["blows"] == 2


def test_the_outline_of_an_odd_shape_keeps_its_clearance_all_round():
    corners = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 25.0], [20.0, 12.0], [0.0, 25.0]])
    tool = blank_tool(
        Part("odd", Polycurve(corners)), BlankOptions(thickness_mm=1.0, material="brass", clearance_mm=0.08)
    )
    drawing = next(one for one in tool.drawings if one.name == "blank-punch")
    punch = next(s.curve for s in drawing.strokes if s.layer == "CUT_OUTSIDE")
    die = LinearRing([(-x, y) for x, y in corners])  # turned over: the burr comes on the back
    apart = [die.distance(Point(p)) for p in punch.points]
    assert min(apart) == pytest.approx(0.08, abs=1e-6)
