"""``meshflow section`` and ``meshflow offset``: what they write, say, and leave with."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface


@pytest.fixture
def ball(tmp_path):
    return write_mesh(Surface(*meshes.closed_ball(25.0, 4)), tmp_path / "finial.stl")


@pytest.fixture
def plate(tmp_path):
    return write_mesh(Surface(*meshes.grooved_plate(3.0)), tmp_path / "moulding.stl")


def test_a_section_says_girth_and_area_and_writes_both_drawings(meshflow, ball, tmp_path):
    # A circle of radius 24: 150.8 mm round, 1809.6 mm2; facets are a little short.
    said = meshflow("section", ball, "--units", "mm", "--plane", "0,0,2,14", "--out", tmp_path / "out")
    assert said.code == 0
    row = next(line for line in said.out.splitlines() if "Z=7" in line).split()
    assert row[:4] == ["01", "Z=7", "1", "closed"]
    assert float(row[4]) == pytest.approx(2 * np.pi * 24, rel=2e-3)
    assert float(row[8]) == pytest.approx(np.pi * 576, rel=4e-3)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "finial-section-01.dxf", "finial-section-01.svg", "finial.sections.json"}  # fmt: skip


def test_a_set_of_gauges_is_numbered_along_the_axis(meshflow, ball, tmp_path):
    said = meshflow(
        "section", ball, "--units", "mm", "--every", "1cm", "--along", "y", "--gauge", "15", "--out", tmp_path / "out"
    )
    assert said.code == 0
    assert [line.split()[1] for line in said.out.splitlines() if " Y=" in line] == [
        "Y=-20", "Y=-10", "Y=0", "Y=10", "Y=20"]  # fmt: skip


def test_a_gauge_that_cannot_follow_says_so(meshflow, tmp_path):
    # A bow of 270 degrees leans back past its widest points.
    tube = write_mesh(Surface(*meshes.developable_cylinder()), tmp_path / "bow.stl")
    said = meshflow("section", tube, "--units", "mm", "--plane", "0,0,1,40", "--gauge", "15", "--out", tmp_path / "out")
    assert said.code == 0
    assert "goes straight past: 01" in said.out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "Say where to cut"),
        (("--plane", "1,2,3"), "is no plane"),
        (("--along", "x", "--plane", "0,0,1,0"), "--along goes with --every"),
        (("--every", "0"), "more than 0"),
    ],
)
def test_wrong_usage_of_section_is_said(meshflow, ball, tmp_path, options, said):
    answer = meshflow("section", ball, "--units", "mm", *options, "--out", tmp_path / "out")
    assert answer.code == 2
    assert said in answer.err


@pytest.mark.parametrize("plane", ["0,0,0,1", "0,0,1,99"])
def test_a_plane_that_cuts_nothing_is_refused(meshflow, ball, tmp_path, plane):
    answer = meshflow("section", ball, "--units", "mm", "--plane", plane, "--out", tmp_path / "out")
    assert answer.code == 1
    assert "finial.stl" in answer.err


@pytest.mark.parametrize(("by", "radius"), [("5", 30.0), ("-5 mm", 20.0), ("-0.5cm", 20.0)])
def test_an_offset_goes_out_or_in(meshflow, ball, tmp_path, by, radius):
    said = meshflow("offset", ball, "--units", "mm", "--by", by, "--out", tmp_path / "moved.ply")
    assert said.code == 0
    assert "bridged    0.0 mm2" in said.out
    assert "crossings  0 faces" in said.out
    moved = read_mesh(tmp_path / "moved.ply", units="mm")
    assert np.linalg.norm(moved.vertices, axis=1) == pytest.approx(radius, abs=0.01)


def test_an_offset_with_no_room_says_how_much_is_bridged(meshflow, plate, tmp_path):
    said = meshflow("offset", plate, "--units", "mm", "--by", "5", "--out", tmp_path / "moved.ply")
    assert said.code == 0
    assert "M210" in said.out
    bridged = float(said.out.split("bridged ")[1].split()[0])
    # The groove is pi * 3 * 20 = 188 mm2; the strips of the lands beside it hang on to it.
    assert 188 < bridged < 188 + 2 * 3 * 2.5 * 20


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (("--by", "0", "--out", "a.ply"), 2, "0 moves nothing"),
        (("--by", "five", "--out", "a.ply"), 2, "not a length"),
        (("--by", "5000", "--out", "a.ply"), 1, "makes no sense"),
    ],
)
def test_wrong_offsets_are_refused_and_nothing_is_written(meshflow, ball, tmp_path, monkeypatch, options, code, said):
    monkeypatch.chdir(tmp_path)
    answer = meshflow("offset", ball, "--units", "mm", *options)
    assert answer.code == code
    assert said in answer.err
    assert not (tmp_path / "a.ply").exists()
