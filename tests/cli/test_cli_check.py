"""``meshflow check``: the report, its keys, and what it says of files that are no scans."""

from __future__ import annotations

import hashlib
import importlib
import json
import os
import re

import numpy as np
import pytest
from workshop import wall, write_stl

# As the contract lists them; the report may say more after these.
KEYS = ["schema", "file", "sha256", "units", "vertices", "faces", "extent_mm", "shells", "boundary_loops", "findings"]
FINDING_KEYS = ["code", "severity", "count", "faces", "text", "remedy"]


def test_a_sound_scan_is_fit_to_use(meshflow, shop):
    said = meshflow("check", "wall.stl", "--units", "mm")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("wall.stl: 40.0 x 40.0 x 50.0 mm, 90 faces, 270 vertices, 1 shell, 1 open rim\n")
    assert said.out.endswith("fit to use\n")


def test_the_report_as_json_has_the_keys_of_the_contract_in_their_order(meshflow, shop):
    said = meshflow("check", "plate.off", "--units", "cm", "--json")
    report = json.loads(said.out)
    assert (said.code, said.err) == (0, "")
    assert list(report)[: len(KEYS)] == KEYS
    assert (report["schema"], report["file"], report["units"]) == ("meshflow-check-1", "plate.off", "cm")
    assert report["sha256"] == hashlib.sha256((shop / "plate.off").read_bytes()).hexdigest()
    assert (report["vertices"], report["faces"], report["shells"], report["boundary_loops"]) == (81, 128, 1, 1)
    assert report["extent_mm"] == pytest.approx([60.0, 60.0, 12.0])
    for finding in report["findings"]:
        assert list(finding)[: len(FINDING_KEYS)] == FINDING_KEYS
        assert finding["severity"] in ("note", "warning", "refuse")


def test_a_mesh_that_is_not_fit_to_use_leaves_with_1_and_the_reasons(meshflow, shop):
    (shop / "line.obj").write_text("v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n")
    said = meshflow("check", "line.obj", "--units", "mm")
    assert said.code == 1
    assert "refuse   M201  " in said.out
    assert said.out.endswith("not fit to use\n")
    report = json.loads(meshflow("check", "line.obj", "--units", "mm", "--json").out)
    assert "refuse" in [finding["severity"] for finding in report["findings"]]


@pytest.mark.parametrize(
    ("name", "content", "units", "sentence"),
    [
        ("gone.stl", None, "mm", "gone.stl: there is no such file. Check the path."),
        ("wall.stl", b"", "mm", "wall.stl: "),
        ("wall.stl", b"solid wall", "mm", "wall.stl: "),
        ("photo.stl", b"\x89PNG\r\n", "mm", "photo.stl: this is no mesh: it looks like a PNG picture."),
        ("points.obj", b"v 0 0 0\nv 1 0 0\n", "mm", "points.obj: point cloud: no faces; has 2 points."),
    ],
)
def test_a_file_that_cannot_be_read_leaves_with_1_and_a_sentence(meshflow, shop, name, content, units, sentence):
    if content is not None:
        (shop / name).write_bytes(content)
    said = meshflow("check", name, "--units", units)
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith(sentence)
    report = json.loads(meshflow("check", name, "--units", units, "--json").out)
    assert list(report)[: len(KEYS)] == KEYS
    assert (report["file"], report["faces"], report["extent_mm"]) == (name, 0, [0.0, 0.0, 0.0])
    assert report["sha256"] == ("" if content is None else hashlib.sha256(content).hexdigest())
    (finding,) = report["findings"]
    assert list(finding)[: len(FINDING_KEYS)] == FINDING_KEYS
    assert (finding["code"], finding["severity"], finding["count"]) == ("M100", "refuse", 1)
    assert said.err.strip() == f"{name}: {finding['text']} {finding['remedy']}".strip()


def test_a_scan_without_a_unit_is_refused_with_its_size(meshflow, shop):
    said = meshflow("check", "wall.stl")
    assert said.code == 1
    assert said.err == (
        "wall.stl: no unit given, and STL carries none. The bounding box is 40 x 40 x 50. "
        "Read as cm, its longest side is 500 mm, as inches 1,270 mm, as mm 50 mm: sizes for the bench. "
        "Say --units mm, cm, m or in.\n"
    )
    assert meshflow("check", "wall.stl", "--json").code == 1


def test_a_folder_is_no_scan(meshflow, shop):
    said = meshflow("check", ".", "--units", "mm")
    assert (said.code, said.err) == (1, ".: this is not a file. Give the mesh file itself.\n")


@pytest.mark.skipif(getattr(os, "geteuid", int)() == 0, reason="root may read anything")
def test_a_scan_without_rights_is_refused(meshflow, shop):
    (shop / "wall.stl").chmod(0)
    said = meshflow("check", "wall.stl", "--units", "mm")
    assert said.code == 1
    assert "Permission denied" in said.err


def test_rights_that_are_missing_are_said(meshflow, shop, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    said = meshflow("check", "wall.stl", "--units", "mm")
    assert said.code == 1
    assert "Permission denied" in said.err


@pytest.mark.parametrize(
    "name", ["Köcher links.stl", "鞍.stl", "a'b\"c;d.stl", "-wall.stl", os.fsdecode(b"wall\xff.stl")]
)
def test_names_of_all_sorts_are_taken(meshflow, shop, name):
    write_stl(shop / name, wall())
    said = meshflow("check", "--units", "mm", "--", name)
    assert said.code == 0
    report = json.loads(meshflow("check", "--units", "mm", "--json", "--", name).out)
    assert report["file"] == name


def test_json_is_plain_ascii_so_that_any_pipe_takes_it(meshflow, shop):
    write_stl(shop / "鞍.stl", wall())
    assert meshflow("check", "--units", "mm", "--json", "鞍.stl").out.isascii()


def test_a_fault_of_our_own_is_told_from_a_bad_file(meshflow, shop, monkeypatch):
    def faulty(surface):
        raise IndexError("index 7 is out of bounds")

    monkeypatch.setattr(importlib.import_module("meshflow.mesh.check"), "check", faulty)
    said = meshflow("check", "wall.stl", "--units", "mm")
    assert said.code == 1
    assert "this is a fault of meshflow, not of your files (IndexError: index 7 is out of bounds" in said.err
    assert "Please report it" in said.err


def test_the_figures_stand_before_the_findings(meshflow, shop):
    said = meshflow("check", "wall.stl", "--units", "mm").out
    assert "likely mm. Read as mm, the longest side is 50 mm: a size for the bench (20 mm to 3,000 mm)." in said
    assert "triangles  " in said
    assert "noise  " in said
    head, row = re.search(r"^    (loop .*)\n    (0 .*)$", said, re.MULTILINE).groups()
    assert head.split() == ["loop", "across", "length", "edges", "middle"]
    assert row.endswith("the rim of its shell")
    report = json.loads(meshflow("check", "wall.stl", "--units", "mm", "--json").out)
    (hole,) = report["holes"]
    assert f"{hole['width_mm']:.3g} mm" in row
    assert set(hole) == {"loop", "length_mm", "width_mm", "edges", "faces", "centre_mm", "rim", "whole"}
    assert {"noise_sigma_mm", "noise_unknown", "likely_unit", "likely_unit_reason", "triangle_quality"} < set(report)


def test_of_many_rims_the_widest_are_shown(meshflow, shop):
    triangles = [[[0, 9 * k, 0], [5, 9 * k, 0], [0, 9 * k + 4 + 0.1 * k, 0]] for k in range(14)]
    corners = np.array(triangles, dtype=float).reshape(-1, 3)
    write_stl(shop / "tiles.stl", (corners, np.arange(42).reshape(-1, 3)))
    said = meshflow("check", "tiles.stl", "--units", "mm").out
    assert "open rims, the widest first:" in said
    assert "and 4 smaller ones, see --json" in said
    assert len(re.findall("the rim of its shell", said)) == 10
