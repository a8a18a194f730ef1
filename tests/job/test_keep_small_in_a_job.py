"""The corner of the last sheet in a job: asked for, drawn, said, read back, and nested anew when it is changed."""

from __future__ import annotations

import json

import numpy as np
import pytest
from meshes import flat_disk
from workshop import write_stl

from meshflow.errors import JobFileError
from meshflow.job.run import run
from meshflow.job.verify import verify_folder
from meshflow.report.picture import Lines, Words
from meshflow.report.sheet_view import sheet_picture

JOB = """\
title = "Roundels of the ticket booth"

[[part]]
name = "disc"
mesh = "disc.stl"
units = "mm"
material = "steel"
thickness = "1 mm"
quantity = 4

[[sheet]]
size = "1000x500"
material = "steel"
thickness = "1 mm"

[nest]
keep_small = "area"
effort = 2

[output]
png = true
"""


@pytest.fixture
def booth(bench):
    write_stl(bench.folder / "disc.stl", flat_disk(40.0))
    bench.write(JOB)
    return bench


def test_four_discs_lie_in_a_corner_and_the_folder_is_found_as_written(booth):
    (group,) = run(booth.job, out=booth.out).nests
    (layout,) = group.nest.sheets
    # Two by two: 2 x 80 mm, 3 mm between and 10 mm of margin.
    assert (layout.used_length_mm, layout.used_width_mm) == pytest.approx((183.0, 183.0), abs=1.0)
    said = json.loads((booth.out / "sheets/dc01-1mm.nest.json").read_text())
    assert said["sheets"][0]["used_width_mm"] == layout.used_width_mm
    assert verify_folder(booth.out).findings == ()
    page = (booth.out / "job.html").read_text()
    words = f"of the corner used is parts; used to {layout.used_length_mm:.0f} &times; {layout.used_width_mm:.0f} mm"
    assert f"{words}; what is left is an L." in page
    assert "stay whole" not in page
    said["sheets"][0]["used_width_mm"] += 1.0
    (booth.out / "sheets/dc01-1mm.nest.json").write_text(json.dumps(said))
    assert any("of the width are said to be used" in found.text for found in verify_folder(booth.out).findings)


def test_the_picture_draws_the_corner_and_keeps_its_words_on_the_paper(booth):
    (group,) = run(booth.job, out=booth.out).nests
    (layout,) = group.nest.sheets
    picture = sheet_picture(layout, [made.part for made in group.parts], margin_mm=10.0)
    (words,) = [item for item in picture.items if isinstance(item, Words) and item.text.startswith("used to")]
    assert words.text == f"used to {layout.used_length_mm:.0f} \N{MULTIPLICATION SIGN} {layout.used_width_mm:.0f} mm"
    half = 0.34 * words.size * len(words.text)  # bold letters are two thirds of their size wide
    assert half <= words.x <= picture.width - half
    (line,) = [item for item in picture.items if isinstance(item, Lines) and item.dashed and len(item.runs[0]) == 3]
    across, up = np.ptp(line.runs[0], axis=0)
    assert across / up == pytest.approx(layout.used_length_mm / layout.used_width_mm, rel=1e-6)


def test_changing_it_nests_anew(booth):
    run(booth.job, out=booth.out)
    booth.write(JOB.replace('keep_small = "area"\n', ""))
    result = run(booth.job, out=booth.out)
    assert result.redone == 1
    (layout,) = result.nests[0].nest.sheets
    assert layout.used_width_mm is None
    assert layout.used_length_mm < 110.0


def test_what_it_does_not_know_is_refused_with_its_line(booth):
    booth.write(JOB.replace('"area"', '"weight"'))
    with pytest.raises(JobFileError, match=r"job.toml:17: nest.keep_small: .*length.*area"):
        run(booth.job, out=booth.out)
