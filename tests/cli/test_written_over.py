"""What a command may write over, asked of every command that writes: its own earlier results, never what it reads.

The rule stands in `meshflow.job.target`. Here it is asked from outside, by the bytes in the folder before and after.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from PIL import Image
from running_strips import running_strip
from tool_jobs import bowed, scan
from workshop import contents

from meshflow.drawing import compose_part, write_dxf
from meshflow.mesh.write import write_mesh
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.relief import Relief
from meshflow.model.surface import Surface
from meshflow.relief.height_file import relief_bytes
from meshflow.relief.height_picture import picture_bytes

MM = ("--units", "mm")
# Commands that write one file: their words but for --out, and an ending they write.
ONE_FILE = {
    "mend": (("mend", "box.ply", *MM, "--max-deviation", "0.1"), ".ply"),
    "align": (("align", "box.ply", *MM, "--points", "0,0,0 1,0,0 0,1,0"), ".ply"),
    "mirror": (("mirror", "box.ply", *MM, "--image", "--plane", "1,0,0,0"), ".stl"),
    "resize": (("resize", "box.ply", *MM, "--scale", "2"), ".3mf"),
    "offset": (("offset", "box.ply", *MM, "--by", "1"), ".ply"),
    "measure": (("measure", "box.ply", *MM, "--area", "all"), ".json"),
    "paper": (("paper", "disk.dxf"), ".pdf"),
}
# Commands that write a folder: their words but for --out; the file they read that a result of theirs is named like.
FOLDER = {
    "compare": (("compare", "box.ply", "box.compare.ply", *MM), "box.compare.ply"),
    "photo": (
        ("photo", "panel.bmp", "--points", "1,1 90,1", "--apart", "9", "--trace", "panel.trace.dxf"),
        "panel.trace.dxf",
    ),
    "section": (("section", "box.ply", *MM, "--plane", "0,0,1,1"), "box-section-01.dxf"),
    "relief": (("relief", "height.npz"), "height.npz"),
    "flatten": (("flatten", "disk.ply", *MM, "--region", "line=disk.dxf view=0,0,1"), "disk.dxf"),
    "panels": (("panels", "box.ply", *MM, "--limit", "5"), "box.panels.json"),
    "punch": (("tool", "punch", "x-view.png", "--name", "x", "--thickness", "2"), "x-view.png"),
    "strip": (
        ("tool", "strip", "y-view.png", "--name", "y", "--thickness", "1.2", "--length", "1m"),
        "y-view.png",
    ),
    "former": (("tool", "former", "f-block.stl", *MM, "--name", "f", "--thickness", "2"), "f-block.stl"),
    "cast": (("tool", "cast", "c-pattern.stl", *MM, "--name", "c", "--thickness", "3"), "c-pattern.stl"),
    "finish": (("finish", "box.ply", *MM, "--material", "bronze", "--stock", "finishing.json"), "finishing.json"),
    "blank": (
        ("tool", "blank", "x-blank-die.dxf", "--name", "x", "--material", "copper", "--thickness", "1"),
        "x-blank-die.dxf",
    ),
    "ruledie": (
        ("tool", "ruledie", "x-board.dxf", "--name", "x", "--material", "leather", "--thickness", "2"),
        "x-board.dxf",
    ),
    "nest": (("nest", "sheet-01.dxf", "--sheet", "400x300", "--effort", "1"), "sheet-01.dxf"),
    "run": (("run", "job.toml"), "patterns/disk.dxf"),
}
JOB = """\
title = "Organ case, lid"
[[part]]
name = "disk"
mesh = "disk.ply"
units = "mm"
region = "line=patterns/disk.dxf view=0,0,1"
material = "steel"
thickness = "1 mm"
[nest]
effort = 1
[output]
png = false
"""


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A box, a disk, a line drawn over the disk, and a job; every name that a result could fall on is there."""
    monkeypatch.chdir(tmp_path)
    box = Surface(*meshes.closed_box((40.0, 30.0, 20.0)))
    for name in ("box.ply", "box.compare.ply"):
        write_mesh(box, tmp_path / name)
    write_mesh(Surface(*meshes.flat_disk(50.0, 6)), tmp_path / "disk.ply")
    (tmp_path / "patterns").mkdir()
    lid = compose_part(Part("lid", Polycurve([[-20, -20], [20, -20], [20, 20], [-20, 20]])))
    for name in ("disk.dxf", "patterns/disk.dxf", "sheet-01.dxf", "x-blank-die.dxf", "x-board.dxf"):
        write_dxf(lid, tmp_path / name)
    Image.new("RGB", (100, 100)).save(tmp_path / "panel.bmp")
    cord = np.outer(np.hanning(30), np.ones(40))
    relief = Relief("cord", cord, np.ones_like(cord, dtype=bool), 0.5)
    (tmp_path / "height.npz").write_bytes(relief_bytes(relief))
    (tmp_path / "x-view.png").write_bytes(picture_bytes(relief))
    (tmp_path / "y-view.png").write_bytes(picture_bytes(running_strip(12.3, pitch=0.2)))
    for name in ("f-block.stl", "c-pattern.stl"):
        write_mesh(scan(bowed, step=3.0), tmp_path / name)
    over = compose_part(Part("over", Polycurve([[10, 10], [90, 10], [90, 90]])))
    write_dxf(over, tmp_path / "panel.trace.dxf")
    (tmp_path / "finishing.json").write_text('[machine.bench]\nkind = "press"\nforce = 60\n')  # a stock file is TOML
    for name in ("box-section-01.dxf", "box.panels.json"):
        (tmp_path / name).symlink_to("box.ply")
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


@pytest.mark.parametrize("name", ONE_FILE)
def test_a_successful_run_replaces_its_one_file_and_leaves_nothing_else(meshflow, bench, name):
    words, ending = ONE_FILE[name]
    before = contents(bench)
    out = bench / f"result{ending}"
    out.write_bytes(b"of an earlier run")
    said = meshflow(*words, "--out", out)
    assert said.code == 0, said.err
    after = contents(bench)
    assert after.pop(out.name) != b"of an earlier run"
    assert after == before


@pytest.mark.parametrize("name", ONE_FILE)
def test_a_failure_while_writing_leaves_the_earlier_file(meshflow, bench, monkeypatch, name):
    words, ending = ONE_FILE[name]
    out = bench / f"result{ending}"
    out.write_bytes(b"of an earlier run")
    before = contents(bench)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("meshflow.files.os.fsync", full)
    said = meshflow(*words, "--out", out)
    assert said.code == 1
    assert "No space left on device" in said.err
    assert contents(bench) == before
    assert not list(bench.glob(".*"))


@pytest.mark.parametrize("name", [*ONE_FILE, *FOLDER])
def test_a_file_that_cannot_be_read_leaves_the_earlier_results(meshflow, bench, name):
    if name in ONE_FILE:
        words, ending = ONE_FILE[name]
        out = earlier = bench / f"result{ending}"
    else:
        words, named = FOLDER[name]
        out, earlier = bench / "results", bench / "results" / named
    earlier.parent.mkdir(parents=True, exist_ok=True)
    earlier.write_bytes(b"of an earlier run")
    read = next(bench / word for word in words if (bench / word).is_file())
    read.write_bytes(read.read_bytes()[:-4] + b"\0")  # cut short
    before = contents(bench)
    assert meshflow(*words, "--out", out).code == 1
    assert contents(bench) == before


@pytest.mark.parametrize("way", ["by name", "by another way", "by a link"])
@pytest.mark.parametrize("name", [*ONE_FILE, "align --onto"])
def test_what_a_command_reads_is_never_written_over(meshflow, bench, name, way):
    words, ending = ONE_FILE.get(name, (("align", "disk.ply", *MM, "--onto", "box.ply"), ".ply"))
    read = bench / f"box{ending}"
    source = "box.ply" if "box.ply" in words else words[1]
    (bench / source).rename(read)  # the reader goes by what is in a file, whatever its name ends in
    words = tuple(f"box{ending}" if word == source else word for word in words)
    link = bench / f"link{ending}"
    link.symlink_to(read.name)
    before = contents(bench)
    out = {"by name": read.name, "by another way": f"patterns/../{read.name}", "by a link": link.name}[way]
    said = meshflow(*words, "--out", out)
    assert (said.code, said.out) == (1, "")
    assert said.err == (
        f"{out}: this file is read by the same command; what went in is never written over. Choose another name or "
        "folder for what is written.\n"
    )
    assert contents(bench) == before


@pytest.mark.parametrize("name", FOLDER)
def test_no_result_in_a_folder_falls_on_what_was_read(meshflow, bench, name):
    words, read = FOLDER[name]
    before = contents(bench)
    said = meshflow(*words, "--out", ".")
    assert said.code == 1
    assert f"{read}: this file is read by the same command" in said.err
    assert contents(bench) == before


@pytest.mark.parametrize("place", ["no/such/folder/result", "box.ply/result", "patterns/../no/result"])
@pytest.mark.parametrize("name", ONE_FILE)
def test_a_place_that_cannot_hold_the_file_is_refused_before_the_work(meshflow, bench, monkeypatch, name, place):
    words, ending = ONE_FILE[name]
    monkeypatch.setattr("meshflow.mesh.read.read_mesh", None)  # a fault if it is called
    said = meshflow(*words, "--out", f"{place}{ending}")
    assert said.code == 1
    assert "its folder is not there. Make the folder first." in said.err


@pytest.mark.parametrize("name", ONE_FILE)
def test_a_file_with_another_ending_is_wrong_usage(meshflow, bench, name):
    words, _ = ONE_FILE[name]
    before = contents(bench)
    said = meshflow(*words, "--out", "result.txt")
    assert said.code == 2
    assert "result.txt must end in ." in said.err
    assert contents(bench) == before


@pytest.mark.parametrize("kind", ["punch", "strip", "former", "cast", "blank", "ruledie"])
def test_the_stock_file_of_a_tool_is_not_written_over(meshflow, bench, kind):
    (bench / "tool.json").write_text('[sheet.offcut]\nlength = "400 mm"\nwidth = "300 mm"\nmaterial = "cu_etp"\n')
    words = [word.replace("x-board.dxf", "disk.dxf") for word in FOLDER[kind][0]]
    words[words.index("--name") + 1] = "other"  # so that nothing but the stock file is in the way
    before = contents(bench)
    said = meshflow(*words, "--stock", "tool.json", "--out", ".")
    assert said.code == 1
    assert "tool.json: this file is read by the same command" in said.err
    assert contents(bench) == before
