"""A folder with tools and reliefs, checked after the fact: sound as written, and every way it may have been spoiled.

In each case the hashes are put right afterwards, as somebody who covers a change up would: the check must see it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from tool_jobs import BLANK, BOSS, CAST, FORMER, PLATE, write_job, write_scans

from meshflow import run
from meshflow.job.verify import verify_folder

BLOCK = "tools/block/block-block"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = write_scans(tmp_path_factory.mktemp("shop"))
    assert run(write_job(folder, PLATE, BOSS, BLANK, FORMER, CAST), out=folder / "out").complete
    return folder / "out"


@pytest.fixture
def out(written, tmp_path):
    return Path(shutil.copytree(written, tmp_path / "out"))


def rehash(out):
    path = out / "job.record.json"
    record = json.loads(path.read_text())
    for output in record["outputs"]:
        data = (out / output["file"]).read_bytes()
        output.update(sha256=hashlib.sha256(data).hexdigest(), bytes=len(data))
    path.write_text(json.dumps(record))


def found(out):
    rehash(out)
    said = verify_folder(out)
    assert not said.passed
    return {(finding.code, finding.where) for finding in said.findings}


def changed(path, change):
    data = json.loads(path.read_text())
    change(data)
    path.write_text(json.dumps(data))


def test_a_folder_as_written_passes_and_counts_its_solids_and_reliefs(written):
    said = verify_folder(written)
    assert said.findings == ()
    names = sorted(path.name for path in (written / "tools").glob("*/*.stl"))
    assert (said.solids, said.reliefs) == (len(names), 1)
    assert names == [
        "block-block.stl",
        "pattern-pattern.stl",
        "plate-blank-blank-die.stl",
        "plate-blank-blank-punch.stl",
    ]
    assert said.to_json()["solids"] == len(names)
    drawn = len(list(written.rglob("*.dxf")))
    assert said.drawings == drawn


def test_a_moved_vertex_opens_an_stl(out):
    path = out / f"{BLOCK}.stl"
    data = bytearray(path.read_bytes())
    corner = np.frombuffer(data, "<f4", count=1, offset=84 + 50 * 7 + 12) + np.float32(0.2)
    data[84 + 50 * 7 + 12 : 84 + 50 * 7 + 16] = corner.astype("<f4").tobytes()
    path.write_bytes(data)
    assert ("J131", f"{BLOCK}.stl") in found(out)


def model_of(path, change):
    from zipfile import ZipFile

    with ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    members = {name: change(data) if name.endswith(".model") else data for name, data in members.items()}
    with ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)


def moved(model, by):
    """Move the corner that stands highest, in all of its triangles: the body stays closed."""
    heights = [line for line in model.split(b"\n") if line.startswith(b"<vertex ")]
    top = max(heights, key=lambda line: float(line.split(b'z="')[1].split(b'"')[0]))
    high = top.split(b'z="')[1].split(b'"')[0]
    return model.replace(top, top.replace(b'z="' + high, b'z="' + str(float(high) + by).encode()))


def test_a_moved_vertex_of_a_3mf_that_stays_closed_is_found_by_its_size(out):
    model_of(out / f"{BLOCK}.3mf", lambda model: moved(model, 0.3))
    assert found(out) >= {("J132", BLOCK), ("J133", f"{BLOCK}.3mf")}


def test_a_missing_face_is_found_in_either_file(out):
    path = out / f"{BLOCK}.stl"
    data = path.read_bytes()
    count = int.from_bytes(data[80:84], "little") - 1
    path.write_bytes(data[:80] + count.to_bytes(4, "little") + data[84:-50])
    cast = out / "tools/pattern/pattern-pattern.3mf"
    model_of(cast, _without_a_triangle)
    assert found(out) >= {("J131", f"{BLOCK}.stl"), ("J131", "tools/pattern/pattern-pattern.3mf")}


def _without_a_triangle(model):
    lines = model.split(b"\n")
    lines.remove(next(line for line in lines if line.startswith(b"<triangle ")))
    return b"\n".join(lines)


def test_a_body_turned_inside_out_is_found(out):
    path = out / f"{BLOCK}.stl"
    data = bytearray(path.read_bytes())
    faces = np.frombuffer(data, np.dtype([("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")]), offset=84).copy()
    faces["c"] = faces["c"][:, ::-1]
    path.write_bytes(bytes(data[:84]) + faces.tobytes())
    assert ("J131", f"{BLOCK}.stl") in found(out)


def test_the_body_of_another_tool_is_found(out):
    shutil.copy(out / "tools/pattern/pattern-pattern.stl", out / f"{BLOCK}.stl")
    assert found(out) >= {("J132", BLOCK), ("J133", f"{BLOCK}.stl")}


@pytest.mark.parametrize(
    "change",
    [
        lambda told: told["solids"][0]["size_mm"].__setitem__(2, told["solids"][0]["size_mm"][2] + 0.02),
        lambda told: told["solids"][0].update(volume_mm3=told["solids"][0]["volume_mm3"] * 1.001),
        lambda told: told["solids"].clear(),
        lambda told: told["solids"][0].update(name="../../other"),
        lambda told: told["solids"][0].pop("size_mm"),
        lambda told: told.pop("solids"),
        lambda told: told.update(kind="cast"),
        lambda told: told.pop("findings"),
    ],
)
def test_a_changed_figure_of_a_tool_is_found(out, change):
    changed(out / "tools/block/tool.json", change)
    assert {code for code, _ in found(out)} == {"J133"}


def test_a_changed_force_is_found_by_the_record(out):
    changed(out / "tools/plate-blank/tool.json", lambda told: told.update(force_kN=[1.0, 2.0]))
    assert found(out) == {("J133", "tools/plate-blank/tool.json")}
    (said,) = verify_folder(out).findings
    assert "force_kN" in said.text


@pytest.mark.parametrize("text", ["", "[]", "{", '"solids"', "\u0000"])
def test_figures_that_are_none_are_named(out, text):
    (out / "tools/block/tool.json").write_text(text)
    assert ("J133", "tools/block/tool.json") in found(out)


def test_files_that_are_damaged_or_gone_are_named(out):
    (out / f"{BLOCK}.stl").write_bytes(b"solid block")
    (out / f"{BLOCK}.3mf").write_bytes(b"PK")
    assert found(out) == {("J130", f"{BLOCK}.stl"), ("J130", f"{BLOCK}.3mf")}
    (out / f"{BLOCK}.3mf").unlink()
    (out / "reliefs/boss/height.npz").unlink()
    missing = {(finding.code, finding.where) for finding in verify_folder(out).findings}
    assert missing >= {
        ("J120", f"{BLOCK}.3mf"),
        ("J120", "reliefs/boss/height.npz"),
        ("J134", "reliefs/boss/height.npz"),
    }


def heights_changed(path, change):
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    change(arrays)
    np.savez(path, **arrays)


@pytest.mark.parametrize(
    "change",
    [
        lambda arrays: arrays.update(height=arrays["height"] * 1.01),
        lambda arrays: arrays.update(height=arrays["height"][:-1], inside=arrays["inside"][:-1]),
        lambda arrays: arrays.update(inside=np.zeros_like(arrays["inside"])),
        lambda arrays: arrays.update(height=arrays["height"] * np.nan),
        lambda arrays: arrays.update(about=np.array("{}")),
        lambda arrays: arrays.update(about=np.array([1])),
        lambda arrays: arrays.pop("inside"),
    ],
)
def test_heights_that_are_not_those_told_of_are_found(out, change):
    heights_changed(out / "reliefs/boss/height.npz", change)
    codes = {code for code, _ in found(out)}
    assert codes == {"J134"}
    assert verify_folder(out).reliefs == 0


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"heights", b"\x93NUMPY"])
def test_a_file_of_heights_that_is_none_is_named(out, data):
    (out / "reliefs/boss/height.npz").write_bytes(data)
    assert found(out) == {("J134", "reliefs/boss/height.npz")}


def test_a_changed_figure_of_a_relief_is_found(out):
    changed(out / "reliefs/boss/relief.json", lambda told: told.update(pitch_mm=told["pitch_mm"] * 2))
    assert found(out) >= {("J134", "reliefs/boss/relief.json"), ("J134", "reliefs/boss/height.npz")}


def test_a_tool_that_the_record_does_not_tell_of_is_not_taken_for_checked(out):
    changed(out / "job.record.json", lambda record: record.update(tools=record["tools"][1:], reliefs=[7]))
    assert {("J128", "tools/plate-blank"), ("J128", "reliefs"), ("J128", "reliefs/boss")} <= found(out)


def test_a_strangers_body_beside_ours_is_a_warning(out):
    shutil.copy(out / f"{BLOCK}.stl", out / "tools/block/new.stl")
    said = verify_folder(out)
    assert [(finding.code, finding.where) for finding in said.findings] == [("J129", "tools/block/new.stl")]
    assert said.passed


def test_a_writer_that_leaves_a_face_out_is_found(tmp_path, monkeypatch):
    """A fault in our own writer, hashes and all: the check must not lean on what it uses."""
    from meshflow.mesh import write
    from meshflow.model.surface import Surface

    right = write._WRITERS["stl"]
    monkeypatch.setitem(write._WRITERS, "stl", lambda surface: right(Surface(surface.vertices, surface.faces[1:])))
    run(write_job(write_scans(tmp_path), FORMER), out=tmp_path / "out")
    said = verify_folder(tmp_path / "out")
    assert ("J131", f"{BLOCK}.stl") in {(finding.code, finding.where) for finding in said.findings}
