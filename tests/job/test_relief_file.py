"""From a mesh file to a relief on the flat, and heights from a file to be mended."""

from __future__ import annotations

import json

import numpy as np
import pytest
from based_reliefs import based, cords
from PIL import Image
from worn_relief import disk, leaves, relief_of, rms, worn

from meshflow.errors import InputError, OptionError
from meshflow.job.relief import relief_file
from meshflow.mesh.write import write_mesh
from meshflow.model.finding import Finding, Severity
from meshflow.relief.height_file import read_height_file, relief_bytes

FILES = ("height-shade.png", "height.npz", "height.png", "lines.dxf", "lines.svg", "relief.json")


@pytest.fixture(scope="module")
def panel(tmp_path_factory):
    """A panel with cords on a slanting plane, noise 0.03 mm."""
    truth = based("plane", noise=0.03, edge=0.8)
    return write_mesh(truth.surface, tmp_path_factory.mktemp("panel") / "panel.ply")


@pytest.fixture(scope="module")
def made(panel, tmp_path_factory):
    out = tmp_path_factory.mktemp("made")
    return relief_file(panel, out=out, units="mm"), out


def test_a_panel_becomes_heights_pictures_lines_and_figures(made):
    (drawn, published), out = made
    assert published.files == FILES
    assert drawn.base.kind == "plane"
    assert drawn.separable is True
    figures = json.loads((out / "relief.json").read_text())
    assert figures["schema"] == "meshflow-relief-1"
    assert figures["base"] == "plane"
    assert figures["rmse_mm"] == pytest.approx(0.03, abs=0.01)
    assert figures["separable"] is True
    assert figures["height_range_mm"] == pytest.approx([0.0, 1.5], abs=0.15)
    assert figures["noise_mm"] == pytest.approx(0.03, rel=0.1)
    assert figures["area_mm2"] == pytest.approx(4000.0, rel=0.01)
    assert {"findings", "lines", "mended", "pitch_mm", "base_reason", "flat_strain_p99"} <= set(figures)


def test_the_heights_written_are_those_of_the_cords(made):
    (drawn, _), out = made
    relief = read_height_file(out / "height.npz")
    assert np.abs(relief.height - drawn.relief.height).max() < 1e-6
    # An 80 by 50 mm panel lies along x about the middle of its cords: the height of a row is that of a cosine.
    x, y = np.meshgrid(relief.x - relief.x.mean(), relief.y - relief.y.mean())
    best = min(
        rms(relief.height, cords(turn * x + dx, turn * y), relief.inside)
        for turn in (1, -1)
        for dx in np.linspace(-6, 6, 241)
    )
    assert best < 0.05


def test_the_picture_written_is_sixteen_bits_and_the_shade_can_be_looked_at(made):
    (drawn, _), out = made
    with Image.open(out / "height.png") as image:
        assert image.mode == "I;16"
        assert image.size == drawn.relief.shape[::-1]
    with Image.open(out / "height-shade.png") as image:
        assert image.mode == "L"
        assert max(image.size) >= 900
        assert np.asarray(image).std() > 20


def test_the_same_scan_gives_the_same_bytes(made, panel, tmp_path):
    relief_file(panel, out=tmp_path, units="mm")
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (made[1] / name).read_bytes(), name


def test_a_turn_turns_the_flat(made, panel, tmp_path):
    drawn, _ = relief_file(panel, out=tmp_path, units="mm", turn_deg=90.0)
    high, wide = drawn.relief.shape
    assert high > wide
    assert made[0][0].relief.shape[1] > made[0][0].relief.shape[0]


def test_a_region_alone_is_lifted(panel, tmp_path):
    drawn, _ = relief_file(panel, out=tmp_path, units="mm", region="at=14.4,-19.2,32 radius=15")
    assert drawn.relief.area_mm2 == pytest.approx(np.pi * 225, rel=0.1)  # the radius runs over the cords


# ------------------------------------------------------------------------------------------------------- from heights


@pytest.fixture
def rosette(tmp_path):
    true = relief_of(leaves(8, (20.3, 21.0)), disk((20.3, 21.0), 18), width=41, high=41)
    rough = worn(true)
    (tmp_path / "rosette.npz").write_bytes(relief_bytes(rough))
    return true, rough, tmp_path / "rosette.npz"


def test_heights_made_before_come_in_to_be_mended(rosette, tmp_path):
    true, rough, file = rosette
    drawn, published = relief_file(file, out=tmp_path / "out", fold=8, smooth_mm=1.5)
    assert published.files == FILES
    assert rms(drawn.relief.height, true.height, true.inside) < 0.5 * rms(rough.height, true.height, true.inside)
    figures = json.loads((tmp_path / "out" / "relief.json").read_text())
    assert [step["what"] for step in figures["mended"]] == ["symmetrised", "smoothed"]
    assert figures["base"] is None
    assert figures["separable"] is None


def test_a_retouched_picture_comes_in_at_its_own_scale(rosette, tmp_path):
    relief_file(rosette[2], out=tmp_path / "one")
    drawn, _ = relief_file(tmp_path / "one" / "height.png", out=tmp_path / "two")
    assert np.abs(drawn.relief.height - rosette[1].height).max() < 1e-4
    assert drawn.relief.pitch_mm == 0.25


def test_the_file_that_is_read_is_not_written_over(rosette, tmp_path):
    relief_file(rosette[2], out=tmp_path / "one")
    before = (tmp_path / "one" / "height.png").read_bytes()
    with pytest.raises(OptionError):
        relief_file(tmp_path / "one" / "height.png", out=tmp_path / "one", smooth_mm=2.0)
    assert (tmp_path / "one" / "height.png").read_bytes() == before


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"units": "mm"}, "units"),
        ({"region": "label=1"}, "region"),
        ({"ornament": "sunk", "wavelength_mm": 20.0}, "ornament, wavelength"),
        ({"base": "plane", "seam": "0,0,0"}, "seam, base"),
        ({"pitch_mm": 0.1}, "own scale"),
        ({"round_mm": 30.0}, "repeats"),
        ({"fold": 8, "repeats": True}, "two things"),
    ],
)
def test_options_that_heights_cannot_follow_are_refused(rosette, tmp_path, options, word):
    with pytest.raises(OptionError, match=word):
        relief_file(rosette[2], out=tmp_path / "out", **options)
    assert not (tmp_path / "out").exists()


def test_folds_that_stay_in_the_flat_are_said_with_the_relief(panel, tmp_path, monkeypatch):
    note = Finding("E115", Severity.WARNING, "folds stay.", "Pick less.")
    monkeypatch.setattr("meshflow.job.relief_lifted._said_left", lambda region, left: (note,))
    drawn, _ = relief_file(panel, out=tmp_path, units="mm")
    assert [said.code for said in drawn.notes].count("E115") == 1
    assert "E115" in (tmp_path / "relief.json").read_text()


def test_the_side_of_the_ornament_and_the_wavelength_reach_the_base(panel, tmp_path):
    drawn, _ = relief_file(panel, out=tmp_path, units="mm", base="free", ornament="sunk", wavelength_mm=21.0)
    assert drawn.base.parameters["wavelength_mm"] == 21.0
    assert "E105" in [said.code for said in drawn.notes]
    with pytest.raises(OptionError, match="wavelength"):
        relief_file(panel, out=tmp_path / "no", units="mm", wavelength_mm=-1.0)
    assert not (tmp_path / "no").exists()


@pytest.mark.parametrize("text", ["nowhere.txt", "1,2", "1,2,x"])
def test_ground_that_is_neither_points_nor_a_file_is_refused(panel, tmp_path, text):
    with pytest.raises(OptionError, match="neither points nor a file"):
        relief_file(panel, out=tmp_path, units="mm", ground=text)


def test_a_row_that_is_no_point_is_named(panel, tmp_path):
    (tmp_path / "ground.txt").write_text("# where it shows\n1 2 3\n\n4, 5, six\n")
    with pytest.raises(InputError, match=r"ground\.txt:4"):
        relief_file(panel, out=tmp_path / "out", units="mm", ground=str(tmp_path / "ground.txt"))
    (tmp_path / "ground.txt").write_text("# nothing\n")
    with pytest.raises(InputError, match="no points"):
        relief_file(panel, out=tmp_path / "out", units="mm", ground=str(tmp_path / "ground.txt"))


def test_a_range_for_a_scan_is_refused(panel, tmp_path):
    with pytest.raises(OptionError, match="picture"):
        relief_file(panel, out=tmp_path, units="mm", range_mm=(0.0, 2.0))
