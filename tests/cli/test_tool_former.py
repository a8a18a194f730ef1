"""`meshflow tool former`: from a scan to a block a shop can mill."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest
import trimesh
from tool_jobs import scan
from workshop import contents

from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

MM = ("--units", "mm")
PLAIN = ("--smooth", "none", "--pitch", "2", "--thickness", "2")


def dome(x, y):
    """A cap of a ball of 40 mm, its top at 0."""
    return np.sqrt(40.0**2 - x**2 - y**2) - 40.0


@pytest.fixture
def piece(tmp_path):
    return write_mesh(scan(dome, step=2.0), tmp_path / "seat.ply")


def test_it_writes_a_closed_block_whose_face_lies_inside_the_scan_by_thickness_and_padding(meshflow, piece, tmp_path):
    out = tmp_path / "tool"
    said = meshflow("tool", "former", piece, *MM, *PLAIN, "--padding", "1", "--direction", "0,0,1", "--out", out)
    assert said.code == 0, said.err
    block = trimesh.load(out / "seat-block.stl")
    assert block.is_watertight
    assert block.volume > 0
    assert (out / "seat-block.3mf").exists()
    record = json.loads((out / "tool.json").read_text())
    assert record["kind"] == "former"
    (told,) = record["solids"]
    assert told["size_mm"] == pytest.approx(block.extents, abs=0.01)
    assert told["volume_mm3"] == pytest.approx(block.volume, rel=1e-4)
    # the outer face was scanned: a ball of 40 mm, so the block is one of 37 mm about the same middle
    face = block.vertices[block.vertex_normals[:, 2] > 0.9]
    top = face[face[:, 2] > block.bounds[1, 2] - 1.5]
    middle = np.array([*block.bounds[:, :2].mean(axis=0), block.bounds[1, 2] - 37.0])
    assert np.linalg.norm(top - middle, axis=1) == pytest.approx(37.0, abs=0.06)
    for drawing in ("plan", "sections"):
        document = ezdxf.readfile(out / f"seat-{drawing}.dxf")
        assert document.header["$INSUNITS"] == 4
        assert len(document.modelspace()) > 0
    assert record["cautions"]
    assert all(caution.split()[0] in said.out for caution in record["cautions"])


def ball_through(points):
    """Radius of the ball that fits the points best, and how high its middle lies above them."""
    solved = np.linalg.lstsq(np.column_stack([2.0 * points, np.ones(len(points))]), (points**2).sum(axis=1))[0]
    return float(np.sqrt(solved[3] + solved[:3] @ solved[:3])), float(solved[2] - points[:, 2].mean())


@pytest.mark.parametrize(
    ("words", "radius", "hollow"),
    [
        (("--direction", "0,0,1"), 38.0, False),
        (("--direction", "0,0,1", "--side", "middle"), 39.0, False),
        (("--direction", "0,0,1", "--side", "inner"), 40.0, False),
        (("--direction", "0,0,-1", "--work", "into"), 40.0, True),
        (("--direction", "0,0,-1", "--work", "into", "--side", "inner", "--padding", "1"), 43.0, True),
    ],
)
def test_the_face_of_the_block_is_a_ball_of_the_radius_that_side_and_work_leave(
    meshflow, piece, tmp_path, words, radius, hollow
):
    said = meshflow("tool", "former", piece, *MM, *PLAIN, *words, "--vents", "0", "--out", tmp_path / "tool")
    assert said.code == 0, said.err
    block = trimesh.load(tmp_path / "tool" / "seat-block.stl")
    assert block.is_watertight
    away = np.linalg.norm(block.vertices[:, :2] - block.bounds[:, :2].mean(axis=0), axis=1)
    face = block.vertices[(away < 8.0) & (block.vertex_normals[:, 2] > 0.5)]
    assert len(face) > 20
    fitted, above = ball_through(face)
    assert fitted == pytest.approx(radius, rel=0.03)
    assert (above > 0) == hollow


def test_two_runs_write_the_same_bytes_and_the_second_replaces_the_first(meshflow, piece, tmp_path):
    words = ("tool", "former", piece, *MM, *PLAIN, "--out")
    assert meshflow(*words, tmp_path / "one").code == 0
    before = contents(tmp_path / "one")
    assert meshflow(*words, tmp_path / "one").code == 0
    assert meshflow(*words, tmp_path / "two").code == 0
    assert contents(tmp_path / "one") == before == contents(tmp_path / "two")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--draft", "80"), 1, "draft of 80"),
        (("--draft", "nan"), 1, "draft of nan"),
        (("--direction", "0,0,0"), 1, "direction"),
        (("--direction", "up"), 2, "up"),
        (("--vents", "-1"), 1, "-1 vent"),
        (("--machine", "lathe"), 1, "lathe"),
        (("--side", "top"), 2, "top"),
        (("--work", "under"), 2, "under"),
        (("--pitch", "0"), 2, "0"),
        (("--region", "label=7"), 1, "label"),
        (("--region", "at=0,0,0 radius=0.1"), 1, "seat.ply"),
        (("--padding", "60"), 1, "seat.ply"),
        (("--stock", "none.toml"), 1, "none.toml"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_is_written(meshflow, piece, tmp_path, words, code, said):
    out = tmp_path / "tool"
    found = meshflow("tool", "former", piece, *MM, *PLAIN, *words, "--out", out)
    assert found.code == code, found.out
    assert said in found.err
    assert not out.exists() or not any(out.iterdir())


@pytest.mark.parametrize(
    ("data", "said"),
    [(b"", "seat.ply"), (b"ply\nformat ascii 1.0\nend_header\n", "seat.ply"), (b"\0" * 300, "seat.ply")],
)
def test_a_file_that_is_no_mesh_is_refused_with_its_name(meshflow, piece, tmp_path, data, said):
    piece.write_bytes(data)
    found = meshflow("tool", "former", piece, *MM, *PLAIN, "--out", tmp_path / "tool")
    assert found.code == 1
    assert said in found.err
    assert meshflow("tool", "former", tmp_path / "none.ply", *MM, *PLAIN, "--out", tmp_path / "tool").code == 1


def test_a_mesh_without_its_unit_or_a_closed_body_is_refused(meshflow, piece, tmp_path):
    found = meshflow("tool", "former", piece, *PLAIN, "--out", tmp_path / "tool")
    assert found.code == 1
    assert "--units" in found.err
    ball = write_mesh(Surface(*meshes.closed_ball(20.0)), tmp_path / "ball.ply")
    found = meshflow("tool", "former", ball, *MM, *PLAIN, "--out", tmp_path / "tool")
    assert found.code == 1
    assert "ball" in found.err
