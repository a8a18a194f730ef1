"""The damaged files of the corpus, read, checked and mended: each gets the answer its manifest asks for."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from meshflow.errors import MeshFileError
from meshflow.mesh.check import check
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh

BROKEN = Path(__file__).parents[1] / "data" / "broken"
MANIFEST = {entry["file"]: entry for entry in json.loads((BROKEN / "manifest.json").read_text(encoding="utf-8"))}

# Findings, size after mending, what is left to say. The manifest says why; counts are those of the scripts that made
# the files: 798 corners on others of 960, 46 turned faces, 60 islands, 3 flat faces, 3 points pulled out to 40 mm.
ANSWERS = {
    "geo_duplicate_vertices.obj": ({"M110": 798}, (162, 320), {}),
    "geo_near_duplicate_1e-4.obj": ({"M110": 798}, (162, 320), {}),
    "geo_zero_area_faces.obj": ({"M201": 3}, (8, 12), {}),
    "geo_flipped_some.obj": ({"M116": 46}, (162, 320), {}),
    "geo_inside_out.obj": ({"M117": 1}, (162, 320), {}),
    "geo_t_junction.obj": ({"M118": 2, "M119": 2, "M204": 1}, (6, 5), {"M119": 1}),
    "geo_bowtie_vertex.obj": ({"M110": 1, "M115": 1, "M118": 2}, (323, 640), {"M115": 1, "M118": 2}),
    "geo_self_intersect.obj": ({"M118": 2, "M203": 15}, (16, 24), {"M118": 2, "M203": 15}),
    "geo_duplicate_faces.obj": ({"M112": 4}, (8, 12), {}),
    "geo_duplicate_faces_flipped.obj": ({"M113": 12}, (8, 24), {"M113": 12}),
    "geo_floating_islands.obj": ({"M301": 60}, (162, 320), {}),
    "geo_unreferenced_vertices.obj": ({"M111": 5}, (8, 12), {}),
    "geo_noise_spikes.obj": ({"M303": 3, "M304": 1}, (162, 320), {"M303": 3, "M304": 1}),
    "geo_sliver.obj": ({"M119": 1, "M202": 1}, (4, 3), {"M119": 1, "M202": 1}),
    "geo_single_triangle.obj": ({"M119": 1}, (3, 1), {"M119": 1}),
    "ico_micro_1e-6.stl": ({"M110": 798, "M206": 1}, (162, 320), {"M206": 1}),
    "ico_offset_1e6.obj": ({"M205": 1}, (162, 320), {"M205": 1}),
}


def test_every_file_of_the_corpus_with_a_damaged_surface_has_an_answer():
    damaged = {name for name in MANIFEST if name.startswith("geo_")}
    assert damaged <= {*ANSWERS, "geo_all_collinear.obj"}


@pytest.mark.parametrize("name", ANSWERS)
def test_the_file_gets_its_answer(name):
    found, size, left = ANSWERS[name]
    surface = read_mesh(BROKEN / name, units="mm")
    report = check(surface)
    assert report.usable
    assert {finding.code: finding.count for finding in report.findings} == found
    if MANIFEST[name]["expect"] in {"ok_note", "repair"}:
        assert found
    mended = mend(surface)
    assert (len(mended.vertices), len(mended.faces)) == size
    after = check(replace(mended, notes=()))
    assert {finding.code: finding.count for finding in after.findings} == left


def test_a_file_without_area_is_refused_by_the_check_and_by_mending():
    surface = read_mesh(BROKEN / "geo_all_collinear.obj", units="mm")
    assert not check(surface).usable
    with pytest.raises(MeshFileError, match=r"geo_all_collinear\.obj: nothing is left"):
        mend(surface)
