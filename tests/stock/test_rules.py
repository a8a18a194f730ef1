"""Rules of the trade against the worked examples of handbooks and standards."""

from __future__ import annotations

import math

import pytest

from meshflow.errors import OptionError
from meshflow.stock import (
    bend_allowance,
    developed_length,
    din_6935_deduction,
    din_6935_factor,
    iso_2768_deviation,
    iso_9013_deviation,
    iso_9013_edge,
    least_bend_radius,
    leather_to_buy,
)

SIXTY = math.radians(60)


def test_din_6935_worked_example_of_the_tables_book() -> None:
    """Tabellenbuch Metall: opening 60 deg, a 16, b 21, r 6, s 5, k 0.7 read off the chart: v 5.77, L 31.23."""
    v = din_6935_deduction(SIXTY, radius_mm=6, thickness_mm=5, factor=0.7)
    assert v == pytest.approx(5.768, abs=0.005)
    assert 16 + 21 - v == pytest.approx(31.23, abs=0.005)


def test_din_6935_with_the_formula_for_k() -> None:
    """The same bend with k = 0.65 + 0.5 log10(6/5) = 0.68959: v 5.8229 (recomputed)."""
    assert din_6935_factor(radius_mm=6, thickness_mm=5) == pytest.approx(0.68959, abs=1e-5)
    assert din_6935_deduction(SIXTY, radius_mm=6, thickness_mm=5) == pytest.approx(5.8229, abs=1e-4)
    assert developed_length(16, 21, SIXTY, radius_mm=6, thickness_mm=5) == pytest.approx(37 - 5.8229, abs=1e-4)


def test_din_6935_factor_reaches_one_at_five_thicknesses() -> None:
    assert din_6935_factor(radius_mm=5.0, thickness_mm=1.0) == pytest.approx(1.0, abs=1e-3)
    assert din_6935_factor(radius_mm=50.0, thickness_mm=1.0) == 1.0


@pytest.mark.parametrize("opening", [math.radians(angle) for angle in (0, 30, 60, 90, 91, 120, 150, 165)])
def test_din_6935_is_the_geometry_of_legs_and_neutral_arc(opening: float) -> None:
    """Leg to the tangent point + arc at radius r + k s / 2 + leg, worked out from the outer corner."""
    radius, thickness, k = 4.0, 2.0, 0.8
    bend = math.pi - opening
    back = (radius + thickness) * (1.0 if opening <= math.radians(90) else math.tan(bend / 2))
    expected = 2 * back - bend * (radius + k * thickness / 2)
    assert din_6935_deduction(opening, radius_mm=radius, thickness_mm=thickness, factor=k) == pytest.approx(expected)


def test_din_6935_branches_meet_at_the_right_angle_and_end_at_165_degrees() -> None:
    def v(degrees: float) -> float:
        return din_6935_deduction(math.radians(degrees), radius_mm=6, thickness_mm=5)

    assert v(90.0) == pytest.approx(v(90.0001), abs=1e-4)
    assert v(165.0) != 0.0
    assert v(165.1) == 0.0
    assert v(180.0) == 0.0


def test_groover_bend_of_sixty_degrees() -> None:
    """Groover: R 4.75, t 3.2, 60 deg, K 0.33: allowance 6.08; legs 38 and 25: blank 69.08."""
    allowance = bend_allowance(SIXTY, radius_mm=4.75, thickness_mm=3.2)
    assert allowance == pytest.approx(6.08, abs=0.01)
    assert 38 + 25 + allowance == pytest.approx(69.08, abs=0.01)


def test_examination_bend_of_one_radian() -> None:
    """GATE ME: 2 mm sheet, 1 rad, R 100, neutral line at the middle: 101.0 mm."""
    assert bend_allowance(1.0, radius_mm=100, thickness_mm=2) == pytest.approx(101.0, abs=1e-12)


def test_din_factor_is_twice_the_neutral_factor() -> None:
    """For a right-angle bend both ways of reckoning give one flat length."""
    k = din_6935_factor(radius_mm=3, thickness_mm=2)
    arc = bend_allowance(math.pi / 2, radius_mm=3, thickness_mm=2, neutral_factor=k / 2)
    assert developed_length(40, 30, math.pi / 2, radius_mm=3, thickness_mm=2) == pytest.approx(40 + 30 - 2 * 5 + arc)


def test_least_bend_radius_of_ten_percent_reduction_is_four_thicknesses() -> None:
    """Kalpakjian and Schmid: 10 % in half-inch plate: 2 in; nothing from 50 % upward."""
    assert least_bend_radius(12.7, reduction_of_area=0.10) == pytest.approx(50.8)
    assert least_bend_radius(1.0, reduction_of_area=0.50) == 0.0
    assert least_bend_radius(1.0, reduction_of_area=0.80) == 0.0


def test_iso_9013_edge_of_ten_millimetres() -> None:
    """ISO 9013:2017 at 10 mm: range 1 u 0.08 mm, Rz5 16 um; range 2 u 0.22 mm, Rz5 48 um."""
    assert iso_9013_edge(10, quality=1) == pytest.approx((0.08, 16.0))
    assert iso_9013_edge(10, quality=2) == pytest.approx((0.22, 48.0))
    assert math.isnan(iso_9013_edge(10, quality=5)[1])


@pytest.mark.parametrize(
    ("size", "thickness", "deviation"),
    [(3, 1, 0.075), (3.1, 1, 0.10), (500, 1.0, 0.30), (500, 1.01, 0.35), (2500, 3.15, 0.65), (4000, 15, 0.85)],
)
def test_iso_9013_class_1_as_printed(size: float, thickness: float, deviation: float) -> None:
    """ISO 9013:2017 class 1, seen on modulusmetal.com."""
    assert iso_9013_deviation(size, thickness_mm=thickness) == deviation


@pytest.mark.parametrize(
    ("size", "grade", "deviation"),
    [
        (0.5, "m", 0.1),
        (3, "f", 0.05),
        (30, "m", 0.2),
        (30.01, "m", 0.3),
        (250, "m", 0.5),
        (2, "c", 0.2),
        (1500, "c", 3.0),
        (4000, "v", 8.0),
    ],
)
def test_iso_2768_as_printed(size: float, grade: str, deviation: float) -> None:
    """ISO 2768-1, linear sizes, seen as a scan of DIN ISO 2768-1 and on a second page."""
    assert iso_2768_deviation(size, grade=grade) == deviation  # type: ignore[arg-type]


def test_coarser_classes_and_larger_sizes_never_get_tighter() -> None:
    sizes = [1, 5, 20, 100, 300, 700, 1500]
    rows = [[iso_2768_deviation(size, grade=grade) for size in sizes[1:]] for grade in ("f", "m", "c", "v")]
    assert all(row == sorted(row) for row in rows)
    assert all(list(column) == sorted(column) for column in zip(*rows, strict=True))


def test_leather_to_buy_for_a_hundred_square_feet() -> None:
    """keleenleathers.com: 100 ft2 at a yield of 0.70 is 142.86 ft2 (the page cuts to 142), at 0.50 200 ft2."""
    foot = 304.8**2
    assert leather_to_buy(100 * foot, cutting_yield=0.70) / foot == pytest.approx(142.86, abs=0.01)
    assert leather_to_buy(100 * foot, cutting_yield=0.50) / foot == pytest.approx(200.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: bend_allowance(4.0, radius_mm=1, thickness_mm=1),
        lambda: bend_allowance(1.0, radius_mm=-1, thickness_mm=1),
        lambda: bend_allowance(1.0, radius_mm=1, thickness_mm=0),
        lambda: bend_allowance(1.0, radius_mm=1, thickness_mm=1, neutral_factor=2),
        lambda: bend_allowance(math.nan, radius_mm=1, thickness_mm=1),
        lambda: din_6935_factor(radius_mm=0, thickness_mm=1),
        lambda: din_6935_factor(radius_mm=0.04, thickness_mm=1),
        lambda: din_6935_deduction(-0.1, radius_mm=1, thickness_mm=1),
        lambda: developed_length(-1, 5, 1.0, radius_mm=1, thickness_mm=1),
        lambda: least_bend_radius(1.0, reduction_of_area=0.0),
        lambda: least_bend_radius(math.inf, reduction_of_area=0.1),
        lambda: iso_9013_deviation(2, thickness_mm=10),
        lambda: iso_9013_deviation(0, thickness_mm=1),
        lambda: iso_9013_deviation(10, thickness_mm=16),
        lambda: iso_9013_edge(10, quality=6),  # type: ignore[arg-type]
        lambda: iso_9013_edge(math.nan),
        lambda: iso_2768_deviation(0.4),
        lambda: iso_2768_deviation(4001),
        lambda: iso_2768_deviation(3000, grade="f"),
        lambda: iso_2768_deviation(10, grade="x"),  # type: ignore[arg-type]
        lambda: iso_2768_deviation(math.nan),
        lambda: leather_to_buy(1.0, cutting_yield=0.0),
        lambda: leather_to_buy(math.nan, cutting_yield=0.5),
    ],
)
def test_senseless_numbers_are_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(OptionError):
        call()
