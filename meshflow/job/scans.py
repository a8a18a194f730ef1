"""The bytes a scan consists of, as one hash: what tells the cache that a scan was changed.

Mostly that is the mesh file alone. A glTF file may name buffers in files beside it; they count as well.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from urllib.parse import unquote

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import neighbour

__all__ = ["file_hash", "scan_hash"]

_GLB_HEAD = 20  # bytes before the JSON chunk of a GLB file; bytes 12 to 15 say how long that is (glTF 2.0, 4.4)


def file_hash(path: Path) -> str:
    """Return the sha256 of a file's bytes."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def scan_hash(path: Path) -> str:
    """Return the hash of everything that reading a mesh file looks at.

    Parameters
    ----------
    path : Path
        The mesh file.

    Returns
    -------
    str
        64 hexadecimal digits; for a mesh in one file the sha256 of its bytes.

    Raises
    ------
    MeshFileError
        If it cannot be read.
    """
    where = path.name or str(path)
    try:
        if not path.exists():
            raise MeshFileError("there is no such file.", where=where, remedy="Check the path.")
        if not path.is_file():
            raise MeshFileError("this is not a file.", where=where, remedy="Give the mesh file itself.")
        own = file_hash(path)
        others = [file_hash(other) for other in _buffers(path)]
    except (OSError, ValueError) as error:
        if isinstance(error, MeshFileError):
            raise
        raise MeshFileError(
            f"the file cannot be opened ({getattr(error, 'strerror', None) or error}).",
            where=where,
            remedy="Check the path and its rights.",
        ) from error
    return hashlib.sha256("\n".join([own, *others]).encode()).hexdigest() if others else own


def _buffers(path: Path) -> list[Path]:
    """Return the files beside a glTF or GLB file that it names as buffers; none for any other file."""
    try:
        named = [buffer.get("uri") for buffer in json.loads(_description(path)).get("buffers", [])]
    except (ValueError, AttributeError, TypeError, RecursionError):
        return []  # no such file, or one that reading will refuse
    found = (neighbour(unquote(name), path.parent) for name in named if isinstance(name, str))
    return [file for file in found if file is not None]


def _description(path: Path) -> bytes:
    """Return the JSON text of a glTF or GLB file, or nothing."""
    suffix = path.suffix.lower()
    if suffix == ".gltf":
        return path.read_bytes()
    if suffix != ".glb":
        return b""
    with path.open("rb") as handle:
        head = handle.read(_GLB_HEAD)
        return handle.read(int.from_bytes(head[12:16], "little"))
