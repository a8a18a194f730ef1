"""``meshflow flatten``: its four files, their keys, and what it refuses to draw."""

from __future__ import annotations

import json
import os
from dataclasses import replace

import ezdxf
import meshes
import numpy as np
import pytest
from workshop import collar, contents, plate, wall, write_off, write_stl

FOUR = ["wall.distortion.json", "wall.dxf", "wall.png", "wall.svg"]
# As the contract lists them; the file may say more after these.
KEYS = [
    *("schema", "source", "region", "faces", "area_surface_mm2", "area_flat_mm2", "stretch", "area_ratio"),
    *("rim_length_surface_mm", "rim_length_flat_mm", "flipped_faces", "overlap", "total_curvature_rad", "smoothing"),
    *("limits", "verdict"),
]


def report(folder, name="wall"):
    return json.loads((folder / f"{name}.distortion.json").read_text())


def test_a_piece_without_a_material_gives_exactly_its_four_files(meshflow, shop):
    said = meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat")
    assert (said.code, said.err) == (0, "")
    assert sorted(path.name for path in (shop / "flat").iterdir()) == FOUR
    assert said.out.startswith("wall: lies flat\n")
    assert said.out.endswith("look at flat/wall.png first\n")
    assert "judged as one that cannot stretch" in report(shop / "flat")["limits"]["source"]


def test_the_figures_have_the_keys_of_the_contract_and_true_values(meshflow, shop):
    meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat")
    said = report(shop / "flat")
    assert [key for key in said if key in KEYS] == KEYS
    assert list(said["stretch"]) == ["max", "min", "p01", "p50", "p99"]
    assert list(said["area_ratio"]) == ["min", "max"]
    assert list(said["smoothing"]) == ["length_mm", "moved_max_mm", "length_removed"]
    assert (said["source"], said["region"], said["faces"]) == ("wall.stl", "all", 90)
    # Nine facets of a quarter cylinder, radius 40, height 50, unroll to a rectangle of 9 chords.
    width = 9 * 2 * 40 * np.sin(np.radians(5))
    assert said["area_flat_mm2"] == pytest.approx(width * 50, rel=1e-6)
    assert said["rim_length_flat_mm"] == pytest.approx(2 * (width + 50), rel=1e-6)
    assert (said["flipped_faces"], said["overlap"], said["verdict"]) == (0, False, "lies_flat")
    assert said["stretch"]["max"] == pytest.approx(1.0, abs=1e-6)
    assert said["total_curvature_rad"] == pytest.approx(0.0, abs=1e-4)


def test_ideal_input_is_not_smoothed_unless_it_looks_like_a_scan(meshflow, shop):
    vertices, faces = meshes.developable_cylinder(around=41, up=11)
    write_off(shop / "ideal.off", (vertices, faces))
    write_off(shop / "scan.off", (meshes.rough(vertices, faces, 0.4), faces))
    meshflow("flatten", "ideal.off", "--units", "mm", "--out", "flat")
    assert report(shop / "flat", "ideal")["smoothing"] == {
        "length_mm": 0.0,
        "moved_max_mm": 0.0,
        "length_removed": 0.0,
    }
    said = meshflow("flatten", "scan.off", "--units", "mm", "--out", "flat")
    assert report(shop / "flat", "scan")["smoothing"]["length_mm"] > 0
    assert "carrier  smoothed at" in said.out
    meshflow("flatten", "scan.off", "--units", "mm", "--smooth", "none", "--out", "flat")
    assert report(shop / "flat", "scan")["smoothing"]["length_mm"] == 0.0
    meshflow("flatten", "ideal.off", "--units", "mm", "--smooth", "1 cm", "--out", "flat")
    assert report(shop / "flat", "ideal")["smoothing"]["length_mm"] == 10.0


def test_material_thickness_and_side_count(meshflow, shop):
    copper = ("--material", "copper", "--thickness", "2", "--side", "outer")
    meshflow("flatten", "wall.stl", "--units", "mm", *copper, "--out", "flat")
    said = report(shop / "flat")
    # Scanned outside, the neutral surface lies 1 mm further in: each inner facet is 2 tan(5 degrees) narrower, the
    # two at the rims half of that.
    width = 9 * (80 * np.sin(np.radians(5)) - 2 * np.tan(np.radians(5)))
    assert said["area_flat_mm2"] == pytest.approx(width * 50, rel=2e-3)
    assert said["limits"]["stretch"] > 0
    meshflow("flatten", "wall.stl", "--units", "mm", "--thickness", "1/16 in", "--out", "flat")
    assert report(shop / "flat")["thickness_mm"] == pytest.approx(1.5875)


@pytest.mark.parametrize(("version", "code"), [("R12", "AC1009"), ("R2010", "AC1024")])
def test_the_drawing_has_the_version_asked_for_and_the_size_of_the_piece(meshflow, shop, version, code):
    meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat", "--dxf", version)
    drawing = ezdxf.readfile(shop / "flat/wall.dxf")
    assert drawing.dxfversion == code
    (outline,) = drawing.modelspace().query('*[layer=="CUT_OUTSIDE"]')
    points = np.array(list(outline.vertices() if version != "R12" else (v.dxf.location for v in outline.vertices)))
    assert sorted(np.ptp(points[:, :2], axis=0)) == pytest.approx([50.0, 720 * np.sin(np.radians(5))], abs=0.02)


def test_a_ring_is_opened_where_the_maker_says(meshflow, shop):
    for place, code in (("25,0,5", 0), ("plane=0,1,0,0@25,0,5", 0), ("nowhere", 1), ("1,2", 1)):
        assert meshflow("flatten", "collar.stl", "--units", "mm", "--seam", place, "--out", "flat").code == code


def test_a_piece_is_cut_along_a_drawn_line_of_the_current_folder(meshflow, shop):
    # On the quarter cylinder of radius 40: from x one sees y run right and z up.
    (shop / "front.txt").write_text("# right, up\n10 10\n30 10\n30 40\n10 40\n")
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(10, 10), (30, 10), (30, 40), (10, 40)], close=True)
    document.saveas(shop / "front.dxf")
    turn = np.arcsin(30 / 40) - np.arcsin(10 / 40)
    for line in ("front.txt", "front.dxf", shop / "front.dxf"):
        region = f"line={line} view=1,0,0"
        said = meshflow("flatten", "wall.stl", "--units", "mm", "--region", region, "--out", "flat")
        assert said.code == 0
        assert "R120" in said.out
        assert report(shop / "flat", "wall")["area_flat_mm2"] == pytest.approx(30 * 40 * turn, rel=0.01)
        assert report(shop / "flat", "wall")["region"] == region


def overlapping(monkeypatch):
    import meshflow.flatten as room
    from meshflow.model.finding import Finding, Severity

    real = room.flatten
    note = Finding("F101", Severity.REFUSE, "the flat outline runs over itself.", "Open it with a dart.")
    monkeypatch.setattr(room, "flatten", lambda *a, **k: replace(real(*a, **k), notes=(note,)))


def test_a_spiral_ramp_that_overlaps_itself_is_shown_but_not_drawn(meshflow, shop):
    # One and a half turns of a flat annulus, lifted like a ramp: it is cut from one strip on the bench, not from
    # one sheet.
    turn, radius = np.meshgrid(np.linspace(0, 3 * np.pi, 91), np.linspace(30, 50, 6))
    vertices = np.stack([radius * np.cos(turn), radius * np.sin(turn), 2.0 * turn], axis=2).reshape(-1, 3)
    write_off(shop / "ramp.off", (vertices, meshes.grid_faces(91, 6)))
    said = meshflow("flatten", "ramp.off", "--units", "mm", "--out", "flat")
    assert said.code == 1
    assert sorted(path.name for path in (shop / "flat").iterdir()) == ["ramp.distortion.json", "ramp.png"]
    assert report(shop / "flat", "ramp")["overlap"] is True
    assert "  refuse   F101  " in said.out
    assert said.err == "no drawing was written; look at flat/ramp.png\n"


def test_a_drawing_left_from_an_earlier_run_is_named_when_the_piece_is_refused_now(meshflow, shop, monkeypatch):
    meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat")
    before = (shop / "flat/wall.dxf").read_bytes()
    overlapping(monkeypatch)
    said = meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat")
    assert said.code == 1
    assert "not of this pattern, left from an earlier run: wall.dxf, wall.svg\n" in said.err
    assert (shop / "flat/wall.dxf").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("gone.stl",), "gone.stl: there is no such file. Check the path.\n"),
        ((".",), ".: this is not a file. Give the mesh file itself.\n"),
        (("job.toml",), 'job.toml: ".toml" is not a mesh format I read. '),
        (("wall.stl", "--region", "label=7"), "wall.stl, part wall: "),
        (("wall.stl", "--region", "line=gone.txt"), "gone.txt: there is no such file. Check its name.\n"),
        (("wall.stl", "--region", "line=job.toml"), 'job.toml:1: "title = '),
        (("wall.stl", "--region", "all - all"), 'wall.stl, part wall: "all - all" leaves nothing of the surface. '),
        (("wall.stl", "--region", "x"), 'wall.stl, part wall: "x" is not a selector. Say all, label=3, '),
        (("wall.stl", "--material", "coper"), '"coper" is no material or family. Did you mean copper? '),
        (("ball.stl", "--seam", "none"), "ball.stl, part ball: the piece is closed, "),
    ],
    ids=lambda value: value[-1] if isinstance(value, tuple) else "",
)
def test_what_cannot_be_laid_flat_leaves_with_1_and_a_sentence(meshflow, shop, arguments, sentence):
    write_stl(shop / "ball.stl", meshes.closed_ball())
    said = meshflow("flatten", *arguments, "--units", "mm", "--out", "flat")
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith(sentence)
    assert said.err.count("\n") == 1
    assert not (shop / "flat").exists()


def test_an_output_folder_that_is_a_file_is_refused_before_any_work(meshflow, shop):
    said = meshflow("flatten", "wall.stl", "--units", "mm", "--out", "job.toml")
    assert (said.code, said.err) == (1, "job.toml: this is a file, not a folder. Choose another folder.\n")


def test_a_folder_in_the_way_of_a_drawing_is_refused_and_nothing_else_written(meshflow, shop):
    (shop / "flat/wall.svg").mkdir(parents=True)
    said = meshflow("flatten", "wall.stl", "--units", "mm", "--out", "flat")
    assert said.code == 1
    assert said.err.startswith("flat: cannot write wall.svg: a folder of that name is in the way.")
    assert contents(shop / "flat") == {}


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("Köcher links.stl", "Kocher-links"),
        ("Straße.stl", "Strasse"),
        ("鞍.stl", "part"),
        ("wall.v2.stl", "wall-v2"),
        ("a'b;c.stl", "a-b-c"),
        (f"{'x' * 200}.stl", "x" * 64),
        (os.fsdecode(b"wall\xff.stl"), "wall"),
    ],
)
def test_names_of_all_sorts_become_names_that_every_machine_takes(meshflow, shop, name, part):
    write_stl(shop / name, wall())
    assert meshflow("flatten", name, "--units", "mm", "--out", "flat").code == 0
    assert sorted(contents(shop / "flat")) == sorted(file.replace("wall", part) for file in FOUR)


def test_the_same_piece_twice_gives_the_same_bytes(meshflow, shop):
    for out in ("one", "two"):
        meshflow("flatten", "plate.off", "--units", "cm", "--material", "copper", "--thickness", "0.8", "--out", out)
    assert contents(shop / "one") == contents(shop / "two")


def test_what_flatten_draws_nest_takes(meshflow, shop):
    write_off(shop / "shelf.off", plate())
    write_off(shop / "ring.off", collar())
    for name in ("shelf.off", "ring.off"):
        meshflow("flatten", name, "--units", "mm", "--out", "flat")
    said = meshflow("nest", "flat/shelf.dxf", "flat/ring.dxf", "--sheet", "500x400", "--out", "sheets")
    assert said.code == 0
