"""Units against their definitions and the tables of the trade."""

from __future__ import annotations

import pytest

from meshflow.errors import UnitError
from meshflow.stock import load_stock
from meshflow.units import MILLIMETRES_PER, SQUARE_MILLIMETRES_PER, length_mm, unit_scale

# Weight of sheet copper [oz/ft2] and its nominal thickness [in]: copper.org architecture handbook, Table 1.1.2 (READ).
COPPER_SHEET = {12: 0.0162, 16: 0.0216, 20: 0.0270, 24: 0.0323, 32: 0.0431, 48: 0.0646}


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("0.8 mm", 0.8),
        ("0.8mm", 0.8),
        (" 1e1 MM ", 10.0),
        ("1 in", 25.4),  # international yard and pound agreement, 1959
        ('1"', 25.4),
        ("1/16 in", 1.5875),
        ("3 / 8 inch", 9.525),
        (".5 cm", 5.0),
        ("2 ft", 609.6),
        ("1.5 m", 1500.0),
        ("250 um", 0.25),
        ("1 dm", 100.0),
        (3, 3.0),
        (0.25, 0.25),
    ],
)
def test_lengths_are_read_with_their_unit(text: str | float, millimetres: float) -> None:
    assert length_mm(text) == pytest.approx(millimetres, rel=1e-12)


def test_twelve_inches_are_a_foot_and_ten_decimetres_a_metre() -> None:
    assert 12 * unit_scale("inches") == pytest.approx(unit_scale("foot"))
    assert 10 * unit_scale("dm") == unit_scale("metre")
    assert unit_scale(" Micron ") == 1e-3


def test_areas_are_squares_of_lengths() -> None:
    """1 ft2 is 9.2903 dm2."""
    for name, scale in SQUARE_MILLIMETRES_PER.items():
        assert scale == pytest.approx(MILLIMETRES_PER[name.removesuffix("2")] ** 2)
    assert SQUARE_MILLIMETRES_PER["ft2"] / SQUARE_MILLIMETRES_PER["dm2"] == pytest.approx(9.2903, abs=5e-5)


@pytest.mark.parametrize(("ounces", "inches"), COPPER_SHEET.items())
def test_copper_by_weight_agrees_with_the_published_table(ounces: int, inches: float) -> None:
    assert length_mm(f"{ounces} oz/ft2 copper") / 25.4 == pytest.approx(inches, abs=1.0e-4)


def test_the_stock_holds_the_same_copper_weights() -> None:
    """The table's own millimetres: 12 oz 0.411, 16 oz 0.549, 20 oz 0.686, 24 oz 0.820, 32 oz 1.09, 48 oz 1.64."""
    facts = load_stock().material("cu_etp").facts
    assert facts["weights"].mark == facts["weight_thickness"].mark == "READ"
    assert facts["weights"].numbers == tuple(COPPER_SHEET)
    printed = [inches * 25.4 for inches in COPPER_SHEET.values()]
    assert facts["weight_thickness"].numbers == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(("ounces", "millimetres"), [(1, 0.397), (4, 1.5875), (8, 3.175), (9, 3.572), (16, 6.35)])
def test_an_ounce_of_leather_is_a_sixty_fourth_of_an_inch(ounces: int, millimetres: float) -> None:
    """Tandy Leather and I. Atkinson's leather guide (READ): 1 oz is 1/64 in, 0.397 mm."""
    assert length_mm(f"{ounces} oz leather") == pytest.approx(millimetres, abs=5e-4)
    assert load_stock().material("leather").facts["ounce"].numbers[0] == pytest.approx(length_mm("1 oz leather"))


def test_steel_gauges_are_weights_of_plate() -> None:
    """Manufacturers' standard: 2.5, 2.0, 1.5, 1.25, 1.0 lb/ft2 over 41.82 lb/ft2 for each inch (READ_VIA, CALC)."""
    facts = load_stock().material("dc01").facts
    inches = [pounds / 41.82 for pounds in (2.5, 2.0, 1.5, 1.25, 1.0)]
    assert inches == pytest.approx([0.0598, 0.0478, 0.0359, 0.0299, 0.0239], abs=1e-4)
    assert facts["gauges"].numbers == (16, 18, 20, 22, 24)
    assert facts["gauge_thickness"].numbers == pytest.approx([25.4 * inch for inch in inches], abs=0.002)


def test_brass_gauges_are_a_geometric_series() -> None:
    """Brown and Sharpe: 0.005 x 92^((36 - n) / 39) in gives .0508 .0403 .0320 .0253 .0201 (READ_VIA, CALC)."""
    facts = load_stock().material("brass").facts
    inches = [0.005 * 92 ** ((36 - gauge) / 39) for gauge in facts["gauges"].numbers]
    assert inches == pytest.approx([0.0508, 0.0403, 0.0320, 0.0253, 0.0201], abs=1e-4)
    assert facts["gauge_thickness"].numbers == pytest.approx([25.4 * inch for inch in inches], abs=0.002)


def test_eighteen_gauge_is_thicker_in_steel_than_in_brass() -> None:
    """Why a bare gauge is refused: 1.21 mm of steel, 1.02 mm of brass."""
    stock = load_stock()
    steel, brass = (stock.material(name).facts["gauge_thickness"].numbers[1] for name in ("steel", "brass"))
    assert (steel, brass) == pytest.approx((1.21, 1.02), abs=0.005)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("12 oz", "an ounce of leather and an ounce of copper"),
        ("12 oz copper", "an ounce of leather and an ounce of copper"),
        ("18 gauge", "a different thickness in steel and in brass"),
        ("18 ga", "a different thickness in steel and in brass"),
        ("18 swg", "a different thickness in steel and in brass"),
        ("0.8", "has no unit"),
        ("0.8 mn", "is not a unit of length I know"),
        ("thick", "is not a length"),
        ("", "is not a length"),
        ("-1 mm", "is not a length"),
        ("1/0 in", "divides by zero"),
        ("1e400 mm", "is not a usable length"),
        (-1.0, "is not a usable length"),
        (float("nan"), "is not a usable length"),
        (float("inf"), "is not a usable length"),
        (True, "is not a length|has no unit"),
    ],
)
def test_a_length_that_means_two_things_or_none_is_refused(text: str | float, what: str) -> None:
    with pytest.raises(UnitError, match=what) as caught:
        length_mm(text)
    assert caught.value.remedy


def test_unknown_unit_lists_the_known_ones() -> None:
    with pytest.raises(UnitError, match="Say one of um, mm, cm, dm, m, in, ft"):
        unit_scale("furlong")
