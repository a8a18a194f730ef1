"""Valid mesh files of every format, damaged at random and read under watch.

Run as a script in a process of its own, since an audit hook stays for good::

    python tests/mutations.py FOLDER COUNT SEED

It prints one JSON object: how many files gave a surface, a refusal or a traceback, the slowest read, and every file
outside FOLDER and every connection that reading tried to open.
"""

from __future__ import annotations

import io
import json
import sys
import sysconfig
import time
import traceback
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from meshes import closed_ball, closed_box, saddle

from meshflow.errors import MeshflowError
from meshflow.mesh.read import read_mesh
from meshflow.mesh.write import mesh_bytes
from meshflow.model.surface import Surface

DATA = Path(__file__).parent / "data" / "broken"
CORPUS = (
    *("box_mm.stl", "stl_ascii_two_solids.stl", "stl_bin_attr_color.stl", "stl_ascii_upper_crlf.stl"),
    *("obj_mtllib_missing.obj", "obj_negative_idx_blocks.obj", "obj_concave_ngon_badstart.obj"),
    *("off_header_counts_same_line.off", "off_binary.off"),
    *("ply_ascii_mixed.ply", "ply_ble_mixed.ply", "ply_bbe_fcol.ply", "ply_ble_vcol.ply", "ply_tristrips.ply"),
    *("gltf_ok_embedded.gltf", "glb_nodes_transforms.glb", "3mf_transform.3mf", "3mf_unit_inch.3mf"),
)
OWN_UNIT = (".3mf", ".glb", ".gltf")
ELSEWHERE = (
    *(b"/etc/passwd", b"../../../../etc/passwd", b"file:///etc/passwd", b"http://127.0.0.1:9/x", b"~/x", b"//host/x"),
    *(b"\\\\host\\x", b"x/../../y", b".", b"..", b"", b"%2e%2e/%2e%2e/etc/passwd", b"/dev/zero", b"box.bin\0x"),
)
NAMED = (b"box.bin", b"skirt.mtl", b"skirt.png")
WORDS = (
    *(b"nan", b"inf", b"-1", b"0", b"1e308", b"1e-320", b"99999999999999999999", b"4294967295", b"2147483648"),
    *(b"null", b"[]", b"{}", b"true", b'"', b"\\\n", b"\0", b"/", b"#", b"\xff\xff\xff\x7f", b"\0\0\x80\x7f"),
    *(b"endfacet", b"list", b"BINARY", b"COLOR=", b"label 1 means x", b"mtllib ", b"comment TextureFile "),
    *(b"<!DOCTYPE x SYSTEM '/etc/passwd'>", b"&x;", *ELSEWHERE),
)


def valid_files() -> dict[str, bytes]:
    """Small good files: name to bytes."""
    files = {name: (DATA / name).read_bytes() for name in CORPUS}
    vertices, faces = closed_ball(halvings=1)
    sets = {"group:cap": np.arange(20), "label:3": np.arange(10, 40)}
    ball = Surface(vertices, faces, face_sets=sets, evidence=np.arange(80) % 3, vertex_colours=np.full((42, 4), 9))
    files |= {f"ball.{kind}": mesh_bytes(ball, kind) for kind in ("stl", "ply", "3mf")}
    flat, cells = saddle(count=4)
    textured = Surface(flat, cells, texture_uv=flat[cells][:, :, :2] / 80, texture_file="skirt.png")
    files["skirt.ply"] = mesh_bytes(textured, "ply")
    corners = "".join(f"v {x} {y} {z} 0.5 1 0\nvt {x} {y}\nvn 0 0 1\n" for x, y, z in flat.tolist())
    wound = "".join("f " + " ".join(f"{v + 1}/{v + 1}/{v + 1}" for v in cell) + "\n" for cell in cells.tolist())
    files["skirt.obj"] = f"mtllib skirt.mtl\n{corners}o skirt\nusemtl leather\ng left\n{wound}".encode()
    files["box.off"] = _off(*closed_box())
    files["box.gltf"] = _gltf()
    return files


def neighbours() -> dict[str, bytes]:
    """Files that the valid ones name: they stay whole."""
    vertices, faces = closed_box()
    blob = vertices.astype("<f4").tobytes() + faces.astype("<u2").tobytes()
    return {"box.bin": blob, "skirt.mtl": b"newmtl leather\nmap_Kd skirt.png\n", "skirt.png": b""}


def _off(vertices: np.ndarray, faces: np.ndarray) -> bytes:
    rows = [f"{x} {y} {z} 255 0 0 255" for x, y, z in vertices.tolist()]
    rows += [f"3 {a} {b} {c}" for a, b, c in faces.tolist()]
    return "\n".join([f"COFF\n{len(vertices)} {len(faces)} 0", *rows, ""]).encode()


def _gltf() -> bytes:
    views = [{"buffer": 0, "byteLength": 96}, {"buffer": 0, "byteOffset": 96, "byteLength": 72}]
    accessors = [
        {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"},
        {"bufferView": 1, "componentType": 5123, "count": 36, "type": "SCALAR"},
    ]
    primitive = {"attributes": {"POSITION": 0}, "indices": 1, "material": 0}
    described: dict[str, Any] = {
        "asset": {"version": "2.0"},
        "buffers": [{"uri": "box.bin", "byteLength": 168}],
        "bufferViews": views,
        "accessors": accessors,
        "materials": [{"name": "brass"}],
        "meshes": [{"name": "box", "primitives": [primitive]}],
        "nodes": [{"mesh": 0, "scale": [1, 1, -1]}],
        "scenes": [{"nodes": [0]}],
    }
    return json.dumps(described).encode()


def mutated(data: bytes, random: np.random.Generator) -> bytes:
    """Damage some bytes: flip, overwrite, leave out, repeat, cut off, or put a telling word there."""
    for _ in range(int(random.integers(1, 3))):
        if not data:
            break
        kind, at, value = int(random.integers(7)), int(random.integers(len(data))), int(random.integers(256))
        if random.random() < 0.3:  # headers and counts decide most
            at = min(at, int(random.integers(120)))
        if kind == 0:
            data = data[:at] + bytes([data[at] ^ (1 << value % 8)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + bytes([value]) + data[at + 1 :]
        elif kind == 2:
            data = data[:at] + data[at + 1 + value % 16 :]
        elif kind == 3:
            data = data[: at + value % 64] + data[at:]
        elif kind == 4 and value < 64:
            data = data[:at]
        elif kind == 5:
            data = data[:at] + WORDS[value % len(WORDS)] + data[at + value % 5 :]
        else:
            data = data[:at] + bytes(random.integers(0, 256, 4, dtype=np.uint8)) + data[at + 4 :]
    return data


def mutated_file(name: str, data: bytes, random: np.random.Generator) -> bytes:
    """Damage a file, or for half of the packages the XML inside; a file that names others may name some elsewhere."""
    if random.random() < 0.5 and any(named in data for named in NAMED):
        for named in NAMED:
            data = data.replace(named, ELSEWHERE[int(random.integers(len(ELSEWHERE)))])
        return data
    if not name.endswith(".3mf") or random.random() < 0.5:
        return mutated(data, random)
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        parts = {part: package.read(part) for part in package.namelist()}
    hurt = sorted(parts)[int(random.integers(len(parts)))]
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as package:
        for part, content in parts.items():
            package.writestr(part, mutated(content, random) if part == hurt else content)
    return buffer.getvalue()


class Watch:
    """Counts what is opened outside a folder, and every connection and process; a library's own code may be loaded."""

    def __init__(self, folder: Path) -> None:
        libraries = [sysconfig.get_paths()[key] for key in ("stdlib", "platstdlib", "purelib", "platlib")]
        self.allowed = (
            f"{folder}/",
            *(f"{path}/" for path in [*libraries, str(Path(__file__).parents[1] / "meshflow")]),
        )
        self.on = False
        self.outside: list[str] = []

    def __call__(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self.on:
            return
        if event == "open" and isinstance(arguments[0], str | bytes):
            path = arguments[0] if isinstance(arguments[0], str) else arguments[0].decode(errors="replace")
            if not path.startswith(self.allowed) or "/../" in path:
                self.outside.append(path)
        elif event.startswith(
            ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "urllib.", "ctypes.")
        ):
            self.outside.append(event)


def read_under_watch(folder: Path, count: int, seed: int) -> dict[str, Any]:
    """Read `count` damaged files in `folder`; see the module."""
    folder = folder.resolve()
    random = np.random.default_rng(seed)
    files, watch = valid_files(), Watch(folder)
    for name, data in neighbours().items():
        (folder / name).write_bytes(data)
    tally: dict[str, Any] = {"surfaces": 0, "refusals": 0, "tracebacks": [], "slowest_s": 0.0, "slowest": ""}
    sys.addaudithook(watch)
    names = sorted(files)
    for number in range(-len(names), count):  # each valid file once, whole, to see that it is valid
        name = names[number % len(names)]
        data = files[name] if number < 0 else mutated_file(name, files[name], random)
        path = folder / f"damaged{Path(name).suffix}"
        path.write_bytes(data)
        begin = time.perf_counter()
        watch.on = True
        try:
            surface = read_mesh(path, units=None if name.endswith(OWN_UNIT) else "mm")
            watch.on = False
            assert 0 <= surface.faces.min() <= surface.faces.max() < len(surface.vertices)
            assert np.isfinite(surface.vertices).all()
            tally["surfaces"] += 1
        except MeshflowError:
            tally["refusals"] += 1
            assert number >= 0, f"{name} is valid"
        except Exception:
            watch.on = False
            tally["tracebacks"].append(f"{name}, case {number}: {traceback.format_exc()[-600:]}")
        finally:
            watch.on = False
        if number >= 0 and (took := time.perf_counter() - begin) > tally["slowest_s"]:
            tally["slowest_s"], tally["slowest"] = took, f"{name}, case {number}"
    tally["surfaces"] -= len(names)
    watch.on = True
    with Path(__file__).open("rb"):  # a watch that sees nothing would prove nothing
        pass
    watch.on = False
    tally["outside"] = watch.outside
    return tally


if __name__ == "__main__":
    sys.stdout.write(json.dumps(read_under_watch(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
