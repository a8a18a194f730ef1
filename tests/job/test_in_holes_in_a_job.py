"""Parts in holes in a job: asked for, written, read back by the check, refused where it was not so."""

from __future__ import annotations

import json

import ezdxf
import pytest
from meshes import flat_disk, washer
from workshop import write_stl

from meshflow.job.run import run
from meshflow.job.verify import verify_folder

JOB = """\
title = "Rings of the ticket booth"

[[part]]
name = "ring"
mesh = "ring.stl"
units = "mm"
material = "steel"
thickness = "1 mm"
quantity = 2

[[part]]
name = "disc"
mesh = "disc.stl"
units = "mm"
material = "steel"
thickness = "1 mm"
quantity = 2

[[sheet]]
size = "500x140"
material = "steel"
thickness = "1 mm"

[nest]
effort = 1
in_holes = true

[output]
png = false
svg = false
"""


@pytest.fixture
def booth(bench):
    write_stl(bench.folder / "ring.stl", washer(60.0, 45.0))
    write_stl(bench.folder / "disc.stl", flat_disk(40.0))
    bench.write(JOB)
    return bench


def radii(path):
    """Half the height of each contour to be cut, in the order of the file."""
    from ezdxf import bbox

    cuts = ezdxf.readfile(path).modelspace().query('*[layer=="CUT_INSIDE" | layer=="CUT_OUTSIDE"]')
    return [round(0.5 * bbox.extents([entity]).size.y) for entity in cuts]


def test_discs_lie_in_their_rings_are_cut_first_and_the_folder_is_found_as_written(booth):
    (group,) = run(booth.job, out=booth.out).nests
    (layout,) = group.nest.sheets
    assert layout.used_length_mm == pytest.approx(10 + 120 + 3 + 120 + 10, abs=0.2)
    assert "N130" in [note.code for note in group.nest.notes]
    assert radii(booth.out / "sheets/dc01-1mm-sheet-01.dxf") == [40, 40, 45, 45, 60, 60]
    assert json.loads((booth.out / "sheets/dc01-1mm.nest.json").read_text())["in_holes"] is True
    assert verify_folder(booth.out).findings == ()
    assert "N130" in (booth.out / "job.html").read_text()


def test_it_is_off_unless_asked_for_and_changing_it_nests_anew(booth):
    run(booth.job, out=booth.out)
    booth.write(JOB.replace("in_holes = true\n", ""))
    result = run(booth.job, out=booth.out)
    assert result.redone == 1
    (layout,) = result.nests[0].nest.sheets
    assert layout.used_length_mm > 263 + 60
    assert "in_holes" not in json.loads((booth.out / "sheets/dc01-1mm.nest.json").read_text())
    assert radii(booth.out / "sheets/dc01-1mm-sheet-01.dxf")[:2] == [45, 45]


def test_a_nest_that_hides_that_parts_lie_in_holes_is_found(booth):
    run(booth.job, out=booth.out)
    path = booth.out / "sheets/dc01-1mm.nest.json"
    said = json.loads(path.read_text())
    del said["in_holes"]
    path.write_text(json.dumps(said))
    texts = [finding.text for finding in verify_folder(booth.out).findings if finding.code == "J127"]
    assert len(texts) == 2
    assert all("lies in a hole of ring" in text and text.endswith("(N131)") for text in texts)


def test_a_drawing_that_cuts_the_hole_before_what_lies_in_it_is_found(booth, monkeypatch):
    from meshflow.drawing import grid, layers

    order = {layer: rank for rank, layer in enumerate(layers.LAYERS)}
    monkeypatch.setattr(grid, "cut_rank", lambda stroke: (order[stroke.layer], 0, 0))  # layer by layer
    run(booth.job, out=booth.out)
    texts = [finding.text for finding in verify_folder(booth.out).findings if finding.code == "J126"]
    assert len(texts) == 2
    assert all("is cut after the one round it" in text for text in texts)
