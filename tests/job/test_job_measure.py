"""Measures of a job: in the record and the document, kept for the next run, and mistakes with their lines."""

from __future__ import annotations

import html
import json

import meshes
import pytest
from workshop import write_stl

from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run

JOB = """\
title = "Travelling carousel, mounts"

[[part]]
name = "lid"
mesh = "box.stl"
units = "mm"
region = "plane=0,0,1,19.9"
material = "steel"
thickness = "1 mm"
smooth = "none"

[[measure]]
name = "girth of the box"
mesh = "box.stl"
units = "mm"
girth = "0,0,1,5"

[[measure]]
name = "top & bottom"
mesh = "box.stl"
units = "mm"
area = "plane=0,0,1,19.9 + plane=0,0,-1,-0.1"

[[measure]]
name = "girth of the rail"
mesh = "rail.stl"
units = "cm"
tape = "0,0,1,0"

[output]
png = false
svg = false
"""


def set_up(folder, text=JOB):
    write_stl(folder / "box.stl", meshes.closed_box((40.0, 30.0, 20.0)))
    write_stl(folder / "rail.stl", meshes.closed_ball(5.0, 3))
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"


def test_measures_stand_in_the_record_and_the_document_and_are_kept(tmp_path):
    job = set_up(tmp_path)
    first = run(job, out=tmp_path / "out")
    assert first.complete
    record = json.loads((tmp_path / "out" / "job.record.json").read_text(encoding="utf-8"))
    girth, area, tape = record["measures"]
    # a box of 40 x 30 x 20 mm: 140 round; top and bottom, and a tenth of a millimetre of the walls at each
    assert (girth["name"], girth["kind"], girth["mesh"]) == ("girth of the box", "girth", "box.stl")
    assert girth["value"] == pytest.approx(140.0, rel=1e-6)
    assert area["value"] == pytest.approx(2 * 1200 + 2 * 0.1 * 140, rel=1e-6)
    assert tape["value"] == pytest.approx(2 * 3.14159 * 50, rel=0.01)
    assert [entry["file"] for entry in record["inputs"] if entry["kind"] == "scan"] == ["box.stl", "rail.stl"]
    page = html.unescape((tmp_path / "out" / "job.html").read_text(encoding="utf-8"))
    assert "140.00 mm" in page
    assert "top & bottom" in page
    again = run(job, out=tmp_path / "out")
    assert again.redone == 0
    assert [measure for _, measure in again.measures] == [measure for _, measure in first.measures]
    other = run(set_up(tmp_path, JOB.replace("0,0,1,0", "0,0,1,40")), out=tmp_path / "out")
    assert other.redone == 1
    assert other.measures[2][1].value == pytest.approx(2 * 3.14159 * 30, rel=0.02)
    set_up(tmp_path)
    write_stl(tmp_path / "rail.stl", meshes.closed_ball(6.0, 3))
    third = run(job, out=tmp_path / "out")
    assert third.redone == 1
    assert third.job_hash != first.job_hash


def test_a_measure_that_cannot_be_taken_is_named_and_the_parts_are_made(tmp_path):
    result = run(set_up(tmp_path, JOB.replace("0,0,1,0", "0,0,1,90")), out=tmp_path / "out")
    assert not result.complete
    assert len(result.made) == 1
    assert len(result.measures) == 2
    record = json.loads((tmp_path / "out" / "job.record.json").read_text(encoding="utf-8"))
    assert record["not_measured"][0]["name"] == "girth of the rail"
    assert "between d = -50 and 50" in record["not_measured"][0]["reason"]
    assert "not measured: " in (tmp_path / "out" / "job.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('girth = "0,0,1,5"', 'girth = "0,0,1"', 16, 'measure[1].girth: "0,0,1": a plane is four numbers'),
        ('girth = "0,0,1,5"', 'girht = "0,0,1,5"', 16, "measure[1].girht: there is no such key. Did you mean girth?"),
        ('girth = "0,0,1,5"', "", 12, "measure[1]: says nothing; say one of distance, along, girth, tape"),
        ('girth = "0,0,1,5"', 'girth = "0,0,1,5"\ntape = "0,0,1,5"', 12, "measure[1]: says girth and tape; say one of"),
        ('"girth of the rail"', '"top & bottom"', 25, '"top & bottom" names two measures'),
        ('mesh = "rail.stl"', 'mesh = "rial.stl"', 26, 'measure[3].mesh: there is no file "rial.stl"'),
        ('area = "plane', 'area = "plain', 22, "measure[2].area: "),
        ('area = "plane=0,0,1,19.9 +', 'area = "line=../rim.txt +', 22, "in its own folder only"),
    ],
)
def test_mistakes_are_reported_with_their_lines(tmp_path, old, new, line, said):
    assert JOB.count(old) == 1
    with pytest.raises(JobFileError) as error:
        load_job(set_up(tmp_path, JOB.replace(old, new)))
    (problem,) = error.value.problems
    assert problem.startswith(f"job.toml:{line}: ")
    assert said in problem
