"""What nest() refuses, by name and place."""

from __future__ import annotations

from dataclasses import replace

import pytest
from plates import rectangle

from meshflow.errors import NestError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest

SHEET = Sheet("1000x500", 1000.0, 500.0)
PLATE = rectangle("plate", 100, 50)
NAN = float("nan")


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        ([[0, 0], [10, 10], [10, 0], [0, 10]], r"crosses or touches itself at \(5\.000, 5\.000\)"),
        ([[0, 0], [10, 0], [10, 10], [5, 0], [0, 10]], r"crosses or touches itself at \(5\.000, 0\.000\)"),
        ([[0, 0], [10, 0], [20, 0]], "encloses no area"),
        ([[0, 0], [0, 0], [0, 0]], "encloses no area"),
        ([[0, 0], [10, 0]], "encloses no area"),
        ([[0, 0], [10, 0], [NAN, 10]], "not finite"),
        ([[0, 0], [1e6, 0], [0, 1e6]], "unit"),
        ([[0, 0], [1e-4, 0], [0, 1e-1]], "unit"),
    ],
)
def test_outlines_of_no_use_are_refused_by_name_and_place(outline, words):
    with pytest.raises(NestError, match=words) as caught:
        nest([PLATE, Part("bad", Polycurve(outline))], [SHEET])
    assert caught.value.where == "bad"
    assert caught.value.remedy


def test_arcs_that_cross_are_refused_with_their_place():
    # Two half turns that bulge into each other: a lens turned inside out.
    outline = Polycurve([[0, 0], [40, 0], [40, 10], [0, 10]], [-0.9, 0, -0.9, 0])
    with pytest.raises(NestError, match=r"crosses or touches itself at"):
        nest([Part("lens", outline)], [SHEET])


def test_an_open_outline_is_refused():
    with pytest.raises(NestError, match="not closed"):
        nest([Part("open", Polycurve([[0, 0], [10, 0], [10, 10]], closed=False))], [SHEET])


@pytest.mark.parametrize(
    ("holes", "words"),
    [
        ((Circle((0.0, 25.0), 10.0),), "hole 1 meets its outline"),
        ((Circle((300.0, 25.0), 10.0),), "hole 1 lies outside"),
        ((Circle((30.0, 25.0), 10.0), Circle((35.0, 25.0), 10.0)), "holes 1 and 2 overlap"),
        ((Circle((30.0, 25.0), 0.0),), "radius"),
        ((Polycurve([[20, 20], [30, 30], [30, 20], [20, 30]]),), "hole 1 crosses"),
    ],
)
def test_holes_of_no_use_are_refused(holes, words):
    with pytest.raises(NestError, match=words) as caught:
        nest([replace(PLATE, holes=holes)], [SHEET])
    assert caught.value.where == "plate"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"quantity": -1}, "quantity"),
        ({"quantity": 1.5}, "quantity"),
        ({"turns_deg": (0.0, NAN)}, "turns"),
        ({"thickness_mm": -1.0}, "thickness"),
    ],
)
def test_parts_of_no_sense_are_refused(change, words):
    with pytest.raises(NestError, match=words) as caught:
        nest([replace(PLATE, **change)], [SHEET])
    assert caught.value.where == "plate"


@pytest.mark.parametrize(
    "options",
    [
        {"margin_mm": -1.0},
        {"margin_mm": NAN},
        {"spacing_mm": -0.1},
        {"spacing_mm": NAN},
        {"spacing_mm": float("inf")},
        {"effort": 0},
        {"effort": 1.5},
        {"seed": "one"},
        {"seconds": -1.0},
        {"seconds": NAN},
    ],
)
def test_options_of_no_sense_are_refused(options):
    with pytest.raises(NestError, match="makes no sense"):
        nest([PLATE], [SHEET], **options)


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        (Sheet("strip", 1000, 20), "no larger than its margins"),
        (Sheet("none", 0, 100), "makes no sense"),
        (Sheet("nan", NAN, 100), "makes no sense"),
        (Sheet("coil", 60_000, 100), "shorter lengths"),
        (Sheet("minus", 100, 100, count=-1), "stock"),
    ],
)
def test_sheets_of_no_sense_are_refused_by_name(sheet, words):
    with pytest.raises(NestError, match=words) as caught:
        nest([PLATE], [SHEET, sheet])
    assert sheet.id in str(caught.value)


def test_no_sheet_two_of_one_name_and_a_sheet_twice_are_refused():
    with pytest.raises(NestError, match="no sheet"):
        nest([PLATE], [])
    with pytest.raises(NestError, match="two parts have this name"):
        nest([PLATE, rectangle("plate", 1, 2)], [SHEET])
    with pytest.raises(NestError, match="listed twice"):
        nest([PLATE], [SHEET, SHEET])
