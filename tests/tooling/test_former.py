"""Formers: the face is the true offset, the land follows the edge, undercut is found, blocks fit the machine."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.geometry.release import best_direction
from meshflow.job.tool_piece import moved_piece
from meshflow.tooling.former import former_tool
from meshflow.tooling.former_options import FormerOptions
from meshflow.tooling.hollows import bridge_depth, deepest
from tests.meshes import grooved_plate, rough, spherical_cap, whole_region

trimesh = pytest.importorskip("trimesh")


def former(mesh, **asked):
    options = FormerOptions(**{"thickness_mm": 3.0, "padding_mm": 1.5, "pitch_mm": 1.5, **asked})
    region = whole_region(*mesh)
    shape, notes = moved_piece(region, options.offset_mm)
    return former_tool(region, shape, options, notes=notes)


def body_of(tool, number: int = 0):
    solid = tool.solids[number]
    return trimesh.Trimesh(solid.vertices, solid.faces, process=False)


def rays_down(tool, places):
    """Heights of the block's face over places, by hand: of the triangles over or under a place the highest."""
    corners = tool.solids[0].vertices[tool.solids[0].faces]
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    double = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    up = double > 1e-9
    corners, one, two, double = corners[up], one[up], two[up], double[up]
    found = []
    for x, y in places:
        dx, dy = x - corners[:, 0, 0], y - corners[:, 0, 1]
        u, v = (dx * two[:, 1] - dy * two[:, 0]) / double, (one[:, 0] * dy - one[:, 1] * dx) / double
        over = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
        found.append(float((corners[:, 0, 2] + u * one[:, 2] + v * two[:, 2])[over].max()))
    return np.array(found)


def in_block(tool, points):
    frame = tool.record["frame"]
    return (points - np.array(frame["origin_mm"])) @ np.array(frame["axes"]).T


def test_the_face_lies_inside_the_scan_by_thickness_and_padding() -> None:
    tool = former(spherical_cap(90.0, math.radians(45), 40))
    middle = in_block(tool, np.zeros(3))
    angle = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    places = middle[:2] + 40.0 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    radius = np.hypot(40.0, rays_down(tool, places) - middle[2])
    assert np.abs(radius - (90.0 - 4.5)).max() < 0.05  # the mesh of the cap is 0.03 mm flat


def test_the_block_is_closed_and_stands_on_its_back() -> None:
    body = body_of(former(spherical_cap(90.0, math.radians(45), 40)))
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.volume > 0.0
    assert body.bounds[0] == pytest.approx([body.bounds[0][0], body.bounds[0][1], 0.0], abs=1e-9)


def test_the_land_is_as_wide_as_asked_for_and_level_with_the_rim() -> None:
    tool = former(spherical_cap(90.0, math.radians(45), 40), land_mm=12.0)
    middle = in_block(tool, np.zeros(3))
    edge = 85.5 * math.sin(math.radians(45))
    assert tool.record["size_mm"][0] == pytest.approx(2.0 * (edge + 12.0), abs=0.1)
    angle = np.linspace(0.1, 6.0, 12)
    for away in (2.0, 6.0, 11.0):
        places = middle[:2] + (edge + away) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        assert rays_down(tool, places) == pytest.approx(25.0, abs=0.1)  # on the base of 25 mm


def test_noise_at_the_rim_leaves_the_land_even() -> None:
    vertices, faces = spherical_cap(90.0, math.radians(45), 40)
    tool = former((rough(vertices, faces, 0.05, seed=3), faces), land_mm=12.0)
    middle = in_block(tool, np.zeros(3))
    angle = np.linspace(0.1, 6.0, 40)
    edge = 85.5 * math.sin(math.radians(45))
    heights = rays_down(tool, middle[:2] + (edge + 8.0) * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    assert np.ptp(heights) < 0.5
    assert body_of(tool).is_watertight


def test_undercut_is_found_filled_and_listed() -> None:
    # A cap of 120 degrees half angle leans back below its equator: area share (cos 90 - cos 120) / (1 - cos 120) = 1/3.
    vertices, faces = spherical_cap(50.0, math.radians(120), 60)
    tool = former((vertices, faces), direction=(0.0, 0.0, 1.0))
    assert tool.record["undercut_share"] == pytest.approx(1.0 / 3.0, abs=0.02)
    [note] = [note for note in tool.notes if note.code == "T160"]
    assert note.faces
    assert note.at_mm is not None
    assert note.at_mm[2] < 1.0
    assert body_of(tool).is_watertight
    sound = former(spherical_cap(90.0, math.radians(45), 40))
    assert sound.record["undercut_mm2"] == 0.0
    assert "T160" not in [note.code for note in sound.notes]


def test_the_best_direction_is_the_axis_of_a_cap_however_it_lies() -> None:
    vertices, faces = spherical_cap(50.0, math.radians(85), 40)
    turn = trimesh.transformations.random_rotation_matrix(np.array([0.3, 0.6, 0.9]))[:3, :3]
    way = best_direction(vertices @ turn.T, faces)
    assert math.degrees(math.acos(min(1.0, float(way @ turn[:, 2])))) < 1.0


def test_too_little_draft_is_listed() -> None:
    tool = former(spherical_cap(50.0, math.radians(85), 60), draft_deg=10.0, direction=(0, 0, 1))
    assert "T161" in [note.code for note in tool.notes]


def test_blocks_fit_the_printer_and_have_two_dowels_each_joint() -> None:
    tool = former(spherical_cap(180.0, math.radians(45), 40), machine="printer")
    bodies = [body_of(tool, number) for number in range(len(tool.solids))]
    assert len(bodies) == tool.record["blocks"] > 1
    for body in bodies:
        assert body.is_watertight
        assert (body.extents <= np.array([250.0, 210.0, 210.0]) + 1e-6).all()
    whole = body_of(former(spherical_cap(180.0, math.radians(45), 40), machine=""))
    ring = 0.5 * 48 * math.sin(2 * math.pi / 48)
    drilled = sum(2 * len(joint["dowels_mm"]) for joint in tool.record["joints"]) * ring * 4.0**2 * 15.0
    assert all(len(joint["dowels_mm"]) == 2 for joint in tool.record["joints"])
    assert whole.volume - sum(body.volume for body in bodies) == pytest.approx(drilled, rel=1e-3)


def test_a_hollow_former_is_vented_at_its_lowest_place() -> None:
    tool = former(spherical_cap(90.0, math.radians(45), 40), work="into")
    [vent] = tool.record["vents"]
    middle = in_block(tool, np.zeros(3))
    assert np.hypot(vent["x_mm"] - middle[0], vent["y_mm"] - middle[1]) < 3.0
    assert body_of(tool).euler_number == 0  # the hole runs through
    assert body_of(tool).is_watertight
    assert former(spherical_cap(90.0, math.radians(45), 40)).record["vents"] == []


def test_bridges_span_hollows_by_the_straight_line() -> None:
    x = np.linspace(-1.0, 1.0, 41)
    bowl = np.tile(x**2, (41, 1)) + x[:, None] ** 2
    depth = bridge_depth(bowl, np.ones(bowl.shape, dtype=bool))
    assert depth[20, 20] == pytest.approx(2.0)  # along the diagonals: corner to corner
    assert bridge_depth(-bowl, np.ones(bowl.shape, dtype=bool)).max() == pytest.approx(0.0, abs=1e-12)
    assert deepest(depth, least=0.5, apart=5, most=1) == [(20, 20)]


def test_a_groove_tighter_than_the_offset_is_bridged_and_said() -> None:
    vertices, faces = grooved_plate(3.0)
    tool = former((vertices, faces), side="inner", padding_mm=0.0, work="into", thickness_mm=5.0)
    assert body_of(tool).is_watertight
    assert "T162" in [note.code for note in tool.notes] or tool.record["undercut_mm2"] == 0.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"thickness_mm": -1.0},
        {"side": "left"},
        {"work": "under"},
        {"direction": (0, 0, 0)},
        {"vents": -1},
        {"draft_deg": 90},
    ],
)
def test_senseless_options_are_refused(wrong) -> None:
    with pytest.raises(OptionError):
        FormerOptions(**{"thickness_mm": 3.0, **wrong})


def test_a_direction_that_sees_nothing_of_the_piece_is_refused() -> None:
    with pytest.raises(OptionError, match="looks away"):
        former(spherical_cap(90.0, math.radians(45), 20), direction=(0.0, 0.0, -1.0))


def test_the_same_piece_gives_the_same_bytes() -> None:
    one, two = (former(spherical_cap(90.0, math.radians(45), 20)) for _ in range(2))
    assert one.solids[0].vertices.tobytes() == two.solids[0].vertices.tobytes()
    assert one.to_json() == two.to_json()


def test_a_former_says_its_cautions() -> None:
    said = " ".join(former(spherical_cap(90.0, math.radians(45), 20)).cautions)
    assert "leather" in said
    assert "local codes" in said
