"""Bend deduction and the K conventions against handbook examples; least radii by direction against mill sheets."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError, StockError
from meshflow.stock import iso_2768_angle, load_stock
from meshflow.stock.bending import (
    bend_deduction,
    din_from_neutral,
    excess_length,
    neutral_from_din,
    outside_setback,
    taken_length,
)
from meshflow.stock.joining import bend_radii, hole_rules, point_rules
from meshflow.stock.rules import bend_allowance, din_6935_deduction, din_6935_factor

RIGHT = math.pi / 2


def test_din_k_is_twice_the_neutral_factor_in_the_worked_example() -> None:
    # DIN 6935 in Tabellenbuch Metall (READ_VIA): opening 60 deg, r = 6, s = 5, k = 0.7 -> v = 5.77 mm. The same bend by
    # K = 0.35: 2 (r + s) minus the allowance of 120 deg (legs to the outside tangent).
    allowance = bend_allowance(math.radians(120), radius_mm=6.0, thickness_mm=5.0, neutral_factor=neutral_from_din(0.7))
    assert 2 * (6.0 + 5.0) - allowance == pytest.approx(5.77, abs=0.005)
    printed = din_6935_deduction(math.radians(60), radius_mm=6.0, thickness_mm=5.0, factor=0.7)
    assert 2 * (6.0 + 5.0) - allowance == pytest.approx(printed, abs=1e-12)


def test_din_k_mistaken_for_a_neutral_factor_would_be_seen() -> None:
    wrong = bend_allowance(math.radians(120), radius_mm=6.0, thickness_mm=5.0, neutral_factor=0.7)
    assert abs(2 * (6.0 + 5.0) - wrong - 5.77) > 3.0


def test_groover_blank_of_sixty_degrees() -> None:
    # Groover, Fundamentals of Modern Manufacturing (READ inputs, CALC): R 4.75, t 3.2, 60 deg, K 0.33, legs 38 + 25.
    taken = taken_length(math.radians(60), radius_mm=4.75, thickness_mm=3.2, neutral_factor=0.33)
    assert taken == pytest.approx(6.08, abs=0.005)
    assert 38 + 25 + taken == pytest.approx(69.08, abs=0.005)


def test_examination_bend_by_its_neutral_factor() -> None:
    # GATE ME (fragment READ, CALC): 2 mm sheet, 1 rad, R = 100, K = 0.5 -> 101.0 mm.
    assert taken_length(1.0, radius_mm=100.0, thickness_mm=2.0, neutral_factor=0.5) == pytest.approx(101.0)


@given(angle=st.floats(0.05, RIGHT), radius=st.floats(0.5, 30.0), thickness=st.floats(0.3, 6.0))
@settings(max_examples=60, deadline=None)
def test_deduction_is_the_compensation_of_din_up_to_a_right_angle(
    angle: float, radius: float, thickness: float
) -> None:
    # Opening 90 deg and more: the standard measures the legs to the outside corner too. CALC, an identity.
    if math.pi - angle > math.radians(165.0) or radius < 0.1 * thickness:
        return
    ours = bend_deduction(angle, radius_mm=radius, thickness_mm=thickness)
    assert ours == pytest.approx(din_6935_deduction(math.pi - angle, radius_mm=radius, thickness_mm=thickness))


@given(angle=st.floats(0.05, 2.8), radius=st.floats(0.5, 30.0), thickness=st.floats(0.3, 6.0), factor=st.floats(0.2, 1))
@settings(max_examples=60, deadline=None)
def test_every_kind_of_length_leads_to_the_same_flat_sheet(
    angle: float, radius: float, thickness: float, factor: float
) -> None:
    # CALC, plane geometry: two legs of 50 mm beside a bend, measured in each way, less the excess.
    legs, half = 100.0, math.tan(angle / 2)
    measured = {
        "corner": legs + 2 * (radius + thickness / 2) * half,
        "radius": legs + angle * (radius + thickness / 2),
        "outside": legs + 2 * outside_setback(angle, radius_mm=radius, thickness_mm=thickness),
        "flat": legs + angle * (radius + factor * thickness),
    }
    flat = {
        kind: length
        - excess_length(
            angle,
            radius_mm=radius,
            thickness_mm=thickness,
            lengths=kind,  # type: ignore[arg-type]
            neutral_factor=factor,
        )
        for kind, length in measured.items()
    }
    assert flat == pytest.approx(dict.fromkeys(flat, measured["flat"]))


def test_conversions_are_inverse_and_refuse_what_lies_outside_the_sheet() -> None:
    assert neutral_from_din(din_from_neutral(0.41)) == pytest.approx(0.41)
    assert neutral_from_din(din_6935_factor(radius_mm=10.0, thickness_mm=1.0)) == 0.5
    for wrong in (
        lambda: neutral_from_din(2.1),
        lambda: din_from_neutral(-0.1),
        lambda: din_from_neutral(1.1),
        lambda: outside_setback(math.radians(170), radius_mm=1.0, thickness_mm=1.0),
        lambda: bend_deduction(0.0, radius_mm=1.0, thickness_mm=1.0),
        lambda: bend_deduction(math.nan, radius_mm=1.0, thickness_mm=1.0),
        lambda: excess_length(1.0, radius_mm=1.0, thickness_mm=1.0, lengths="middle"),  # type: ignore[arg-type]
    ):
        with pytest.raises(OptionError):
            wrong()


def test_least_radius_of_copper_strip_as_the_mill_prints_it() -> None:
    # KME Cu-ETP data sheet (READ), t up to 0.5 mm, R/t across then along the grain: R290 0, 0.5; R360 1, 2 at 90 deg
    # and 1.5, 2.5 at 180 deg.
    stock = load_stock()
    hard = bend_radii(stock, "cu_etp", 0.5, temper="R360")
    assert (hard.across, hard.along, hard.across_wide, hard.along_wide) == pytest.approx((0.5, 1.0, 0.75, 1.25))
    assert hard.least(RIGHT, math.radians(90)) == 0.5
    assert hard.least(RIGHT, 0.0) == 1.0
    assert hard.least(RIGHT, None) == 1.0  # an unknown grain is taken as the bad way
    assert hard.least(math.radians(150), 0.0) == 1.25
    assert "READ, KME" in hard.source


def test_sheet_thicker_than_the_strip_takes_one_thickness_at_least() -> None:
    # 1 to 3 mm sheet: at least one thickness until tried (COMMON_PRACTICE).
    assert bend_radii(load_stock(), "cu_etp", 1.0, temper="R290").across == 1.0
    plain = bend_radii(load_stock(), "steel", 1.0)
    assert plain.across == 1.0 < plain.along < plain.along_wide


def test_unknown_temper_is_refused_with_the_known_ones() -> None:
    with pytest.raises(StockError, match=r"R220.*R360"):
        bend_radii(load_stock(), "cu_etp", 0.5, temper="R999")


def test_rivet_rules_are_those_of_the_handbook() -> None:
    # AC 43.13-1B as cited (READ_VIA): edge 2 D, 2.5 D countersunk, pitch 3 D at least and 4 to 8 D usual, D from one to
    # three thicknesses. Worked (CALC): D = 3.2 mm: edge 6.4, pitch 12.8 mm.
    rule = hole_rules(load_stock())["rivet"]
    assert (rule.edge, rule.edge_countersunk, rule.pitch, rule.thickness) == (2.0, 2.5, 3.0, (1.0, 3.0))
    assert (rule.edge * 3.2, rule.usual_pitch * 3.2) == pytest.approx((6.4, 12.8))
    assert "READ_VIA" in rule.source


def test_rules_of_a_part_know_its_process() -> None:
    rules = point_rules(load_stock(), "copper", "water_jet", 0.8, tempers=("", "R290"))
    assert rules.least_hole_mm == load_stock().least_sizes("water_jet", 0.8).hole > 0.0
    assert len(rules.radii) == 2


@pytest.mark.parametrize(
    ("leg", "grade", "minutes"),
    [
        (10, "m", 60),
        (50, "f", 30),
        (120, "m", 20),
        (400, "m", 10),
        (401, "f", 5),
        (10, "c", 90),
        (200, "c", 15),
        (5, "v", 180),
    ],
)
def test_iso_2768_angles_as_recalled(leg: float, grade: str, minutes: float) -> None:
    # ISO 2768-1, angular sizes by the shorter leg: MEMORY, not seen; limits belong to the smaller range.
    assert math.degrees(iso_2768_angle(leg, grade=grade)) * 60.0 == pytest.approx(minutes)  # type: ignore[arg-type]


def test_iso_2768_angle_refuses_an_unknown_class_and_a_leg_of_no_length() -> None:
    for wrong in (lambda: iso_2768_angle(10.0, grade="x"), lambda: iso_2768_angle(0.0)):  # type: ignore[arg-type]
        with pytest.raises(OptionError):
            wrong()
