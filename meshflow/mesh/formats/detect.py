"""Which format a file is, from its bytes; the name only decides where the bytes leave it open."""

from __future__ import annotations

import re

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.stl import fills_its_size, is_stl_text
from meshflow.mesh.formats.text import plain

__all__ = ["FORMATS", "detect", "looks_like"]

FORMATS = ("stl", "obj", "ply", "off", "gltf", "glb", "3mf")

_OTHER_FILES = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive: unpack it first"),
    (b"7z\xbc\xaf", "a 7z archive: unpack it first"),
    (b"ISO-10303-21", "a STEP file: export a mesh from it"),
    (b"<?xml", "an XML file"),
    (b"<", "a web page or XML file"),
)
_OFF = re.compile(rb"(?:ST)?C?N?4?n?OFF\b")
_OBJ = re.compile(rb"^[ \t]*(?:(?:v|f|vt|vn)[ \t]+[-+.\d]|(?:mtllib|usemtl)[ \t]+\S)", re.MULTILINE)


def detect(data: bytes, suffix: str) -> str:
    """Return the format of a file.

    Parameters
    ----------
    data : bytes
        The file.
    suffix : str
        What its name ends in, such as ``.stl``.

    Returns
    -------
    str
        One of `FORMATS`.

    Raises
    ------
    MeshFileError
        If the bytes and the name disagree, or neither says a format that is read.
    """
    named, seen = suffix.lower().lstrip("."), looks_like(data)
    if named in FORMATS and seen in (named, ""):
        return named
    if named in FORMATS and seen in FORMATS:
        raise MeshFileError(
            f"the name says {named.upper()}, but the file looks like {_spoken(seen)}.",
            remedy=f"Rename it to end in .{seen} if that is what it is.",
        )
    if seen and seen not in FORMATS:
        raise MeshFileError(f"this is no mesh: it looks like {seen}.", remedy=_READ)
    hint = f" It looks like {_spoken(seen)}." if seen else ""
    raise MeshFileError(f'"{suffix}" is not a mesh format I read.{hint}', remedy=_READ)


_READ = "Give STL, OBJ, PLY, OFF, glTF, GLB or 3MF."


def _spoken(name: str) -> str:
    return {"gltf": "glTF"}.get(name, name.upper())


def looks_like(data: bytes) -> str:
    """Return one of `FORMATS`, a description of some other kind of file, or nothing when the bytes say little."""
    head = plain(data[:4096]).lstrip()
    if data.startswith(b"PK\x03\x04"):
        return "3mf"
    if data.startswith(b"glTF"):
        return "glb"
    if re.match(rb"ply\s", head):
        return "ply"
    if data and fills_its_size(data):
        return "stl"
    if _OFF.match(head):
        return "off"
    if is_stl_text(data):
        return "stl"
    if head.startswith(b"{"):
        return "gltf"
    for magic, description in _OTHER_FILES:
        if head.startswith(magic):
            return description
    return "obj" if _OBJ.search(head) and b"\0" not in head else ""
