"""Rivet and lacing holes: rules, findings, circles or centre marks."""

from __future__ import annotations

import numpy as np
import pytest
from plain_parts import plate

from meshflow.errors import OptionError
from meshflow.model.asked import Asked, HolesAsked, MarkAsked, Marking
from meshflow.model.curve import Circle
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.outline import outline
from meshflow.stock.joining import PointRules


def pierced(*rows: HolesAsked, rules: PointRules | None = None, allowance: float | None = None) -> Part:
    marking = Marking(Asked(holes=rows), holes=(np.empty((0, 2)),) * len(rows))
    return outline(plate(), marking=marking, rules=rules, allowance_mm=allowance)


def rivets(*flat: tuple[float, float], diameter: float = 3.0, **fields: object) -> HolesAsked:
    return HolesAsked("rivet", diameter, flat=flat, **fields)  # type: ignore[arg-type]


def codes(part: Part) -> set[str]:
    return {note.code for note in part.notes if note.code >= "D140"}


def text(part: Part, code: str) -> str:
    return next(note.text for note in part.notes if note.code == code)


def test_sound_rivets_are_circles_and_silent() -> None:
    part = pierced(rivets((20.0, 20.0), (35.0, 20.0)))
    assert [(hole.centre, hole.radius) for hole in part.holes if isinstance(hole, Circle)] == [
        ((20.0, 20.0), 1.5),
        ((35.0, 20.0), 1.5),
    ]
    assert codes(part) == set()


@pytest.mark.parametrize(("edge", "sunk", "found"), [(6.0, False, False), (5.9, False, True), (7.0, True, True)])
def test_edge_distance_of_two_diameters_and_two_and_a_half_countersunk(edge: float, sunk: bool, found: bool) -> None:
    # AC 43.13-1B as cited (READ_VIA): 2 D, 2.5 D countersunk; D = 3: 6.0 and 7.5 mm.
    part = pierced(rivets((50.0, edge), countersunk=sunk))
    assert ("D140" in codes(part)) == found


def test_nearest_hole_to_an_edge_is_named_with_its_place() -> None:
    part = pierced(rivets((50.0, 5.0), (80.0, 4.0)))
    assert "2 rivet holes" in text(part, "D140")
    assert "the nearest 4.00 mm, at x 80.0, y 4.0 mm" in text(part, "D140")


@pytest.mark.parametrize(("pitch", "found"), [(9.0, False), (8.9, True)])
def test_spacing_of_three_diameters(pitch: float, found: bool) -> None:
    # AC 43.13-1B as cited (READ_VIA): 3 D at least.
    part = pierced(rivets((30.0, 20.0), (30.0 + pitch, 20.0)))
    assert ("D141" in codes(part)) == found


def test_holes_that_cut_into_each_other_are_made_once() -> None:
    part = pierced(rivets((30.0, 20.0)), rivets((31.0, 20.0)))
    assert len(part.holes) == 1
    assert "would cut into another" in text(part, "D141")


@pytest.mark.parametrize(("diameter", "found"), [(1.0, False), (3.0, False), (0.9, True), (3.1, True)])
def test_rivet_of_one_to_three_thicknesses(diameter: float, found: bool) -> None:
    # Same source: D from the thickest sheet up to three times it; the plate is 1 mm.
    part = pierced(rivets((50.0, 20.0), diameter=diameter))
    assert ("D142" in codes(part)) == found


def test_hole_off_the_part_or_through_its_edge_is_left_out() -> None:
    part = pierced(rivets((50.0, 20.0), (50.0, 1.0), (150.0, 20.0)))
    assert len(part.holes) == 1
    assert "2 of 3 rivet holes" in text(part, "D143")


def test_point_of_the_scan_off_the_piece_is_said_by_number() -> None:
    asked = HolesAsked("rivet", 3.0, at=((0, 0, 0), (0, 0, 0)))
    marking = Marking(Asked(holes=(asked,)), holes=(np.array([[50.0, 20.0], [np.nan, np.nan]]),))
    part = outline(plate(), marking=marking)
    assert len(part.holes) == 1
    assert "number 2" in text(part, "D143")


def test_hole_too_small_for_the_process_is_a_centre_mark() -> None:
    part = pierced(rivets((50.0, 20.0)), rules=PointRules(least_hole_mm=3.5))
    assert part.holes == ()
    assert [mark.purpose for mark in part.marks if mark.layer is Layer.HOLE_POINT] == ["rivet"]
    assert "not cut" in text(part, "D144")


def test_holes_of_a_blank_are_marked_and_not_cut() -> None:
    part = pierced(rivets((50.0, 20.0)), allowance=3.0)
    assert part.holes == ()
    assert "D144" in codes(part)


def test_row_along_the_rim_stands_at_the_edge_distance_and_usual_pitch() -> None:
    part = pierced(HolesAsked("rivet", 3.0, along="rim"))
    middles = np.array([hole.centre for hole in part.holes if isinstance(hole, Circle)])
    # 2 D = 6 mm inside, 4 D = 12 mm apart: 88 / 12 and 28 / 12 mm of sides, rounded.
    assert len(middles) == 7 + 2 + 7 + 2
    assert middles.min(axis=0) == pytest.approx([6.0, 6.0])
    assert codes(part) == set()


def test_lettering_keeps_clear_of_holes() -> None:
    part = pierced(rivets((50.0, 20.0), diameter=12.0))
    letters = np.concatenate([mark.curve.points for mark in part.marks if mark.layer is Layer.MARK_TEXT])  # type: ignore[union-attr]
    assert np.hypot(*(letters - [50.0, 20.0]).T).min() > 6.5


def test_holes_along_seams_are_refused() -> None:
    with pytest.raises(OptionError, match="cannot run along"):
        pierced(HolesAsked("lacing", 3.0, along="seams"))


def test_crosses_and_centre_marks_lie_where_they_are_asked_for() -> None:
    marking = Marking(
        Asked(
            marks=(MarkAsked("register", flat=((30.0, 20.0),)), MarkAsked("centre", flat=((60.0, 20.0), (500.0, 0.0))))
        ),
        marks=(np.empty((0, 2)), np.empty((0, 2))),
    )
    part = outline(plate(), marking=marking)
    cross = [mark.curve.points.mean(axis=0) for mark in part.marks if mark.layer is Layer.ALIGN_MARK]  # type: ignore[union-attr]
    assert np.array(cross) == pytest.approx(np.array([[30.0, 20.0]] * 2))
    [centre] = [mark.curve.position for mark in part.marks if mark.purpose == "centre"]  # type: ignore[union-attr]
    assert centre == (60.0, 20.0)
    assert "off the part" in text(part, "D143")
