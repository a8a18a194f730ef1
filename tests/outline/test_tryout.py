"""The try-out piece: the same net shape from another sheet."""

from __future__ import annotations

import math

import pytest
from meshes import laid_flat, washer

from meshflow.errors import OptionError
from meshflow.outline import outline, tryout


@pytest.fixture(scope="module")
def part():
    return outline(
        laid_flat(*washer(), name="frame-ring", thickness=0.8),
        material="steel",
        process="water_jet",
        quantity=4,
        turns_deg=(0.0, 180.0),
    )


@pytest.mark.parametrize(("kind", "material"), [("acrylic", "acrylic_cast"), ("card", "card_thin")])
def test_a_tryout_keeps_contour_and_marks_and_changes_what_it_is_cut_from(part, kind, material):
    piece = tryout(part, kind=kind, thickness_mm=2.9, kerf_mm=0.2)
    assert piece.name == "frame-ring-tryout"
    assert (piece.material, piece.thickness_mm, piece.kerf_mm) == (material, 2.9, 0.2)
    assert piece.process != part.process
    assert piece.outline is part.outline
    assert piece.holes is part.holes
    assert piece.marks is part.marks
    assert piece.kerf_compensated_mm == 0.0
    assert (piece.quantity, piece.turns_deg) == (1, ())
    assert (part.quantity, part.thickness_mm) == (4, 0.8)  # the part itself is untouched


def test_a_tryout_says_what_it_is(part):
    piece = tryout(part, kind="acrylic", thickness_mm=3, kerf_mm=0.25)
    note = piece.notes[-1]
    assert note.code == "D110"
    assert note.text == ("try-out of frame-ring in 3 mm acrylic; the contour is net, its own cut is 0.25 mm wide.")
    assert {said.where for said in piece.notes} == {"frame-ring-tryout"}


@pytest.mark.parametrize("kind", ["acrylic", "card"])
def test_tryout_material_and_process_are_in_the_stock_tables(part, kind):
    stock = pytest.importorskip("meshflow.stock", reason="the stock tables are not there")
    piece = tryout(part, kind=kind, thickness_mm=3, kerf_mm=0.2)
    tables = stock.load_stock()
    assert piece.material in tables.materials
    assert piece.process in tables.processes


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"kind": "plywood", "thickness_mm": 3.0, "kerf_mm": 0.2}, "plywood"),
        ({"kind": "card", "thickness_mm": 0.0, "kerf_mm": 0.2}, "no thickness"),
        ({"kind": "card", "thickness_mm": math.nan, "kerf_mm": 0.2}, "no thickness"),
        ({"kind": "card", "thickness_mm": 1.0, "kerf_mm": -0.1}, "not possible"),
        ({"kind": "card", "thickness_mm": 1.0, "kerf_mm": math.inf}, "not possible"),
    ],
)
def test_a_tryout_of_nothing_is_refused(part, options, words):
    with pytest.raises(OptionError, match=words) as caught:
        tryout(part, **options)
    assert caught.value.where == "frame-ring"
