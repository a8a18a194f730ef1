"""``meshflow run``, ``demo``, ``stock`` and ``schema``: what they print and leave behind."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from meshes import closed_ball
from workshop import JOB, contents, write_stl

from meshflow.job.demo import copy_demo
from meshflow.job.stages import PART_STAGES
from meshflow.stock import load_stock

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"


def test_a_whole_job_is_told_in_three_short_blocks_and_so_is_its_second_run(meshflow, shop):
    said = meshflow("run", "job.toml", "--out", "out")
    assert (said.code, said.err) == (0, "")
    parts, sheets, end = said.out.split("\n\n")
    assert [line.split()[0] for line in parts.splitlines()] == ["part", "wall", "plate", "collar"]
    assert [line.split()[0] for line in sheets.splitlines()] == ["sheet", "cu_etp-0.8mm", "dc01-1mm", "leather_veg-3mm"]
    steps = 3 * len(PART_STAGES) + 3
    assert end == f"{steps} of {steps} steps computed; 26 files in out\nopen out/job.html\n"
    # Columns are aligned: each begins where its heading does.
    head = parts.splitlines()[0]
    for line in parts.splitlines():
        for word in ("verdict", "stretch", "findings"):
            place = head.index(word)
            assert line[place - 1 : place] == " "
            assert line[place : place + 1].strip()
    again = meshflow("run", "job.toml", "--out", "out")
    assert again.out.split("\n\n")[:2] == [parts, sheets]
    assert again.out.split("\n\n")[2] == (
        f"0 of {steps} steps computed, {steps} kept from an earlier run; 26 files in out\nopen out/job.html\n"
    )


def test_a_bad_part_is_named_the_others_made_and_the_code_is_1(meshflow, shop):
    ball, faces = closed_ball()
    write_stl(shop / "wall.stl", (np.concatenate([ball, ball + 200.0]), np.concatenate([faces, faces + len(ball)])))
    said = meshflow("run", "job.toml", "--out", "out")
    assert said.code == 1
    assert said.err.startswith('wall: not made. wall.stl, part wall: "all" picks 2 separate pieces')
    assert said.err.count("\n") == 1
    assert "collar  lies flat" in said.out
    assert said.out.endswith("open out/job.html\n")
    assert (shop / "out/patterns/collar.dxf").exists()


def test_a_group_without_a_sheet_is_named_and_the_code_is_1(meshflow, shop):
    (shop / "job.toml").write_text(JOB.replace('size = "400x300"', 'size = "19x19"'))
    said = meshflow("run", "job.toml", "--out", "out")
    assert said.code == 1
    assert said.err.startswith("cu_etp-0.8mm: not nested. sheet 19x19: 19 x 19 mm is no larger than its margins")


def test_files_no_longer_made_are_told(meshflow, shop):
    meshflow("run", "job.toml", "--out", "out")
    (shop / "out/patterns/plate.svg").write_text("edited")
    (shop / "job.toml").write_text(JOB.replace('name = "plate"', 'name = "shelf"'))
    said = meshflow("run", "job.toml", "--out", "out")
    assert said.code == 0
    removed = "distortion.json, patterns/plate.dxf, patterns/plate.on-scan.dxf, patterns/plate.surface.ply"
    assert f"no longer made, and removed: patterns/plate.{removed}\n" in said.out
    assert said.err == "no longer made, but changed since and so left: patterns/plate.svg\n"


def test_every_mistake_of_a_job_is_printed_on_its_own_line(meshflow, shop):
    (shop / "job.toml").write_text(JOB.replace('"copper"', '"coper"').replace("quantity = 3", "quantity = 0"))
    said = meshflow("run", "job.toml", "--out", "out")
    assert (said.code, said.out) == (1, "")
    assert [line.split(": ")[0] for line in said.err.splitlines()] == ["job.toml:9", "job.toml:15", "job.toml:39"]
    assert not (shop / "out").exists()


@pytest.mark.parametrize(
    ("job", "sentence"),
    [
        ("gone.toml", "gone.toml: there is no such file. Check the path.\n"),
        (".", ".: this is a folder. Give the job file itself.\n"),
        ("wall.stl", "wall.stl:"),
    ],
)
def test_what_is_no_job_leaves_with_1_and_a_sentence(meshflow, shop, job, sentence):
    said = meshflow("run", job, "--out", "out")
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith(sentence)


def test_an_output_folder_that_is_a_file_is_refused(meshflow, shop):
    said = meshflow("run", "job.toml", "--out", "wall.stl")
    assert (said.code, said.err) == (1, "wall.stl: this is a file, not a folder. Choose another folder.\n")


def test_the_demo_is_copied_and_run_and_ends_with_what_to_open(meshflow, shop, monkeypatch):
    # The demo itself takes too long for this test: it is tried on a smaller job in its place.
    (shop / "samples").mkdir()
    for name in ("wall.stl", "plate.off", "collar.stl"):
        shutil.copy(shop / name, shop / "samples" / name)
    (shop / "samples/carousel.toml").write_text(JOB)
    monkeypatch.setattr("meshflow.job.demo._home", lambda: shop / "samples")
    said = meshflow("demo", "demo")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("the demo job is demo/carousel.toml; running it\n")
    assert said.out.endswith("open demo/out/job.html\n")
    assert (shop / "demo/out/patterns/wall.dxf").exists()
    again = meshflow("demo", "demo")
    assert again.code == 0
    assert "\n0 of " in again.out


def test_the_demo_is_copied_whole(tmp_path):
    job = copy_demo(tmp_path / "demo")
    assert job == tmp_path / "demo" / "carousel.toml"
    for name in contents(tmp_path / "demo"):
        assert (tmp_path / "demo" / name).read_bytes() == (SAMPLES / name).read_bytes()
    suffixes = {".toml", ".stl", ".obj", ".ply", ".glb", ".3mf", ".dxf"}
    assert {path.suffix for path in (tmp_path / "demo").iterdir()} == suffixes


def test_a_demo_that_was_changed_is_not_overwritten(meshflow, shop):
    copy_demo(shop / "demo")
    (shop / "demo/carousel.toml").write_text("mine")
    said = meshflow("demo", "demo")
    assert said.code == 1
    assert said.err == (
        "demo/carousel.toml: this file was changed since it was copied; it is not overwritten. Run it with "
        "`meshflow run demo/carousel.toml --out demo/out`, or choose another folder.\n"
    )
    assert (shop / "demo/carousel.toml").read_text() == "mine"


def test_the_demo_goes_into_a_folder_with_other_things_in_it_and_leaves_them_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    copy_demo(tmp_path)
    copy_demo(tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_demo_folder_that_is_a_file_is_refused(meshflow, shop):
    said = meshflow("demo", "wall.stl")
    assert (said.code, said.err) == (1, "wall.stl: this is a file, not a folder. Choose another folder.\n")


def test_a_copy_without_the_demo_says_so(meshflow, shop, monkeypatch):
    monkeypatch.setattr("meshflow.job.demo.JOB", "none.toml")
    said = meshflow("demo", "demo")
    assert (said.code, said.err) == (
        1,
        "the demo is not part of this installation. Install meshflow-workshop again.\n",
    )


@pytest.mark.parametrize("kind", ["materials", "sheets", "processes", "machines"])
def test_each_stock_table_lists_every_row_with_its_mark_and_source(meshflow, kind):
    said = meshflow("stock", kind)
    assert (said.code, said.err) == (0, "")
    lines = said.out.splitlines()
    assert lines[0] == f"{kind}:"
    rows = load_stock().rows(kind)
    assert len(lines) == 1 + 2 * len(rows)
    for row, line, source in zip(rows, lines[1::2], lines[2::2], strict=True):
        assert line.split()[0] == row.id
        assert row.figures in line
        assert source.strip() == f"[{row.mark}] {row.source}"
    assert len({line.index(row.name, len(row.id) + 2) for row, line in zip(rows, lines[1::2], strict=True)}) == 1


def test_the_whole_stock_is_listed_without_sources(meshflow):
    said = meshflow("stock")
    assert said.code == 0
    for kind in ("materials:", "sheets:", "processes:", "machines:"):
        assert kind in said.out.splitlines()
    assert "[READ]" not in said.out
    assert said.out.endswith("For sources and marks, name one table: meshflow stock materials\n")


def test_the_workshops_own_stock_is_listed(meshflow, shop):
    (shop / "shop.toml").write_text('[sheet.offcut]\nlength = 640\nwidth = 320\nmaterial = "cu_etp"\n')
    said = meshflow("stock", "sheets", "--stock", "shop.toml")
    assert "640 x 320 mm; cu_etp" in said.out
    (shop / "shop.toml").write_text("[sheet.offcut]\nlenght = 640\n")
    said = meshflow("stock", "sheets", "--stock", "shop.toml")
    assert (said.code, said.out) == (1, "")
    assert "shop.toml:2: sheet.offcut.lenght: " in said.err
    assert meshflow("stock", "--stock", "gone.toml").err == "gone.toml: there is no such file. Check the path.\n"


def test_the_schema_is_printed_for_editors(meshflow):
    said = meshflow("schema")
    assert said.code == 0
    assert json.loads(said.out)["$id"] == "meshflow-job-1"
