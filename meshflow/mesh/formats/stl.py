"""STL: triangles without units, as binary or as text. `stl_text` reads the text form.

Binary layout, little-endian: 80 bytes of header, the number of facets in 4 bytes, then 50 bytes a facet: normal, three
corners (each three 32-bit floats), 2 bytes of attribute. What makes a file binary is its size, 84 + 50 n: many
exporters begin the header of a binary file with the word ``solid``. Stored normals are not used; the corners' order
says which side is out.

The attribute often carries a colour of three times 5 bits; two conventions are about, told apart by a ``COLOR=`` in
the header. Source of the layout: the format's publication of 1989 as quoted by every later text (READ_VIA).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, colours_from, doubles, single_step, trailing
from meshflow.mesh.formats.stl_text import read_stl_text
from meshflow.mesh.formats.text import name_of, plain
from meshflow.model.arrays import IntArray, UInt8Array

__all__ = ["fills_its_size", "is_stl_text", "read_stl"]

_HEAD = 84
_FACET = np.dtype([("normal", "<f4", (3,)), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])


def read_stl(data: bytes, folder: Path) -> FileMesh:
    """Read STL, binary or text.

    Parameters
    ----------
    data : bytes
        The file.
    folder : Path
        Not used: STL names no other files.

    Returns
    -------
    FileMesh
        One polygon a facet, three vertices of its own each; no unit.

    Raises
    ------
    MeshFileError
        If the file is cut short, counts more facets than it holds, or is no STL.
    """
    if not fills_its_size(data) and is_stl_text(data):
        return read_stl_text(plain(data))
    if not data:
        raise MeshFileError("the file is empty (0 bytes).", remedy="Export the mesh again.")
    if not fills_its_size(data) and _is_text(data):
        raise MeshFileError(
            f'this is text, but not STL: it begins with "{name_of(data[:32])}".', remedy="Give a mesh file."
        )
    return _read_binary(data)


def fills_its_size(data: bytes) -> bool:
    """Whether the size is exactly that of a binary STL with the facets its header counts."""
    return len(data) >= _HEAD and len(data) == _HEAD + 50 * _counted(data)


def is_stl_text(data: bytes) -> bool:
    """Whether the file begins as STL text and goes on as text."""
    head = plain(data[:4096]).rstrip(b"\0\x1a")  # old systems pad behind a short text
    return head.lstrip()[:5].lower() == b"solid" and b"\0" not in head


def _counted(data: bytes) -> int:
    return int.from_bytes(data[80:84], "little")


def _is_text(data: bytes) -> bool:
    return all(byte >= 32 or byte in b"\t\n\r\f" for byte in plain(data[:1024]))


def _read_binary(data: bytes) -> FileMesh:
    if len(data) < _HEAD:
        raise MeshFileError(
            f"the file ends after {len(data)} bytes; a binary STL has at least {_HEAD}.", remedy="Export it again."
        )
    count, present = _counted(data), (len(data) - _HEAD) // 50
    if count > present:
        raise MeshFileError(
            f"the file is cut short or damaged: its header counts {count} triangles, {present} are there.",
            remedy="Copy or export it again; a part of a surface is not taken for the whole.",
        )
    facets = np.frombuffer(data, dtype=_FACET, count=count, offset=_HEAD)
    vertices = doubles(facets["corner"].reshape(-1, 3))
    corners = np.arange(3 * count, dtype=np.int64)
    return FileMesh(
        vertices=vertices,
        corners=corners,
        counts=np.full(count, 3, dtype=np.int64),
        step=single_step(vertices, corners),
        polygon_colours=_colours(facets["attribute"].astype(np.int64), data[:80]),
        notes=trailing(len(data) - _HEAD - 50 * count, "byte") if count else (),
    )


def _colours(attribute: IntArray, header: bytes) -> UInt8Array | None:
    """Colours of the facets from their attributes, or None where no facet has one."""
    fifths = np.stack([attribute >> 10, attribute >> 5, attribute], axis=1) & 31
    if b"COLOR=" in header:  # red in the low bits; the high bit means: use the colour of the whole object
        own, fifths = attribute >> 15 == 0, fifths[:, ::-1]
    else:  # red in the high bits; the high bit means: this colour counts
        own = attribute >> 15 == 1
    if not own.any() or not attribute.any():
        return None
    colours = colours_from(fifths.astype(np.float64), whole=31.0)
    if b"COLOR=" in header and (mark := header.index(b"COLOR=") + 6) + 4 <= len(header):
        colours[~own] = np.frombuffer(header, dtype=np.uint8, count=4, offset=mark)
    else:
        colours[~own, 3] = 0
    return colours
