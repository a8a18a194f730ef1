"""Bend lines: flat lengths by hand, what moves and what stays, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from meshes import laid_flat
from plain_parts import plate

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds
from meshflow.model.asked import Asked, BendAsked, FoldAsked, HolesAsked, Marking
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.outline import outline
from meshflow.stock import load_stock
from meshflow.stock.joining import PointRules, point_rules
from meshflow.stock.rules import developed_length

RIGHT = math.pi / 2


def marking_of(asked: Asked) -> Marking:
    none = np.empty((0, 2))
    return Marking(asked, (none,) * len(asked.holes), (none,) * len(asked.bends), (none,) * len(asked.folds))


def bent_part(*bends: BendAsked, pattern: FlatPattern | None = None, rules: PointRules | None = None) -> Part:
    return outline(pattern or plate(), marking=marking_of(Asked(bends=bends)), rules=rules, label="")


def bend(x: float, **fields: object) -> BendAsked:
    options = {"angle_rad": RIGHT, "radius_mm": 2.0, "flat": ((x, 10.0), (x, 30.0))} | fields
    return BendAsked(**options)  # type: ignore[arg-type]


def size_of(part: Part) -> tuple[float, float]:
    left, low, right, high = bounds(part.outline)
    return right - left, high - low


def codes(part: Part) -> list[str]:
    return [note.code for note in part.notes]


def test_outside_lengths_give_the_developed_length_of_din_6935() -> None:
    # DIN 6935 (READ_VIA): L = a + b - v; legs 60 and 40 mm to the outside corner, 90 deg, r = 2, s = 1.
    part = bent_part(bend(60.0, scan_shows="outside"))
    wanted = developed_length(60.0, 40.0, RIGHT, radius_mm=2.0, thickness_mm=1.0)
    assert size_of(part) == pytest.approx((wanted, 40.0), abs=1e-6)


def test_sharp_corner_of_the_middle_is_shortened_to_legs_and_arc() -> None:
    # CALC: legs of the middle less r + s/2 each at 90 deg, plus the arc at K = 0.4.
    part = bent_part(bend(60.0, neutral_factor=0.4))
    wanted = 60.0 + 40.0 - 2 * 2.5 + RIGHT * (2.0 + 0.4)
    assert size_of(part)[0] == pytest.approx(wanted, abs=1e-6)
    assert "D146" in codes(part)


def test_true_radius_is_shortened_by_the_shift_of_the_neutral_line_only() -> None:
    part = bent_part(bend(60.0, scan_shows="radius", neutral_factor=0.4))
    assert size_of(part)[0] == pytest.approx(100.0 - RIGHT * 0.1, abs=1e-6)


def test_flat_lengths_stay() -> None:
    assert size_of(bent_part(bend(60.0, scan_shows="flat")))[0] == pytest.approx(100.0, abs=1e-9)


def test_two_bends_of_a_channel_each_take_their_length() -> None:
    one = 100.0 - size_of(bent_part(bend(30.0)))[0]
    assert size_of(bent_part(bend(30.0), bend(70.0)))[0] == pytest.approx(100.0 - 2 * one, abs=1e-6)


def test_slanting_bend_moves_the_far_side_square_to_its_line() -> None:
    asked = BendAsked(RIGHT, 2.0, flat=((45.0, 10.0), (55.0, 30.0)), neutral_factor=0.4)
    pattern = plate()
    part = bent_part(asked, pattern=pattern)
    excess = 5.0 - RIGHT * 2.4
    assert part.pattern is not None
    moved = part.pattern.vertices - pattern.vertices
    normal = np.array([-20.0, 10.0]) / math.hypot(20.0, 10.0)
    away = (pattern.vertices - [45.0, 10.0]) @ normal
    far = np.abs(away) > 3.0
    assert moved[far] == pytest.approx(-0.5 * excess * np.sign(away[far])[:, None] * normal, abs=1e-9)


def test_bend_line_is_drawn_across_the_part_and_not_through_its_edge() -> None:
    part = bent_part(bend(60.0))
    [mark] = [mark for mark in part.marks if mark.layer is Layer.BEND_LINE]
    points = np.asarray(mark.curve.points)  # type: ignore[union-attr]
    assert np.ptp(points[:, 0]) < 1e-9
    assert 39.0 < np.ptp(points[:, 1]) < 40.0
    # The line stands in the middle of what is left of the zone: 60 mm less half of what was taken off.
    assert points[0, 0] == pytest.approx(60.0 - 0.5 * (100.0 - size_of(part)[0]), abs=1e-6)


def test_holes_keep_their_distance_from_their_own_leg_end() -> None:
    asked = Asked(bends=(bend(60.0),), holes=(HolesAsked("rivet", 3.0, at=((0, 0, 0), (0, 0, 0))),))
    spots = np.array([[10.0, 20.0], [90.0, 20.0]])
    marking = Marking(asked, (spots,), (np.empty((0, 2)),))
    part = outline(plate(), marking=marking, label="")
    length = size_of(part)[0]
    assert sorted(hole.centre[0] for hole in part.holes) == pytest.approx([10.0, length - 10.0], abs=1e-6)  # type: ignore[union-attr]


def test_radius_under_the_least_is_named_and_a_larger_one_is_not() -> None:
    rules = point_rules(load_stock(), "copper", "water_jet", 1.0, tempers=("",))
    assert "D148" in codes(bent_part(bend(60.0, radius_mm=0.8), rules=rules))
    assert "D148" not in codes(bent_part(bend(60.0, radius_mm=2.0), rules=rules))


def test_bend_along_the_grain_asks_for_a_larger_radius_than_one_across() -> None:
    rules = point_rules(load_stock(), "copper", "water_jet", 1.0, tempers=("",))
    across, along = (plate(grain_rad=turn) for turn in (0.0, RIGHT))
    flat = ((60.0, 10.0), (60.0, 30.0))
    assert "D148" not in codes(bent_part(bend(60.0, radius_mm=1.0, flat=flat), pattern=across, rules=rules))
    # Its grain laid along x, the plate stands on end in the drawing.
    upright = ((10.0, 60.0), (30.0, 60.0))
    assert "D148" in codes(bent_part(bend(60.0, radius_mm=1.0, flat=upright), pattern=along, rules=rules))


def test_line_over_another_limb_is_marked_and_not_shortened() -> None:
    pattern = plate()
    notch = (pattern.vertices[:, 1] > 12.0) & (pattern.vertices[:, 1] < 28.0) & (pattern.vertices[:, 0] > 30.0)
    faces = pattern.faces[~notch[pattern.faces].any(axis=1)]
    used = np.unique(faces)
    number = np.full(len(pattern.vertices), -1)
    number[used] = np.arange(len(used))
    limbs = laid_flat(pattern.region.vertices[used], number[faces], name="fork", thickness=1.0)
    part = bent_part(bend(60.0, flat=((60.0, 2.0), (60.0, 8.0))), pattern=limbs)
    assert "D147" in codes(part)
    assert size_of(part)[0] == pytest.approx(100.0, abs=1e-9)


def test_crossing_bends_are_refused() -> None:
    with pytest.raises(OptionError, match="bend 1 and bend 2 cross on the part"):
        bent_part(bend(60.0), bend(60.0, flat=((40.0, 20.0), (80.0, 20.0))))


def test_points_that_fall_together_are_refused() -> None:
    with pytest.raises(OptionError, match="two points of bend 1 are one"):
        bent_part(bend(60.0, flat=((60.0, 10.0), (60.0, 10.0))))


def test_bend_with_a_point_off_the_part_is_left_out_and_said() -> None:
    asked = Asked(bends=(BendAsked(RIGHT, 2.0, at=((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))),))
    lost = Marking(asked, bends=(np.array([[60.0, 10.0], [np.nan, np.nan]]),))
    part = outline(plate(), marking=lost, label="")
    assert "D143" in codes(part)
    assert size_of(part)[0] == pytest.approx(100.0, abs=1e-9)


def test_fold_takes_nothing_off() -> None:
    part = outline(plate(), marking=marking_of(Asked(folds=(FoldAsked(flat=((60.0, 10.0), (60.0, 30.0))),))), label="")
    assert size_of(part)[0] == pytest.approx(100.0, abs=1e-9)
    [mark] = [mark for mark in part.marks if mark.layer is Layer.FOLD_LINE]
    assert mark.purpose == "fold"
