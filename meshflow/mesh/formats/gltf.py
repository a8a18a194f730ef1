"""glTF 2.0, as JSON with its buffers (``.gltf``) or in one file (``.glb``); lengths are metres by definition.

What is used: the default scene with its tree of nodes, their placements, the meshes on them, strips and fans, colours
of vertices, and names: nodes (with those above them) and meshes as ``group:NAME``, materials as ``material:NAME``.
`gltf_scene` walks the nodes, `gltf_data` reads the numbers. Compressed geometry and whatever else a file requires
beyond the standard is refused by name. Source: Khronos, "glTF 2.0 Specification", section 3.7 (READ);
the rest from memory (MEMORY).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import (
    FileMesh,
    counted,
    missing_neighbours,
    only_texture,
    several_textures,
    trailing,
)
from meshflow.mesh.formats.gltf_data import Document, entry, indices_of, text_of, whole
from meshflow.mesh.formats.gltf_scene import Walk
from meshflow.model.finding import Finding

__all__ = ["read_glb", "read_gltf"]

_AGAIN = "The file is damaged: export the mesh again."
_SHAPE_IS_PLAIN = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "EXT_lights_")
_KNOWN = ("KHR_mesh_quantization", "KHR_xmp_json_ld")


def read_glb(data: bytes, folder: Path) -> FileMesh:
    """Read GLB: glTF in one file. See `read_gltf`."""
    if len(data) < 20:
        raise MeshFileError(f"the file ends after {len(data)} bytes.", remedy=_AGAIN)
    version, length = (int.from_bytes(data[at : at + 4], "little") for at in (4, 8))
    if version != 2:
        raise MeshFileError(f"GLB of version {version} is not supported.", remedy="Export it as glTF 2.0.")
    if length > len(data):
        raise MeshFileError(
            f"the file is cut short: {length} bytes are declared, {len(data)} are there.", remedy="Copy it again."
        )
    chunks: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= length:
        size, kind = int.from_bytes(data[at : at + 4], "little"), data[at + 4 : at + 8]
        if at + 8 + size > length:
            raise MeshFileError("a chunk of the GLB reaches beyond the end of the file.", remedy=_AGAIN)
        chunks.setdefault(kind, data[at + 8 : at + 8 + size])
        at += 8 + size + (-size) % 4
    if b"JSON" not in chunks:
        raise MeshFileError("the GLB has no description of its contents.", remedy=_AGAIN)
    return _read(chunks[b"JSON"], chunks.get(b"BIN\0"), folder, trailing(len(data) - length, "byte"))


def read_gltf(data: bytes, folder: Path) -> FileMesh:
    """Read glTF.

    Parameters
    ----------
    data : bytes
        The JSON document.
    folder : Path
        The only place where buffers in files of their own are looked for.

    Returns
    -------
    FileMesh
        Triangles in metres, placed as the default scene says.

    Raises
    ------
    MeshFileError
        If the document points at something that is not there, loops, needs an extension that is not read, or would
        have a file outside its folder opened.
    """
    return _read(data, None, folder, ())


def _read(text: bytes, blob: bytes | None, folder: Path, notes: tuple[Finding, ...]) -> FileMesh:
    try:
        described = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MeshFileError(f"the glTF description cannot be read ({error}).", remedy=_AGAIN) from error
    if not isinstance(described, dict) or not isinstance(described.get("asset"), dict):
        raise MeshFileError("this is JSON, but not glTF.", remedy="Give a mesh file.")
    if not text_of(described["asset"], "version").startswith("2."):
        raise MeshFileError("only version 2 of glTF is supported.", remedy="Export it as glTF 2.0.")
    _refuse_extensions(described)
    walk = Walk(Document(described, blob, folder))
    for root in _roots(described):
        walk.down(root)
    without = " and ".join(
        counted(count, "primitive") + f" of {name}" for name, count in sorted(walk.without_faces.items())
    )
    return walk.scene.joined(
        unit="m",
        single_precision=True,
        instead=without or "a scene that shows no mesh",
        texture_file=only_texture(walk.pictures),
        notes=(
            *notes,
            *walk.notes,
            *missing_neighbours(_images(described), folder, "texture"),
            *several_textures(walk.pictures),
        ),
    )


def _refuse_extensions(described: dict[str, Any]) -> None:
    needed = described.get("extensionsRequired", [])
    names = [str(name) for name in needed] if isinstance(needed, list) else [str(needed)]
    unknown = [name for name in names if name not in _KNOWN and not name.startswith(_SHAPE_IS_PLAIN)]
    if unknown:
        raise MeshFileError(
            f"the file needs the extension {', '.join(unknown)[:200]}, which is not read.",
            remedy="Export it without compression or extensions.",
        )


def _roots(described: dict[str, Any]) -> list[int]:
    """Nodes at the top of the default scene; of the whole forest where the file has no scene."""
    if described.get("scenes"):
        return indices_of(entry(described, "scenes", whole(described, "scene", 0)), "nodes")
    nodes = described.get("nodes", [])
    if not isinstance(nodes, list):
        raise MeshFileError("nodes is not a list.", remedy=_AGAIN)
    below = frozenset(child for node in nodes if isinstance(node, dict) for child in indices_of(node, "children"))
    return [index for index in range(len(nodes)) if index not in below]


def _images(described: dict[str, Any]) -> list[str]:
    images = described.get("images", [])
    named = [text_of(image, "uri") for image in images if isinstance(image, dict)] if isinstance(images, list) else []
    return [name for name in named if name and not name.startswith("data:")]
