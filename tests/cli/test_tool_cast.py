"""`meshflow tool cast`: from a scan, a relief or a flat design to a pattern for casting."""

from __future__ import annotations

import json

import ezdxf
import numpy as np
import pytest
import trimesh
from tool_jobs import scan
from workshop import contents

from meshflow.drawing import compose_part, write_dxf
from meshflow.mesh.write import write_mesh
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.relief import Relief
from meshflow.relief.height_file import relief_bytes

MM = ("--units", "mm")
PLAIN = ("--smooth", "none", "--thickness", "3")


@pytest.fixture
def piece(tmp_path):
    return write_mesh(scan(lambda x, y: 0.0 * x, step=2.0), tmp_path / "boss.ply")


def test_a_plate_of_known_size_is_made_larger_by_the_shrinkage_that_is_said(meshflow, piece, tmp_path):
    out = tmp_path / "tool"
    shrink = ("--shrink", "wax=2", "--shrink", "metal=1.5%")
    said = meshflow("tool", "cast", piece, *MM, *PLAIN, *shrink, "--out", out)
    assert said.code == 0, said.err
    scale = 1.0 / (1.0 - 0.02) / (1.0 - 0.015)  # CALC: the steps multiply
    record = json.loads((out / "tool.json").read_text())
    assert record["kind"] == "cast"
    assert record["scale"] == pytest.approx(scale, rel=1e-6)
    body = trimesh.load(out / "boss-pattern.stl")
    assert body.is_watertight
    assert body.extents == pytest.approx(scale * np.array([30.0, 30.0, 3.0]), abs=0.05)
    assert body.volume == pytest.approx(scale**3 * 2700.0, rel=2e-3)
    assert (out / "boss-pattern.3mf").exists()
    assert record["cautions"]
    for drawing in out.glob("*.dxf"):
        assert ezdxf.readfile(drawing).header["$INSUNITS"] == 4


def test_posts_stand_on_the_underside_and_holes_run_through(meshflow, piece, tmp_path):
    volumes = {}
    for name, words in {
        "plain": (),
        "post": ("--post", "0,0,0", "--post-size", "6", "--post-length", "10"),
        "hole": ("--hole", "8,8,0", "--hole-size", "4"),
    }.items():
        out = tmp_path / name
        given = (*words, "--shrink", "metal=0", "--machine", "")
        said = meshflow("tool", "cast", piece, *MM, *PLAIN, *given, "--out", out)
        assert said.code == 0, said.err
        body = trimesh.load(out / "boss-pattern.stl")
        assert body.is_watertight
        volumes[name] = body.volume
    assert volumes["post"] - volumes["plain"] == pytest.approx(np.pi * 3**2 * 10, rel=0.05)
    assert volumes["plain"] - volumes["hole"] == pytest.approx(np.pi * 2**2 * 3, rel=0.1)


def test_a_relief_and_a_flat_design_bent_onto_the_scan_are_cast_as_well(meshflow, piece, tmp_path):
    high = 1.5 * np.outer(np.hanning(40), np.hanning(40))
    rim = np.array([[0.0, 0.0], [19.5, 0.0], [19.5, 19.5], [0.0, 19.5]])
    relief = Relief("boss", high, np.ones_like(high, dtype=bool), 0.5, outline=(rim,))
    (tmp_path / "boss").mkdir()
    (tmp_path / "boss" / "height.npz").write_bytes(relief_bytes(relief))
    for source in (tmp_path / "boss", tmp_path / "boss" / "height.npz"):
        out = tmp_path / f"of-{source.name}"
        said = meshflow("tool", "cast", source, "--thickness", "3", "--out", out)
        assert said.code == 0, said.err
        body = trimesh.load(next(out.glob("*-pattern.stl")))
        assert body.is_watertight
        scale = json.loads((out / "tool.json").read_text())["scale"]
        assert body.extents[2] > 3.0 * scale
    star = compose_part(Part("star", Polycurve([[7, 7], [23, 7], [23, 23], [7, 23]])))
    write_dxf(star, tmp_path / "star.dxf")
    out = tmp_path / "bent"
    said = meshflow("tool", "cast", piece, *MM, *PLAIN, "--design", tmp_path / "star.dxf", "--out", out)
    assert said.code == 0, said.err
    body = trimesh.load(next(out.glob("*-pattern.stl")))
    assert body.is_watertight
    scale = json.loads((out / "tool.json").read_text())["scale"]
    assert body.volume == pytest.approx(scale**3 * 16 * 16 * 3, rel=0.05)


def test_two_runs_write_the_same_bytes_and_the_second_replaces_the_first(meshflow, piece, tmp_path):
    words = ("tool", "cast", piece, *MM, *PLAIN, "--post", "0,0,0", "--out")
    assert meshflow(*words, tmp_path / "one").code == 0
    before = contents(tmp_path / "one")
    assert meshflow(*words, tmp_path / "one").code == 0
    assert meshflow(*words, tmp_path / "two").code == 0
    assert contents(tmp_path / "one") == before == contents(tmp_path / "two")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--metal", "unobtainium"), 1, "unobtainium"),
        (("--metal", "copper", "--shrink", "metal"), 2, "metal"),
        (("--shrink", "metal=100"), 1, "100"),
        (("--shrink", "metal=nan"), 1, "nan"),
        (("--pattern", "clay"), 2, "clay"),
        (("--convention", "rule"), 2, "rule"),
        (("--under", "5"), 1, "not under the outer face"),
        (("--post", "90,0,0"), 1, "no room"),
        (("--post", "15,0,0"), 1, "no room"),
        (("--post", "0,0"), 2, "0,0"),
        (("--hole", "90,0,0"), 1, "no room"),
        (("--machine", "lathe"), 1, "lathe"),
        (("--flask", "0,1,1"), 1, "flask"),
        (("--polish-on", "label=7"), 1, "label"),
        (("--region", "label=7"), 1, "label"),
        (("--design", "none.dxf"), 1, "none.dxf"),
        (("--design", "boss.ply"), 1, "boss.ply"),
        (("--stock", "none.toml"), 1, "none.toml"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_is_written(
    meshflow, piece, tmp_path, monkeypatch, words, code, said
):
    monkeypatch.chdir(tmp_path)
    out = tmp_path / "tool"
    found = meshflow("tool", "cast", piece, *MM, *PLAIN, *words, "--out", out)
    assert found.code == code, found.out
    assert said in found.err
    assert not out.exists() or not any(out.iterdir())


@pytest.mark.parametrize("data", [b"", b"ply\nformat ascii 1.0\nend_header\n", b"\0" * 300])
def test_a_file_that_is_no_mesh_is_refused_with_its_name(meshflow, piece, tmp_path, data):
    piece.write_bytes(data)
    found = meshflow("tool", "cast", piece, *MM, *PLAIN, "--out", tmp_path / "tool")
    assert found.code == 1
    assert "boss.ply" in found.err
    (tmp_path / "height.npz").write_bytes(data)
    found = meshflow("tool", "cast", tmp_path / "height.npz", "--thickness", "3", "--out", tmp_path / "tool")
    assert found.code == 1
    assert "height.npz" in found.err
