"""`meshflow tool strip`: from heights in a file to a folder a shop can work from."""

from __future__ import annotations

import json

import ezdxf
import pytest
import trimesh
from running_strips import running_strip
from workshop import contents

from meshflow.relief.height_file import relief_bytes


@pytest.fixture
def relief(tmp_path):
    path = tmp_path / "border.npz"
    path.write_bytes(relief_bytes(running_strip(12.3, noise=0.01)))
    return path


def test_it_writes_solids_drawings_and_figures_that_others_can_read(meshflow, relief, tmp_path):
    out = tmp_path / "tool"
    said = meshflow("tool", "strip", relief, "--thickness", "1.2", "--length", "1.5m", "--out", out)
    assert said.code == 0, said.err
    for name in ("punch", "die", "guide"):
        mesh = trimesh.load(out / f"border-{name}.stl")
        assert mesh.is_watertight
        assert mesh.volume > 0
        assert (out / f"border-{name}.3mf").exists()
    for name in ("plan", "section", "strip"):
        document = ezdxf.readfile(out / f"border-{name}.dxf")
        assert document.header["$INSUNITS"] == 4
        assert len(document.modelspace()) > 10
    record = json.loads((out / "tool.json").read_text())
    assert record["kind"] == "strip"
    assert record["pitch_mm"] == pytest.approx(12.3, abs=0.02)
    assert {"force_kN", "press_ok", "anneals", "strain_max", "thickness_min_mm", "blows", "utilisation"} <= set(record)
    assert record["repeats_alike"]["period_mm"] == record["period_found_mm"]
    assert record["face_step_mm"] <= 0.01
    assert "E134" in {finding["code"] for finding in record["findings"]}
    for word in ("Pitch, as struck", "Joint", "Will it strike", "guide"):
        assert word in said.out


def test_a_strip_that_lies_askew_is_laid_along_x_first(meshflow, tmp_path):
    from worn_relief import band, relief_of, running

    askew = relief_of(running(12.3, angle=0.2), band(5, 30, angle=0.2), width=70, high=30, origin=(-35, -15))
    (tmp_path / "askew.npz").write_bytes(relief_bytes(askew))
    out = tmp_path / "tool"
    said = meshflow("tool", "strip", tmp_path / "askew.npz", "--thickness", "1.2", "--length", "1m", "--out", out)
    assert said.code == 0, said.err
    record = json.loads((out / "tool.json").read_text())
    assert record["pitch_mm"] == pytest.approx(12.3, abs=0.02)
    assert record["repeats_alike"]["angle_deg"] == pytest.approx(11.46, abs=0.3)


@pytest.mark.slow
def test_two_runs_write_the_same_bytes(meshflow, relief, tmp_path):
    folders = [tmp_path / "one", tmp_path / "two"]
    for out in folders:
        assert meshflow("tool", "strip", relief, "--thickness", "1.2", "--ring", "200", "--out", out).code == 0
    assert contents(folders[0]) == contents(folders[1])


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--length", "5"), 1, "shorter than one repeat"),
        ((), 1, "how much ornament"),
        (("--length", "1m", "--ring", "200"), 1, "contradict"),
        (("--length", "1m", "--period", "90"), 1, "longer than the relief"),
        (("--length", "1m", "--material", "oak"), 1, "oak"),
        (("--length", "1m", "--press", "mill"), 1, "press"),
        (("--length", "1m", "--stock-length", "60"), 1, "too short for one blow"),
        (("--frame", "400"), 2, "WIDTHxHEIGHT"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_is_written(meshflow, relief, tmp_path, words, code, said):
    out = tmp_path / "tool"
    found = meshflow("tool", "strip", relief, "--thickness", "1.2", "--as-seen", *words, "--out", out)
    assert found.code == code
    assert said in found.err
    assert "Traceback" not in found.err
    assert not out.exists() or not any(out.iterdir())


def test_noise_is_refused_with_the_file_named(meshflow, tmp_path):
    import numpy as np

    from meshflow.model.relief import Relief

    noise = np.random.default_rng(1).normal(0.0, 0.2, (60, 400))
    (tmp_path / "noise.npz").write_bytes(relief_bytes(Relief("noise", noise, np.ones(noise.shape, bool), 0.1)))
    for more in ((), ("--as-seen",)):
        words = ("tool", "strip", tmp_path / "noise.npz", "--thickness", "1.2", "--length", "1m", *more)
        found = meshflow(*words, "--out", tmp_path / "tool")
        assert found.code == 1
        assert "no repeat" in found.err
