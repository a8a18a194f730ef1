"""Cast patterns: shrinkage against worked figures, walls, posts, holes, and designs bent onto a surface."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.geometry.topology import boundary_loops
from meshflow.job.tool_piece import moved_piece
from meshflow.stock import load_stock
from meshflow.tooling.cast import CastSheets, cast_tool
from meshflow.tooling.cast_options import CastOptions, steps_of
from meshflow.tooling.design import bent_sheets, plate_of_rings
from meshflow.tooling.shrink import Step, drawn_hole, finished_hole, pattern_scale, trial_shrink
from meshflow.tooling.walls import wall_at
from tests.meshes import flat_disk, spherical_cap, whole_region

trimesh = pytest.importorskip("trimesh")


def sheets_of(mesh, wall: float, *, polish: float = 0.0) -> CastSheets:
    vertices, faces = mesh
    region = whole_region(vertices, faces)
    upper, _ = moved_piece(region, polish)
    lower, notes = moved_piece(region, -wall)
    zero = np.zeros(len(vertices))
    return CastSheets(upper, lower, faces, zero + polish, zero, notes=notes)


def solid_of(tool, number: int = 0):
    solid = tool.solids[number]
    return trimesh.Trimesh(solid.vertices, solid.faces, process=False)


def test_two_steps_multiply() -> None:
    # Jewellery: wax 2.5 %, metal 1 % (READ, artistryofgold.com); the product 1.03600 is CALC.
    assert pattern_scale([Step("wax", 0.025), Step("metal", 0.01)]) == pytest.approx(1.03600, abs=1e-5)


def test_the_two_conventions_differ_as_the_worked_example_says() -> None:
    # 7.5 in at 3/16 in per foot (READ, a foundry page): 7.6172 by the rule, 7.6190 by the inverse (CALC).
    step = [Step("metal", 3 / 16 / 12)]
    assert 7.5 * pattern_scale(step, convention="table") == pytest.approx(7.6172, abs=1e-4)
    assert 7.5 * pattern_scale(step) == pytest.approx(7.6190, abs=1e-4)


def test_a_measured_chain_gives_back_its_own_model() -> None:
    # A silicone-mould ring measured at each step (READ, ganoksin.com, Teague): 19.95 model, 19.88 wax, 19.63 cast.
    wax, metal = trial_shrink(19.95, 19.88), trial_shrink(19.88, 19.63)
    scale = pattern_scale([Step("wax", wax), Step("metal", metal)])
    assert 1.0 / scale == pytest.approx(0.98396, abs=1e-5)
    assert 19.63 * scale == pytest.approx(19.95, abs=1e-9)


def test_a_trial_bar_gives_its_factor() -> None:
    # Bar of 12 in cast to 11.75 in: factor .97917 (READ, frederickspassage.com).
    assert 1.0 - trial_shrink(12.0, 11.75) == pytest.approx(0.97917, abs=1e-5)


def test_a_hole_grows_by_polish_and_shrinks_by_plating() -> None:
    drawn = drawn_hole(3.2, polish_mm=0.05, plating_mm=0.02)
    assert drawn == pytest.approx(3.2 - 0.10 + 0.04)
    assert finished_hole(drawn, polish_mm=0.05, plating_mm=0.02) == pytest.approx(3.2)
    with pytest.raises(OptionError, match="Drill it after polishing"):
        drawn_hole(0.5, polish_mm=0.3)


def test_a_moulded_pattern_has_more_steps_than_one_that_is_burnt_out() -> None:
    stock = load_stock()
    burnt = steps_of(CastOptions(thickness_mm=3), stock)
    moulded = steps_of(CastOptions(thickness_mm=3, pattern="moulded"), stock)
    assert [step.name for step in burnt] == ["metal"]
    assert [step.name for step in moulded] == ["mould", "wax", "metal"]


def test_a_cap_becomes_a_shell_of_its_closed_form_volume() -> None:
    tool = cast_tool(
        sheets_of(spherical_cap(60.0, math.radians(40), 40), 3.0), CastOptions(thickness_mm=3.0, machine="")
    )
    body = solid_of(tool)
    true = 2.0 * math.pi / 3.0 * (1.0 - math.cos(math.radians(40))) * (60.0**3 - 57.0**3)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert tool.record["volume_mm3"] == pytest.approx(true, rel=2e-3)
    assert body.volume == pytest.approx(true * tool.record["scale"] ** 3, rel=2e-3)
    assert tool.record["wall_min_mm"] == pytest.approx(3.0, abs=0.02)


def test_metal_weighs_what_its_wax_and_their_densities_say() -> None:
    # m = m_wax rho_metal / rho_wax, bronze about 9 to 10 times, sprues 30 to 50 % more (COMMON_PRACTICE).
    tool = cast_tool(
        sheets_of(flat_disk(30.0, 12), 4.0), CastOptions(thickness_mm=4.0, shrink=(("metal", 0.0),), machine="")
    )
    mass = tool.record["mass_kg"]
    assert 9.0 < mass["metal_per_wax"] < 10.0
    assert mass["part"] == pytest.approx(mass["wax"] * mass["metal_per_wax"], rel=1e-9)
    assert mass["with_sprues"] == pytest.approx([1.3 * mass["part"], 1.5 * mass["part"]])


def test_a_thin_place_is_found_and_listed() -> None:
    vertices, faces = flat_disk(30.0, 20)
    lower = vertices - [0, 0, 3.0]
    near = np.hypot(vertices[:, 0] - 10.0, vertices[:, 1]) < 4.0
    lower[near, 2] = -0.8
    zero = np.zeros(len(vertices))
    sheets = CastSheets(vertices, lower, faces, zero, zero, face_parent=np.arange(len(faces)))
    tool = cast_tool(sheets, CastOptions(thickness_mm=3.0, machine=""))
    [thin] = [note for note in tool.notes if note.code == "T180"]
    assert thin.at_mm is not None
    assert np.hypot(thin.at_mm[0] - 10.0, thin.at_mm[1]) < 5.0
    assert tool.record["wall_min_mm"] == pytest.approx(0.8, abs=1e-6)
    assert tool.record["wall_places"][0]["wall_mm"] == pytest.approx(0.8, abs=1e-6)
    sound = cast_tool(sheets_of(flat_disk(30.0, 20), 3.0), CastOptions(thickness_mm=3.0, machine=""))
    assert "T180" not in [note.code for note in sound.notes]


def test_the_wall_is_taken_from_both_faces() -> None:
    vertices, faces = flat_disk(30.0, 20)
    lower = vertices - [0, 0, 3.0]
    lower[0, 2] = -1.0
    wall = wall_at(vertices, lower, faces)
    assert wall.min() == pytest.approx(1.0, abs=1e-9)


def test_posts_and_holes_leave_one_closed_body() -> None:
    options = CastOptions(
        thickness_mm=3.0, posts=((12, 8, 50), (-12, 8, 50)), post_mm=5.0, post_length_mm=10.0,
        holes=((0, -14, 58),), hole_mm=4.0, machine="", shrink=(("metal", 0.0),),
    )  # fmt: skip
    mesh = spherical_cap(60.0, math.radians(50), 30)
    plain = solid_of(
        cast_tool(sheets_of(mesh, 3.0), CastOptions(thickness_mm=3.0, machine="", shrink=(("metal", 0.0),)))
    )
    body = solid_of(cast_tool(sheets_of(mesh, 3.0), options))
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.body_count == 1
    change = 2.0 * math.pi * 2.5**2 * 10.0 - math.pi * 2.0**2 * 3.0
    assert body.volume - plain.volume == pytest.approx(change, rel=0.02)
    assert body.euler_number == 0  # one tunnel


def test_a_post_at_the_rim_is_refused_with_its_place() -> None:
    with pytest.raises(OptionError, match="no room"):
        cast_tool(sheets_of(flat_disk(30.0, 12), 3.0), CastOptions(thickness_mm=3.0, posts=((29.5, 0, 0),)))


def test_a_block_is_split_into_closed_halves_whose_keys_fit_their_sockets() -> None:
    tool = cast_tool(
        sheets_of(flat_disk(60.0, 20), 14.0),
        CastOptions(thickness_mm=14.0, flask_mm=(80.0, 200.0, 200.0), shrink=(("metal", 0.0),), wall_least_mm=2.0),
    )
    halves = [solid_of(tool, number) for number in range(len(tool.solids))]
    assert len(halves) == 2
    assert all(half.is_watertight for half in halves)
    assert all(half.extents[0] <= 80.0 + 1e-6 for half in halves)
    keys = tool.record["joints"][0]["keys_mm"]
    assert len(keys) == 2
    ring = 0.5 * 48 * math.sin(2 * math.pi / 48)  # area of the 48-sided circle of radius 1
    lost = 2 * ring * ((1.5 + 0.15) ** 2 * 3.15 - 1.5**2 * 3.0)
    assert tool.record["volume_mm3"] - sum(half.volume for half in halves) == pytest.approx(lost, rel=1e-3)


def test_polish_makes_the_pattern_thicker_by_its_allowance() -> None:
    tool = cast_tool(
        sheets_of(flat_disk(30.0, 12), 3.0, polish=0.1), CastOptions(thickness_mm=3.0, polish_mm=0.1, machine="")
    )
    assert tool.record["wall_min_mm"] == pytest.approx(3.1, abs=1e-6)


@pytest.mark.parametrize(
    "wrong", [{"thickness_mm": 0.0}, {"under_mm": 2.0}, {"pattern": "clay"}, {"posts": ((math.nan, 0, 0),)}]
)
def test_senseless_options_are_refused(wrong) -> None:
    with pytest.raises(OptionError):
        CastOptions(**{"thickness_mm": 3.0, **wrong})


def test_a_plate_bent_onto_a_cap_lies_at_its_heights() -> None:
    vertices, faces = spherical_cap(60.0, math.radians(40), 40)
    pattern = _flattened(vertices, faces)
    ring = 15.0 * np.stack([np.cos(np.arange(60) * math.pi / 30), np.sin(np.arange(60) * math.pi / 30)], axis=1)
    middle = pattern.vertices.mean(axis=0)
    plate = plate_of_rings([ring + middle], CastOptions(thickness_mm=2.0))
    bent = bent_sheets(plate, pattern.vertices, vertices, faces)
    assert np.abs(np.linalg.norm(bent.upper, axis=1) - 62.0).max() < 0.05
    assert np.abs(np.linalg.norm(bent.lower, axis=1) - 60.0).max() < 0.05
    body = cast_tool(bent, CastOptions(thickness_mm=2.0, machine=""))
    assert solid_of(body).is_watertight


def _flattened(vertices, faces):
    from meshflow.flatten import flatten

    return flatten(whole_region(vertices, faces), prove=False)


def test_a_flat_plate_bent_onto_a_cap_and_laid_flat_again_has_its_outline_back() -> None:
    from meshflow.geometry.rigid import best_motion, moved_points

    vertices, faces = spherical_cap(120.0, math.radians(20), 40)
    pattern = _flattened(vertices, faces)
    loop = boundary_loops(faces)[0]
    ring = pattern.vertices[loop]
    plate = plate_of_rings([ring], CastOptions(thickness_mm=2.0, pitch_mm=1.5))
    bent = bent_sheets(plate, pattern.vertices, vertices, faces)
    again = _flattened(bent.lower, plate.faces).vertices
    count = len(boundary_loops(plate.faces)[0])
    before, after = (np.column_stack([points[:count, :2], np.zeros(count)]) for points in (plate.lower, again))
    back = moved_points(after, best_motion(after, before))
    assert np.abs(back - before).max() < 0.05


def test_a_design_beyond_the_pattern_is_refused_with_its_extents() -> None:
    vertices, faces = flat_disk(30.0, 12)
    plate = plate_of_rings([np.array([[0.0, 0], [90, 0], [90, 5], [0, 5]])], CastOptions(thickness_mm=2.0))
    with pytest.raises(OptionError, match="beyond the piece laid flat"):
        bent_sheets(plate, vertices[:, :2], vertices, faces)
