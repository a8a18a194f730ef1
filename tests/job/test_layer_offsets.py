"""A layer's offset all the way through: job file, pattern, drawing, record."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run
from meshflow.job.single import flatten_file
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

JOB = """\
title = "Saddle of the grey horse"

[[part]]
name = "padding"
mesh = "seat.ply"
units = "mm"
material = "leather"
thickness = "6 mm"
side = "inner"

[[part]]
name = "cover"
mesh = "seat.ply"
units = "mm"
material = "leather"
thickness = "1.6 mm"
side = "inner"
offset = "6 mm"
"""

ANGLE, RADIUS = np.radians(120), 150.0


@pytest.fixture
def seat(tmp_path):
    mesh = meshes.developable_cylinder(RADIUS, ANGLE, 60.0, 91, 9)
    write_mesh(Surface(*mesh), tmp_path / "seat.ply")
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path


def test_each_layer_of_a_job_is_cut_at_its_own_width_and_the_papers_say_so(seat):
    result = run(seat / "job.toml", out=seat / "out")
    widths = {made.plan.name: np.ptp(made.part.pattern.vertices, axis=0).max() for made in result.made}
    # phi (R + offset + t / 2); 90 facets are short by (phi / 90)^2 / 24 = 2e-5.
    assert widths["padding"] == pytest.approx(ANGLE * (RADIUS + 3.0), rel=5e-5)
    assert widths["cover"] == pytest.approx(ANGLE * (RADIUS + 6.0 + 0.8), rel=5e-5)
    record = json.loads((seat / "out" / "job.record.json").read_text())
    assert [(part["side"], part["offset_mm"]) for part in record["parts"]] == [("inner", 0.0), ("inner", 6.0)]
    assert [row["offset"] for row in record["options"]["part"]] == [0.0, 6.0]
    said = [note for part in record["parts"] for note in part["findings"] if note["code"] == "R112"]
    assert [note["text"] for note in said] == ["this layer's inner face lies 6 mm outside the scanned surface."]
    paper = (seat / "out" / "job.html").read_text()
    assert "Its inner face lies 6 mm outside the scanned surface; lay the pattern" in paper
    assert "The scan shows its inner face; lay the pattern" in paper  # the padding, which lies on the scan


def test_the_drawing_notes_where_the_layer_lies(seat):
    made, _ = flatten_file(
        seat / "seat.ply", out=seat / "out", units="mm", thickness_mm=1.0, side="outer", offset_mm=-2.5
    )
    assert made.part.pattern.region.offset_mm == -3.0
    text = (seat / "out" / "seat.dxf").read_text()
    assert "Layer: its outer face lies -2.5 mm outward of the scanned surface." in text
    (outline,) = ezdxf.readfile(seat / "out" / "seat.dxf").modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    said = [value for _, value in outline.get_xdata("MESHFLOW")]
    assert {"layer_offset_mm=-2.5", "side=outer"} <= set(said)
    figures = json.loads((seat / "out" / "seat.distortion.json").read_text())
    assert (figures["layer_offset_mm"], figures["offset_mm"]) == (-2.5, -3.0)


def test_what_lies_on_the_scan_says_nothing_of_it(seat):
    flatten_file(seat / "seat.ply", out=seat / "out", units="mm", thickness_mm=1.0, side="outer")
    assert "Layer:" not in (seat / "out" / "seat.dxf").read_text()


@pytest.mark.parametrize(
    ("value", "meant"),
    [('"-6 mm"', -6.0), ("-6.0", -6.0), ('"+1/4 in"', 6.35), ("0", 0.0), ('"9 oz leather"', 3.571875)],
)
def test_an_offset_is_a_length_with_a_sign(seat, value, meant):
    (seat / "job.toml").write_text(JOB.replace('offset = "6 mm"', f"offset = {value}"))
    assert load_job(seat / "job.toml").parts[1].offset_mm == pytest.approx(meant)


@pytest.mark.parametrize("value", ['"6"', '"6 oz"', "true", "600.0", '"--6 mm"', "nan"])
def test_an_offset_that_is_none_is_refused_with_its_line(seat, value):
    (seat / "job.toml").write_text(JOB.replace('offset = "6 mm"', f"offset = {value}"))
    with pytest.raises(JobFileError, match=r"job\.toml:18: part\[2\]\.offset"):
        load_job(seat / "job.toml")
