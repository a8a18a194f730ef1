"""Writing: what comes back through our own reader and through an independent one (trimesh), and what never breaks."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_box, closed_torus, saddle

from meshflow.errors import InputError, MeshFileError, OptionError
from meshflow.mesh.read import read_mesh
from meshflow.mesh.weld import weld
from meshflow.mesh.write import mesh_bytes, write_mesh
from meshflow.mesh.writers.labels import numbered
from meshflow.model.surface import Evidence, Surface

FORMATS = ("ply", "3mf", "stl")


def sign(**fields: object) -> Surface:
    """A saddle with everything a surface can carry; thirds are no short decimals and no single-precision numbers."""
    vertices, faces = saddle(half=100 / 3, count=9)
    random = np.random.default_rng(4)
    count = len(faces)
    known: dict[str, object] = {
        "face_sets": {
            "group:rim": np.arange(0, 30),
            "group:carved panel, left": np.arange(20, 60),
            "label:3": np.arange(50, 90),
            "label:-12": np.arange(90, 100),
            'material:Sättel <braun> & "gold"': np.arange(5, 25),
        },
        "face_colours": random.integers(0, 256, (count, 4)),
        "vertex_colours": random.integers(0, 256, (len(vertices), 4)),
        "evidence": random.integers(0, 3, count),
        "texture_uv": np.where(random.random((count, 3, 2)) < 0.1, np.nan, random.random((count, 3, 2))),
        "texture_file": "saddle skirt.png",
    }
    return Surface(vertices, faces, **(known | fields))  # type: ignore[arg-type]


def sets(surface: Surface) -> dict[str, list[int]]:
    return {name: ids.tolist() for name, ids in surface.face_sets.items()}


def read_back(surface: Surface, folder: Path, kind: str) -> Surface:
    return read_mesh(write_mesh(surface, folder / f"sign.{kind}"), units=None if kind == "3mf" else "mm")


@pytest.mark.parametrize("shape", [closed_ball, closed_box, closed_torus, saddle])
@pytest.mark.parametrize("kind", FORMATS)
def test_the_shape_comes_back_through_our_reader(tmp_path: Path, kind: str, shape) -> None:
    vertices, faces = shape()
    back = read_back(Surface(vertices, faces), tmp_path, kind)
    if kind == "stl":
        assert np.array_equal(back.vertices[back.faces], vertices[faces].astype(np.float32))
        assert len(weld(back).vertices) == len(vertices)
    else:
        assert np.array_equal(back.vertices, vertices)
        assert np.array_equal(back.faces, faces)
    assert back.notes == ()
    assert back.source.unit_from == ("file" if kind == "3mf" else "user")


@pytest.mark.parametrize("kind", FORMATS)
def test_the_shape_comes_back_through_an_independent_reader(tmp_path: Path, kind: str) -> None:
    if kind == "3mf":
        pytest.importorskip("lxml", reason="trimesh reads 3MF with lxml")
        pytest.importorskip("networkx", reason="trimesh reads 3MF with networkx")
    vertices, faces = closed_torus()
    mesh = trimesh.load_mesh(write_mesh(Surface(vertices, faces), tmp_path / f"ring.{kind}"), process=False)
    assert mesh.triangles == pytest.approx(vertices[faces], rel=0, abs=4e-6)  # half a step of singles at 80 mm
    assert mesh.volume == pytest.approx(trimesh.Trimesh(vertices, faces).volume, rel=1e-6)
    if kind == "stl":
        assert np.einsum("ij,ij->i", mesh.face_normals, trimesh.Trimesh(vertices, faces).face_normals).min() > 0.999999
    if kind == "3mf":
        assert mesh.units == "millimeter"


def test_an_independent_reader_sees_the_numbers_and_colours_of_a_ply(tmp_path: Path) -> None:
    surface = sign(texture_uv=None, texture_file=None)
    path = write_mesh(surface, tmp_path / "sign.ply")
    mesh = trimesh.load_mesh(path, process=False)
    raw = mesh.metadata["_ply_raw"]["face"]["data"]
    assert raw["evidence"].reshape(-1).tolist() == np.asarray(surface.evidence).tolist()
    labels = raw["label"].reshape(-1)
    assert set(labels[surface.face_sets["label:-12"]].tolist()) == {-12}
    assert set(labels[60:90].tolist()) == {3}  # in label 3 and nothing else
    assert np.array_equal(mesh.vertices, surface.vertices)
    mesh = trimesh.load_mesh(write_mesh(replace(surface, vertex_colours=None), path), process=False)
    assert np.array_equal(mesh.visual.face_colors, surface.face_colours)


def test_a_ply_keeps_all_that_is_known_of_the_faces(tmp_path: Path) -> None:
    surface = sign()
    back = read_back(surface, tmp_path, "ply")
    assert sets(back) == sets(surface)
    for name in ("vertices", "faces", "evidence", "face_colours", "vertex_colours"):
        assert np.array_equal(getattr(back, name), getattr(surface, name)), name
    assert np.array_equal(back.texture_uv, surface.texture_uv, equal_nan=True)
    assert back.texture_file == "saddle skirt.png"
    assert [note.code for note in back.notes] == ["M104"]  # the picture is not beside it


def test_a_3mf_keeps_sets_and_evidence(tmp_path: Path) -> None:
    surface = sign()
    back = read_back(surface, tmp_path, "3mf")
    assert sets(back) == sets(surface) | {"group:object 1": list(range(len(surface.faces)))}
    assert np.array_equal(back.evidence, surface.evidence)


names = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(
    st.dictionaries(
        st.one_of(st.integers(-9, 9).map("label:{}".format), names.map("group:{}".format)),
        st.sets(st.integers(0, 29), min_size=1).map(sorted),
        max_size=6,
    )
)
def test_any_sets_survive_a_ply(tmp_path_factory: pytest.TempPathFactory, face_sets: dict[str, list[int]]) -> None:
    vertices, faces = saddle(count=5)
    surface = Surface(vertices, faces, face_sets=face_sets)  # type: ignore[arg-type]
    back = read_back(surface, tmp_path_factory.mktemp("sets"), "ply")
    expected: dict[str, set[int]] = {}
    for name, ids in face_sets.items():  # what no header line can hold becomes a space, as in all readers
        shown = " ".join("".join(c if c.isprintable() else " " for c in name).split()).replace(
            "end_header", "end header"
        )
        expected.setdefault(shown, set()).update(ids)
    assert {name: set(ids) for name, ids in sets(back).items()} == expected


def test_plain_labels_need_no_explanation() -> None:
    labels, meanings = numbered({"label:4": np.array([0, 2]), "label:-1": np.array([1])}, 3)
    assert labels.tolist() == [4, -1, 4]
    assert meanings == []


def test_a_label_beyond_32_bits_becomes_a_name(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    surface = Surface(vertices, faces, face_sets={"label:90000000000": [0, 1], "label:-0": [2], "label:0": [3]})
    assert sets(read_back(surface, tmp_path, "ply")) == sets(surface)


def test_a_set_named_like_the_end_of_a_header_does_not_end_it(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    back = read_back(Surface(vertices, faces, face_sets={"group:end_header": [1]}), tmp_path, "ply")
    assert sets(back) == {"group:end header": [1]}


@pytest.mark.parametrize("kind", FORMATS)
def test_the_same_surface_gives_the_same_bytes_in_every_process(tmp_path: Path, kind: str) -> None:
    path = write_mesh(sign(), tmp_path / f"one.{kind}")
    code = (
        "import sys; sys.path[:0] = sys.argv[3:]\n"
        "from pathlib import Path\nfrom meshflow.mesh.write import mesh_bytes\n"
        "from test_write_mesh import sign\nPath(sys.argv[1]).write_bytes(mesh_bytes(sign(), sys.argv[2]))\n"
    )
    other = tmp_path / "other"
    here = Path(__file__).parent
    command = [sys.executable, "-c", code, str(other), kind, str(here), str(here.parent)]
    subprocess.run(command, check=True, env={**os.environ, "PYTHONHASHSEED": "77", "TZ": "Asia/Tokyo"})
    assert other.read_bytes() == path.read_bytes() == mesh_bytes(sign(), kind)


def test_a_3mf_holds_no_moment_and_says_whether_it_is_closed(tmp_path: Path) -> None:
    for shape, kind in ((closed_box, b'type="model"'), (saddle, b'type="surface"')):
        with zipfile.ZipFile(write_mesh(Surface(*shape()), tmp_path / "piece.3mf")) as package:
            assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            model = package.read("3D/3dmodel.model")
        assert kind in model
        assert b'unit="millimeter"' in model


def test_a_box_with_one_face_turned_is_not_called_closed(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    faces[0] = faces[0, ::-1]
    with zipfile.ZipFile(write_mesh(Surface(vertices, faces), tmp_path / "piece.3mf")) as package:
        assert b'type="surface"' in package.read("3D/3dmodel.model")


def test_faces_with_a_repeated_corner_are_left_out_of_a_3mf_and_sets_follow(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    faces = np.concatenate([[[0, 0, 1]], faces])
    surface = Surface(vertices, faces, face_sets={"group:top": [0, 3, 4]}, evidence=[0, 1, *[0] * 11])
    back = read_back(surface, tmp_path, "3mf")
    assert np.array_equal(back.faces, faces[1:])
    assert sets(back)["group:top"] == [2, 3]
    assert np.asarray(back.evidence).tolist() == [Evidence.MIRRORED, *[0] * 11]
    with pytest.raises(InputError, match="no face has three different corners"):
        write_mesh(Surface(vertices, [[0, 1, 0]]), tmp_path / "none.3mf")


def test_singles_are_written_only_where_nothing_is_lost(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    assert b"property float x" in mesh_bytes(Surface(vertices, faces), "ply")
    assert b"property double x" in mesh_bytes(Surface(vertices + 0.1, faces), "ply")


def test_stl_is_refused_where_singles_are_too_rough(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    far = Surface(vertices + 1e6, faces)
    with pytest.raises(
        InputError, match=r"steps of 0.0625 mm .* Move the piece"
    ) as caught:  # IEEE 754: 2^-4 at 2^19..2^20
        write_mesh(far, tmp_path / "far.stl")
    assert caught.value.where == "far.stl"
    assert np.array_equal(read_back(far, tmp_path, "ply").vertices, far.vertices)
    with pytest.raises(InputError, match="greater than STL can store"):
        write_mesh(Surface(vertices * 1e60, faces), tmp_path / "huge.stl")


def test_what_makes_no_sense_is_refused_and_nothing_is_left_behind(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    surface = Surface(vertices, faces)
    with pytest.raises(OptionError, match=r'plate.obj: "obj" is not a mesh format I write. Say stl, 3mf or ply'):
        write_mesh(surface, tmp_path / "plate.obj")
    with pytest.raises(OptionError, match="the name says STL, but PLY was asked for"):
        write_mesh(surface, tmp_path / "plate.stl", format="ply")
    with pytest.raises(InputError, match="no faces to write"):
        write_mesh(Surface([], []), tmp_path / "plate.stl")
    with pytest.raises(InputError, match="vertices that are not there"):
        write_mesh(replace(surface, faces=faces + 1), tmp_path / "plate.stl")
    with pytest.raises(InputError, match="not finite"):
        write_mesh(replace(surface, vertices=np.full((8, 3), np.nan)), tmp_path / "plate.stl")
    with pytest.raises(MeshFileError, match=r"could not be written .* an earlier file is unchanged"):
        write_mesh(surface, tmp_path / "nowhere" / "plate.stl")
    (tmp_path / "folder.ply").mkdir()
    with pytest.raises(MeshFileError, match="could not be written"):
        write_mesh(surface, tmp_path / "folder.ply")
    assert [path.name for path in tmp_path.iterdir()] == ["folder.ply"]


def test_stray_vertices_that_are_no_numbers_do_not_get_into_a_file(tmp_path: Path) -> None:
    vertices, faces = closed_box()
    surface = Surface(np.concatenate([vertices, [[np.nan, 0, 0]]]), faces)
    for kind in FORMATS:
        assert len(read_back(surface, tmp_path, kind).faces) == 12
        assert b"nan" not in mesh_bytes(surface, kind)


def test_an_earlier_file_stays_when_writing_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "plate.ply"
    path.write_bytes(b"the mesh of last week")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(MeshFileError, match="No space left on device"):
        write_mesh(Surface(*closed_box()), path)
    assert path.read_bytes() == b"the mesh of last week"
    assert list(tmp_path.iterdir()) == [path]
    monkeypatch.undo()
    write_mesh(Surface(*closed_box()), path, format="PLY")
    assert path.read_bytes().startswith(b"ply\n")
