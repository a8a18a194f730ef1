"""The independent check finds every fault that is planted, and nothing where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from plates import rectangle, rounded_plate

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest, verify_nest

SHEET = Sheet("s", 400.0, 200.0, count=2)
PARTS = [
    rectangle("plate", 100, 60, quantity=3, turns_deg=(0.0, 90.0), material="copper", thickness_mm=0.8),
    Part("disk", Circle((5.0, 5.0), 30.0), quantity=2, may_mirror=True),
]


@pytest.fixture(scope="module")
def good() -> Nest:
    # Laid by hand: three plates in a row at the foot of the sheet, two disks above, 3 mm apart, 10 mm from the edge.
    placements = (
        Placement("disk", 1, 35.0, 98.0, 0.0),
        Placement("disk", 2, 98.0, 98.0, 0.0),
        Placement("plate", 1, 10.0, 10.0, 0.0),
        Placement("plate", 2, 113.0, 10.0, 0.0),
        Placement("plate", 3, 276.0, 10.0, 90.0),
    )
    area = 3 * 6000 + 2 * 3.141592653589793 * 900
    used = 286.0
    return Nest(
        sheets=(SheetLayout(SHEET, placements, used, area / (used * 200)),),
        unplaced=(),
        sheets_lower_bound=1,
        verified=False,
        stopped_by="effort",
        margin_mm=10.0,
        spacing_mm=3.0,
        seed=1,
        effort=1,
    )


def codes(answer: Nest, parts: list[Part] = PARTS) -> list[str]:
    return [fault.code for fault in verify_nest(answer, parts)]


def with_placement(answer: Nest, index: int, **change: object) -> Nest:
    placements = list(answer.sheets[0].placements)
    placements[index] = replace(placements[index], **change)
    return replace(answer, sheets=(replace(answer.sheets[0], placements=tuple(placements)),))


def test_a_good_nest_passes(good):
    assert verify_nest(good, PARTS) == ()


@pytest.mark.parametrize(
    ("index", "change", "code", "words"),
    [
        (3, {"x_mm": 112.98}, "N111", "plate copy 1 and plate copy 2 are 2.980 mm apart"),
        (3, {"x_mm": 60.0}, "N111", "plate copy 1 and plate copy 2 overlap"),
        (0, {"y_mm": 97.98}, "N111", "2.980 mm apart"),
        (2, {"x_mm": 9.98}, "N112", "plate copy 1 lies 9.980 mm from the edge"),
        (2, {"y_mm": -5.0}, "N112", "-5.000 mm from the edge"),
        (4, {"angle_deg": 89.9}, "N113", "plate copy 3 is turned by 89.9 degrees"),
        (2, {"angle_deg": 180.0, "x_mm": 110.0, "y_mm": 70.0}, "N113", "180"),
        (2, {"mirrored": True, "x_mm": 110.0}, "N114", "plate copy 1 is turned over"),
        (3, {"copy": 1}, "N115", "placed twice"),
        (3, {"copy": 4}, "N115", "not asked for"),
        (3, {"part": "stranger"}, "N119", "stranger"),
        (3, {"x_mm": float("nan")}, "N112", "plate copy 2 has no place: nan"),
    ],
)
def test_a_fault_of_one_placement_is_found(good, index, change, code, words):
    faults = verify_nest(with_placement(good, index, **change), PARTS)
    assert any(fault.code == code and words in fault.text for fault in faults)


@pytest.mark.parametrize(
    ("index", "change"),
    [
        (3, {"x_mm": 112.9993}),  # within the tolerance of 0.001 mm
        (0, {"mirrored": True, "x_mm": 45.0}),  # disks may be turned over
        (2, {"angle_deg": 360.0}),
    ],
)
def test_what_is_within_tolerance_passes(good, index, change):
    assert codes(with_placement(good, index, **change)) == []


def test_a_true_arc_is_measured_not_its_chords():
    # Two discs whose polygons of 48 sides would be apart by more than the spacing, their circles by less.
    disk = Part("disk", Circle((0.0, 0.0), 100.0), quantity=2)
    placements = (Placement("disk", 1, 110.0, 110.0, 0.0), Placement("disk", 2, 312.98, 110.0, 0.0))
    layout = SheetLayout(Sheet("s", 500, 220), placements, 422.98, 2 * 3.141592653589793 * 1e4 / (422.98 * 220))
    answer = Nest((layout,), (), 1, False, "effort", 10.0, 3.0, 1, 1)
    assert codes(answer, [disk]) == ["N111"]


def test_a_part_missing_or_more_than_wanted_is_found(good):
    fewer = replace(good.sheets[0], placements=good.sheets[0].placements[1:])
    assert "N115" in codes(replace(good, sheets=(fewer,)))
    assert codes(replace(good, unplaced=(("disk", 1),))) == ["N115"]
    assert codes(replace(good, unplaced=(("stranger", 1),))) == ["N119"]


def test_more_sheets_than_in_stock_are_found():
    part = rectangle("plate", 380, 180, quantity=3)
    layouts = tuple(
        SheetLayout(SHEET, (Placement("plate", copy, 10.0, 10.0, 0.0),), 400.0, 380 * 180 / (400 * 200))
        for copy in (1, 2, 3)
    )
    answer = Nest(layouts, (), 3, False, "effort", 10.0, 3.0, 1, 1)
    assert codes(answer, [part]) == ["N116"]
    assert codes(replace(answer, sheets=layouts[:2], unplaced=(("plate", 1),), sheets_lower_bound=2), [part]) == []


def test_an_empty_sheet_is_found(good):
    empty = SheetLayout(SHEET, (), 0.0, 0.0)
    assert codes(replace(good, sheets=(*good.sheets, empty))) == ["N116"]


def test_mixed_materials_and_a_wrong_sheet_are_found(good):
    other = [PARTS[0], replace(PARTS[1], material="leather", thickness_mm=4.0)]
    assert codes(good, other) == ["N117", "N117"]
    steel = replace(good.sheets[0], sheet=replace(SHEET, material="steel"))
    assert codes(replace(good, sheets=(steel,))) == ["N117"]


def test_false_figures_are_found(good):
    for change in ({"used_length_mm": 285.9}, {"utilisation": good.sheets[0].utilisation + 0.001}):
        assert "N118" in codes(replace(good, sheets=(replace(good.sheets[0], **change),)))
    assert codes(replace(good, sheets_lower_bound=2)) == ["N118"]


def test_an_outline_of_no_use_is_found(good):
    bow = replace(PARTS[1], outline=Polycurve([[0, 0], [20, 20], [20, 0], [0, 20]]))
    assert "N120" in codes(good, [PARTS[0], bow])


def test_a_part_in_the_hole_of_another_is_measured_from_the_rim_of_the_hole():
    # 5 mm clear passes, 1 mm does not.
    frame = Part("frame", Polycurve([[0, 0], [100, 0], [100, 100], [0, 100]]), holes=(Circle((50.0, 50.0), 40.0),))
    for radius, expected in ((35.0, []), (39.0, ["N111"])):
        coin = Part("coin", Circle((0.0, 0.0), radius))
        placements = (Placement("coin", 1, 60.0, 60.0, 0.0), Placement("frame", 1, 10.0, 10.0, 0.0))
        net = 1e4 - 3.141592653589793 * (40**2 - radius**2)
        layout = SheetLayout(Sheet("s", 200, 120), placements, 120.0, net / (120 * 120))
        answer = Nest((layout,), (), 1, False, "effort", 10.0, 3.0, 1, 1, in_holes=True)
        assert codes(answer, [frame, coin]) == expected


def test_touching_is_no_overlap_but_a_fiftieth_of_a_millimetre_is():
    plate = rounded_plate("plate", 90, 50, 20, quantity=2)
    for shift, expected in ((90.0, []), (89.98, ["N111"])):
        placements = (Placement("plate", 1, 0.0, 0.0, 0.0), Placement("plate", 2, shift, 0.0, 0.0))
        area = 2 * (90 * 50 - (4 - 3.141592653589793) * 400)
        used = shift + 90
        layout = SheetLayout(Sheet("s", 200, 50), placements, used, area / (used * 50))
        answer = Nest((layout,), (), 1, False, "effort", 0.0, 0.0, 1, 1)
        assert codes(answer, [plate]) == expected


def test_the_check_and_the_search_share_no_code():
    import ast
    from pathlib import Path

    import meshflow.nest.verify as room

    files = sorted(Path(room.__file__).parent.glob("verify*.py"))
    assert len(files) == 3
    allowed = {f"meshflow.model.{name}" for name in ("arrays", "curve", "finding", "layout", "part", "stock")}
    allowed |= {f"meshflow.nest.{file.stem}" for file in files}
    for file in files:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        modules = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
        assert {name for name in modules if name.startswith("meshflow")} <= allowed


def test_what_nest_hands_out_passes():
    answer = nest(PARTS, [replace(SHEET, material="copper", thickness_mm=0.8)])
    assert answer.verified
    assert codes(answer) == []


def test_the_check_has_areas_by_closed_form():
    from meshflow.nest.verify_shapes import area_within

    half = Polycurve([[-1, 0], [1, 0]], [1, 0])  # a half disc below the line
    assert area_within(half) == pytest.approx(0.5 * np.pi, rel=1e-12)
    assert area_within(Polycurve([[7, 7], [9, 7]], [1, 1])) == pytest.approx(np.pi, rel=1e-12)
    square = [[0, 0], [2, 0], [2, 2], [0, 2]]
    for bulge in (0.5, -0.5, 1e-3, -1e-5, 3.0):  # a segment of r = c (1 + b^2) / (4 b), h = b c / 2 more or less
        radius, sweep = 2.0 * (1 + bulge**2) / (4 * abs(bulge)), 4 * np.arctan(abs(bulge))
        segment = np.copysign(0.5 * radius**2 * (sweep - np.sin(sweep)), bulge)
        assert area_within(Polycurve(square, [bulge, 0, 0, 0])) == pytest.approx(4 + segment, rel=1e-9)
        mirrored = Polycurve(square[::-1], [0, 0, -bulge, 0])
        assert area_within(mirrored) == pytest.approx(4 + segment, rel=1e-9)
