"""``meshflow panels``: what it writes, says, and leaves with."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest
from click.testing import CliRunner
from meshflow_cli.commands.panels import command

from meshflow.errors import MeshFileError
from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface


def call(*arguments):
    return CliRunner().invoke(command, [str(argument) for argument in arguments], standalone_mode=False)


@pytest.fixture(scope="module")
def finial(tmp_path_factory):
    folder = tmp_path_factory.mktemp("finial")
    file = write_mesh(Surface(*meshes.closed_ball(40.0, 2)), folder / "finial.stl")
    said = call(file, "--units", "mm", "--limit", "8%", "--out", folder / "out")
    assert said.exception is None
    return said, folder / "out"


def test_it_says_the_panels_the_seams_and_the_strains(finial):
    said, out = finial
    figures = json.loads((out / "finial.panels.json").read_text())
    assert said.return_value == 0
    assert f"finial.stl: {len(figures['panels'])} panels, {figures['seam_mm']:.0f} mm of seams" in said.output
    assert all(panel["strain_p99"] <= 0.08 for panel in figures["panels"])
    assert all(panel["verdict"] == "forms_within_limit" for panel in figures["panels"])
    assert figures["limit"] == 0.08


def test_the_labelled_mesh_holds_each_panel(finial):
    _, out = finial
    figures = json.loads((out / "finial.panels.json").read_text())
    mesh = read_mesh(out / "finial.panels.ply", units="mm")
    labels = {f"label:{panel['label']}" for panel in figures["panels"]}
    assert set(mesh.face_sets) == labels
    assert sum(len(ids) for ids in mesh.face_sets.values()) == len(mesh.faces)


def test_there_is_a_pattern_for_each_panel_as_strained_as_it_was_found(finial):
    _, out = finial
    figures = json.loads((out / "finial.panels.json").read_text())
    flat = 0.0
    for panel in figures["panels"]:
        stem = f"finial-panel-{panel['label']:02d}"
        measured = json.loads((out / f"{stem}.distortion.json").read_text())
        flat += panel["area_mm2"]
        assert measured["verdict"] == panel["verdict"]
        drawing = ezdxf.readfile(out / f"{stem}.dxf")
        outside = [entity for entity in drawing.modelspace() if entity.dxf.layer == "CUT_OUTSIDE"]
        assert len(outside) == 1
    vertices, faces = meshes.closed_ball(40.0, 2)
    corners = vertices[faces]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    assert flat == pytest.approx(area, rel=1e-6)


def test_each_seam_is_named_on_both_patterns_and_measured_on_both(finial):
    said, out = finial
    figures = json.loads((out / "finial.panels.json").read_text())
    assert sum(seam["formed_mm"] for seam in figures["seams"]) == pytest.approx(figures["seam_mm"], rel=1e-6)
    names = [seam["name"] for seam in figures["seams"]]
    assert len(set(names)) == len(names)
    assert names[:2] == ["A", "B"]
    rims = dict.fromkeys((panel["label"] for panel in figures["panels"]), 0.0)
    for seam in figures["seams"]:
        one, two = seam["flat_mm"]
        assert seam["ease_mm"] == pytest.approx(one - two)
        for label, flat in zip(seam["panels"], (one, two), strict=True):
            assert flat == pytest.approx(seam["formed_mm"], rel=0.09)  # the limit, and a little
            rims[label] += flat
        assert f"{seam['panels'][0]} and {seam['panels'][1]}" in said.output
    for label, rim in rims.items():
        # On a ball the seams, and the slit of a panel that is a ring, are all there is of an outline.
        measured = json.loads((out / f"finial-panel-{label:02d}.distortion.json").read_text())
        slit = [seam["length_a_mm"] + seam["length_b_mm"] for seam in measured["seams"] if seam["name"] == "seam"]
        assert rim + sum(slit) == pytest.approx(measured["rim_length_flat_mm"], rel=1e-6)
        drawing = ezdxf.readfile(out / f"finial-panel-{label:02d}.dxf")
        ticks = [entity for entity in drawing.modelspace() if entity.dxf.layer == "MARK_LINE"]
        assert len(ticks) >= 3


def test_the_picture_of_the_whole_is_written(finial):
    assert (finial[1] / "finial.panels.png").read_bytes()[:4] == b"\x89PNG"


def test_the_labelled_mesh_gives_the_same_pattern_again(finial, tmp_path):
    from meshflow.job.single import flatten_file

    out = finial[1]
    made, _ = flatten_file(
        out / "finial.panels.ply", out=tmp_path, units="mm", region="label=2", smooth="none", thickness_mm=0.0
    )
    before = json.loads((out / "finial-panel-02.distortion.json").read_text())
    after = json.loads((tmp_path / f"{made.plan.name}.distortion.json").read_text())
    assert after["rim_length_flat_mm"] == pytest.approx(before["rim_length_flat_mm"], rel=1e-9)


def test_an_interrupt_leaves_the_earlier_run_as_it_was(finial, monkeypatch, tmp_path):
    from meshflow.job import panels

    for name in finial[1].iterdir():
        (tmp_path / name.name).write_bytes(name.read_bytes())

    def stop(cover, plan, report):
        raise KeyboardInterrupt

    monkeypatch.setattr(panels, "_with_patterns", stop)
    with pytest.raises(KeyboardInterrupt):
        panels.panels_file(finial[1].parent / "finial.stl", out=tmp_path, units="mm", count=2)
    for name in finial[1].iterdir():
        assert (tmp_path / name.name).read_bytes() == name.read_bytes()
    assert len(list(tmp_path.iterdir())) == len(list(finial[1].iterdir()))


def test_a_number_of_panels_and_the_drawings_left_from_before(finial, tmp_path):
    _, before = finial
    many = len(json.loads((before / "finial.panels.json").read_text())["panels"])
    file = before.parent / "finial.stl"
    for name in before.iterdir():
        (tmp_path / name.name).write_bytes(name.read_bytes())
    said = call(file, "--units", "mm", "--count", 2, "--out", tmp_path)
    assert said.exception is None
    assert len(json.loads((tmp_path / "finial.panels.json").read_text())["panels"]) <= 2
    assert many > 2
    assert "finial-panel-03.dxf" in said.output  # named as left from the earlier run


def test_one_of_limit_and_count_must_be_said(finial):
    file = finial[1].parent / "finial.stl"
    for options in ((), ("--limit", "5", "--count", "3")):
        said = call(file, "--units", "mm", "--out", file.parent / "no", *options)
        assert "either --limit PCT or --count N" in str(said.exception)
    said = call(file, "--units", "mm", "--out", file.parent / "no", "--count", "3", "--seam", "plane=0,0,1,0")
    assert "where you want the seams" in str(said.exception)
    assert "0.01 to 100" in str(call(file, "--units", "mm", "--out", file.parent, "--limit", "0").exception)


def test_a_file_that_is_not_there_is_named(tmp_path):
    said = call(tmp_path / "nothing.stl", "--units", "mm", "--limit", "5", "--out", tmp_path)
    assert isinstance(said.exception, MeshFileError)
    assert "nothing.stl" in str(said.exception)


def test_seams_that_are_asked_for_make_the_panels(finial, tmp_path):
    file = finial[1].parent / "finial.stl"
    said = call(file, "--units", "mm", "--out", tmp_path, "--seam", "plane=0,0,1,0", "--seam", "plane=1,0,0,0")
    assert said.exception is None
    assert "finial.stl: 4 panels" in said.output
    assert "1 and 2" in said.output
    assert len(json.loads((tmp_path / "finial.panels.json").read_text())["sewing"]) == 4
    wrong = call(file, "--units", "mm", "--out", tmp_path, "--seam", "plane=0,0,1,99")
    assert "does not cut the surface" in str(wrong.exception)


def test_a_region_is_split_without_the_rest(finial, tmp_path):
    file = finial[1].parent / "finial.stl"
    said = call(file, "--units", "mm", "--out", tmp_path, "--region", "plane=0,0,1,0", "--seam", "plane=1,0,0,0")
    assert said.exception is None
    area = sum(panel["area_mm2"] for panel in json.loads((tmp_path / "finial.panels.json").read_text())["panels"])
    vertices, faces = meshes.closed_ball(40.0, 2)
    corners = vertices[faces]
    ball = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    assert area == pytest.approx(0.5 * ball, rel=0.02)
