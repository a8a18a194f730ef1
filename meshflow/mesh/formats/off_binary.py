r"""OFF as bytes: the line ``OFF BINARY``, then counts, vertices and polygons in 32 bits each.

Layout: three whole numbers (vertices, faces, edges); each vertex as three floats, with ``N`` three more, with ``C``
four of colour (parts of 1), with ``ST`` two of texture; each face as a whole number of corners, the corners, a whole
number of colour parts, and these as floats. The order of bytes is big-endian by the format's description, but writers
are about that use the order of their machine, leave the colour count of the faces out, or put one in front of the
colours of vertices. The first reading, from the described one on, in which all numbers fit and the file ends where
its counts say is taken; one that is not the described one is noted (M108). Source: the manual of the viewer the
format was made for (MEMORY), two readers and a writer of general mesh libraries (READ).
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, check_indices, colours_from, doubles, note, single_step, trailing
from meshflow.mesh.formats.ply_header import Element, Header, Property
from meshflow.mesh.formats.ply_table import Column, Lists, read_tables
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array

__all__ = ["BINARY", "read_off_binary"]

BINARY = re.compile(rb"\s*(?P<texture>ST)?(?P<colour>C)?(?P<normal>N)?OFF[ \t]+BINARY[ \t]*(?:\r\n|\n|\r)")
_AGAIN = "The file is damaged: export the mesh again."


def read_off_binary(data: bytes, head: re.Match[bytes]) -> FileMesh:
    """Read a binary OFF file.

    Parameters
    ----------
    data : bytes
        The file.
    head : Match
        The match of `BINARY` at its beginning.

    Returns
    -------
    FileMesh
        Polygons, with the colours of faces and vertices and places in a texture; no unit.

    Raises
    ------
    MeshFileError
        If no reading fits: the file is cut short, damaged, or names a vertex that is not there.
    """
    first: MeshFileError | None = None
    spare: FileMesh | None = None
    for order, counted_faces, counted_colours in product("><", (True, False), (False, True)):
        if counted_colours and head["colour"] is None:
            continue
        as_described = order == ">" and counted_faces and not counted_colours
        try:
            mesh, left = _one_reading(data, head, order, counted_faces, counted_colours)
        except MeshFileError as error:
            first = first or error
            continue
        if not left:
            return mesh if as_described else _noted(mesh, order)
        if as_described:
            spare = mesh
    if spare is not None:
        return spare
    raise first or MeshFileError("the counts of the binary OFF do not fit its size.", remedy=_AGAIN)


def _noted(mesh: FileMesh, order: str) -> FileMesh:
    text = "the binary OFF was not written as the format describes ("
    text += "numbers in the other order of bytes" if order == "<" else "colour counts left out or added"
    text += "); it was read in the one way in which all its counts fit."
    return replace(mesh, notes=(*mesh.notes, note("M108", text)))


def _one_reading(
    data: bytes, head: re.Match[bytes], order: str, counted_faces: bool, counted_colours: bool
) -> tuple[FileMesh, int]:
    """Mesh and bytes left over when the file is read in one way."""
    counts = [int.from_bytes(data[at : at + 4], "big" if order == ">" else "little") for at in _words(data, head)]
    vertex = [Property(axis, "f4") for axis in "xyz"]
    if head["normal"]:
        vertex += [Property(f"normal_{axis}", "f4") for axis in "xyz"]
    if head["colour"]:
        parts = [Property(part, "f4") for part in ("red", "green", "blue", "alpha")]
        vertex += [Property("colour", "f4", "i4")] if counted_colours else parts
    if head["texture"]:
        vertex += [Property("s", "f4"), Property("t", "f4")]
    face = [Property("corners", "i4", "i4")] + ([Property("colour", "f4", "i4")] if counted_faces else [])
    elements = [Element("vertex", counts[0], vertex), Element("face", counts[1], face)]
    tables, left, _ = read_tables(data, Header(order, elements, [], head.end() + 12))
    return _mesh(tables[0], tables[1], trailing_bytes=left), left


def _words(data: bytes, head: re.Match[bytes]) -> range:
    if len(data) < head.end() + 12:
        raise MeshFileError("the file is cut short: its counts are missing.", remedy=_AGAIN)
    return range(head.end(), head.end() + 12, 4)


def _mesh(vertex: dict[str, Column], face: dict[str, Column], *, trailing_bytes: int) -> FileMesh:
    vertices = np.stack([doubles(vertex[axis]) for axis in "xyz"], axis=1)
    lists = face["corners"]
    assert isinstance(lists, Lists)
    corners, counts = lists.values.reshape(-1).astype(np.int64), lists.counts
    check_indices(corners, len(vertices), lambda at: int(np.searchsorted(np.cumsum(counts), at, side="right")), "face")
    texture = np.stack([doubles(vertex[name]) for name in "st"], axis=1)[corners] if "s" in vertex else None
    return FileMesh(
        vertices=vertices,
        corners=corners,
        counts=counts,
        step=single_step(vertices, corners),
        vertex_colours=_vertex_colours(vertex),
        polygon_colours=_listed_colours(face["colour"], "face") if "colour" in face else None,
        texture=texture,
        notes=trailing(trailing_bytes, "byte"),
    )


def _vertex_colours(vertex: dict[str, Column]) -> UInt8Array | None:
    if "colour" in vertex:
        return _listed_colours(vertex["colour"], "vertex")
    if "red" not in vertex:
        return None
    return colours_from(np.stack([doubles(vertex[part]) for part in ("red", "green", "blue", "alpha")], axis=1))


def _listed_colours(column: Column, what: str) -> UInt8Array | None:
    """Colours of three or four parts; alpha 0 for rows with none, or with a number of a colour map."""
    assert isinstance(column, Lists)
    counts, values = column.counts, doubles(column.values.reshape(-1))
    if (wrong := np.flatnonzero((counts < 0) | (counts > 4))).size:
        raise MeshFileError(f"{what} {wrong[0]} has {counts[wrong[0]]} colour parts.", remedy=_AGAIN)
    if not (counts >= 3).any():
        return None
    colours = np.zeros((len(counts), 4), dtype=np.uint8)
    starts: IntArray = np.cumsum(counts) - counts
    whole = 1.0 if float(np.nan_to_num(values).max(initial=0.0)) <= 1.0 else 255.0
    for size in (3, 4):
        which = np.flatnonzero(counts == size)
        parts: FloatArray = values[starts[which][:, None] + np.arange(size)]
        colours[which] = colours_from(parts, whole=whole)
    return colours
