"""STL: triangles without units, as binary or as text. `stl_text` reads the text form.

Binary layout, little-endian: 80 bytes of header, the number of facets in 4 bytes, then 50 bytes a facet: normal, three
corners (each three 32-bit floats), 2 bytes of attribute. What makes a file binary is its size, 84 + 50 n: many
exporters begin the header of a binary file with the word ``solid``. Stored normals are not used; the corners' order
says which side is out.

The attribute often carries a colour of three times 5 bits. Two conventions are about. With ``COLOR=`` and four bytes in
the header, red is in the low bits and a set high bit asks for the colour of the header. Without, red is in the high
bits and a set high bit says that the colour counts; as nothing in the file confirms that, a note says so (M108).

Source of the layout: the format's publication of 1989 as quoted by every later text (READ_VIA).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, colours_from, doubles, note, single_step, trailing
from meshflow.mesh.formats.stl_text import read_stl_text
from meshflow.mesh.formats.text import name_of, plain
from meshflow.model.arrays import UInt8Array
from meshflow.model.finding import Finding

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
    vertices = doubles(facets["corner"]).reshape(-1, 3)
    corners = np.arange(3 * count, dtype=np.int64)
    colours, notes = _colours(facets["attribute"], data[:80])
    return FileMesh(
        vertices=vertices,
        corners=corners,
        counts=np.broadcast_to(np.int64(3), count),
        step=single_step(vertices, corners),
        polygon_colours=colours,
        notes=(*(trailing(len(data) - _HEAD - 50 * count, "byte") if count else ()), *notes),
    )


def _colours(attribute: NDArray[np.uint16], header: bytes) -> tuple[UInt8Array | None, tuple[Finding, ...]]:
    """Colours of the facets from their attributes, or None where no facet has one."""
    if not attribute.any():
        return None, ()
    attribute = attribute.astype(np.uint16)  # the native byte order, and no gaps
    fifths = np.stack([attribute >> 10, attribute >> 5, attribute], axis=1) & 31
    if b"COLOR=" in header:
        own, fifths = attribute >> 15 == 0, fifths[:, ::-1]
    else:
        own = attribute >> 15 == 1
    if not own.any():
        text = "the facets carry numbers that are colours by neither convention; left out."
        return None, () if b"COLOR=" in header else (note("M108", text),)
    colours = colours_from(fifths.astype(np.float64), whole=31.0)
    if b"COLOR=" not in header:
        colours[~own, 3] = 0
        text = "the facets carry colours, but the header does not say how: red was taken to be in the high bits. "
        return colours, (note("M108", text + "If they look wrong, red and blue are swapped."),)
    if (mark := header.index(b"COLOR=") + 6) + 4 <= len(header):
        colours[~own] = np.frombuffer(header, dtype=np.uint8, count=4, offset=mark)
    return colours, ()
