"""OFF: vertices and polygons with a count of each on top, no unit; as text, or as bytes, which `off_binary` reads.

The keyword may be led by ``ST``, ``C`` and ``N``: each vertex then has texture, colour or normal numbers behind its
position, in the order normal, colour, texture. Faces may carry a colour at the end of their line: three or four
numbers, whole ones of 0..255 or fractions of 1. Anything from ``#`` to the end of the line is a comment. Source: the
format's description in the manual of the viewer it was made for, in two copies (READ_VIA).
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, check_indices, colours_from, ranges, trailing
from meshflow.mesh.formats.off_binary import BINARY, read_off_binary
from meshflow.mesh.formats.text import Rows, name_of, plain, rows_of, without_comments
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array

__all__ = ["read_off"]

_AGAIN = "The file is damaged: export the mesh again."
_KEYWORD = re.compile(rb"(?P<texture>ST)?(?P<colour>C)?(?P<normal>N)?(?P<four>4)?(?P<any>n)?OFF(?![A-Za-z0-9])")


def read_off(data: bytes, folder: Path) -> FileMesh:
    """Read OFF and its variants with normals, colours and texture numbers.

    Parameters
    ----------
    data : bytes
        The file.
    folder : Path
        Not used: OFF names no other files.

    Returns
    -------
    FileMesh
        Polygons, with the colours of faces and vertices; no unit.

    Raises
    ------
    MeshFileError
        If the file is the four-dimensional variant, is cut short, or names a vertex that is not there.
    """
    if (binary := BINARY.match(data)) is not None:
        return read_off_binary(data, binary)
    keyword, lines, numbers = _head(plain(data))
    vertex_count, face_count, lines, numbers = _counts(lines, numbers)
    if vertex_count + face_count > len(lines):
        there = min(vertex_count, len(lines)), max(len(lines) - vertex_count, 0)
        raise MeshFileError(
            f"the file is cut short: it counts {vertex_count} vertices and {face_count} faces, "
            f"{there[0]} and {there[1]} are there.",
            remedy="Copy or export it again; a part of a surface is not taken for the whole.",
        )
    points = rows_of(lines[:vertex_count], numbers[:vertex_count])
    end = vertex_count + face_count
    faces = rows_of(lines[vertex_count:end], numbers[vertex_count:end])
    if (short := np.flatnonzero(points.counts < 3)).size:
        raise MeshFileError(f"line {numbers[short[0]]}: a vertex has fewer than three numbers.", remedy=_AGAIN)
    corners, counts = _corners(faces, vertex_count, numbers[vertex_count:end])
    return FileMesh(
        vertices=points.values[points.starts[:, None] + np.arange(3)],
        corners=corners,
        counts=counts,
        vertex_colours=_vertex_colours(points, keyword),
        texture=_texture(points, keyword, corners),
        polygon_colours=_colours_behind(faces, faces.starts + 1 + counts, faces.counts - 1 - counts),
        notes=trailing(len(lines) - end, "line"),
    )


def _head(data: bytes) -> tuple[re.Match[bytes] | None, list[bytes], list[int]]:
    """Return the keyword, if there is one, and the lines behind it that say something, with their numbers."""
    lines = without_comments(data.splitlines())
    numbers = [number for number, line in enumerate(lines, 1) if line.strip()]
    lines = [line.strip() for line in lines if line.strip()]
    if not lines:
        raise MeshFileError("the file is empty.", remedy="Export the mesh again.")
    keyword = _KEYWORD.match(lines[0])
    if keyword is None:
        if not lines[0][:1].isdigit():
            raise MeshFileError(
                f'the file does not begin with OFF but with "{name_of(lines[0][:32])}".', remedy="Give a mesh file."
            )
        return None, lines, numbers
    rest = lines[0][keyword.end() :].strip()
    if rest.upper().startswith(b"BINARY"):
        raise MeshFileError(f"{name_of(lines[0][:32])} is no binary OFF that is read.", remedy="Export it as text.")
    if keyword["four"] or keyword["any"]:
        raise MeshFileError(f"{name_of(keyword[0])} with other than three dimensions is not supported.", remedy=_AGAIN)
    return (keyword, [rest, *lines[1:]], numbers) if rest else (keyword, lines[1:], numbers[1:])


def _counts(lines: list[bytes], numbers: list[int]) -> tuple[int, int, list[bytes], list[int]]:
    words = lines[0].split() if lines else []
    if len(words) not in (2, 3) or not all(word.isdigit() and len(word) < 16 for word in words):
        raise MeshFileError(
            "the counts of vertices and faces are missing" + (f" on line {numbers[0]}." if numbers else "."),
            remedy=_AGAIN,
        )
    return int(words[0]), int(words[1]), lines[1:], numbers[1:]


def _corners(faces: Rows, vertex_count: int, lines: list[int]) -> tuple[IntArray, IntArray]:
    given = faces.values[faces.starts] if len(faces.counts) else np.zeros(0)
    bad = ~((given >= 0) & (given == np.rint(given)) & (given < faces.counts))
    if (wrong := np.flatnonzero(bad)).size:
        raise MeshFileError(f"line {lines[wrong[0]]}: the face has not as many corners as it says.", remedy=_AGAIN)
    counts = given.astype(np.int64)
    values = faces.values[ranges(faces.starts + 1, counts)]
    owner = np.repeat(np.array(lines, dtype=np.int64), counts)
    if (wrong := np.flatnonzero(~(np.abs(values) < 2.0**53) | (values != np.rint(values)))).size:
        raise MeshFileError(f"line {owner[wrong[0]]}: a face has a corner that is no vertex number.", remedy=_AGAIN)
    corners = values.astype(np.int64)
    check_indices(corners, vertex_count, lambda corner: int(owner[corner]), "line")
    return corners, counts


def _vertex_colours(points: Rows, keyword: re.Match[bytes] | None) -> UInt8Array | None:
    if keyword is None or keyword["colour"] is None:
        return None
    before = 6 if keyword["normal"] else 3
    texture = 2 if keyword["texture"] else 0
    return _colours_behind(points, points.starts + before, points.counts - before - texture)


def _texture(points: Rows, keyword: re.Match[bytes] | None, corners: IntArray) -> FloatArray | None:
    """Places in a texture, the last two numbers of each vertex; not a number where there are too few."""
    if keyword is None or keyword["texture"] is None:
        return None
    places = np.full((len(points.counts), 2), np.nan)
    given = np.flatnonzero(points.counts >= (8 if keyword["normal"] else 5))
    ends = points.starts[given] + points.counts[given]
    places[given] = points.values[ends[:, None] + np.arange(-2, 0)]
    return places[corners]


def _colours_behind(rows: Rows, starts: IntArray, counts: IntArray) -> UInt8Array | None:
    """Colours of three or four numbers; alpha 0 for rows with none, or with a bare colour-map number."""
    if not (counts >= 3).any():
        return None
    colours = np.zeros((len(counts), 4), dtype=np.uint8)
    parts = [(size, np.flatnonzero(np.minimum(counts, 4) == size)) for size in (3, 4)]
    values = [rows.values[starts[which][:, None] + np.arange(size)] for size, which in parts]
    # A row with a fraction is in parts of 1; whole numbers are 0..255, unless none in the file goes beyond 1.
    usual = 1.0 if max(float(np.nan_to_num(part).max(initial=0.0)) for part in values) <= 1.0 else 255.0
    for (_, which), part in zip(parts, values, strict=True):
        if len(which):
            fraction = (part != np.rint(part)).any(axis=1, keepdims=True)
            colours[which] = colours_from(part, whole=np.where(fraction, 1.0, usual))
    return colours
