"""Parts that break one rule of one process each, and parts that break none.

The rules are those of the stock tables; where a test needs a figure it takes it from the source the table names:
smslaserfab (hole and web >= t), acutelaser (slot >= 0.7 t, part >= 15 mm), metalcreature (inside radius 0.02 in).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from meshflow.geometry.curves import distance_to, length, project
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Severity
from meshflow.model.part import Mark, Part
from meshflow.outline.fit import fit_findings
from meshflow.outline.leads import with_leads
from meshflow.outline.tabs import with_tabs
from meshflow.stock import load_stock
from meshflow.stock.cutting import Bed, bed_of, cut_rule, pierce_width, tabs_of

STOCK = load_stock()
LASER, JET = STOCK.process("laser_metal"), STOCK.process("water_jet")
THICK = 1.5
PLATE = Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]])


def plate(*holes: Polycurve | Circle, outline: Polycurve = PLATE, **fields: object) -> Part:
    return Part("rounding-board", outline, holes, thickness_mm=THICK, **fields)  # type: ignore[arg-type]


def slot(wide: float) -> Polycurve:
    return Polycurve([[20, 10], [20, 30], [20 + wide, 30], [20 + wide, 10]])


BREAKS = {
    "a hole narrower than the sheet is thick": (LASER, plate(Circle((20.0, 20.0), 0.7)), "D130", (20.0, 20.0)),
    "a web narrower than the sheet is thick": (LASER, plate(Circle((20.0, 6.4), 5.0)), "D131", (20.0, 0.7)),
    "a slot narrower than 0.7 of the sheet": (LASER, plate(slot(1.0)), "D132", None),
    "a sharp inside corner under the jet": (
        JET,
        plate(outline=Polycurve([[0, 0], [60, 0], [60, 20], [20, 20], [20, 40], [0, 40]])),
        "D133",
        (20.0, 20.0),
    ),
    "a part under 15 mm": (LASER, plate(outline=Polycurve([[0, 0], [60, 0], [60, 14], [0, 14]])), "D134", (30.0, 7.0)),
    "a hole that cannot be pierced": (JET, plate(Circle((20.0, 20.0), 0.7)), "D137", (20.0, 20.0)),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_rule_that_is_broken_is_named_with_its_place_and_source(name: str) -> None:
    process, part, code, place = BREAKS[name]
    (finding,) = fit_findings(part, process)
    assert finding.code == code
    assert finding.severity is Severity.WARNING
    assert finding.remedy
    assert "(" in finding.text
    if place is not None:
        assert np.allclose(finding.places_mm[0], place, atol=0.1)


HOLDS = {
    "a hole as wide as the sheet is thick": (LASER, plate(Circle((20.0, 20.0), 0.75))),
    "a web as wide as the sheet is thick": (LASER, plate(Circle((20.0, 6.5), 5.0))),
    "a slot of 0.7 of the sheet": (LASER, plate(slot(1.05))),
    "a part of 15 mm": (LASER, plate(outline=Polycurve([[0, 0], [60, 0], [60, 15], [0, 15]]))),
    "a process without rules": (STOCK.process("stitching"), plate(Circle((20.0, 20.0), 0.1))),
}


@pytest.mark.parametrize("name", HOLDS)
def test_a_part_that_just_keeps_the_rules_is_fit(name: str) -> None:
    process, part = HOLDS[name]
    assert fit_findings(part, process) == ()


def test_the_rules_go_by_thickness() -> None:
    part = plate(Circle((20.0, 20.0), 0.7))
    assert [f.code for f in fit_findings(replace(part, thickness_mm=1.4), LASER)] == []
    assert [f.code for f in fit_findings(replace(part, thickness_mm=2.0), LASER)] == ["D130"]


def test_the_larger_of_the_two_rules_of_a_pair_counts_and_says_its_source() -> None:
    press = STOCK.process("punch_press")
    rule = cut_rule(press, "hole", 1.5)
    assert rule is not None
    assert rule.value_mm == 3.0  # 2 t, READ at pepbrainin.com
    assert "pepbrainin" in rule.words
    assert cut_rule(press, "hole", 0.0) is None
    snips = cut_rule(STOCK.process("snips"), "web", 1.0)
    assert snips is not None
    assert "common practice" in snips.words
    assert "check" in snips.words


def test_a_part_larger_than_the_bed_is_named_and_an_example_bed_says_so() -> None:
    bed = bed_of(JET, STOCK.machines.values())
    assert bed == Bed(3000.0, 1500.0, "water-jet bed", example=True)
    long = plate(outline=Polycurve([[0, 0], [1400, 0], [1400, 3001], [0, 3001]]))
    (finding,) = fit_findings(long, JET, bed=bed)
    assert finding.code == "D135"
    assert "example" in finding.text
    assert fit_findings(plate(outline=Polycurve([[0, 0], [1400, 0], [1400, 2999], [0, 2999]])), JET, bed=bed) == ()
    assert bed_of(STOCK.process("knife"), STOCK.machines.values()) is None


def test_small_parts_of_a_jet_get_tab_points_away_from_corners() -> None:
    part = with_tabs(plate(), JET)
    dots = [mark.curve for mark in part.marks if mark.layer is Layer.TAB_POINT]
    assert len(dots) == 2
    places = np.array([dot.position for dot in dots])
    assert np.allclose(distance_to(PLATE, places), 0.0, atol=1e-9)
    along, _ = project(PLATE, places)
    assert np.diff(np.sort(along)) == pytest.approx(0.5 * length(PLATE))
    assert min(np.hypot(*(places[:, None] - PLATE.points).T).ravel()) >= 3.0
    (note,) = part.notes
    assert (note.code, note.severity, note.count) == ("D136", Severity.NOTE, 2)
    assert part.tab_gap_mm == 0.0


def test_tabs_keep_off_notches() -> None:
    bare = with_tabs(plate(), JET)
    taken = [mark.curve.position for mark in bare.marks if isinstance(mark.curve, Dot)]
    notch = Mark(Layer.MARK_LINE, Polycurve([taken[0], (taken[0][0], taken[0][1] + 3.0)], closed=False), "notch")
    moved = with_tabs(plate(marks=(notch,)), JET)
    dots = np.array([mark.curve.position for mark in moved.marks if isinstance(mark.curve, Dot)])
    assert distance_to(notch.curve, dots).min() >= 3.0


def test_longer_outlines_get_more_tabs_up_to_the_most_and_large_or_knife_cut_parts_none() -> None:
    strap = plate(outline=Polycurve([[0, 0], [900, 0], [900, 40], [0, 40]]))
    assert sum(mark.layer is Layer.TAB_POINT for mark in with_tabs(strap, JET).marks) == 4
    large = plate(outline=Polycurve([[0, 0], [900, 0], [900, 400], [0, 400]]))
    assert with_tabs(large, JET) is large
    assert with_tabs(strap, STOCK.process("knife")) is strap
    assert tabs_of(STOCK.process("laser_nonmetal")) is None


def test_a_round_part_gets_tabs_too() -> None:
    part = with_tabs(Part("boss", Circle((20.0, 20.0), 20.0), thickness_mm=1.0), JET)
    places = np.array([mark.curve.position for mark in part.marks if isinstance(mark.curve, Dot)])
    assert np.allclose(places.mean(axis=0), (20.0, 20.0))


def test_lead_ins_start_in_the_scrap_and_end_where_the_contour_begins() -> None:
    hole = Polycurve([[20, 10], [20, 30], [40, 30], [40, 10]])
    part = with_leads(plate(hole, Circle((10.0, 20.0), 4.0)), 3.0, pierce_mm=1.5)
    leads = [mark.curve for mark in part.marks if mark.layer is Layer.LEAD_LINE]
    assert len(leads) == 3
    pierce = np.array([lead.points[0] for lead in leads])
    assert not ((pierce[0] > 0.0) & (pierce[0] < (60.0, 40.0))).all(), "outside the outline"
    assert ((pierce[1] > (20.0, 10.0)) & (pierce[1] < (40.0, 30.0))).all(), "inside the hole"
    assert math.hypot(*(pierce[2] - (10.0, 20.0))) < 4.0, "inside the round hole"
    assert np.allclose(part.outline.points[0], leads[0].points[1])
    assert length(part.outline) == pytest.approx(200.0)
    assert [length(lead) for lead in leads] == pytest.approx([3.0, 3.0, 3.0])
    assert part.notes == ()


def test_a_pierce_without_room_is_named() -> None:
    part = with_leads(plate(Circle((20.0, 20.0), 0.5)), 3.0, pierce_mm=1.5)
    (note,) = part.notes
    assert (note.code, note.places_mm) == ("D137", ((20.0, 20.0),))


def test_the_pierce_is_as_wide_as_the_table_says() -> None:
    rule = pierce_width(JET)
    assert rule is not None
    assert rule.value_mm == pytest.approx(2 * 0.762)
    assert pierce_width(STOCK.process("knife")) is None
