"""The steel-rule die: slots, bridges, joints, tubes, faces, notes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box
from shapely.ops import unary_union

from meshflow.errors import OptionError
from meshflow.geometry.curves import length, tessellate
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.tooling.rule_bridges import rule_line, slot_outlines
from meshflow.tooling.ruledie import rule_die
from meshflow.tooling.ruledie_options import RuleDieOptions

LEATHER = RuleDieOptions(thickness_mm=3.0, material="leather")
ROUNDED = np.tan(np.pi / 8) * np.tile([0.0, 1.0], 4)


def strap(holes=()):
    points = [[8, 0], [152, 0], [160, 8], [160, 32], [152, 40], [8, 40], [0, 32], [0, 8]]
    return Part("strap", Polycurve(points, ROUNDED), holes)


def drawn(tool, name, layer):
    drawing = next(one for one in tool.drawings if one.name == name)
    return [stroke.curve for stroke in drawing.strokes if stroke.layer == layer]


def slots(tool):
    return [c for c in drawn(tool, "board", "CUT_INSIDE") if isinstance(c, Polycurve)]


def test_slots_and_bridges_together_are_the_outline():
    tool = rule_die(strap(), replace(LEATHER, kerf_mm=0.2))
    ring = Polygon(tessellate(strap().outline, tolerance=1e-4)).exterior
    cut = unary_union([Polygon(tessellate(slot, tolerance=1e-4)) for slot in slots(tool)])
    left = ring.difference(cut)
    bridges = tool.record["lines"][0]["bridges_mm"]
    assert len(slots(tool)) == len(bridges) == 6  # 75 mm each on 386 mm of rule
    assert left.length == pytest.approx(6 * 6.0, abs=0.1)
    # Slot: 0.71 mm of rule less 0.2 of kerf, which is in it.
    assert cut.area == pytest.approx((ring.length - 36.0) * 0.51, rel=2e-3)


def test_the_board_holds_together_and_its_middle_does_not_fall_out():
    tool = rule_die(strap((Circle((40.0, 20.0), 12.0),)), LEATHER)
    board = Polygon(drawn(tool, "board", "CUT_OUTSIDE")[0].points)
    rest = board.difference(unary_union([Polygon(tessellate(slot, tolerance=1e-3)) for slot in slots(tool)]))
    assert rest.geom_type == "Polygon"
    assert all(len(line["bridges_mm"]) >= 2 for line in tool.record["lines"])


def test_length_of_rule_is_that_of_the_outline_and_force_goes_with_it():
    tool = rule_die(strap(), replace(LEATHER, force_N_per_mm=20.0))
    assert tool.record["rule_length_mm"] == pytest.approx(2 * 144 + 2 * 24 + 2 * np.pi * 8)
    assert tool.record["force_kN"] == [pytest.approx(0.02 * tool.record["cut_length_mm"])] * 2
    unknown = rule_die(strap(), LEATHER)
    assert unknown.record["force_kN"] is None
    assert "T214" in [note.code for note in unknown.notes]


def test_sharp_corners_get_a_joint_and_no_bridge():
    part = Part("flap", Polycurve([[0, 0], [90, 0], [90, 60], [0, 60]]))
    tool = rule_die(part, LEATHER)
    (line,) = tool.record["lines"]
    assert sorted(map(tuple, line["joints"])) == [(0, 0), (0, 60), (90, 0), (90, 60)]
    corners = np.array([0.0, 90.0, 150.0, 240.0, 300.0])
    for one, two in line["bridges_mm"]:
        assert np.abs(corners - 0.5 * (one + two)).min() > 3.0


def test_a_bend_tighter_than_the_rule_takes_is_told():
    tight = Part("tight", Polycurve(strap().outline.points * 0.1, ROUNDED))  # radius 0.8 mm; least 1.0, COMMON_PRACTICE
    assert "T211" in [note.code for note in rule_die(tight, LEATHER).notes]
    assert "T211" not in [note.code for note in rule_die(strap(), LEATHER).notes]


def test_round_holes_are_tubes_with_a_seat_as_wide_as_their_wall():
    tool = rule_die(strap((Circle((20.0, 20.0), 2.0), Circle((60.0, 20.0), 2.2))), replace(LEATHER, kerf_mm=0.2))
    tubes = tool.record["tubes"]
    assert [(tube["asked_mm"], tube["diameter_mm"]) for tube in tubes] == [(4.0, 4.0), (4.4, 4.5)]
    seats = [c.radius for c in drawn(tool, "board", "CUT_INSIDE") if isinstance(c, Circle)]
    assert seats == [pytest.approx((4.0 + 1.4 - 0.2) / 2), pytest.approx((4.5 + 1.4 - 0.2) / 2)]
    (note,) = [one for one in tool.notes if one.code == "T213"]
    assert note.places_mm == ((60.0, 20.0),)


def test_the_drawn_face_is_the_back_with_the_leather_face_up_and_else_the_mirror_image():
    hole = strap((Circle((20.0, 20.0), 2.0),))

    def at(**more):
        return rule_die(hole, replace(LEATHER, **more)).record["tubes"][0]["at"]

    assert at() == [20.0, 20.0]
    assert at(side="edges") == [-20.0, 20.0]
    assert at(leather="face_down") == [-20.0, 20.0]
    assert at(side="edges", leather="face_down") == [20.0, 20.0]


def test_a_rule_ground_outside_stands_half_its_thickness_outside_the_piece():
    tool = rule_die(strap((Polycurve([[40, 10], [80, 10], [80, 30], [40, 30]]),)), replace(LEATHER, bevel="outside"))
    outer, inner = drawn(tool, "rule", "MARK_LINE")
    assert Polygon(tessellate(outer, tolerance=1e-3)).bounds == pytest.approx((-0.355, -0.355, 160.355, 40.355))
    assert Polygon(tessellate(inner, tolerance=1e-3)).bounds == pytest.approx((40.355, 10.355, 79.645, 29.645))


def test_rules_too_near_each_other_are_told():
    near = strap((Polycurve([[40, 2], [80, 2], [80, 30], [40, 30]]),))
    assert "T212" in [note.code for note in rule_die(near, LEATHER).notes]


def test_a_laser_as_wide_as_the_rule_cuts_the_middle_line_in_one_pass():
    tool = rule_die(strap(), replace(LEATHER, kerf_mm=0.71))
    lines = slots(tool)
    assert all(not line.closed for line in lines)
    assert sum(length(line) for line in lines) == pytest.approx(tool.record["rule_length_mm"] - 36.0)


def test_a_board_larger_than_the_laser_and_a_rule_too_low_are_told():
    large = Part("apron", Polycurve([[0, 0], [1400, 0], [1400, 900], [0, 900]]))
    assert "T215" in [note.code for note in rule_die(large, LEATHER).notes]
    low = rule_die(strap(), replace(LEATHER, rule_height_mm=18.0, board_mm=15.0))
    assert "T217" in [note.code for note in low.notes]


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(20.0, 60.0), min_size=3, max_size=9), st.floats(3.0, 10.0), st.floats(30.0, 120.0))
def test_bridges_of_any_outline_stand_apart_and_slots_do_not_touch(radii, width, pitch):
    turn = np.arange(len(radii)) * 2 * np.pi / len(radii)
    outline = Polycurve(np.array(radii)[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    line = rule_line(outline, bridge_mm=width, pitch_mm=pitch, least_bend_mm=1.0)
    total = length(outline)
    assert len(line.bridges) >= max(2, total / pitch)
    cuts = [Polygon(slot.points) for slot in slot_outlines(line, 0.5)]
    assert len(cuts) == len(line.bridges)
    assert all(cut.is_valid for cut in cuts)
    gaps = [one.distance(two) for k, one in enumerate(cuts) for two in cuts[k + 1 :]]
    assert min(gaps) > 0.3 * min(width, 0.25 * total / len(cuts))
    middle = LineString(np.vstack([outline.points, outline.points[:1]]))
    assert unary_union(cuts).buffer(0.01).intersection(middle).length >= 0.6 * total


@pytest.mark.parametrize(
    "wrong",
    [
        {"thickness_mm": 0.0},
        {"rule_mm": -1.0},
        {"bevel": "left"},
        {"side": "front"},
        {"material": "copper"},
        {"kerf_mm": 9.0},
    ],
)
def test_senseless_options_are_refused(wrong):
    with pytest.raises(OptionError):
        rule_die(strap(), replace(LEATHER, **wrong))


def test_the_lettering_stands_on_the_board_clear_of_the_rule():
    tool = rule_die(strap(), LEATHER)
    letters = unary_union([LineString(c.points) for c in drawn(tool, "board", "MARK_TEXT")])
    assert not letters.is_empty
    assert letters.distance(unary_union([Polygon(slot.points) for slot in slots(tool)])) > 2.0
    assert box(*Polygon(drawn(tool, "board", "CUT_OUTSIDE")[0].points).bounds).contains(letters)
