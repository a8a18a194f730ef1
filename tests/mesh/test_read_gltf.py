"""glTF and GLB: placements, accessors of every layout, names, and files that point where they should not."""

from __future__ import annotations

import base64
import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from meshes import closed_box, enclosed_volume

from meshflow.errors import MeshFileError
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.formats import gltf_scene, scene
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

FLOAT, UBYTE, USHORT, UINT, SHORT = 5126, 5121, 5123, 5125, 5122
KINDS = {FLOAT: "<f4", UBYTE: "u1", USHORT: "<u2", UINT: "<u4", SHORT: "<i2"}
SHAPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}


class Maker:
    """Builds a glTF document piece by piece."""

    def __init__(self) -> None:
        self.data = b""
        self.json: dict[str, Any] = {
            "asset": {"version": "2.0"},
            "scenes": [{"nodes": []}],
            "nodes": [],
            "meshes": [],
            "materials": [],
            "accessors": [],
            "bufferViews": [],
            "buffers": [{}],
        }

    def view(self, raw: bytes, stride: int = 0) -> int:
        self.data += b"\0" * (-len(self.data) % 4)
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw)}
        self.json["bufferViews"].append(view | ({"byteStride": stride} if stride else {}))
        self.data += raw
        return len(self.json["bufferViews"]) - 1

    def accessor(self, values: Any, kind: int = FLOAT, **more: Any) -> int:
        array = np.asarray(values, dtype=KINDS[kind])
        shape = SHAPES[1 if array.ndim == 1 else array.shape[1]]
        holder = {"bufferView": self.view(array.tobytes()), "componentType": kind, "count": len(array), "type": shape}
        self.json["accessors"].append(holder | more)
        return len(self.json["accessors"]) - 1

    def mesh(self, *primitives: dict[str, Any], name: str = "") -> int:
        self.json["meshes"].append({"primitives": list(primitives)} | ({"name": name} if name else {}))
        return len(self.json["meshes"]) - 1

    def node(self, root: bool = True, **fields: Any) -> int:
        self.json["nodes"].append(fields)
        if root:
            self.json["scenes"][0]["nodes"].append(len(self.json["nodes"]) - 1)
        return len(self.json["nodes"]) - 1

    def box(self, size: float = 1.0, kind: int = USHORT) -> dict[str, Any]:
        vertices, faces = closed_box((size, size, size))
        return {
            "attributes": {"POSITION": self.accessor(vertices)},
            "indices": self.accessor(faces.ravel(), kind),
        }

    def read(self, folder: Path, *, binary: bool = False) -> Surface:
        path = folder / ("horse.glb" if binary else "horse.gltf")
        self.json["buffers"][0].setdefault("byteLength", len(self.data))
        if binary:
            path.write_bytes(self.glb())
        else:
            encoded = base64.b64encode(self.data).decode()
            self.json["buffers"][0].setdefault("uri", "data:application/octet-stream;base64," + encoded)
            path.write_text(json.dumps(self.json))
        return read_mesh(path)

    def glb(self) -> bytes:
        text = json.dumps(self.json).encode()
        text += b" " * (-len(text) % 4)
        blob = self.data + b"\0" * (-len(self.data) % 4)
        chunks = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(blob), b"BIN\0") + blob
        return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def groups(surface: Surface) -> dict[str, list[int]]:
    return {name: ids.tolist() for name, ids in surface.face_sets.items()}


@pytest.mark.parametrize("binary", [False, True])
@pytest.mark.parametrize("kind", [UBYTE, USHORT, UINT])
def test_metres_become_millimetres(tmp_path: Path, binary: bool, kind: int) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box(0.5, kind)))
    surface = make.read(tmp_path, binary=binary)
    assert surface.extent_mm == (500.0, 500.0, 500.0)
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(500**3)
    assert (surface.source.unit, surface.source.unit_from) == ("m", "file")


def test_move_turn_and_scale_act_in_that_order_from_the_outside(tmp_path: Path) -> None:
    # A point (1, 0, 0): scaled to (2, 0, 0), turned a quarter about z to (0, 2, 0), moved to (5, 2, 0).
    make = Maker()
    half = np.sqrt(0.5)
    points = make.accessor([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]])
    make.node(
        mesh=make.mesh({"attributes": {"POSITION": points}}),
        translation=[5, 0, 0],
        rotation=[0, 0, half, half],
        scale=[2, 1, 1],
    )
    surface = make.read(tmp_path)
    assert surface.vertices == pytest.approx(np.array([[5, 2, 0], [4, 0, 0], [5, 0, 1]]) * 1000, abs=1e-9)


def test_matrices_are_given_by_columns_and_children_follow_their_parents(tmp_path: Path) -> None:
    make = Maker()
    mesh = make.mesh(make.box())
    child = make.node(root=False, mesh=mesh, name="child", matrix=[2, 0, 0, 0, 0, 2, 0, 0, 0, 0, 2, 0, 10, 0, 0, 1])
    make.node(name="parent", translation=[0, 7, 0], children=[child])
    surface = make.read(tmp_path)
    assert surface.vertices.min(axis=0) == pytest.approx([10e3, 7e3, 0])
    assert surface.extent_mm == (2000.0, 2000.0, 2000.0)
    assert groups(surface) == {"group:child": list(range(12)), "group:parent": list(range(12))}


def test_a_mirrored_node_keeps_its_outside_out_and_two_mirrors_are_none(tmp_path: Path) -> None:
    make = Maker()
    mesh = make.mesh(make.box())
    inner = make.node(root=False, mesh=mesh, scale=[1, -1, 1])
    make.node(mesh=mesh, scale=[-1, 1, 1], translation=[-5, 0, 0])
    make.node(children=[inner], scale=[-1, 1, 1], translation=[9, 0, 0])
    surface = make.read(tmp_path)
    for piece in (surface.faces[:12], surface.faces[12:]):
        assert enclosed_volume(surface.vertices - surface.vertices[piece].mean(axis=(0, 1)), piece) == pytest.approx(
            1e9
        )
    note = next(note for note in surface.notes if note.code == "M106")
    assert "1 further copies, 1 mirrored" in note.text


def test_one_mesh_on_three_nodes_is_one_group_a_node_and_one_for_all(tmp_path: Path) -> None:
    make = Maker()
    mesh = make.mesh(make.box(), name="horse")
    for number in range(3):
        make.node(mesh=mesh, name=f"horse {number}", translation=[3 * number, 0, 0])
    surface = make.read(tmp_path)
    assert len(surface.faces) == 36
    assert surface.face_sets["group:horse"].tolist() == list(range(36))
    assert surface.face_sets["group:horse 1"].tolist() == list(range(12, 24))


def test_primitives_keep_their_materials(tmp_path: Path) -> None:
    make = Maker()
    make.json["materials"] = [{"name": "brass"}, {}]
    make.node(mesh=make.mesh(make.box() | {"material": 0}, make.box() | {"material": 1}, make.box()))
    surface = make.read(tmp_path)
    assert groups(surface)["material:brass"] == list(range(12))
    assert groups(surface)["material:material 1"] == list(range(12, 24))


def test_strips_and_fans_become_triangles_of_one_winding(tmp_path: Path) -> None:
    make = Maker()
    strip = make.accessor([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [0, 2, 0]])
    fan = make.accessor([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    make.node(mesh=make.mesh({"attributes": {"POSITION": strip}, "mode": 5}))
    make.node(mesh=make.mesh({"attributes": {"POSITION": fan}, "mode": 6}))
    surface = make.read(tmp_path)
    flat = face_areas(surface.vertices[:, :2], surface.faces)
    assert flat == pytest.approx([0.5e6] * 5)


def test_interleaved_and_normalised_and_sparse_numbers(tmp_path: Path) -> None:
    make = Maker()
    # Positions as normalised shorts between 4-byte colours, stride 12: 32767 means 1.
    row = np.zeros(3, dtype=[("position", "<i2", (3,)), ("pad", "<u2"), ("colour", "u1", (4,))])
    row["position"] = [[0, 0, 0], [32767, 0, 0], [0, -32768, 0]]
    row["colour"] = [[255, 0, 0, 255], [0, 255, 0, 255], [0, 0, 255, 128]]
    view = make.view(row.tobytes(), stride=12)
    make.json["accessors"] += [
        {"bufferView": view, "componentType": SHORT, "count": 3, "type": "VEC3", "normalized": True},
        {"bufferView": view, "byteOffset": 8, "componentType": UBYTE, "count": 3, "type": "VEC4", "normalized": True},
    ]
    make.json["extensionsRequired"] = ["KHR_mesh_quantization"]
    make.node(mesh=make.mesh({"attributes": {"POSITION": 0, "COLOR_0": 1}}))
    base = make.accessor([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [9, 9, 9]])
    make.json["accessors"][base]["sparse"] = {
        "count": 1,
        "indices": {"bufferView": make.view(np.array([3], "<u2").tobytes()), "componentType": USHORT},
        "values": {"bufferView": make.view(np.array([[0, 1, 0]], "<f4").tobytes())},
    }
    make.node(mesh=make.mesh({"attributes": {"POSITION": base}, "mode": 6}))
    surface = make.read(tmp_path)
    assert surface.vertices[:3] == pytest.approx(np.array([[0, 0, 0], [1, 0, 0], [0, -1, 0]]) * 1000.0)
    assert surface.vertices[6].tolist() == [0.0, 1000.0, 0.0]
    assert surface.vertex_colours is not None
    assert surface.vertex_colours[:4].tolist() == [[255, 0, 0, 255], [0, 255, 0, 255], [0, 0, 255, 128], [0, 0, 0, 0]]


def test_a_buffer_beside_the_mesh_is_read_and_none_elsewhere(tmp_path: Path) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box()))
    folder = tmp_path / "here"
    (folder / "deep").mkdir(parents=True)
    for place in (
        tmp_path / "secret.bin",
        folder / "horse data.bin",
        folder / "horse.bin",
        folder / "deep" / "horse.bin",
    ):
        place.write_bytes(make.data)
    (folder / "link.bin").symlink_to(tmp_path / "secret.bin")
    for name in ("horse%20data.bin", "deep/horse.bin"):
        make.json["buffers"][0]["uri"] = name
        assert len(make.read(folder).faces) == 12
    secret = tmp_path / "secret.bin"
    for name in (
        "../secret.bin",
        str(secret),
        f"file://{secret}",
        "link.bin",
        "deep/../../secret.bin",
        "deep/../horse.bin",
        "..%2Fsecret.bin",
    ):
        make.json["buffers"][0]["uri"] = name
        with pytest.raises(MeshFileError, match="only a file inside the folder"):
            make.read(folder)


def test_a_buffer_shorter_than_declared_is_refused(tmp_path: Path) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box()))
    make.json["buffers"][0]["byteLength"] = len(make.data) + 1
    with pytest.raises(MeshFileError, match="buffer 0 is cut short"):
        make.read(tmp_path)


def change(make: Maker, path: str, value: Any) -> None:
    *way, last = path.split(".")
    holder: Any = make.json
    for step in way:
        holder = holder[int(step) if step.isdigit() else step]
    holder[int(last) if last.isdigit() else last] = value


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("accessors.0.count", 1e6, "claims 1000000 entries, more than its buffer holds"),
        ("accessors.0.count", -1, "count is -1 where a whole number should be"),
        ("accessors.0.count", True, "count is True where a whole number should be"),
        ("accessors.0.count", 10**30, "count is something else where a whole number should be"),
        ("accessors.0.byteOffset", 4, "more than its buffer holds"),
        ("accessors.0.componentType", 5124, "accessor 0 is of an unknown kind"),
        ("accessors.0.type", "VEC4", "accessor 0 claims 8 entries"),
        ("accessors.0.type", "SCALAR", "positions that are not three numbers"),
        ("accessors.1.componentType", 5126, "accessor 1 claims 36 entries"),
        ("accessors.1.count", 35, "35 corners, not a multiple of three"),
        ("bufferViews.0.byteLength", 10**9, "a buffer view reaches beyond its buffer"),
        ("bufferViews.0.byteStride", 4, "more than its buffer holds"),
        ("bufferViews.0", [], "bufferViews[0] is named but is not there"),
        ("buffers", None, "buffers[0] is named but is not there"),
        ("meshes.0.primitives", 7, "mesh 0 has no primitives"),
        ("meshes.0.primitives.0.attributes", {}, "a primitive without positions"),
        ("meshes.0.primitives.0.mode", 9, "unknown mode 9"),
        ("meshes.0.primitives.0.mode", 0, "no faces; has 1 primitive of points"),
        ("meshes.0.primitives.0.indices", 5, "accessors[5] is named but is not there"),
        ("nodes.0.mesh", "horse", "mesh is 'horse' where a whole number should be"),
        ("nodes.0.children", [0], "node 0 has two parents or lies below itself"),
        ("nodes.0.children", 3, "children is not a list"),
        ("nodes.0.matrix", [1] * 15, "matrix is something else, not 16 numbers"),
        ("nodes.0.rotation", [0, 0, 0, 0], "a placement in the scene is no usable matrix"),
        ("nodes.0.scale", [float("nan"), 1, 1], "scale is something else, not 3 numbers"),
        ("scenes.0.nodes", [], "a scene that shows no mesh"),
        ("scene", 4, "scenes[4] is named but is not there"),
        ("asset.version", "1.0", "only version 2 of glTF"),
        ("asset", 2, "JSON, but not glTF"),
        ("extensionsRequired", ["EXT_meshopt_compression"], "the extension EXT_meshopt_compression"),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, path: str, value: Any, said: str) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box()))
    change(make, path, value)
    buffers = make.json["buffers"]
    make.json["buffers"] = [{}]
    if buffers is None:
        make.json["bufferViews"][0]["buffer"] = 1
        said = "buffers[1] is named but is not there"
    with pytest.raises(MeshFileError) as caught:
        make.read(tmp_path)
    assert said in str(caught.value)


@pytest.mark.parametrize("text", ["{", '{"asset": ' + "[" * 5000, "[]", '{"a": ' + "9" * 5000 + "}", "\udcff{"])
def test_json_that_cannot_be_read_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "horse.gltf"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(MeshFileError):
        read_mesh(path)


def test_a_scene_that_repeats_without_end_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make = Maker()
    mesh = make.mesh(make.box())
    for _ in range(20):
        make.node(mesh=mesh)
    for module, name, limit, said in (
        (scene, "MOST_FACES", 100, "more than 100 triangles"),
        (scene, "MOST_PLACEMENTS", 10, "more than 10 parts"),
        (scene, "MOST_NAMES", 10, "far too many names"),
        (gltf_scene, "MOST_FACES", 5, "more than 5 triangles"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(module, name, limit)
            with pytest.raises(MeshFileError, match=said):
                make.read(tmp_path)
    assert len(make.read(tmp_path).faces) == 240


def test_a_tower_of_nodes_is_refused(tmp_path: Path) -> None:
    make = Maker()
    below = make.node(root=False, mesh=make.mesh(make.box()))
    for _ in range(300):
        below = make.node(root=False, children=[below])
    make.json["scenes"][0]["nodes"] = [below]
    with pytest.raises(MeshFileError, match="more than 200 deep"):
        make.read(tmp_path)


def test_bones_copies_by_extension_and_missing_textures_are_noted(tmp_path: Path) -> None:
    make = Maker()
    make.json["images"] = [{"uri": "coat.png"}, {"uri": "data:image/png;base64,AA=="}]
    make.node(mesh=make.mesh(make.box()), skin=0, extensions={"EXT_mesh_gpu_instancing": {}})
    notes = make.read(tmp_path).notes
    assert [note.code for note in notes] == ["M106", "M106", "M104"]
    assert "coat.png" in notes[2].text


def test_a_node_far_away_is_no_loss_of_precision_but_far_coordinates_are(tmp_path: Path) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box()), translation=[1e6, 0, 0])
    assert [note.code for note in make.read(tmp_path).notes] == ["M106"]
    make = Maker()
    vertices, faces = closed_box((1, 1, 1))
    points, order = make.accessor(vertices + np.array([1e6, 0, 0])), make.accessor(faces.ravel(), UINT)
    make.node(mesh=make.mesh({"attributes": {"POSITION": points}, "indices": order}))
    notes = make.read(tmp_path).notes
    assert [note.code for note in notes] == ["M105"]
    assert "62.5 mm" in notes[0].text  # between 2^19 and 2^20 singles are 0.0625 apart, here metres


@pytest.mark.parametrize(
    ("cut", "said"),
    [
        (lambda data: data[:15], "ends after 15 bytes"),
        (lambda data: data[:-1], "cut short"),
        (lambda data: data[:4] + struct.pack("<I", 1) + data[8:], "version 1 is not supported"),
        (lambda data: data[:12] + struct.pack("<I", len(data)) + data[16:], "reaches beyond the end"),
        (lambda data: data[:16] + b"TEXT" + data[20:], "no description of its contents"),
    ],
)
def test_a_damaged_glb_is_refused(tmp_path: Path, cut: Any, said: str) -> None:
    make = Maker()
    make.node(mesh=make.mesh(make.box()))
    make.json["buffers"][0]["byteLength"] = len(make.data)
    path = tmp_path / "horse.glb"
    path.write_bytes(cut(make.glb()))
    with pytest.raises(MeshFileError, match=said):
        read_mesh(path)
    path.write_bytes(make.glb() + b"tail")
    assert [note.code for note in read_mesh(path).notes] == ["M107"]


def test_a_buffer_that_claims_a_petabyte_is_answered_from_the_size_of_its_file(tmp_path: Path) -> None:
    (tmp_path / "box.bin").write_bytes(b"\0" * 40)
    described = {
        "asset": {"version": "2.0"},
        "buffers": [{"uri": "box.bin", "byteLength": 10**15}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": FLOAT, "count": 3, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "nodes": [{"mesh": 0}],
    }
    path = tmp_path / "box.gltf"
    path.write_text(json.dumps(described))
    with pytest.raises(MeshFileError, match="cut short: 1000000000000000 bytes are declared, 40 are there"):
        read_mesh(path)
