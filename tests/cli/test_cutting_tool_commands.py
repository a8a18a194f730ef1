"""``meshflow tool blank``, ``meshflow tool ruledie`` and ``meshflow finish``: what they write, say, and leave with."""

from __future__ import annotations

import json

import ezdxf
import meshes
import pytest

from meshflow.drawing import compose_part, write_dxf
from meshflow.mesh.write import write_mesh
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.surface import Surface


@pytest.fixture
def outline(tmp_path):
    part = Part("lid", Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]]), (Circle((30.0, 20.0), 5.0),))
    return write_dxf(compose_part(part), tmp_path / "lid.dxf")


def test_a_blanking_tool_writes_plans_bodies_and_figures(meshflow, outline, tmp_path):
    words = ("tool", "blank", outline, "--material", "copper", "--temper", "R220", "--thickness", "0.8")
    said = meshflow(*words, "--out", tmp_path / "out")
    assert said.code == 0, said.err
    assert "licensed practice" in said.out
    record = json.loads((tmp_path / "out" / "tool.json").read_text())
    assert (record["kind"], record["press_ok"], record["blows"]) == ("blank", True, 2)
    assert record["force_kN"] == [pytest.approx(152 * 0.8 * 200 / 1000)] * 2
    die = ezdxf.readfile(tmp_path / "out" / "lid-blank-die.dxf")
    assert {entity.dxf.layer for entity in die.modelspace()} >= {"CUT_OUTSIDE", "CUT_INSIDE", "ALIGN_MARK", "MARK_TEXT"}
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    assert meshflow(*words, "--out", tmp_path / "out").code == 0
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before


def test_a_rule_die_writes_board_and_rule(meshflow, outline, tmp_path):
    words = ("tool", "ruledie", outline, "--material", "leather", "--thickness", "3", "--force", "25")
    said = meshflow(*words, "--out", tmp_path / "out")
    assert said.code == 0, said.err
    record = json.loads((tmp_path / "out" / "tool.json").read_text())
    assert record["rule_length_mm"] == pytest.approx(200.0)
    assert len(record["tubes"]) == 1
    assert (tmp_path / "out" / "lid-board.svg").exists()


def test_finish_says_time_and_writes_its_record_where_asked(meshflow, outline, tmp_path):
    words = ("finish", outline, "--material", "copper", "--thickness", "0.8", "--plate", "ag", "--microns", "10")
    said = meshflow(*words, "--density", "1")
    assert said.code == 0, said.err
    assert "15.65 min" in said.out
    assert meshflow(*words, "--density", "1", "--out", tmp_path / "out").code == 0
    data = json.loads((tmp_path / "out" / "finishing.json").read_text())
    assert data["schema"] == "meshflow-finishing-1"
    assert data["area_mm2"] == pytest.approx(2 * (2400 - 25 * 3.14159265) + 0.8 * (200 + 10 * 3.14159265))


def test_finish_takes_a_closed_body_and_a_sheet_surface(meshflow, tmp_path):
    box = write_mesh(Surface(*meshes.closed_box((40.0, 30.0, 20.0))), tmp_path / "boss.stl")
    said = meshflow("finish", box, "--units", "mm", "--material", "bronze")
    assert said.code == 0, said.err
    assert "52.00 cm2" in said.out
    disk = write_mesh(Surface(*meshes.flat_disk(50.0, 6)), tmp_path / "disk.ply")
    refused = meshflow("finish", disk, "--units", "mm", "--material", "copper")
    assert refused.code == 1
    assert "thickness" in refused.err


@pytest.mark.parametrize(
    "words",
    [
        ("tool", "blank", "FILE", "--material", "leather", "--thickness", "1"),
        ("tool", "blank", "FILE", "--material", "copper", "--thickness", "1", "--temper", "H99"),
        ("tool", "blank", "FILE", "--material", "copper", "--thickness", "1", "--press", "mill"),
        ("tool", "ruledie", "FILE", "--material", "copper", "--thickness", "1"),
        ("tool", "ruledie", "none.dxf", "--material", "leather", "--thickness", "1"),
        (
            "finish",
            "FILE",
            "--material",
            "copper",
            "--thickness",
            "1",
            "--plate",
            "au",
            "--microns",
            "1",
            "--density",
            "1",
        ),
        ("finish", "FILE", "--material", "unobtainium", "--thickness", "1"),
    ],
)
def test_what_makes_no_sense_is_refused_with_one_sentence_and_writes_nothing(meshflow, outline, tmp_path, words):
    said = meshflow(*(outline if word == "FILE" else word for word in words), "--out", tmp_path / "out")
    assert said.code == 1
    assert "Traceback" not in said.err
    assert said.err.strip()
    assert not list((tmp_path / "out").glob("*"))
