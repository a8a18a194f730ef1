"""Plain writers for the demo meshes, byte for byte the same at every run. Input is millimetres."""

from __future__ import annotations

import json
import struct
import zipfile
from pathlib import Path

import numpy as np
from shapes import Shape


def stl(path: Path, shape: Shape) -> None:
    """Binary STL in millimetres."""
    vertices, faces, _ = shape
    record = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    corner = vertices[faces]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    record["n"] = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    record["v"] = corner
    path.write_bytes(
        b"carousel canopy finial, millimetres".ljust(80) + struct.pack("<I", len(faces)) + record.tobytes()
    )


def ply(
    path: Path,
    shape: Shape,
    *,
    title: str,
    column: str,
    numbers: dict[str, int],
    colours: np.ndarray | None = None,
) -> None:
    """Binary PLY in millimetres with a whole number on each face: that of its group; colours of vertices if given."""
    vertices, faces, groups = shape
    number = np.zeros(len(faces), dtype="<i4")
    for name, ids in groups.items():
        number[ids] = numbers[name]
    head = (
        f"ply\nformat binary_little_endian 1.0\ncomment carousel {title}, millimetres\n"
        f"element vertex {len(vertices)}\nproperty float x\nproperty float y\nproperty float z\n"
        + ("" if colours is None else "".join(f"property uchar {name}\n" for name in ("red", "green", "blue")))
        + f"element face {len(faces)}\nproperty list uchar int vertex_indices\nproperty int {column}\nend_header\n"
    )
    record = np.zeros(len(faces), dtype=[("k", "u1"), ("v", "<i4", 3), (column, "<i4")])
    record["k"], record["v"], record[column] = 3, faces, number
    points = vertices.astype("<f4")
    if colours is not None:
        coloured = np.zeros(len(points), dtype=[("at", "<f4", 3), ("colour", "u1", 3)])
        coloured["at"], coloured["colour"] = points, colours
        points = coloured
    path.write_bytes(head.encode() + points.tobytes() + record.tobytes())


def obj(path: Path, shape: Shape) -> None:
    """OBJ in inches with groups."""
    vertices, faces, groups = shape
    lines = ["# carousel breast plate, inches"]
    lines += [f"v {x:.6f} {y:.6f} {z:.6f}" for x, y, z in vertices / 25.4]
    for name, ids in groups.items():
        lines.append(f"g {name}")
        lines += [f"f {a} {b} {c}" for a, b, c in faces[ids] + 1]
    path.write_text("\n".join(lines) + "\n", newline="\n")


def glb(path: Path, shape: Shape) -> None:
    """GLB in metres, as the format demands."""
    vertices, faces, _ = shape
    metres = (vertices / 1000.0).astype("<f4")
    index, points = faces.astype("<u4").tobytes(), metres.tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"name": "mirror-frame panel", "mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 1}, "indices": 0, "mode": 4}]}],
        "buffers": [{"byteLength": len(index) + len(points)}],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": len(index)},
            {"buffer": 0, "byteOffset": len(index), "byteLength": len(points)},
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5125, "count": faces.size, "type": "SCALAR"},
            {
                "bufferView": 1,
                "componentType": 5126,
                "count": len(metres),
                "type": "VEC3",
                "min": metres.min(axis=0).tolist(),
                "max": metres.max(axis=0).tolist(),
            },
        ],
    }
    text = json.dumps(tree, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    body = index + points
    total = 12 + 8 + len(text) + 8 + len(body)
    path.write_bytes(
        struct.pack("<4sII", b"glTF", 2, total)
        + struct.pack("<I4s", len(text), b"JSON")
        + text
        + struct.pack("<I4s", len(body), b"BIN\0")
        + body
    )


def threemf(path: Path, shape: Shape) -> None:
    """3MF in centimetres."""
    vertices, faces, _ = shape
    points = "".join(f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in vertices / 10.0)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<model unit="centimeter" xml:lang="en-US" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
        f'<resources><object id="1" type="surface" name="neck strap"><mesh><vertices>{points}</vertices>'
        f"<triangles>{triangles}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    files = {
        "[Content_Types].xml": '<?xml version="1.0" encoding="UTF-8"?>\n<Types xmlns="http://schemas.openxmlformats.org/'
        'package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        'relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-'
        '3dmodel+xml"/></Types>',
        "_rels/.rels": '<?xml version="1.0" encoding="UTF-8"?>\n<Relationships xmlns="http://schemas.openxmlformats.org/'
        'package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.'
        'com/3dmanufacturing/2013/01/3dmodel"/></Relationships>',
        "3D/3dmodel.model": model,
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            archive.writestr(zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)


Line = tuple[str, bool, list[tuple[float, float, float]]]  # layer, whether it is closed, rows of x, y, bulge


def dxf(path: Path, lines: list[Line], *, title: str) -> None:
    """DXF of polylines in millimetres, each corner with the bulge of the side that follows."""
    text = ["999", f"carousel: {title}, millimetres", "0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1015"]
    text += ["9", "$INSUNITS", "70", "4", "0", "ENDSEC", "0", "SECTION", "2", "ENTITIES"]
    for number, (layer, closed, rows) in enumerate(lines, start=1):
        text += ["0", "LWPOLYLINE", "5", f"{number:X}", "100", "AcDbEntity", "8", layer, "100", "AcDbPolyline"]
        text += ["90", str(len(rows)), "70", str(int(closed))]
        for x, y, bulge in rows:
            text += ["10", f"{x:g}", "20", f"{y:g}", "42", f"{bulge:g}"]
    text += ["0", "ENDSEC", "0", "EOF"]
    path.write_text("\n".join(text) + "\n", newline="\n")
