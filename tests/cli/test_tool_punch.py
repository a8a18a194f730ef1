"""`meshflow tool punch`: from heights in a file to a folder a shop can work from."""

from __future__ import annotations

import json

import ezdxf
import numpy as np
import pytest
import trimesh

from meshflow.model.relief import Relief
from meshflow.relief.height_file import relief_bytes
from meshflow.relief.height_picture import picture_bytes

DRAWINGS = ("punch-plan", "die-plan", "profiles", "die-contours", "scribe-template", "blank")


@pytest.fixture
def relief(tmp_path):
    x, y = np.meshgrid(np.arange(-8, 8.01, 0.2), np.arange(-8, 8.01, 0.2))
    height = 1.2 * np.cos(np.clip(np.hypot(x, y) / 6.0, 0.0, 1.0) * np.pi / 2.0) ** 2
    inside = np.hypot(x, y) < 7.0
    made = Relief("boss", np.where(inside, height, 0.0), inside, 0.2, (-8.0, -8.0))
    (tmp_path / "boss").mkdir()
    (tmp_path / "boss" / "height.npz").write_bytes(relief_bytes(made))
    (tmp_path / "boss.png").write_bytes(picture_bytes(made))
    return tmp_path / "boss"


def test_it_writes_solids_drawings_and_figures_that_others_can_read(meshflow, relief, tmp_path):
    out = tmp_path / "tool"
    said = meshflow("tool", "punch", relief, "--thickness", "1", "--out", out)
    assert said.code == 0, said.err
    for name in ("punch", "die"):
        mesh = trimesh.load(out / f"boss-{name}.stl")
        assert mesh.is_watertight
        assert b"millimetres" in (out / f"boss-{name}.stl").read_bytes()[:80]
        assert (out / f"boss-{name}.3mf").exists()
    for name in DRAWINGS:
        document = ezdxf.readfile(out / f"boss-{name}.dxf")
        assert document.header["$INSUNITS"] == 4
        assert len(document.modelspace()) > 0
    record = json.loads((out / "tool.json").read_text())
    assert record["kind"] == "punch"
    assert {"force_kN", "press_ok", "anneals", "strain_max", "thickness_min_mm"} <= set(record)
    assert record["force_kN"][0] <= record["force_kN"][1]
    assert record["gap_min_mm"] > 0.99
    assert record["gap_listed"]["n"] == len(record["gap_listed"]["places"])
    assert record["cautions"]
    for word in ("Gap as measured", "Block, each of two", "Will it strike"):
        assert word in said.out


def test_a_folder_its_file_and_a_picture_of_it_give_the_same_block(meshflow, relief, tmp_path):
    records = []
    for number, source in enumerate((relief, relief / "height.npz", relief.with_suffix(".png"))):
        out = tmp_path / str(number)
        words = ("tool", "punch", source, "--thickness", "1", "--letters", "", "--out", out)
        assert meshflow(*words).code == 0
        records.append(json.loads((out / "tool.json").read_text()))
    assert records[0] == records[1]
    assert records[0]["block_mm"] == pytest.approx(records[2]["block_mm"], abs=1e-3)


def test_what_makes_no_sense_is_refused_in_one_line_and_nothing_is_written(meshflow, relief, tmp_path):
    out = tmp_path / "tool"
    for words in (
        (relief, "--thickness", "1", "--draft", "90"),
        (relief, "--thickness", "1", "--draft", "nan"),
        (relief, "--thickness", "0.1"),
        (relief, "--thickness", "1", "--material", "leather"),
        (relief, "--thickness", "1", "--material", "unobtainium"),
        (relief, "--thickness", "1", "--press", "no_such_press"),
        (relief, "--thickness", "1", "--pitch", "0.1"),
        (tmp_path / "nowhere", "--thickness", "1"),
        (tmp_path, "--thickness", "1"),
    ):
        said = meshflow("tool", "punch", *words, "--out", out)
        assert said.code in (1, 2), words
        assert "Traceback" not in said.err
        assert "fault of meshflow" not in said.err
        assert not out.exists()
