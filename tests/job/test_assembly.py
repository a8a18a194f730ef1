"""Layers fastened through one another, from the job file to the holes in the drawings."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

JOB = """\
title = "Apron of the band organ"
[[part]]
name = "cover"
mesh = "wall.ply"
units = "mm"
smooth = "none"
material = "leather"
thickness = "2 mm"
side = "inner"
[[part]]
name = "sheet"
mesh = "wall.ply"
units = "mm"
smooth = "none"
material = "copper"
thickness = "1 mm"
side = "outer"
tryout = "card"
[[assembly]]
name = "apron"
layers = ["cover", "sheet"]
diameter = "3.2 mm"
holes = ["{one}", "{other}"]
[[sheet]]
size = "400x300"
material = "leather"
thickness = "2 mm"
[nest]
effort = 1
"""
RADIUS, HEIGHT = 60.0, 50.0


def spot(degrees, height):
    turn = np.radians(degrees)
    return f"{RADIUS * np.cos(turn):.6f},{RADIUS * np.sin(turn):.6f},{height}"


def set_up(folder):
    wall = meshes.developable_cylinder(RADIUS, np.radians(90), HEIGHT, 91, 11)
    write_mesh(Surface(*wall), folder / "wall.ply")
    (folder / "job.toml").write_text(JOB.format(one=spot(25, 15.0), other=spot(65, 35.0)))
    return folder


@pytest.fixture
def bench(tmp_path):
    return set_up(tmp_path)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The bench after one run, not to be changed."""
    folder = set_up(tmp_path_factory.mktemp("apron"))
    assert run(folder / "job.toml", out=folder / "out").complete
    return folder


def circles(path):
    """Cut circles of a drawing, by a reader that is not ours."""
    space = ezdxf.readfile(path).modelspace()
    found = [e for e in space if e.dxftype() == "CIRCLE" and e.dxf.layer == "CUT_INSIDE"]
    return np.array(sorted((c.dxf.center.x, c.dxf.center.y, c.dxf.radius) for c in found))


def test_every_layer_gets_holes_apart_by_its_own_arc(made):
    # Closed form: 40 degrees and 20 mm of height apart; the middles bend about 61 and 59.5 mm.
    for name, radius in (("cover", 61.0), ("sheet", 59.5), ("sheet-tryout", 59.5)):
        (one, other) = circles(made / "out" / "patterns" / f"{name}.dxf")
        apart = np.hypot(*(other - one)[:2])
        assert apart == pytest.approx(np.hypot(np.radians(40.0) * radius, 20.0), abs=0.005), name
        assert one[2] == pytest.approx(1.6)


def test_the_figures_of_an_assembly_name_the_holes_of_each_drawing(made):
    figures = json.loads((made / "out" / "assemblies" / "apron.assembly.json").read_text())
    assert [layer["part"] for layer in figures["layers"]] == ["cover", "sheet"]
    for name in ("cover", "sheet"):
        said = sorted(
            tuple(layer["drawing_mm"])
            for hole in figures["holes"]
            for layer in hole["through"]
            if layer["part"] == name
        )
        assert np.allclose(said, circles(made / "out" / "patterns" / f"{name}.dxf")[:, :2], atol=1e-3)
    # READ_VIA NAVEDTRA 14018: grip and 1.5 diameters.
    assert [hole["grip_mm"] for hole in figures["holes"]] == pytest.approx([3.0, 3.0], abs=0.01)
    assert [hole["length_mm"] for hole in figures["holes"]] == pytest.approx([7.8, 7.8], abs=0.01)


def test_document_and_record_tell_of_the_assembly(made):
    page = (made / "out" / "job.html").read_text()
    assert "Layers that fit" in page
    assert "2 rivets through holes of 3.2 mm" in page
    assert "data:image/png;base64," in page
    record = json.loads((made / "out" / "job.record.json").read_text())
    assert record["assemblies"][0]["holes"] == 2
    assert "assemblies/apron.png" in [output["file"] for output in record["outputs"]]


def test_holes_that_miss_are_named_and_the_drawings_say_what_they_lack(bench):
    (bench / "job.toml").write_text(JOB.format(one=spot(25, 15.0), other=spot(130, 35.0)))
    result = run(bench / "job.toml", out=bench / "out")
    assert not result.complete
    assert "hole 2" in str(result.unassembled[0][1])
    codes = {made.plan.name: [note.code for note in made.notes] for made in result.made}
    assert all("L105" in codes[name] for name in ("cover", "sheet", "sheet-tryout"))
    assert "shared holes were not found" in (bench / "out" / "job.html").read_text()


def test_a_second_run_computes_nothing_again_and_a_moved_hole_flattens_nothing(bench):
    run(bench / "job.toml", out=bench / "out")
    assert run(bench / "job.toml", out=bench / "out").redone == 0
    (bench / "job.toml").write_text(JOB.format(one=spot(30, 15.0), other=spot(65, 35.0)))
    again = run(bench / "job.toml", out=bench / "out")
    assert "flatten" not in again.seconds
    assert "outline" in again.seconds


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('layers = ["cover", "shet"]', 'assembly[1].layers[2]: "shet" is no part'),
        ('layers = ["cover", "cover"]', "stands twice"),
        ('layers = ["cover"]', "must hold at least 2 entries"),
    ],
)
def test_layers_that_are_no_parts_are_named_with_their_line(bench, row, said):
    text = (bench / "job.toml").read_text().replace('layers = ["cover", "sheet"]', row)
    (bench / "job.toml").write_text(text)
    with pytest.raises(JobFileError) as error:
        load_job(bench / "job.toml")
    assert said in str(error.value)
    assert "job.toml:21" in str(error.value)


def test_a_hole_that_is_no_point_is_named(bench):
    (bench / "job.toml").write_text(JOB.format(one="1,2", other=spot(65, 35.0)))
    with pytest.raises(JobFileError, match="a point is three numbers"):
        load_job(bench / "job.toml")
