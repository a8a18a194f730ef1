"""The step-fed strip tool as a whole."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from running_strips import running_strip

from meshflow.errors import InputError, OptionError, StockError
from meshflow.geometry.envelope import greatest_slope, slope_of_draft
from meshflow.model.drawing import Layer
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.stock import load_stock
from meshflow.tooling.feed import strike
from meshflow.tooling.strip import strip_tool, strip_work
from meshflow.tooling.strip_options import StripOptions
from meshflow.tooling.strip_strike import face_relief

STOCK = load_stock()


def options(**changes):
    return StripOptions(**({"thickness_mm": 0.6, "length_mm": 2000.0} | changes))


@pytest.fixture(scope="module")
def relief():
    return running_strip(12.3)


@pytest.fixture(scope="module")
def work(relief):
    return strip_work(relief, options(), stock=STOCK, material="copper")


@pytest.fixture(scope="module")
def tool(relief):
    return strip_tool(relief, options(), stock=STOCK, name="border")


def solid(tool, name):
    found = next(one for one in tool.solids if one.name == name)
    return trimesh.Trimesh(found.vertices, found.faces, process=False)


def top_at(mesh, x, y):
    """Height of a solid over its back by rays from above: all triangles that look up are asked, without our code."""
    corners = mesh.triangles[mesh.face_normals[:, 2] > 1e-9]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    top = np.full(len(x), -np.inf)
    for k, place in enumerate(zip(x, y, strict=True)):
        near = corners[((low <= place) & (high >= place)).all(axis=1)]
        rays = np.tile([*place, 0.0], (len(near), 1))
        flat = near * [1.0, 1.0, 0.0]
        share = trimesh.triangles.points_to_barycentric(flat, rays)
        hit = (share >= -1e-9).all(axis=1)
        top[k] = (share[hit] * near[hit, :, 2]).sum(axis=1).max()
    return top


def test_its_solids_are_closed_and_stand_on_their_backs(tool):
    assert [one.name for one in tool.solids] == ["punch", "die", "guide"]
    for one in tool.solids:
        mesh = trimesh.Trimesh(one.vertices, one.faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        assert mesh.volume > 0
        assert mesh.bounds[0, 2] == 0.0


def test_the_volume_of_a_guide_is_that_of_a_bar_with_two_holes(tool):
    mesh = solid(tool, "guide")
    length, width, height = mesh.extents
    flats = 64 * 0.5 * math.sin(2 * math.pi / 64)
    assert mesh.volume == pytest.approx((length * width - 2 * flats * 4.5**2) * height, rel=1e-9)


def test_die_faces_of_blows_after_each_other_tile_when_they_are_probed_on_the_solid(tool):
    record = tool.record
    mesh = solid(tool, "die")
    out, pitch = record["zones_mm"]["way_out"], record["pitch_mm"]
    y = np.linspace(-3.7, 3.7, 23)
    steps = []
    for dx in (0.0, 0.31, 2.7, 6.1, 9.05):
        x = np.full(len(y), out + 0.01 + dx)
        steps.append(np.abs(top_at(mesh, x, y) - top_at(mesh, x + pitch, y)).max())
    assert max(steps) <= 0.01
    near = [
        (top_at(mesh, np.full(len(y), place + 0.04), y) - top_at(mesh, np.full(len(y), place), y)) / 0.04
        for place in (out + 0.002, out + pitch + 0.002)
    ]
    assert np.degrees(np.abs(np.arctan(near[0]) - np.arctan(near[1]))).max() <= 0.5


def test_a_strip_fed_through_the_faces_as_cut_shows_no_joint(work):
    pair, lengths = work.faces.pair, work.faces.lengths
    strip = strike(pair.face, step=lengths.new, blows=8)[:, : 7 * lengths.new + lengths.full]
    one = pair.face[:, lengths.joints[0] : lengths.joints[1]]
    ideal = one[:, (np.arange(strip.shape[1]) - lengths.joints[0]) % one.shape[1]]
    assert np.abs(strip - ideal).max() <= 0.01
    assert work.faces.joint.step_mm <= 0.01
    assert work.faces.joint.kink_deg <= 0.5


def test_the_nominal_face_is_the_ornament_where_nothing_was_too_steep_or_too_tight(work):
    pair = work.faces.pair
    plain = (np.abs(pair.filled) < 1e-9) & (np.abs(pair.bite) < 1e-9) & pair.inside
    assert plain.mean() > 0.5
    assert np.abs(pair.outer - pair.wish)[plain].max() <= 0.01


def test_the_closed_gap_is_the_thickness_and_nowhere_less(work):
    gap = work.faces.gap
    assert gap.least_mm >= 0.6 - 0.005
    assert gap.most_mm <= 0.6 + 0.05


def test_walls_keep_the_draft(work):
    most = slope_of_draft(math.radians(work.chosen.draft_deg))
    for face in (work.faces.pair.outer, work.faces.pair.inner):
        assert greatest_slope(face[1:-1], pitch=work.faces.pair.pitch_mm) <= most * (1 + 1e-6)


def test_punch_and_die_closed_as_the_record_says_leave_the_strip_its_room(tool):
    record = tool.record
    turn = np.array(record["die_onto_punch"])
    punch, die = solid(tool, "punch"), solid(tool, "die")
    rng = np.random.default_rng(5)
    zones = record["zones_mm"]
    full = zones["way_out"] + zones["register"] + zones["new"]
    x = rng.uniform(zones["way_out"], full - 1.0, 200)
    y = rng.uniform(-3.9, 3.9, 200)
    lower = top_at(punch, x, y)
    upper = turn[2, 3] - top_at(die, x, -y)
    assert (upper - lower).min() >= 0.6 - 0.01
    flat = np.abs(upper - lower - 0.6) < 0.02
    assert flat.mean() > 0.3
    assert die.extents[:2] == pytest.approx(punch.extents[:2], abs=1e-9)


def test_the_punch_passes_between_the_guides_and_closes_above_them(work):
    plan = work.plan
    assert plan.channel_mm == pytest.approx(plan.strip_width_mm + 0.2)
    assert plan.step_mm > plan.guide_mm[1]
    assert plan.guide_mm[1] > 0.6 + float(work.faces.pair.outer.max())
    assert plan.lift_mm >= float(work.faces.pair.outer.max())


def test_pins_go_together_in_one_way_only(work):
    dowels = np.array([[hole.x_mm, hole.y_mm] for hole in work.plan.holes if hole.kind == "dowel"])
    turned = np.array([work.plan.length_mm, 0.0]) - dowels
    for other in (turned, dowels * [1, -1], np.array([work.plan.length_mm, 0.0]) + dowels * [-1, 1]):
        assert not np.allclose(np.sort(other, axis=0), np.sort(dowels, axis=0), atol=0.5) or not np.allclose(
            other[np.argsort(other[:, 1])], dowels[np.argsort(dowels[:, 1])], atol=0.5
        )


def test_the_record_says_what_was_promised(tool, work):
    record = tool.record
    assert record["pitch_mm"] == pytest.approx(12.3, abs=0.01)
    assert record["repeats"] == 2
    assert record["blows"] == math.ceil((2000 - 12.3) / 12.3 - 1e-6)
    assert record["strip_length_mm"] > 2000.0
    assert record["strip_width_mm"] == pytest.approx(record["ornament_width_mm"] + 2 * record["edge_mm"])
    assert 0.0 < record["utilisation"] < 1.0
    assert record["lengthening"] == work.strain.lengthening > 0.0
    assert record["pitch_error_mm"][1] == pytest.approx(0.05 * (record["blows"] - 1))
    assert record["face_step_mm"] <= 0.01
    assert record["face_kink_deg"] <= 0.5
    mass = record["strip_length_mm"] * record["strip_width_mm"] * 0.6 * 8940e-9
    assert record["strip_mass_kg"] == pytest.approx(mass)


def test_one_blow_is_planned_over_the_whole_face(tool, work):
    record = tool.record
    assert {"will_strike", "force_kN", "press_ok", "anneals", "courses", "strain_max", "thickness_min_mm"} <= set(
        record
    )
    full = work.faces.place_mm(work.faces.lengths.full + work.faces.lengths.way_in)
    relief = face_relief(work)
    assert relief.area_mm2 == pytest.approx(full * work.repeat.width_mm, rel=0.02)
    assert relief.height_range_mm == pytest.approx((0.0, work.repeat.height.max()), abs=0.02)
    assert record["thickness_min_mm"] < 0.6
    assert ("T152" in {note.code for note in tool.notes}) == (record["courses"] > 1)


def test_a_relief_deeper_than_a_blow_takes_sends_the_strip_through_again():
    deep = strip_tool(running_strip(20.0, high=1.4), options(), stock=STOCK)
    note = next(note for note in deep.notes if note.code == "T152")
    assert f"{deep.record['courses'] * deep.record['blows']} blows in all" in note.text
    weak = STOCK.machine("press")
    small = Machine("fly", "small press", "press", weak.facts | {"force": replace(weak.facts["force"], value=20.0)})
    held = strip_tool(running_strip(12.3), options(), stock=STOCK, press=small)
    assert held.record["press_ok"] is False
    assert "T127" in {note.code for note in held.notes}


def test_every_figure_that_is_not_plain_geometry_names_its_rule_and_cautions_defer(tool):
    text = " ".join(line.how for line in tool.sheet)
    for mark in ("READ", "CALC", "COMMON_PRACTICE"):
        assert mark in text
    assert any("local codes" in caution.lower() for caution in tool.cautions)
    assert any("fingers" in caution for caution in tool.cautions)


def test_drawings_have_the_tool_the_sections_and_the_strip(tool):
    plan, section, strip = tool.drawings
    assert (plan.name, section.name, strip.name) == ("plan", "section", "strip")
    outline = [stroke for stroke in plan.strokes if stroke.layer is Layer.CUT_OUTSIDE]
    assert len(outline) == 1
    marks = {round(float(s.curve.points[0, 0]), 3) for s in strip.strokes if s.layer is Layer.MARK_LINE}
    first = tool.record["zones_mm"]["way_out"]
    for number in range(4):
        assert any(abs(mark - first - number * tool.record["pitch_mm"]) < 0.01 for mark in marks)


def test_the_same_relief_gives_the_same_tool(relief, tool):
    again = strip_tool(relief, options(), stock=STOCK, name="border")
    assert again.to_json() == tool.to_json()
    for one, two in zip(again.solids, tool.solids, strict=True):
        assert one.vertices.tobytes() == two.vertices.tobytes()


def test_fine_beading_goes_several_repeats_a_blow():
    work = strip_work(running_strip(4.0, repeats=8.0, high=0.3), options(), stock=STOCK, material="brass")
    assert work.new_repeats == 5  # 20 mm is the usual step by hand (COMMON_PRACTICE)
    assert work.register_repeats == 3  # 10 mm and more
    assert work.faces.joint.step_mm <= 0.01


def test_a_ring_closes_with_whole_repeats_on_the_neutral_line():
    relief = running_strip(12.3, high=0.5)
    work = strip_work(relief, options(length_mm=None, ring_mm=180.0), stock=STOCK, material="copper")
    share = work.repeat.width_mm / work.plan.strip_width_mm
    around = 2 * math.pi * (90.0 + 0.3 + float(work.repeat.height.mean()) * share)
    assert work.closing.counts[0] * work.repeat.period_mm == pytest.approx(around, abs=0.05)
    assert work.run.length_mm == pytest.approx(around, abs=0.05)
    assert abs(work.repeat.period_mm / 12.3 - 1.0) == pytest.approx(abs(work.closing.change), abs=1e-3)


def test_a_frame_says_what_is_left_at_its_corners_and_takes_strip_for_the_mitres():
    relief = running_strip(12.3, high=0.5)
    tool = strip_tool(relief, options(length_mm=None, frame_mm=(310.0, 221.0)), stock=STOCK)
    closing = tool.record["closing"]
    assert closing["kind"] == "frame"
    assert tool.record["length_mm"] > 2 * (310 + 221 - 2 * 8.2)
    assert "T145" in {note.code for note in tool.notes}
    assert ("T146" in {note.code for note in tool.notes}) == (max(abs(m) for m in closing["misfit_mm"]) > 0.3)


def test_a_relief_heavier_on_one_side_warns_of_camber_with_its_number():
    lean = strip_tool(running_strip(12.3, high=1.0, lean=0.9), options(), stock=STOCK)
    note = next(note for note in lean.notes if note.code == "T143")
    assert f"{lean.record['camber_radius_mm']:.0f} mm" in note.text
    even = strip_tool(running_strip(12.3, high=0.2), options(), stock=STOCK)
    assert "T143" not in {note.code for note in even.notes}


def test_pilots_go_into_an_edge_that_is_wide_enough_and_stop_errors_from_adding_up():
    tool = strip_tool(running_strip(12.3), options(register="pilot"), stock=STOCK)
    assert tool.record["edge_mm"] >= 3.0 + 2 * 1.5 * 0.6 - 1e-9
    assert tool.record["pitch_error_mm"] == [0.05, 0.05]
    circles = [s for s in tool.drawings[0].strokes if s.layer is Layer.CUT_INSIDE and s.curve.radius == 1.5]
    assert len(circles) == 4
    assert all(abs(s.curve.centre[1]) > 0.5 * tool.record["ornament_width_mm"] for s in circles)
    with pytest.raises(OptionError, match="too narrow for pilots"):
        strip_tool(running_strip(12.3), options(register="pilot", edge_mm=2.0), stock=STOCK)


def test_an_ornament_that_ends_high_gets_room_to_come_down():
    relief = running_strip(12.3, high=0.5)
    raised = Relief("raised", relief.height + 0.6, relief.inside, relief.pitch_mm, relief.origin_mm)
    tool = strip_tool(raised, options(), stock=STOCK)
    assert tool.record["edge_mm"] > 1.6
    assert "T142" in {note.code for note in tool.notes}
    with pytest.raises(OptionError, match="too narrow"):
        strip_tool(raised, options(edge_mm=0.5), stock=STOCK)


def test_noise_on_the_scan_does_not_press_through_at_the_way_in():
    noisy = running_strip(12.3, repeats=5.0, high=0.8, noise=0.05)
    for nominal in ("outer", "inner"):
        work = strip_work(noisy, options(thickness_mm=0.9, nominal=nominal), stock=STOCK, material="copper")
        assert work.faces.joint.step_mm <= 0.01
        assert work.faces.joint.kink_deg <= 0.5
        assert work.faces.gap.least_mm >= 0.9 - 0.02


def test_noise_and_plain_moulding_are_refused_with_a_remedy():
    noise = np.random.default_rng(2).normal(0.0, 0.3, (60, 400))
    with pytest.raises(InputError, match="two whole repeats"):
        strip_tool(Relief("noise", noise, np.ones(noise.shape, bool), 0.1), options(), stock=STOCK)
    moulding = np.tile(np.sin(np.linspace(0, 3, 60))[:, None], (1, 400))
    with pytest.raises(InputError, match="plain moulding"):
        strip_tool(Relief("moulding", moulding, np.ones(moulding.shape, bool), 0.1), options(), stock=STOCK)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"length_mm": None}, "how much ornament"),
        ({"ring_mm": 100.0}, "contradict"),
        ({"thickness_mm": 0.0}, "makes no sense"),
        ({"thickness_mm": float("nan")}, "makes no sense"),
        ({"register_repeats": 0}, "whole number"),
        ({"repeats_per_blow": 2.5}, "whole number"),
        ({"register": "guess"}, "repeat, pilot, stop"),
        ({"nominal": "left"}, "outer or inner"),
        ({"edge_mm": -1.0}, "makes no sense"),
        ({"neutral_factor": 2.0}, "outside the strip"),
        ({"draft_deg": 80.0}, "out of reach"),
    ],
)
def test_options_that_make_no_sense_are_refused(changes, words):
    with pytest.raises(OptionError, match=words):
        options(**changes)


def test_what_cannot_be_made_of_this_relief_is_refused(relief):
    with pytest.raises(OptionError, match="shorter than one repeat"):
        strip_tool(relief, options(length_mm=5.0), stock=STOCK)
    with pytest.raises(InputError, match="longer than the relief"):
        strip_tool(relief, options(period_mm=90.0), stock=STOCK)
    with pytest.raises(StockError, match="no material"):
        strip_tool(relief, options(), stock=STOCK, material="unobtainium")
