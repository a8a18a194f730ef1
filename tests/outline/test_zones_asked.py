"""Zones of a part from their corners to its drawing."""

from __future__ import annotations

import numpy as np
import pytest
from plain_parts import plate

from meshflow.model.asked import Asked, Marking, ZoneAsked
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.outline import outline, tryout
from meshflow.outline.kerf import compensated

CORNERS = ((10.0, 5.0), (60.0, 5.0), (60.0, 30.0))


def zoned(row: ZoneAsked, spots: np.ndarray | None = None) -> Part:
    places = np.empty((0, 2)) if spots is None else spots
    return outline(plate(), marking=Marking(Asked(zones=(row,)), zones=(places,)))


def codes(part: Part) -> list[str]:
    return [note.code for note in part.notes if note.code == "D143"]


def test_corners_of_the_drawing_are_taken_as_they_are() -> None:
    part = zoned(ZoneAsked(2, flat=CORNERS))
    (zone,) = part.zones
    assert zone.least_grade == 2
    assert zone.outline.points.tolist() == [list(corner) for corner in CORNERS]
    assert codes(part) == []


def test_corners_found_on_the_pattern_move_with_it_into_the_drawing() -> None:
    plain = outline(plate())
    motion = plain.placement_of_pattern
    # Where the pattern's own points lie in the drawing, the move says; here it only moves.
    assert not motion.mirrored
    assert motion.angle_rad == 0.0
    spots = np.array(CORNERS) - (motion.dx_mm, motion.dy_mm)
    (zone,) = zoned(ZoneAsked(1, at=((0.0, 0.0, 0.0),) * 3), spots).zones
    assert zone.outline.points == pytest.approx(np.array(CORNERS))


@pytest.mark.parametrize(
    ("spots", "said"),
    [
        ([[5.0, 5.0], [np.nan, np.nan], [20.0, 20.0]], "not on the part"),
        ([[5.0, 5.0], [10.0, 10.0], [20.0, 20.0]], "no area"),
        ([[5.0, 5.0], [30.0, 30.0], [30.0, 5.0], [5.0, 25.0]], "crosses itself"),
    ],
)
def test_a_zone_that_cannot_be_drawn_makes_the_whole_part_ask_for_its_grade(spots, said) -> None:
    part = zoned(ZoneAsked(1, at=((0.0, 0.0, 0.0),) * len(spots)), np.array(spots))
    (zone,) = part.zones
    assert zone.outline is part.outline
    assert codes(part) == ["D143"]
    assert said in next(note.text for note in part.notes if note.code == "D143")


def test_zones_move_with_a_contour_that_allows_for_the_kerf() -> None:
    part = zoned(ZoneAsked(1, flat=CORNERS))
    (zone,) = compensated(part, kerf_mm=2.0).zones
    # The outline moved out by 1 mm all round and back to the origin: what lies in it came along.
    assert isinstance(zone.outline, Polycurve)
    assert zone.outline.points == pytest.approx(np.array(CORNERS) + 1.0)


def test_a_try_out_needs_no_grade() -> None:
    assert tryout(zoned(ZoneAsked(1, flat=CORNERS)), kind="card", thickness_mm=1.0, kerf_mm=0.2).zones == ()
