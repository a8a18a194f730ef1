"""``meshflow compare``: its three files, exit codes, and what it refuses."""

from __future__ import annotations

import json

import meshes
import numpy as np
import pytest

from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface


@pytest.fixture
def bench(tmp_path, monkeypatch, meshflow):
    """A finished piece, turned and 0.3 mm too thick, and its master."""
    monkeypatch.chdir(tmp_path)
    vertices, faces = meshes.lopsided_blob(2)
    unit = vertices / np.linalg.norm(vertices, axis=1, keepdims=True)
    write_mesh(Surface(vertices, faces), tmp_path / "master.ply")
    write_mesh(Surface(vertices + 0.3 * unit, faces), tmp_path / "rosette.ply")
    write_mesh(Surface(meshes.turned(vertices + 0.3 * unit, 2), faces), tmp_path / "rosette turned.stl")
    return meshflow


def figures(folder, name):
    return json.loads((folder / f"{name}.compare.json").read_text(encoding="utf-8"))


def test_without_a_tolerance_figures_and_a_coloured_mesh_are_written(bench, tmp_path):
    said = bench("compare", "rosette.ply", "master.ply", "--units", "mm", "--out", "out")
    assert (said.code, said.err) == (0, "")
    written = [f"rosette.compare.{kind}" for kind in ("json", "ply", "png")]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == written
    found = figures(tmp_path / "out", "rosette")
    assert found["schema"] == "meshflow-compare-1"
    assert found["verdict"] == ""
    assert 0.2 < found["a_on_b"]["p50_mm"] < 0.3
    mesh = read_mesh(tmp_path / "out" / "rosette.compare.ply", units="mm")
    assert (mesh.vertex_colours[:, 0] > mesh.vertex_colours[:, 2]).all()  # proud everywhere: ochre


def test_exit_code_and_words_follow_the_tolerance(bench):
    words = ("compare", "rosette.ply", "master.ply", "--units", "mm", "--out", "out")
    said = bench(*words, "--tolerance", "0.5 mm")
    assert said.code == 0
    assert "rosette.ply against master.ply: within tolerance" in said.out
    said = bench(*words, "--tolerance", "0.2")
    assert said.code == 1
    assert "out of tolerance" in said.out
    assert "A105" in said.out


def test_fitting_finds_the_turned_piece(bench, tmp_path):
    words = ("compare", "rosette turned.stl", "master.ply", "--units", "mm", "--tolerance", "0.5", "--out", "out")
    said = bench(*words, "--fit")
    assert said.code == 0
    assert "best fit  residual" in said.out
    assert figures(tmp_path / "out", "rosette-turned")["fit"]["residual_mm"] < 0.31


def test_the_same_call_twice_gives_the_same_bytes(bench, tmp_path):
    for out in ("one", "two"):
        bench("compare", "rosette.ply", "master.ply", "--units", "mm", "--out", out)
    for kind in ("json", "ply", "png"):
        name = f"rosette.compare.{kind}"
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        (("rosette.ply", "master.ply", "--out", "out"), 1, "unit"),
        (("nothing.ply", "master.ply", "--units", "mm", "--out", "out"), 1, "nothing.ply"),
        (("rosette.ply", "master.ply", "--units", "mm", "--out", "out", "--tolerance", "0"), 2, "more than 0"),
        (("rosette.ply", "--units", "mm", "--out", "out"), 2, "Missing argument"),
        (("rosette.ply", "master.ply", "--units", "mm", "--out", "master.ply"), 1, "not a folder"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(bench, tmp_path, words, code, expected):
    said = bench("compare", *words)
    assert said.code == code
    assert expected in said.err
    assert not (tmp_path / "out").exists()
