"""``meshflow mend``: what it writes, says, and leaves with."""

from __future__ import annotations

import json
import sys

import numpy as np
import pytest
from click.testing import CliRunner
from meshes import closed_ball
from meshflow_cli.commands.mend import command

from meshflow.errors import MeshFileError, MissingExtraError
from meshflow.geometry.topology import edge_table
from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Evidence, Surface


@pytest.fixture
def opened(tmp_path):
    """Write a ball without its cap, with a speck of dirt beside it."""
    vertices, faces = closed_ball(25.0, 3)
    faces = faces[vertices[faces].mean(axis=1)[:, 2] < 15]
    speck, more = closed_ball(0.3, 0)
    both = Surface(np.concatenate([vertices, speck + 40.0]), np.concatenate([faces, more + len(vertices)]))
    return write_mesh(both, tmp_path / "finial.stl")


def call(*arguments):
    return CliRunner().invoke(command, [str(argument) for argument in arguments], standalone_mode=False)


def test_it_closes_says_what_it_did_and_writes_conjecture_into_the_file(opened, tmp_path):
    out = tmp_path / "mended.ply"
    said = call(opened, "--units", "mm", "--max-deviation", "0.1", "--fill-holes", "60", "--out", out)
    assert said.exception is None
    assert said.return_value == 0
    for words in ("closed, manifold", "Dropped 1 island", "Filled 1 hole", "0.1 mm allowed", "conjecture", "wrote"):
        assert words in said.output
    back = read_mesh(out, units="mm")
    assert (edge_table(back.faces).face_count == 2).all()
    new = np.asarray(back.evidence) == Evidence.CONJECTURED
    assert 0 < new.sum() < 0.5 * len(new)


def test_a_hole_stays_open_unless_it_is_asked_for(opened, tmp_path):
    out = tmp_path / "mended.ply"
    said = call(opened, "--units", "mm", "--max-deviation", "0.1 mm", "--out", out)
    assert "open, manifold" in said.output
    assert (edge_table(read_mesh(out, units="mm").faces).face_count == 1).sum() > 0
    assert (
        "closed, manifold"
        in call(opened, "--units", "mm", "--max-deviation", "0.1", "--fill-holes", "all", "--out", out).output
    )


def test_the_report_comes_as_json(opened, tmp_path):
    said = call(opened, "--units", "mm", "--max-deviation", "0.1", "--out", tmp_path / "m.ply", "--json")
    report = json.loads(said.output)
    assert report["schema"] == "meshflow-mend-1"
    assert report["deviation"]["max_mm"] <= 0.1
    assert report["dropped_faces"] == 20
    assert report["options"]["max_deviation_mm"] == 0.1


@pytest.mark.parametrize(
    "wrong",
    [
        [],
        ["--max-deviation", "0"],
        ["--max-deviation", "soon"],
        ["--max-deviation", "0.1", "--fill-holes", "some"],
        ["--max-deviation", "0.1", "--out", "mended.txt"],
    ],
)
def test_wrong_usage_leaves_with_2_and_writes_nothing(opened, tmp_path, wrong):
    out = [] if "--out" in wrong else ["--out", tmp_path / "m.ply"]
    said = CliRunner().invoke(command, [str(a) for a in (opened, "--units", "mm", *out, *wrong)])
    assert said.exit_code == 2
    assert not (tmp_path / "m.ply").exists()


def test_a_file_that_is_not_there_is_refused(tmp_path):
    said = call(tmp_path / "no.stl", "--units", "mm", "--max-deviation", "0.1", "--out", tmp_path / "m.ply")
    assert isinstance(said.exception, MeshFileError)
    assert "no such file" in str(said.exception)


def test_reducing_without_the_package_is_refused_before_the_work_and_nothing_is_written(opened, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "fast_simplification", None)
    out = tmp_path / "m.ply"
    said = call(opened, "--units", "mm", "--max-deviation", "0.1", "--reduce", "0.05", "--out", out)
    assert isinstance(said.exception, MissingExtraError)
    assert "finial.stl" in str(said.exception)
    assert not out.exists()


def test_the_same_file_gives_the_same_bytes(opened, tmp_path):
    outs = [tmp_path / name for name in ("one.ply", "two.ply")]
    for out in outs:
        call(opened, "--units", "mm", "--max-deviation", "0.2", "--denoise", "--fill-holes", "all", "--out", out)
    assert outs[0].read_bytes() == outs[1].read_bytes()


def test_scraps_and_gaps_go_by_the_size_that_is_asked_for(opened, tmp_path):
    out = tmp_path / "mended.ply"
    asked = (opened, "--units", "mm", "--max-deviation", "0.1", "--out", out)
    assert "Dropped 1 island" in call(*asked).output
    assert "island" not in call(*asked, "--islands", "0.2").output
    assert "smaller than 2 mm across" in call(*asked, "--islands", "2").output
