"""A filled hole stays said all the way: mended file, pattern, drawing, figures, record, document, and back from DXF."""

from __future__ import annotations

import html
import json
import re

import numpy as np
import pytest
from click.testing import CliRunner
from meshes import saddle
from meshflow_cli.main import cli

from meshflow.drawing import read_part
from meshflow.geometry.triangles import face_areas
from meshflow.job.run import run
from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Evidence, Surface, evidence_words

JOB = """\
title = "Outside row, third horse"

[[part]]
name = "skirt"
mesh = "skirt_mended.ply"
units = "mm"
material = "leather"
thickness = "3 mm"
side = "outer"

[[part]]
name = "flap"
mesh = "skirt_mended.ply"
region = "at=-30,-30,5 radius=12"
units = "mm"
material = "leather"
thickness = "3 mm"
side = "outer"

[[sheet]]
size = "400x300"
material = "leather"
thickness = "3 mm"

[nest]
effort = 1

[output]
png = false
dxf = ["R12", "R2010"]
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A saddle skirt scanned with a hole of 20 mm, mended by the command and run as a job; the folder and the share."""
    folder = tmp_path_factory.mktemp("skirt")
    vertices, faces = saddle(40.0, 150.0, 31)
    hole = np.linalg.norm(vertices[faces].mean(axis=1)[:, :2], axis=1) < 10.0
    write_mesh(Surface(vertices, faces[~hole]), folder / "skirt.ply")
    said = CliRunner().invoke(
        cli,
        f"mend {folder}/skirt.ply --units mm --max-deviation 0.1 --fill-holes 40 --out {folder}/skirt_mended.ply",
        catch_exceptions=False,
    )
    assert "Filled 1 hole" in said.output
    scan = read_mesh(folder / "skirt_mended.ply", units="mm")
    area = face_areas(scan.vertices, scan.faces)
    share = float(area[np.asarray(scan.evidence) == Evidence.CONJECTURED].sum() / area.sum())
    assert share == pytest.approx(np.pi * 10**2 / 80**2, rel=0.1)
    (folder / "job.toml").write_text(JOB)
    result = run(folder / "job.toml", out=folder / "out")
    assert result.complete
    return folder / "out", share


def said_of(share):
    return f"{100 * share:.1f} % of this piece is conjecture (filled in)"


def test_the_drawing_says_it_in_every_format_and_reads_it_back(made):
    out, share = made
    for name in ("skirt.dxf", "skirt.R12.dxf", "skirt.svg"):
        text = (out / "patterns" / name).read_text()
        assert f"Part skirt: {said_of(share)}" in text.replace("\n999\n", " "), name
    for name in ("skirt.dxf", "skirt.R12.dxf"):
        assert read_part(out / "patterns" / name).conjectured_share == pytest.approx(share, rel=0.01)


def test_the_sheet_says_which_of_its_parts_it_is(made):
    out, share = made
    (sheet,) = (out / "sheets").glob("*.svg")
    text = sheet.read_text()
    assert f"Part skirt: {said_of(share)}" in text
    assert "Part flap" not in text


def test_figures_record_and_document_say_it(made):
    out, share = made
    figures = json.loads((out / "patterns" / "skirt.distortion.json").read_text())
    assert figures["conjectured_share"] == pytest.approx(share, rel=0.01)
    assert figures["mirrored_share"] == 0.0
    record = json.loads((out / "job.record.json").read_text())
    skirt, flap = record["parts"]
    assert skirt["conjectured_share"] == pytest.approx(share, rel=0.01)
    (note,) = [finding for finding in skirt["findings"] if finding["code"] == "R108"]
    assert said_of(share) in note["text"]
    assert len(note["faces"]) > 10
    page = html.unescape((out / "job.html").read_text()).replace("\N{NO-BREAK SPACE}", " ")
    assert said_of(share) in page
    assert "skirt: " in page
    assert "of it is conjecture" in page  # among what to mind before cutting
    assert flap["conjectured_share"] == 0.0
    assert not [finding for finding in flap["findings"] if finding["code"] == "R108"]


def test_a_drawing_that_lies_about_its_share_counts_as_all_conjecture(made, tmp_path):
    out, _ = made
    text = (out / "patterns" / "skirt.R12.dxf").read_text()
    broken = re.sub(r"conjectured_share=[0-9.]+", "conjectured_share=soon", text)
    assert broken != text
    (tmp_path / "skirt.dxf").write_text(broken)
    assert read_part(tmp_path / "skirt.dxf").conjectured_share == 1.0


@pytest.mark.parametrize(
    ("shares", "words"),
    [
        ((0.0, 0.0), ""),
        ((4e-4, 0.0), ""),
        ((0.25, 0.0), "25.0 % of this piece is conjecture (filled in); the rest was measured."),
        ((0.0, 0.5), "50.0 % of this piece is mirrored from the other side; the rest was measured."),
        ((1.0, 0.0), "100.0 % of this piece is conjecture (filled in)."),
    ],
)
def test_the_sentence(shares, words):
    assert evidence_words(*shares) == words
