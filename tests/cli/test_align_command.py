"""``meshflow align``, ``mirror``, ``resize`` and ``measure``: what they write and print, and what they refuse."""

from __future__ import annotations

import json

import meshes
import numpy as np
import pytest

from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Evidence, Surface


@pytest.fixture
def bench(tmp_path, monkeypatch, meshflow):
    """A boss, lopsided and turned; a rosette, symmetric about y = 0; and a box of 40 x 30 x 20 mm."""
    monkeypatch.chdir(tmp_path)
    vertices, faces = meshes.lopsided_blob(2)
    write_mesh(Surface(vertices, faces, face_sets={"label:7": [3]}), tmp_path / "boss.ply")
    write_mesh(Surface(meshes.turned(vertices, 2), faces), tmp_path / "boss-turned.stl")
    write_mesh(Surface(*meshes.mirrored_blob(2)), tmp_path / "rosette.ply")
    write_mesh(Surface(*meshes.closed_box((40.0, 30.0, 20.0)), face_sets={"label:1": [2, 3]}), tmp_path / "box.ply")
    return meshflow


def mesh(path):
    return read_mesh(path, units="mm")


# --------------------------------------------------------------------------------------------------------------- align


def test_three_points_set_a_scan_on_its_datum_and_keep_its_marks(bench, tmp_path):
    points = "10,0,0 10,5,0 0,0,0"
    said = bench("align", "boss.ply", "--units", "mm", "--points", points, "--out", "set.ply")
    assert (said.code, said.err) == (0, "")
    assert said.out.splitlines()[0] == "boss.ply: set on three points"
    before, after = mesh("boss.ply"), mesh("set.ply")
    # x of the datum is y of the file, y runs against its x
    np.testing.assert_allclose(
        after.vertices, (before.vertices - [10, 0, 0]) @ [[0, -1, 0], [1, 0, 0], [0, 0, 1]], atol=1e-9
    )
    assert after.face_sets["label:7"].tolist() == [3]


def test_on_its_axes_the_longest_lies_along_x_and_a_round_piece_is_warned_of(bench):
    said = bench("align", "box.ply", "--units", "cm", "--axes", "--out", "set.3mf")
    assert said.code == 0
    set_box = read_mesh("set.3mf")
    np.testing.assert_allclose(set_box.extent_mm, (400.0, 300.0, 200.0))
    np.testing.assert_allclose(set_box.vertices.mean(axis=0), 0.0, atol=1e-9)
    assert "A109" not in said.out


def test_a_scan_is_laid_on_another_and_the_residual_is_said(bench):
    words = ("align", "boss-turned.stl", "--units", "mm", "--onto", "boss.ply", "--out", "on.ply")
    said = bench(*words)
    assert said.code == 0
    assert "laid on boss.ply" in said.out
    assert "residual" in said.out
    found = mesh("on.ply")
    np.testing.assert_allclose(np.sort(found.vertices, axis=0)[-1], mesh("boss.ply").vertices.max(axis=0), atol=1e-4)
    data = json.loads(bench(*words, "--json").out)
    assert data["schema"] == "meshflow-align-1"
    assert data["fit"]["residual_mm"] < 1e-4
    assert data["onto"] == "boss.ply"


# -------------------------------------------------------------------------------------------------------------- mirror


def test_without_more_words_the_plane_is_found_and_nothing_written(bench, tmp_path):
    before = sorted(tmp_path.iterdir())
    said = bench("mirror", "rosette.ply", "--units", "mm", "--json")
    data = json.loads(said.out)
    assert said.code == 0
    np.testing.assert_allclose(np.abs(data["plane"]["normal"]), [0, 1, 0], atol=1e-6)
    assert data["found"]["residual_mm"] < 1e-6
    assert sorted(tmp_path.iterdir()) == before


def test_a_lopsided_piece_is_refused_with_the_plane_to_give_if_it_is_meant(bench, tmp_path):
    said = bench("mirror", "boss.ply", "--units", "mm", "--average", "--out", "even.ply")
    assert said.code == 1
    assert "boss.ply: the piece is not symmetric" in said.err
    assert "If that is the plane you mean, give it: " in said.err
    assert not (tmp_path / "even.ply").exists()
    assert bench("mirror", "boss.ply", "--units", "mm").code == 1


def test_the_side_of_the_point_is_kept_and_the_other_is_marked_as_mirrored(bench):
    for y in (30, -30):
        said = bench(
            "mirror", "boss.ply", "--units", "mm", "--plane", "0,2,0,0", "--keep", f"0,{y},0", "--out", "whole.ply"
        )
        assert (said.code, said.err) == (0, "")
        assert "plane 0,1,0,0, as given" in said.out
        assert "mirrored  50.0% of the surface, marked as such" in said.out
        whole = mesh("whole.ply")
        side = whole.vertices[whole.faces].mean(axis=1)[:, 1] * y > 0
        assert (side == (whole.evidence == Evidence.MEASURED)).all()


def test_the_other_hand_keeps_every_face_and_stl_is_said_to_lose_the_mark(bench):
    said = bench("mirror", "boss.ply", "--units", "mm", "--plane", "1,0,0,0", "--image", "--out", "left.stl")
    assert said.code == 0
    assert "STL cannot say" in said.out
    left, right = mesh("left.stl"), mesh("boss.ply")
    volumes = [meshes.enclosed_volume(one.vertices, one.faces) for one in (left, right)]
    assert volumes[0] == pytest.approx(volumes[1], rel=1e-5)
    np.testing.assert_allclose(left.vertices[:, 0].min(), -right.vertices[:, 0].max(), rtol=1e-5)


def test_completed_and_averaged_pieces_are_written(bench):
    vertices, faces = meshes.mirrored_blob(3)
    lacks = (vertices[faces].mean(axis=1) > [0, 15, -99]).all(axis=1)
    write_mesh(Surface(vertices, faces[~lacks]), "worn.ply")
    said = bench("mirror", "worn.ply", "--units", "mm", "--complete", "--out", "full.ply")
    assert said.code == 0
    assert "A111" in said.out
    assert (mesh("full.ply").evidence == Evidence.MIRRORED).sum() > 0.7 * lacks.sum()
    said = bench("mirror", "rosette.ply", "--units", "mm", "--average", "--plane", "0,1,0,0", "--out", "even.ply")
    assert said.code == 0
    assert "A112" in said.out


# -------------------------------------------------------------------------------------------------------------- resize


def test_a_scan_is_scaled_padded_or_brought_to_a_girth(bench):
    assert bench("resize", "box.ply", "--units", "mm", "--scale", "2,1,0.5", "--out", "scaled.ply").code == 0
    np.testing.assert_allclose(mesh("scaled.ply").extent_mm, (80.0, 30.0, 10.0))
    said = bench("resize", "box.ply", "--units", "mm", "--girth", "15 cm", "--at", "0,0,1,5", "--out", "worn.ply")
    assert "girth     140 mm becomes 150 mm" in said.out
    box = mesh("worn.ply")
    np.testing.assert_allclose(box.extent_mm, np.array([40.0, 30, 20]) * 150 / 140)
    # the plane of the girth stays: it still cuts a quarter of the height off
    assert (5.0 - box.vertices[:, 2].min()) / box.extent_mm[2] == pytest.approx(0.25)
    assert bench("resize", "rosette.ply", "--units", "mm", "--pad", "3", "--out", "padded.ply").code == 0
    grown = np.linalg.norm(mesh("padded.ply").vertices, axis=1) - np.linalg.norm(mesh("rosette.ply").vertices, axis=1)
    assert grown == pytest.approx(3.0, abs=0.6)  # radially: the walls lean


# ------------------------------------------------------------------------------------------------------------- measure


def test_measures_are_printed_and_written_to_a_record(bench, tmp_path):
    said = bench(
        "measure", "box.ply", "--units", "mm", "--girth", "0,0,1,5", "--tape", "0,0,1,5 40,0,5", "--area", "label=1",
        "--area", "all", "--distance", "0,0,0 3,4,0", "--along", "20,15,20 20,0,10", "--thickness", "20,14,20",
        "--out", "box.json",
    )  # fmt: skip
    assert (said.code, said.err) == (0, "")
    data = json.loads((tmp_path / "box.json").read_text(encoding="utf-8"))
    assert data["schema"] == "meshflow-measure-1"
    # of the box: 2 (40 + 30) round; 40 x 30 on top; 15 mm on the top and 10 mm down its side; 20 mm thick
    exact = {"distance": 5, "along": 25, "girth": 140, "tape": 140, "thickness": 20}
    for one in data["measures"]:
        if one["kind"] != "area":
            assert one["value"] == pytest.approx(exact[one["kind"]])
            assert one["unit"] == "mm"
    areas = [one["value"] for one in data["measures"] if one["kind"] == "area"]
    assert areas == pytest.approx([1200.0, 2 * (1200 + 800 + 600)])
    assert "140.00 mm" in said.out
    printed = json.loads(bench("measure", "box.ply", "--units", "mm", "--girth", "0,0,1,5", "--json").out)
    assert printed["measures"][0]["value"] == pytest.approx(140.0)


@pytest.mark.parametrize(
    ("words", "code", "expected"),
    [
        (("align", "boss.ply", "--out", "x.ply", "--axes"), 1, "unit"),
        (("align", "boss.ply", "--units", "mm", "--out", "x.ply"), 2, "one of --points, --axes and --onto"),
        (("align", "boss.ply", "--units", "mm", "--out", "x.ply", "--points", "0,0,0 1,0,0"), 2, "3 points are needed"),
        (("align", "boss.ply", "--units", "mm", "--out", "x.ply", "--points", "0,0,0 1,0,0 2,0,0"), 1, "one line"),
        (("align", "boss.ply", "--units", "mm", "--out", "x.ply", "--onto", "none.ply"), 1, "none.ply"),
        (("mirror", "boss.ply", "--units", "mm", "--out", "x.ply"), 2, "Say what to make"),
        (("mirror", "boss.ply", "--units", "mm", "--average"), 2, "Say where to write"),
        (("mirror", "boss.ply", "--units", "mm", "--image", "--out", "x.ply"), 2, "Say in which plane"),
        (("mirror", "boss.ply", "--units", "mm", "--image", "--average", "--out", "x.ply"), 2, "Say one of"),
        (("mirror", "boss.ply", "--units", "mm", "--plane", "0,0,0,1"), 2, "no direction"),
        (("mirror", "boss.ply", "--units", "mm", "--plane", "1,0,0,0", "--near", "1,0,0,0"), 2, "either --plane"),
        (
            ("mirror", "boss.ply", "--units", "mm", "--plane", "1,0,0,0", "--keep", "0,1,0", "--out", "x.ply"),
            1,
            "lies in the plane itself",
        ),
        (("resize", "box.ply", "--units", "mm", "--out", "x.ply"), 2, "Say the size"),
        (("resize", "box.ply", "--units", "mm", "--out", "x.ply", "--scale", "1,2"), 2, "no scale"),
        (("resize", "box.ply", "--units", "mm", "--out", "x.ply", "--girth", "9"), 2, "go together"),
        (("resize", "box.ply", "--units", "mm", "--out", "x.ply", "--girth", "9", "--at", "0,0,1,99"), 1, "misses"),
        (("measure", "box.ply", "--units", "mm"), 2, "Say what to measure"),
        (("measure", "box.ply", "--units", "mm", "--girth", "0,0,1"), 2, "four numbers"),
        (("measure", "box.ply", "--units", "mm", "--area", "label=9", "--out", "x.json"), 1, "area label=9"),
        (("measure", "box.ply", "--units", "mm", "--along", "0,0,0"), 2, "2 points are needed"),
    ],
)
def test_what_cannot_be_done_is_said_and_nothing_is_written(bench, tmp_path, words, code, expected):
    said = bench(*words)
    assert said.code == code
    assert expected in " ".join(said.err.split())
    assert not (tmp_path / "x.ply").exists()
