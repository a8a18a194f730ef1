"""The blanking tool as a whole: bodies, plans, press, notes, options."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from shapely import Polygon

from meshflow.errors import OptionError
from meshflow.geometry.curves import tessellate
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.stock import load_stock
from meshflow.tooling.blank import blank_tool
from meshflow.tooling.blank_options import BlankOptions

SOFT = BlankOptions(thickness_mm=0.8, material="copper", temper="R220")


def petals(count=8, radius=30.0, holes=()):
    turn = np.arange(count) * 2 * np.pi / count
    points = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return Part("rosette", Polycurve(points, np.full(count, 0.6)), holes)


def codes(tool):
    return [note.code for note in tool.notes]


def drawn(tool, name, layer):
    drawing = next(one for one in tool.drawings if one.name == name)
    return [stroke.curve for stroke in drawing.strokes if stroke.layer == layer]


def test_bodies_are_closed_and_the_punch_goes_through_the_die_with_the_clearance_left():
    tool = blank_tool(petals(holes=(Circle((0.0, 0.0), 4.0),)), SOFT)
    bodies = {s.name: trimesh.Trimesh(s.vertices, s.faces, process=False) for s in tool.solids}
    assert set(bodies) == {"blank-die", "blank-punch", "pierce-die", "pierce-punch"}
    assert all(body.is_watertight and body.is_winding_consistent and body.volume > 0 for body in bodies.values())
    punch = Polygon(tessellate(drawn(tool, "blank-punch", "CUT_OUTSIDE")[0], tolerance=1e-4))
    length = tool.record["height_open_mm"] - tool.record["plate_mm"][2] - 2.4  # channel: three thicknesses
    assert bodies["blank-punch"].volume == pytest.approx(punch.area * length, rel=1e-3)
    die = bodies["blank-die"]
    slab = np.prod(tool.record["plate_mm"])
    opening = Polygon(tessellate(petals().outline, tolerance=1e-4)).area
    round_holes = 6 * np.pi * 4.0**2
    assert die.volume == pytest.approx(slab - (opening + round_holes) * tool.record["plate_mm"][2], rel=1e-3)


def test_openings_stand_clear_of_the_dowels_and_the_edge_by_the_rule():
    tool = blank_tool(petals(), SOFT)
    contours = drawn(tool, "blank-die", "CUT_INSIDE")
    opening = Polygon(tessellate(next(c for c in contours if isinstance(c, Polycurve)), tolerance=1e-3))
    plate = Polygon(drawn(tool, "blank-die", "CUT_OUTSIDE")[0].points)
    assert plate.exterior.distance(opening) >= 1.5 * 20.0
    rounds = [Polygon(tessellate(c, tolerance=1e-3)) for c in contours if isinstance(c, Circle)]
    assert len(rounds) == 6
    assert min(one.distance(opening) for one in rounds) > 8.0
    assert all(one.distance(plate.exterior) > 4.0 for one in rounds)


def test_plates_go_together_in_one_way_only():
    tool = blank_tool(petals(), SOFT)
    dowels = np.array([c.centre for c in drawn(tool, "blank-die", "CUT_INSIDE") if isinstance(c, Circle)][:2])
    middle = np.array([0.0, 0.0])
    for turned in (2 * middle - dowels, dowels * [1, -1], dowels * [-1, 1]):
        assert not any(np.allclose(order, dowels, atol=1.0) for order in (turned, turned[::-1]))


def test_the_burr_comes_on_the_back_so_the_blank_is_turned_over_and_the_holes_are_not():
    off = petals(holes=(Circle((12.0, 5.0), 3.0),))
    blow = {one["name"]: one["mirrored"] for one in blank_tool(off, SOFT).record["each_blow"]}
    assert blow == {"blank": True, "pierce": False}
    blow = {one["name"]: one["mirrored"] for one in blank_tool(off, replace(SOFT, burr="face")).record["each_blow"]}
    assert blow == {"blank": False, "pierce": True}
    nest = drawn(blank_tool(off, replace(SOFT, burr="face")), "pierce-nest", "ALIGN_MARK")
    assert nest[0].centre == pytest.approx((-12.0, 5.0))


def test_the_press_is_held_against_one_point_three_times_the_force(tmp_path):
    file = tmp_path / "stock.toml"
    big = Part("disc", Circle((0.0, 0.0), 75.0))
    options = BlankOptions(thickness_mm=3.2, material="steel", shear_MPa=310.0)
    need = 1.3 * 467.469
    for force, fits in ((need + 0.1, True), (need - 0.1, False)):
        file.write_text(f'[machine.ours]\nname = "our press"\nkind = "press"\nforce = {force}\n')
        tool = blank_tool(big, options, stock=load_stock(file))
        assert tool.record["press_ok"] is fits
        assert ("T206" in codes(tool)) is not fits
    sloped = blank_tool(big, replace(options, slope_mm=1.0), stock=load_stock(file))
    assert sloped.record["press_ok"] is True
    assert "T207" in codes(sloped)
    file.write_text('[machine.ours]\nkind = "mill"\ntravel_x = 300\n')
    none = blank_tool(big, options, stock=load_stock(file))
    assert none.record["press_ok"] is None
    assert "T208" in codes(none)


def test_a_bed_or_daylight_too_small_is_told(tmp_path):
    file = tmp_path / "stock.toml"
    file.write_text('[machine.ours]\nkind = "press"\nforce = 900\nbed_length = 100\nbed_width = 90\ndaylight = 60\n')
    tool = blank_tool(petals(), SOFT, stock=load_stock(file))
    assert codes(tool).count("T209") == 2
    assert tool.record["press_ok"] is False


def test_what_cannot_be_punched_is_told_with_its_place():
    # Least hole 2 t and least width 1.5 t (pepbrainin, READ; Dayton allows 1 t: the safer is taken).
    small = petals(
        holes=(Circle((0.0, 0.0), 0.7), Circle((15.0, 0.0), 0.9), Circle((-15.0, 0.0), 3.0), Circle((-8.5, 0.0), 3.0))
    )
    tool = blank_tool(small, SOFT)
    notes = {note.code: note for note in tool.notes}
    assert notes["T200"].places_mm == ((0.0, 0.0),)
    assert notes["T201"].places_mm[0] == pytest.approx((-11.75, 0.0), abs=0.05)
    thick = Part("plate", Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]]))
    assert "T203" in codes(blank_tool(thick, replace(SOFT, thickness_mm=2.0)))
    assert "T203" not in codes(blank_tool(thick, replace(SOFT, thickness_mm=1.5)))  # 1/16 in: Dayton Rogers, READ
    round_corners = Part("plate", Polycurve([[2, 0], [58, 0], [60, 2], [60, 38], [58, 40], [2, 40], [0, 38], [0, 2]],
                                            np.tan(np.pi / 8) * np.tile([0.0, 1.0], 4)))  # fmt: skip
    assert "T203" not in codes(blank_tool(round_corners, replace(SOFT, thickness_mm=2.0)))


def test_a_narrow_slot_is_told_and_a_sound_piece_is_silent():
    slotted = Part(
        "slotted", Polycurve([[0, 0], [40, 0], [40, 30], [20.5, 30], [20.5, 10], [19.5, 10], [19.5, 30], [0, 30]])
    )
    assert "T202" in codes(blank_tool(slotted, SOFT))
    assert not {"T200", "T201", "T202", "T203"} & set(codes(blank_tool(petals(), SOFT)))


@pytest.mark.parametrize(
    "wrong",
    [
        {"thickness_mm": 0.0}, {"thickness_mm": float("nan")}, {"clearance_mm": 0.5}, {"clearance_mm": -0.1},
        {"burr": "left"}, {"clearance_fit": "loose"}, {"shear_MPa": 0.0}, {"material": "leather"}, {"press": "mill"},
    ],
)  # fmt: skip
def test_senseless_options_are_refused(wrong):
    with pytest.raises(OptionError):
        blank_tool(petals(), replace(SOFT, **wrong))


def test_a_piece_smaller_than_its_clearance_and_one_with_a_kerf_are_refused():
    with pytest.raises(OptionError, match="nothing is left"):
        blank_tool(Part("dot", Circle((0.0, 0.0), 0.05)), SOFT)
    with pytest.raises(OptionError, match="kerf"):
        blank_tool(replace(petals(), kerf_compensated_mm=0.2), SOFT)


def test_every_figure_that_is_no_plain_geometry_says_its_mark():
    tool = blank_tool(petals(), SOFT)
    marks = ("READ", "COMMON_PRACTICE", "MEMORY", "CALC", "S t L", "given", "usual:", "without")
    for line in tool.sheet:
        assert line.label == "Sheet" or any(mark in line.how + line.value for mark in marks), line


def test_cautions_of_press_edges_and_mill_go_with_it():
    tool = blank_tool(petals(), SOFT)
    assert len(tool.cautions) == 3
    assert all(line.endswith("Your local codes and licensed practice come first.") for line in tool.cautions)
