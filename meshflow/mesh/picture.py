"""The picture that the texture of a scan lies in: a file beside the mesh, or packed into a glTF.

Only a plain file in the mesh's own folder is opened (`contents.neighbour`), and what a glTF packs is held against the
size of its buffers before it is read. Source: Khronos, "glTF 2.0 Specification", images (MEMORY).
"""

from __future__ import annotations

import base64
import binascii
import json
from pathlib import Path
from typing import Any

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import neighbour
from meshflow.model.surface import Surface

__all__ = ["texture_picture"]


def texture_picture(mesh: Path, surface: Surface) -> tuple[bytes, str]:
    """Return the file of the picture that a surface's texture lies in.

    Parameters
    ----------
    mesh : Path
        The mesh file.
    surface : Surface
        What was read from it.

    Returns
    -------
    data : bytes
        The picture as a file; empty where there is none.
    name : str
        What to call it in a message.

    Raises
    ------
    MeshFileError
        If the picture is named but is not there, or cannot be read.
    """
    if surface.texture_uv is None:
        return b"", ""
    if surface.texture_file is not None:
        return _beside(mesh, surface.texture_file), surface.texture_file
    if mesh.suffix.lower() in (".glb", ".gltf"):
        return _packed(mesh), f"picture in {mesh.name}"
    return b"", ""


def _beside(mesh: Path, name: str) -> bytes:
    path = neighbour(name, mesh.parent)
    if path is None:
        raise MeshFileError(
            f"its picture {name} is not in its folder.", where=mesh.name, remedy="Put the picture beside the mesh."
        )
    try:
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or error
        raise MeshFileError(f"its picture {name} cannot be read ({reason}).", where=mesh.name) from error


def _packed(mesh: Path) -> bytes:
    """Return the one picture that a glTF file packs; nothing where it packs none, or several."""
    try:
        described, rest = _parts(mesh)
        images = described.get("images", [])
        if len(images) != 1:
            return b""
        uri = images[0].get("uri", "")
        if uri.startswith("data:"):
            return base64.b64decode(uri.partition(",")[2], validate=True)
        view = described["bufferViews"][images[0]["bufferView"]]
        start, size = int(view.get("byteOffset", 0)), int(view["byteLength"])
        if int(view.get("buffer", 0)) != 0 or not 0 <= start <= start + size <= len(rest):
            raise ValueError("outside its buffer")
        return rest[start : start + size]
    except (
        OSError,
        ValueError,
        KeyError,
        IndexError,
        TypeError,
        AttributeError,
        RecursionError,
        binascii.Error,
    ) as error:
        raise MeshFileError(
            "the picture that it packs cannot be read.",
            where=mesh.name,
            remedy="Export the mesh with its texture again.",
        ) from error


def _parts(mesh: Path) -> tuple[dict[str, Any], bytes]:
    """Return the description of a glTF file and its own bytes; these are only there in a GLB."""
    data = mesh.read_bytes()
    if mesh.suffix.lower() == ".gltf":
        return json.loads(data), b""
    length = int.from_bytes(data[12:16], "little")
    rest = data[20 + length :]
    size = int.from_bytes(rest[:4], "little")
    return json.loads(data[20 : 20 + length]), rest[8 : 8 + size]
