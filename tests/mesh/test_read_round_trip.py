"""Files of an independent writer (trimesh) come back as they were, and trimesh agrees on what they hold."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from meshes import Mesh, closed_torus, developable_cone, saddle

from meshflow.mesh.read import read_mesh

SHAPES = {
    "cone": developable_cone(around=31, up=5),
    "saddle": saddle(count=13),
    "torus": closed_torus(around=20, about=9),
}
STL_LIKE = ("stl", "stl_ascii")  # three vertices of its own for each facet


def written(folder: Path, mesh: trimesh.Trimesh, kind: str) -> Path:
    options = {"ply_ascii": {"encoding": "ascii"}}.get(kind, {})
    data = mesh.export(file_type=kind.replace("ply_ascii", "ply"), **options)
    if isinstance(data, dict):
        for name, content in data.items():
            (folder / name).write_bytes(content)
        return folder / "model.gltf"
    path = folder / f"shape.{kind.split('_')[0]}"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def shape(name: str) -> tuple[Mesh, trimesh.Trimesh]:
    vertices, faces = SHAPES[name]
    return (vertices, faces), trimesh.Trimesh(vertices, faces, process=False)


@pytest.mark.parametrize("kind", ["stl", "stl_ascii", "obj", "ply", "ply_ascii", "off", "glb", "gltf", "3mf"])
@pytest.mark.parametrize("name", SHAPES)
def test_every_format_comes_back(tmp_path: Path, name: str, kind: str) -> None:
    if kind == "3mf":
        pytest.importorskip("lxml", reason="trimesh writes 3MF with lxml")
        pytest.importorskip("networkx", reason="trimesh writes 3MF with networkx")
    (vertices, faces), mesh = shape(name)
    path = written(tmp_path, mesh, kind)
    own_unit = kind in ("glb", "gltf", "3mf")
    surface = read_mesh(path, units=None if own_unit else "mm")
    scale = 1000.0 if kind in ("glb", "gltf") else 1.0  # trimesh writes the numbers as they are; glTF means metres
    # 32-bit floats and the eight digits of trimesh's text: half a unit in the seventh digit of 100 mm.
    assert surface.vertices[surface.faces] == pytest.approx(vertices[faces] * scale, abs=1e-5 * scale)
    if kind not in STL_LIKE:
        assert np.array_equal(surface.faces, faces)
    assert surface.notes == ()
    assert surface.face_origin.tolist() == list(range(len(faces)))


@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "off"])
def test_the_reference_reader_agrees_on_good_files(tmp_path: Path, kind: str) -> None:
    path = written(tmp_path, shape("torus")[1], kind)
    reference = trimesh.load_mesh(path, process=False, maintain_order=True)
    surface = read_mesh(path, units="mm")
    assert np.array_equal(surface.vertices[surface.faces], reference.vertices[reference.faces])


def test_colours_of_an_independent_writer_come_back(tmp_path: Path) -> None:
    mesh = shape("saddle")[1]
    shades = np.random.default_rng(5).integers(0, 256, (len(mesh.vertices), 4)).astype(np.uint8)
    mesh.visual.vertex_colors = shades
    for kind in ("ply", "ply_ascii", "glb"):
        colours = read_mesh(written(tmp_path, mesh, kind), units=None if kind == "glb" else "mm").vertex_colours
        assert colours is not None
        assert np.array_equal(colours, shades)
    mesh.visual = trimesh.visual.ColorVisuals(mesh, face_colors=np.tile(shades, (3, 1))[: len(mesh.faces)])
    colours = read_mesh(written(tmp_path, mesh, "ply"), units="mm").face_colours
    assert colours is not None
    assert np.array_equal(colours, mesh.visual.face_colors)


def test_a_scene_of_an_independent_writer_is_placed(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    box = trimesh.creation.box((2, 2, 2))
    turn = trimesh.transformations.rotation_matrix(0.7, (1, 2, 3), (0.5, 0, 0))
    mirror = np.diag([1.0, -1.0, 1.0, 1.0])
    scene.add_geometry(box, node_name="turned", geom_name="box", transform=turn)
    scene.add_geometry(box, node_name="mirrored", geom_name="box", transform=mirror @ turn)
    path = tmp_path / "scene.glb"
    path.write_bytes(scene.export(file_type="glb"))
    surface = read_mesh(path)
    for name, matrix in (("turned", turn), ("mirrored", mirror @ turn)):
        corners = surface.vertices[np.unique(surface.faces[surface.face_sets[f"group:{name}"]])] / 1000.0
        expected = trimesh.transform_points(box.vertices, matrix)
        assert np.sort(corners, axis=0) == pytest.approx(np.sort(expected, axis=0), abs=1e-6)
    reference = trimesh.Trimesh(surface.vertices, surface.faces)
    assert reference.volume == pytest.approx(2 * 8e9, rel=1e-6)
    assert reference.is_winding_consistent
