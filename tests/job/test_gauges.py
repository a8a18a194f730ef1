"""Sections of a file: stations, figures and files."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest
import trimesh

from meshflow.errors import OptionError, SelectionError
from meshflow.job.gauges import MOST_SECTIONS, section_file, stations
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface


@pytest.fixture
def horse(tmp_path):
    """A closed lump of about 130 x 100 x 80 mm, as STL."""
    return write_mesh(Surface(*meshes.lopsided_blob(3)), tmp_path / "horse.stl")


def test_stations_are_whole_multiples_along_the_longest_axis():
    lump = Surface(*meshes.lopsided_blob(3))
    planes = stations(lump, 25.0)
    assert {plane[:3] for plane in planes} == {(1.0, 0.0, 0.0)}
    assert [plane[3] for plane in planes] == [-25.0, 0.0, 25.0, 50.0, 75.0]


def test_a_station_at_the_very_end_is_left_out():
    box = Surface(*meshes.closed_box((40, 30, 20)))
    assert [plane[3] for plane in stations(box, 10.0)] == [10.0, 20.0, 30.0]
    assert [plane[3] for plane in stations(box, 8.0, along="z")] == [8.0, 16.0]


@pytest.mark.parametrize(("every", "said"), [(0.0, "makes no stations"), (np.nan, "makes no"), (99.0, "no whole"),
                                             (1e-3, "200 are the most")])  # fmt: skip
def test_a_spacing_that_makes_no_good_set_is_refused(every, said):
    assert MOST_SECTIONS == 200
    with pytest.raises(OptionError, match=said):
        stations(Surface(*meshes.closed_box((40, 30, 20))), every)


def test_lengths_and_areas_are_those_of_a_second_library(horse, tmp_path):
    found, published = section_file(horse, out=tmp_path / "out", units="mm", every_mm=30.0)
    reference = trimesh.load(horse)
    for cut in found.cuts:
        normal, distance = np.array(cut.plane[:3]), cut.plane[3]
        outline = reference.section(normal, normal * distance)
        assert cut.section.length_mm == pytest.approx(outline.length, rel=1e-5)
        assert cut.girth_mm == cut.section.length_mm
        flat, _ = outline.to_2D()
        assert cut.section.area_mm2 == pytest.approx(flat.area, rel=1e-5)
    figures = json.loads((tmp_path / "out" / "horse.sections.json").read_text())
    assert [row["label"] for row in figures["sections"]][:2] == ["01 X=-30", "02 X=0"]
    assert figures["source_sha256"] == found.source.sha256
    assert "horse-section-01.dxf" in published.files


@pytest.mark.slow
def test_the_files_are_the_same_bytes_again_and_gauges_share_their_plate(horse, tmp_path):
    for folder in ("one", "two"):
        section_file(horse, out=tmp_path / folder, units="mm", every_mm=40.0, gauge_mm=20.0)
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    plates = set()
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
        if name.endswith(".dxf"):
            document = ezdxf.readfile(tmp_path / "one" / name)
            (plate,) = document.modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
            plates.add(tuple(plate.get_points("xy")))
    assert len(plates) == 1


def test_a_plane_that_misses_writes_nothing(horse, tmp_path):
    with pytest.raises(SelectionError, match=r"horse\.stl: .* misses the surface"):
        section_file(horse, out=tmp_path / "out", units="mm", planes=[(0, 0, 1, 0), (0, 0, 1, 999)])
    assert not (tmp_path / "out").exists()


def test_sections_of_an_earlier_run_are_named_and_left(horse, tmp_path):
    section_file(horse, out=tmp_path / "out", units="mm", every_mm=30.0)
    _, published = section_file(horse, out=tmp_path / "out", units="mm", planes=[(0, 0, 1, 5)])
    assert "horse-section-02.dxf" in published.left
    assert "horse-section-01.dxf" not in published.left
    assert (tmp_path / "out" / "horse-section-02.dxf").exists()
