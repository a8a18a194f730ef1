"""Units, names and kinds of files: what is asked of the maker, and in which words."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from meshes import closed_box, enclosed_volume

from meshflow.errors import MeshFileError, UnitError
from meshflow.mesh.read import read_mesh

BROKEN = Path(__file__).parent.parent / "data" / "broken"


def wedge(folder: Path, name: str = "neck.obj", size: tuple[float, float, float] = (0.31, 0.22, 0.18)) -> Path:
    x, y, z = size
    path = folder / name
    path.write_text(f"v 0 0 0\nv {x} 0 0\nv 0 {y} 0\nv 0 0 {z}\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 1 4 3\n")
    return path


def test_a_missing_unit_is_asked_for_with_the_size_of_the_box(tmp_path: Path) -> None:
    with pytest.raises(UnitError) as caught:
        read_mesh(wedge(tmp_path))
    assert str(caught.value) == (
        "neck.obj: no unit given, and OBJ carries none. The bounding box is 0.31 x 0.22 x 0.18. "
        "Read as m, its longest side is 310 mm: a size for the bench. "
        "Say --units mm, cm, m or in."
    )


@pytest.mark.parametrize(("unit", "millimetres"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4), ("ft", 304.8)])
def test_lengths_become_millimetres(tmp_path: Path, unit: str, millimetres: float) -> None:
    surface = read_mesh(wedge(tmp_path), units=unit)
    assert surface.extent_mm == pytest.approx((0.31 * millimetres, 0.22 * millimetres, 0.18 * millimetres))
    assert (surface.source.unit, surface.source.unit_from) == (unit, "user")
    # A tetrahedron of three right angles holds a sixth of its box.
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(0.31 * 0.22 * 0.18 / 6 * millimetres**3)


def test_an_unknown_unit_is_refused_and_says_which_file() -> None:
    with pytest.raises(UnitError, match=r'^box_mm.stl: "furlong" is not a unit'):
        read_mesh(BROKEN / "box_mm.stl", units="furlong")


def test_a_unit_that_contradicts_the_file_is_refused_and_both_are_named() -> None:
    with pytest.raises(UnitError, match="states its unit, inch, but mm was asked for"):
        read_mesh(BROKEN / "3mf_unit_inch.3mf", units="mm")
    with pytest.raises(UnitError, match="states its unit, m, but mm was asked for"):
        read_mesh(BROKEN / "gltf_ok_embedded.gltf", units="mm")


def test_a_unit_that_agrees_with_the_file_is_welcome() -> None:
    surface = read_mesh(BROKEN / "3mf_unit_inch.3mf", units="inches")
    assert surface.extent_mm == pytest.approx((1016, 762, 508))
    assert (surface.source.unit, surface.source.unit_from) == ("in", "file")


def test_the_source_carries_the_hash_of_the_bytes() -> None:
    path = BROKEN / "box_mm.stl"
    assert read_mesh(path, units="mm").source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        ("ply_ble_quads.ply", "scan.stl", "the name says STL, but the file looks like PLY"),
        ("box_mm.stl", "scan.obj", "the name says OBJ, but the file looks like STL"),
        ("glb_nodes_transforms.glb", "scan.gltf", "the name says GLTF, but the file looks like GLB"),
        ("obj_latin1_name.obj", "scan.off", "the name says OFF, but the file looks like OBJ"),
        ("3mf_unit_inch.3mf", "scan.zip", "not a mesh format I read. It looks like 3MF"),
        ("manifest.json", "scan.step", "not a mesh format I read"),
    ],
)
def test_a_wrong_name_is_refused_with_what_the_file_looks_like(
    tmp_path: Path, content: str, name: str, said: str
) -> None:
    path = tmp_path / name
    path.write_bytes((BROKEN / content).read_bytes())
    with pytest.raises(MeshFileError) as caught:
        read_mesh(path, units="mm")
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("head", "said"),
    [
        (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
        (b"%PDF-1.7", "a PDF document"),
        (b"ISO-10303-21;", "a STEP file"),
        (b"<html>", "a web page"),
    ],
)
def test_a_picture_or_document_is_called_by_its_name(tmp_path: Path, head: bytes, said: str) -> None:
    path = tmp_path / "scan.obj"
    path.write_bytes(head + b"\n" * 200)
    with pytest.raises(MeshFileError, match="this is no mesh") as caught:
        read_mesh(path, units="mm")
    assert said in str(caught.value)


def test_a_missing_file_and_a_folder_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(MeshFileError, match=r"^lost.stl: there is no such file"):
        read_mesh(tmp_path / "lost.stl", units="mm")
    folder = tmp_path / "folder.stl"
    folder.mkdir()
    with pytest.raises(MeshFileError, match="not a file"):
        read_mesh(folder, units="mm")


def test_marks_for_no_data_are_dropped_like_what_is_not_finite(tmp_path: Path) -> None:
    # Some scanners write 1e30 where they saw nothing; its square would drown every sum.
    path = tmp_path / "marks.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 1e30\nf 1 2 3\nf 1 3 4\n")
    surface = read_mesh(path, units="mm")
    assert surface.extent_mm == (1.0, 1.0, 0.0)
    assert [(note.code, note.count) for note in surface.notes] == [("M101", 1)]
    assert surface.face_origin.tolist() == [0]


def test_a_file_of_unusable_numbers_only_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "nothing.obj"
    path.write_text("v nan 0 0\nv 1 0 0\nv 1 1 0\nf 1 2 3\n")
    with pytest.raises(MeshFileError, match="no usable face: 1 facet"):
        read_mesh(path, units="mm")


def test_a_quad_that_touches_nan_goes_as_a_whole_and_groups_follow(tmp_path: Path) -> None:
    path = tmp_path / "quads.obj"
    path.write_text(
        "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv nan 0 5\nv 2 0 0\nv 2 1 0\n"
        "g sound\nf 1 2 3 4\ng hurt\nf 1 2 3 5\ng mixed\nf 5 2 3\nf 2 6 7 3\n"
    )
    surface = read_mesh(path, units="mm")
    assert {name: ids.tolist() for name, ids in surface.face_sets.items()} == {
        "group:mixed": [2, 3],
        "group:sound": [0, 1],
    }
    assert surface.face_origin.tolist() == [0, 0, 3, 3]
    assert surface.extent_mm == (2.0, 1.0, 0.0)


def test_unused_vertices_stay_as_in_the_file_but_do_not_stretch_the_box() -> None:
    surface = read_mesh(BROKEN / "geo_unreferenced_vertices.obj", units="mm")
    assert len(surface.vertices) == 13
    assert surface.extent_mm == (40.0, 30.0, 20.0)


def test_reading_twice_gives_the_same_arrays() -> None:
    one, two = (read_mesh(BROKEN / "ply_ble_mixed.ply", units="mm") for _ in range(2))
    assert np.array_equal(one.vertices, two.vertices)
    assert np.array_equal(one.faces, two.faces)
    assert list(one.face_sets) == list(two.face_sets)


def test_nothing_is_welded(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    corners = vertices[faces].reshape(-1, 3)
    path = tmp_path / "soup.obj"
    lines = [f"v {x} {y} {z}" for x, y, z in corners.tolist()]
    lines += [f"f {3 * k + 1} {3 * k + 2} {3 * k + 3}" for k in range(len(faces))]
    path.write_text("\n".join(lines))
    surface = read_mesh(path, units="mm")
    assert len(surface.vertices) == 36
    assert np.array_equal(surface.vertices, corners)
