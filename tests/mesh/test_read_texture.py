"""Texture: every corner keeps its place in the picture, whatever is cut, dropped, welded or mended."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from meshes import saddle

from meshflow.mesh.carry import carried
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.mesh.weld import weld
from meshflow.model.surface import Surface

FOUR = "v 0 0 0\nv 4 0 0\nv 4 3 0\nv 0 3 0\nvt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\n"


def read(folder: Path, text: str) -> Surface:
    path = folder / "panel.obj"
    path.write_text(text)
    return read_mesh(path, units="mm")


def places(surface: Surface) -> list[object]:
    assert surface.texture_uv is not None
    return surface.texture_uv.tolist()


def is_its_position(surface: Surface, half: float) -> bool:
    """Whether every place is the position of its corner, in parts of the square."""
    assert surface.texture_uv is not None
    wanted = (surface.vertices[surface.faces][:, :, :2] + half) / (2 * half)
    return bool(np.allclose(surface.texture_uv, wanted, rtol=0, atol=1e-9))


def test_places_of_an_obj_follow_its_quads_when_these_are_cut(tmp_path: Path) -> None:
    surface = read(tmp_path, FOUR + "f 1/1 2/2 3/3 4/4\n")
    assert places(surface) == [[[0, 0], [1, 0], [1, 1]], [[0, 0], [1, 1], [0, 1]]]


def test_places_are_counted_back_from_where_they_stand(tmp_path: Path) -> None:
    surface = read(tmp_path, FOUR + "f 1/-4/9 2/-3 3/-2\nvt 0.5 0.5 0.1\nf 1/-1 3/3/ 4/4\nf 1//1 2 3/\n")
    assert places(surface)[:2] == [[[0, 0], [1, 0], [1, 1]], [[0.5, 0.5], [1, 1], [0, 1]]]
    assert np.isnan(surface.texture_uv[2]).all()
    assert surface.notes == ()


def test_a_concave_polygon_keeps_its_places_through_ear_clipping(tmp_path: Path) -> None:
    points = [(40, 10), (10, 10), (10, 30), (0, 30), (0, 0), (40, 0)]
    text = "".join(f"v {x} {y} 0\nvt {x / 40} {y / 40}\n" for x, y in points)
    surface = read(tmp_path, text + "f " + " ".join(f"{k}/{k}" for k in range(1, 7)) + "\n")
    assert surface.texture_uv is not None
    assert np.array_equal(surface.texture_uv * 40, surface.vertices[surface.faces][:, :, :2])


def test_dropped_facets_take_their_places_along(tmp_path: Path) -> None:
    surface = read(tmp_path, FOUR + "v nan 0 0\nf 1/1 2/2 5/3\nf 1/1 3/3 4/4\n")
    assert places(surface) == [[[0, 0], [1, 1], [0, 1]]]


@pytest.mark.parametrize(
    ("text", "count"),
    [("f 1/9 2/2 3/-9\n", 2), ("f 1/1.5 2/2 3/3\n", 1), ("f 1/1 2/2 3/nan\n", 1)],
)
def test_places_that_are_not_there_are_noted_and_the_shape_stays(tmp_path: Path, text: str, count: int) -> None:
    surface = read(tmp_path, FOUR + text)
    assert [(note.code, note.count) for note in surface.notes] == [("M108", count)]
    assert int(np.isnan(surface.texture_uv).all(axis=2).sum()) == count


@pytest.mark.parametrize("text", ["f 1/one 2/2 3/3\n", "vt\nf 1/1 2/2 3/3\n", "vt x y\nf 1/1 2/2 3/3\n"])
def test_places_that_are_no_numbers_leave_the_texture_out(tmp_path: Path, text: str) -> None:
    surface = read(tmp_path, FOUR + text)
    assert surface.texture_uv is None
    assert [note.code for note in surface.notes] == ["M108"]
    assert surface.faces.tolist() == [[0, 1, 2]]


def test_no_places_no_texture(tmp_path: Path) -> None:
    assert read(tmp_path, FOUR + "f 1 2 3\n").texture_uv is None
    assert read(tmp_path, FOUR + "f 1//1 2//1 3//1\n").texture_uv is None


def test_the_picture_is_that_of_the_materials_in_use(tmp_path: Path) -> None:
    (tmp_path / "skirt.mtl").write_text(
        "newmtl unused\nmap_Kd other.png\nnewmtl leather\n map_Kd -s 2 2 1 -clamp on tooled leather.png\r\nKd 1 1 1\n"
    )
    text = "mtllib skirt.mtl\n" + FOUR + "usemtl leather\nf 1/1 2/2 3/3\nusemtl bare\nf 1/1 3/3 4/4\n"
    surface = read(tmp_path, text)
    assert surface.texture_file == "tooled leather.png"
    assert surface.notes == ()
    (tmp_path / "skirt.mtl").write_text("newmtl leather\nmap_Kd a.png\nnewmtl bare\nmap_Kd b.png\n")
    surface = read(tmp_path, text)
    assert surface.texture_file is None
    assert [note.code for note in surface.notes] == ["M108"]
    assert "a.png, b.png" in surface.notes[0].text


def test_a_material_file_elsewhere_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "skirt.mtl").write_text("newmtl leather\nmap_Kd secret.png\n")
    inner = tmp_path / "inner"
    inner.mkdir()
    surface = read(inner, "mtllib ../skirt.mtl\n" + FOUR + "usemtl leather\nf 1/1 2/2 3/3\n")
    assert surface.texture_file is None
    assert [note.code for note in surface.notes] == ["M104"]


def test_a_material_file_of_blanks_takes_no_time(tmp_path: Path) -> None:
    (tmp_path / "skirt.mtl").write_bytes(b"map_Kd " + b" \t" * 1_000_000 + b"\n" + b"map_Kd -o" + b" -o 1" * 100_000)
    assert read(tmp_path, "mtllib skirt.mtl\n" + FOUR + "usemtl a\nf 1/1 2/2 3/3\n").texture_file is None


def textured_saddle() -> tuple[trimesh.Trimesh, float]:
    vertices, faces = saddle(half=40.0, count=7)
    uv = (vertices[:, :2] + 40.0) / 80.0
    return trimesh.Trimesh(vertices, faces, process=False, visual=trimesh.visual.TextureVisuals(uv=uv)), 40.0


@pytest.mark.parametrize("kind", ["glb", "ply", "obj"])
def test_places_of_an_independent_writer_are_read_upwards(tmp_path: Path, kind: str) -> None:
    mesh, half = textured_saddle()
    data = mesh.export(file_type=kind)
    path = tmp_path / f"saddle.{kind}"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    surface = read_mesh(path, units=None if kind == "glb" else "mm")
    assert surface.texture_uv is not None
    scale = 1000.0 if kind == "glb" else 1.0
    wanted = (surface.vertices[surface.faces][:, :, :2] / scale + half) / (2 * half)
    assert surface.texture_uv == pytest.approx(wanted, abs=1e-6)


def gltf(folder: Path, change: dict[str, object]) -> Surface:
    mesh, _ = textured_saddle()
    for name, content in mesh.export(file_type="gltf").items():
        (folder / name).write_bytes(content)
    described = json.loads((folder / "model.gltf").read_text())
    described["images"] = [{"uri": "tooling.png"}]
    described["textures"] = [{"source": 0}]
    described["materials"] = [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0} | change}}]
    described["meshes"][0]["primitives"][0]["material"] = 0
    (folder / "model.gltf").write_text(json.dumps(described))
    (folder / "tooling.png").write_bytes(b"")
    return read_mesh(folder / "model.gltf")


def test_the_picture_of_a_gltf_is_named_and_what_cannot_be_used_is_noted(tmp_path: Path) -> None:
    surface = gltf(tmp_path, {})
    assert surface.texture_file == "tooling.png"
    assert surface.texture_uv is not None
    assert surface.notes == ()
    assert gltf(tmp_path, {"texCoord": 3}).texture_uv is None
    for change in ({"extensions": {"KHR_texture_transform": {}}}, {"index": 7}, {"texCoord": -1}):
        surface = gltf(tmp_path, change)
        assert surface.texture_uv is None
        assert [note.code for note in surface.notes] == ["M108"]


def ply_panel(columns: str, vertex_rows: str, face_rows: str, comments: str = "") -> str:
    head = f"ply\nformat ascii 1.0\n{comments}element vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
    return (
        head
        + columns.replace("|", "element face 2\nproperty list uchar int vertex_indices\n")
        + (f"end_header\n{vertex_rows}{face_rows}")
    )


def test_places_of_a_ply_stand_with_its_faces_or_its_vertices(tmp_path: Path) -> None:
    path = tmp_path / "panel.ply"
    points = ("0 0 0", "4 0 0", "4 3 0", "0 3 0")
    faces = "4 0 1 2 3 8 0 0 1 0 1 1 0 1\n3 0 1 2 0\n"
    comment = "comment TextureFile a.png\n"
    path.write_text(ply_panel("|property list uchar float texcoord\n", "\n".join(points) + "\n", faces, comment))
    surface = read_mesh(path, units="mm")
    assert places(surface)[:2] == [[[0, 0], [1, 0], [1, 1]], [[0, 0], [1, 1], [0, 1]]]
    assert np.isnan(surface.texture_uv[2]).all()
    assert surface.texture_file == "a.png"
    with_places = "".join(f"{p} {uv}\n" for p, uv in zip(points, ("0 0", "1 0", "1 1", "0 1"), strict=True))
    path.write_text(ply_panel("property float s\nproperty float t\n|", with_places, "4 0 1 2 3\n3 0 1 2\n"))
    assert places(read_mesh(path, units="mm"))[1] == [[0, 0], [1, 1], [0, 1]]


def test_welding_and_mending_keep_the_places(tmp_path: Path) -> None:
    vertices, faces = saddle(half=40.0, count=9)
    soup = vertices[faces].reshape(-1, 3)
    uv = (soup[:, :2] + 40.0) / 80.0
    order = np.arange(len(soup)).reshape(-1, 3)
    order[::5] = order[::5, ::-1]  # some faces turned over: mending turns them back
    surface = Surface(soup, order, texture_uv=uv[order], texture_file="a.png")
    for result in (weld(surface), mend(surface)):
        assert len(result.vertices) == 81
        assert is_its_position(result, 40.0)
        assert result.texture_file == "a.png"


def test_a_cut_face_interpolates_and_a_foreign_corner_has_none() -> None:
    corners = [[0, 0, 5], [4, 0, 5], [0, 4, 5], [2, 0, 5], [1, 1, 5], [9, 9, 5]]
    surface = Surface(corners, [[0, 1, 2]], texture_uv=[[[0, 0], [1, 0], [0, 1]]])
    out = carried(surface, np.array([[3, 4, 2], [2, 1, 5]]), np.array([0, 0])).texture_uv
    assert out is not None
    assert out[0] == pytest.approx(np.array([[0.5, 0], [0.25, 0.25], [0, 1]]))
    assert out[1, :2].tolist() == [[0, 1], [1, 0]]
    assert np.isnan(out[1, 2]).all()
