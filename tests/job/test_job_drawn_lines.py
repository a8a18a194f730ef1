"""Drawn lines of a job: read from its own folder, hashed into the cache and the record, wrong ones named by line."""

from __future__ import annotations

import hashlib
import json

import ezdxf
import numpy as np
import pytest

from meshflow.errors import DrawingFileError, JobFileError
from meshflow.job.cache import Cache
from meshflow.job.lines import lines_of, read_line
from meshflow.job.load import load_job
from meshflow.job.run import run
from meshflow.job.stages import PART_STAGES
from meshflow.job.walk import Walk

HEAD = """\
title = "Organ case"
[[part]]
name = "wall"
mesh = "wall.stl"
units = "mm"
material = "steel"
thickness = 1
"""
# On the wall: a quarter of a cylinder of radius 40, 50 high.
ANGLES, HEIGHTS = np.radians([20, 70, 70, 20]), np.array([10.0, 10, 40, 40])
FRONT = np.stack([40 * np.cos(ANGLES), 40 * np.sin(ANGLES), HEIGHTS], axis=1)


def write_line(path, points=FRONT):
    path.write_text("".join("{} {} {}\n".format(*point) for point in points))
    return path


def write_drawing(path, points, unit=4):
    document = ezdxf.new(units=unit)
    document.modelspace().add_lwpolyline(points, close=True)
    document.saveas(path)
    return path


def job(bench, region):
    return bench.write(f'{HEAD}region = "{region}"\n[output]\npng = false\nsvg = false\n')


def test_a_job_cuts_along_a_line_and_records_its_file(bench):
    (bench.folder / "lines").mkdir()
    path = write_line(bench.folder / "lines/front.txt")
    result = run(job(bench, "line=lines/front.txt"), out=bench.out)
    assert result.complete
    # Straight ways on a cylinder unroll to straight lines: a rectangle of 30 by the chords between 20 and 70 degrees.
    (made,) = result.made
    assert made.part.pattern.distortion.area_flat.sum() == pytest.approx(30 * 40 * np.radians(50), rel=3e-3)
    record = json.loads((bench.out / "job.record.json").read_text())
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    assert record["inputs"][-1] == {"file": "lines/front.txt", "kind": "line", "sha256": digest}
    assert len(record["inputs"]) == 3


def test_an_edited_line_is_noticed_and_the_scan_is_not_read_again(bench):
    path = write_line(bench.folder / "front.txt")
    Walk(Cache(bench.out), lambda what, share: None).part(load_job(job(bench, "line=front.txt")).parts[0])
    write_line(path, FRONT + np.array([0.0, 0, 1]))
    plan = load_job(bench.job).parts[0]
    again = Walk(Cache(bench.out), lambda what, share: None)
    again.part(plan)
    names = {key: name for name, key in again.keys(plan).items()}
    assert [names[key] for key in again.computed] == list(PART_STAGES)[list(PART_STAGES).index("select") :]


def test_a_line_of_a_drawing_in_inches_is_cut_where_it_lies_in_the_view(bench):
    # From the side that x points to, y runs right and z up.
    corners = [(15 / 25.4, 10 / 25.4), (35 / 25.4, 10 / 25.4), (35 / 25.4, 40 / 25.4), (15 / 25.4, 40 / 25.4)]
    write_drawing(bench.folder / "side.dxf", corners, unit=1)
    plan = load_job(job(bench, "line=side.dxf view=1,0,0")).parts[0]
    region = Walk(Cache(None), lambda what, share: None).part(plan).part.pattern.region
    assert region.vertices[:, 2].min() == pytest.approx(10, abs=1e-6)
    assert region.vertices[:, 2].max() == pytest.approx(40, abs=1e-6)
    on_scan = region.vertices[:, 1] * 40 / np.hypot(*region.vertices[:, :2].T)  # off the middle of the thickness
    assert [on_scan.min(), on_scan.max()] == pytest.approx([15, 35], abs=0.5)


def test_a_line_that_two_terms_name_is_read_and_recorded_once(bench):
    write_line(bench.folder / "front.txt")
    region = "line=front.txt + line=front.txt at=40,0,1"
    assert [line.name for line in load_job(job(bench, region)).parts[0].lines] == ["front.txt"]


OUTSIDE = "a job opens drawn lines in its own folder only. Put the file beside the job file."


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("gone.txt", "gone.txt: there is no such file (seen from the job file). Check its name."),
        ("lines", "lines: there is no such file (seen from the job file). Check its name."),
        ("a" * 300, "a" * 300 + ": there is no such file (seen from the job file). Check its name."),
        ("../front.txt", "../front.txt: " + OUTSIDE),
        ("lines/../../front.txt", "lines/../../front.txt: " + OUTSIDE),
        ("/etc/passwd", "/etc/passwd: " + OUTSIDE),
        ("~/front.txt", "~/front.txt: " + OUTSIDE),
        ("http://host/front.txt", "http://host/front.txt: " + OUTSIDE),
        ("link.txt", "link.txt: " + OUTSIDE),
        ("bad.txt", 'bad.txt:2: "4 five 6" is no point. Give rows of x y z in millimetres (x y for a line drawn over a '
         "view); # starts a comment."),
        ("flat.txt", '"line=flat.txt" has points of two numbers only, and I do not know the view they were drawn over. '
         "Say it: line=FILE view=nx,ny,nz, where n points from the piece to the eye."),
        ("two.txt", '"line=two.txt" has 2 distinct points; a line that goes round something has three or more. Give '
         "more points along the line."),
        ("empty.dxf", "empty.dxf: the file is empty. Export it again."),
    ],
)  # fmt: skip
def test_a_wrong_line_is_a_mistake_of_its_line_of_the_job_file(bench, name, sentence):
    (bench.folder / "lines").mkdir()
    write_line(bench.folder.parent / "front.txt")
    (bench.folder / "link.txt").symlink_to(bench.folder.parent / "front.txt")
    (bench.folder / "bad.txt").write_text("1 2 3\n4 five 6\n")
    (bench.folder / "flat.txt").write_text("1 2\n4 5\n6 9\n")
    (bench.folder / "two.txt").write_text("1 2 3\n4 5 6\n4 5 6\n1 2 3\n")
    (bench.folder / "empty.dxf").write_bytes(b"")
    with pytest.raises(JobFileError) as caught:
        load_job(job(bench, f"line={name}"))
    assert caught.value.problems == (f"job.toml:8: part[1].region: {sentence}",)


def test_a_line_that_changes_while_it_is_read_is_refused(bench, monkeypatch):
    path = write_line(bench.folder / "front.txt")

    def slow(name):
        path.write_text("1 2 3\n")
        return FRONT

    monkeypatch.setattr("meshflow.job.lines.read_line", slow)
    with pytest.raises(DrawingFileError, match=r"front\.txt: the file changed while it was read\. Run again\."):
        lines_of(f"line={path}")


def test_a_device_that_never_ends_is_no_line():
    with pytest.raises(DrawingFileError, match="there is no such file"):
        lines_of("line=/dev/zero")


def test_a_line_is_read_by_its_ending(bench):
    drawn = write_drawing(bench.folder / "FRONT.DXF", [(0, 0), (9, 0), (0, 7)])
    assert read_line(drawn).tolist() == [[0, 0], [9, 0], [0, 7]]
    assert read_line(write_line(bench.folder / "front.xyz")) == pytest.approx(FRONT)
