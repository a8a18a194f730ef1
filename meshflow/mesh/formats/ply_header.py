"""The header of a PLY file, which declares the tables behind it.

Terms: an *element* is a table (``vertex``, ``face`` ...), a *property* one of its columns, a *list* a property that
holds a count and then as many numbers. Source: G. Turk, "The PLY polygon file format", Stanford, 1994 (MEMORY).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.text import name_of

__all__ = ["Element", "Header", "Property", "read_header"]

_TYPES = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("int64", "long"), "i8"),
    **dict.fromkeys(("uint64", "ulong"), "u8"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
_ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_MOST_HEADER = 1 << 20
_END = re.compile(rb"[\r\n][ \t]*(end_header)")  # at the start of a line: a comment may hold the word
_AGAIN = "Copy or export the file again; a part of a surface is not taken for the whole."


@dataclass(frozen=True, slots=True)
class Property:
    """A column: numpy type of its values, and of the count in front of them if it is a list."""

    name: str
    kind: str
    count_kind: str = ""


@dataclass(frozen=True, slots=True)
class Element:
    """A table: name, number of rows, columns."""

    name: str
    count: int
    properties: list[Property] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Header:
    """What stands before the rows: byte order (empty for text), tables, comments, and where the rows begin."""

    order: str
    elements: list[Element]
    comments: list[str]
    size: int


def read_header(data: bytes) -> Header:
    """Return the header of a PLY file; `MeshFileError` if it cannot be understood."""
    found = _END.search(data, 0, _MOST_HEADER)
    if found is None:
        raise MeshFileError("the PLY header has no end.", remedy=_AGAIN)
    end = found.start(1)
    lines = data[:end].splitlines()
    header = Header("", [], [], _after_line(data, end))
    order: str | None = None
    for number, line in enumerate(lines, 1):
        words = name_of(line).split()
        if words[:1] == ["format"] and len(words) > 1 and words[1] in _ORDERS:
            order = _ORDERS[words[1]]
        elif words[:1] == ["element"]:
            header.elements.append(_element(words, number))
        elif words[:1] == ["property"] and header.elements:
            header.elements[-1].properties.append(_property(words, number))
        elif words[:1] == ["comment"]:
            header.comments.append(" ".join(words[1:]))
        elif words and words[0] not in ("ply", "obj_info"):
            raise _unclear(number, line)
    if order is None:
        raise MeshFileError("the PLY header does not say ascii, little-endian or big-endian.", remedy=_AGAIN)
    return Header(order, header.elements, header.comments, header.size)


def _after_line(data: bytes, end: int) -> int:
    """First byte behind the line of end_header. A lone carriage return ends it only if it ends the first line too."""
    at = end + len(b"end_header")
    while data[at : at + 1] in (b" ", b"\t"):
        at += 1
    if data[at : at + 2] == b"\r\n" and b"\r\n" in data[:end]:
        return at + 2
    return at + 1


def _element(words: list[str], number: int) -> Element:
    if len(words) != 3 or not (words[2].isascii() and words[2].isdigit() and len(words[2]) < 16):
        raise _unclear(number, " ".join(words).encode())
    return Element(words[1], int(words[2]))


def _property(words: list[str], number: int) -> Property:
    if len(words) == 3 and words[1] in _TYPES:
        return Property(words[2], _TYPES[words[1]])
    if len(words) == 5 and words[1] == "list" and _TYPES.get(words[2], "f")[0] != "f" and words[3] in _TYPES:
        return Property(words[4], _TYPES[words[3]], _TYPES[words[2]])
    raise _unclear(number, " ".join(words).encode())


def _unclear(number: int, line: bytes) -> MeshFileError:
    return MeshFileError(f'line {number} of the PLY header is unclear: "{name_of(line[:60])}".', remedy=_AGAIN)
