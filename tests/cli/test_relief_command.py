"""``meshflow relief``: what it writes, says, and leaves with."""

from __future__ import annotations

import json

import pytest
from based_reliefs import based
from PIL import Image
from worn_relief import band, relief_of, running, worn

from meshflow.mesh.write import write_mesh
from meshflow.relief.height_file import read_height_file, relief_bytes


@pytest.fixture
def panel(tmp_path):
    return write_mesh(based("plane", noise=0.02, edge=1.0).surface, tmp_path / "panel.ply")


@pytest.fixture
def strip(tmp_path):
    true = relief_of(running(12.34, middle=(62, 8)), band(5, 60, middle=(62, 8)), width=124, high=16)
    (tmp_path / "strip.npz").write_bytes(relief_bytes(worn(true)))
    return tmp_path / "strip.npz"


def test_a_panel_is_lifted_and_said_in_a_few_lines(meshflow, panel, tmp_path):
    said = meshflow("relief", panel, "--units", "mm", "--out", tmp_path / "out")
    assert said.code == 0, said.err
    assert said.out.startswith("panel: relief ")
    assert "base     plane, ground within 0.0" in said.out
    assert "look at " in said.out.splitlines()[-1]
    assert json.loads((tmp_path / "out" / "relief.json").read_text())["separable"] is True


def test_pitch_and_turn_are_taken(meshflow, panel, tmp_path):
    said = meshflow(
        "relief",
        panel,
        "--units",
        "mm",
        "--pitch",
        "0.5mm",
        "--turn",
        "90",
        "--base",
        "plane",
        "--out",
        tmp_path / "out",
    )
    assert said.code == 0, said.err
    relief = read_height_file(tmp_path / "out" / "height.npz")
    assert relief.pitch_mm == 0.5
    assert relief.shape[0] > relief.shape[1]


def test_a_worn_strip_is_trued_up(meshflow, strip, tmp_path):
    said = meshflow("relief", strip, "--repeats", "--smooth", "1.2", "--out", tmp_path / "out")
    assert said.code == 0, said.err
    assert "repeated     moved" in said.out
    assert "E134" in said.out
    figures = json.loads((tmp_path / "out" / "relief.json").read_text())
    assert figures["mended"][0]["period_mm"] == pytest.approx(12.34, abs=0.02)


def test_a_picture_of_somebody_else_takes_pitch_and_range(meshflow, tmp_path):
    Image.linear_gradient("L").save(tmp_path / "ramp.png")
    lacking = meshflow("relief", tmp_path / "ramp.png", "--out", tmp_path / "out")
    assert lacking.code == 1
    assert "--range" in lacking.err
    said = meshflow(
        "relief",
        tmp_path / "ramp.png",
        "--pitch",
        "0.1",
        "--range",
        "-0.5,2",
        "--smooth",
        "1",
        "--out",
        tmp_path / "out",
    )
    assert said.code == 0, said.err
    assert "relief -0.5" in said.out
    assert "E136" in said.out


@pytest.mark.parametrize(
    "wrong",
    [
        ("--fold", "1"),
        ("--fold", "many"),
        ("--range", "2"),
        ("--range", "2,1"),
        ("--range", "a,b"),
        ("--pitch", "0"),
        ("--smooth", "-1"),
        ("--base", "torus"),
        ("--turn", "left"),
        ("--units", "ells"),
    ],
)
def test_wrong_usage_is_told_apart_from_a_refusal(meshflow, panel, tmp_path, wrong):
    said = meshflow("relief", panel, *wrong, "--out", tmp_path / "out")
    assert said.code == 2
    assert not (tmp_path / "out").exists()


def test_a_file_that_is_none_is_refused(meshflow, tmp_path):
    for name, data in (("torn.npz", b"PK\x03\x04"), ("torn.png", b"\x89PNG\r\n\x1a\n"), ("torn.ply", b"ply\n")):
        (tmp_path / name).write_bytes(data)
        said = meshflow("relief", tmp_path / name, "--units", "mm", "--out", tmp_path / "out")
        assert said.code == 1
        assert said.err
    assert meshflow("relief", tmp_path / "none.npz", "--out", tmp_path / "out").code == 1
