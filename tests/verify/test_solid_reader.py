"""The reader of bodies that shares nothing with the writer: closed forms, a second library, spoiled files."""

from __future__ import annotations

import zipfile

import meshes
import numpy as np
import pytest
import trimesh

from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface
from meshflow.verify import ReadingError, ReadSolid, read_solid

ENDINGS = ("stl", "3mf")
MODEL = "3D/3dmodel.model"


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_box_has_its_size_its_volume_and_no_open_edge(tmp_path, ending):
    path = write_mesh(Surface(*meshes.closed_box((40.0, 30.0, 20.0))), tmp_path / f"box.{ending}")
    solid = read_solid(path)
    assert solid.size_mm == pytest.approx((40.0, 30.0, 20.0), abs=1e-5)
    assert solid.volume_mm3 == pytest.approx(24_000.0, rel=1e-6)
    assert solid.open_edges() == 0


def test_files_of_another_writer_are_read_alike(tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=10.0)
    ball.apply_translation((300.0, -200.0, 5.0))
    ball.export(tmp_path / "ball.stl")
    solid = read_solid(tmp_path / "ball.stl")
    assert solid.volume_mm3 == pytest.approx(ball.volume, rel=1e-4)
    assert (len(solid.vertices), solid.open_edges()) == (len(ball.vertices), 0)


def test_corners_at_nought_and_minus_nought_are_one(tmp_path):
    vertices, faces = meshes.closed_box((2.0, 2.0, 2.0))
    path = write_mesh(Surface(vertices - vertices.min(axis=0), faces), tmp_path / "box.stl")
    data = bytearray(path.read_bytes())
    for triangle in range(0, len(faces), 2):  # half of the triangles write 0 as -0
        for at in range(84 + 50 * triangle + 12, 84 + 50 * triangle + 48, 4):
            if data[at : at + 4] == b"\0\0\0\0":
                data[at + 3] = 0x80
    path.write_bytes(data)
    assert read_solid(path).open_edges() == 0


def test_a_missing_face_a_doubled_face_and_a_turned_face_are_open_edges():
    vertices, faces = (np.asarray(one) for one in meshes.closed_box((4.0, 3.0, 2.0)))
    assert ReadSolid(vertices, faces).open_edges() == 0
    assert ReadSolid(vertices, faces[1:]).open_edges() == 3
    assert ReadSolid(vertices, np.concatenate([faces, faces[:1]])).open_edges() == 3
    turned = faces.copy()
    turned[0] = turned[0, ::-1]
    assert ReadSolid(vertices, turned).open_edges() == 3
    assert ReadSolid(vertices, faces[:, ::-1]).volume_mm3 == pytest.approx(-24.0)


def remade(path, change):
    """Write the archive again with its model changed."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    members[MODEL] = change(members[MODEL])
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)


BROKEN = {
    "stl": {
        "empty": (lambda data: b"", "no binary STL"),
        "cut short": (lambda data: data[:-1], "another length"),
        "another count": (lambda data: data[:80] + b"\xff\xff\xff\xff" + data[84:], "another length"),
        "not finite": (lambda data: data[:96] + b"\0\0\xc0\x7f" + data[100:], "no numbers"),
        "no triangle": (lambda data: data[:80] + bytes(4), "no body"),
    },
    "3mf": {
        "in inches": (lambda model: model.replace(b'unit="millimeter"', b'unit="inch"'), "millimetres"),
        "cut short": (lambda model: model[: len(model) // 2], "damaged"),
        "no number": (lambda model: model.replace(b'x="', b'x="a', 1), "damaged"),
        "not finite": (lambda model: model.replace(b'<vertex x="', b'<vertex x="nan" n="', 1), "no numbers"),
        "a corner that is not there": (lambda model: model.replace(b'v1="', b'v1="9', 1), "not there"),
        "moved": (lambda model: model.replace(b"<item ", b'<item transform="1 0 0 0 1 0 0 0 1 9 9 9" '), "moved"),
        "two items": (lambda model: model.replace(b"</build>", b'<item objectid="1"/></build>'), "one body"),
        "entities": (lambda model: model.replace(b"?>", b'?><!DOCTYPE a [<!ENTITY b "c">]>', 1), "document type"),
        "no triangle": (lambda model: model.replace(b"<triangle ", b"<other "), "no body"),
    },
}


@pytest.mark.parametrize(("ending", "name"), [(ending, name) for ending in BROKEN for name in BROKEN[ending]])
def test_a_broken_file_is_refused_with_a_reason(tmp_path, ending, name):
    path = write_mesh(Surface(*meshes.closed_box((4.0, 3.0, 2.0))), tmp_path / f"box.{ending}")
    change, reason = BROKEN[ending][name]
    before = path.read_bytes()
    if ending == "stl":
        path.write_bytes(change(before))
    else:
        remade(path, change)
    with pytest.raises(ReadingError, match=reason):
        read_solid(path)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"no archive"])
def test_an_archive_that_is_none_and_a_file_that_is_not_there_are_refused(tmp_path, data):
    (tmp_path / "box.3mf").write_bytes(data)
    with pytest.raises(ReadingError, match="archive"):
        read_solid(tmp_path / "box.3mf")
    for ending in ENDINGS:
        with pytest.raises(ReadingError, match="opened"):
            read_solid(tmp_path / f"none.{ending}")
