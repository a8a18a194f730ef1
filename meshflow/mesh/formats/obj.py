"""OBJ: text of vertices and polygons with groups and materials, no unit.

Terms: ``v`` a vertex (with three or four further numbers: its colour), ``f`` a polygon of vertex numbers from 1, or
counted back from the last vertex above it when negative; ``g`` names the groups of the faces below (several names:
they belong to all of them; none: to ``default``), ``o`` an object, ``usemtl`` a material. A backslash at the end of a
line continues it.

Texture places (``f 1/2/3``, the middle number) stay with the corners: seams of the texture do not part the surface,
see `obj_texture`. Normals are passed over. Of a material file only the names of pictures are used; a missing one is
noted (M104) and its names stay.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import (
    FileMesh,
    colours_from,
    missing_neighbours,
    neighbour,
    only_texture,
    several_textures,
)
from meshflow.mesh.formats.obj_texture import pictures_of, places_of_corners
from meshflow.mesh.formats.text import Rows, name_of, plain, rows_of, without_comments
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array

__all__ = ["read_obj"]

_AGAIN = "The file is damaged: export the mesh again."
_MOST_GROUPS = 64  # at once: a file that repeats thousands at every face would fill the memory
_TEXTURE_AND_NORMAL = re.compile(rb"/\S*")
_PASSED_OVER = frozenset((b"vn", b"vp", b"s", b"#", b"cstype", b"deg", b"end"))
_ELSE = {b"l": "polyline", b"p": "point element", b"curv": "free-form curve", b"surf": "free-form surface"}


@dataclass(eq=False)
class _Statements:
    """The lines of a file, sorted by what they say."""

    vertices: list[bytes] = field(default_factory=list)
    vertex_lines: list[int] = field(default_factory=list)
    faces: list[bytes] = field(default_factory=list)
    face_lines: list[int] = field(default_factory=list)
    vertices_above: list[int] = field(default_factory=list)
    places: list[bytes] = field(default_factory=list)
    place_lines: list[int] = field(default_factory=list)
    places_above: list[int] = field(default_factory=list)
    memberships: list[tuple[str, ...]] = field(default_factory=list)
    first_faces: list[int] = field(default_factory=list)
    object_name: str = ""
    groups: tuple[str, ...] = ()
    material: str = ""
    libraries: list[str] = field(default_factory=list)
    elements: dict[str, int] = field(default_factory=dict)


def read_obj(data: bytes, folder: Path) -> FileMesh:
    """Read OBJ.

    Parameters
    ----------
    data : bytes
        The file, in any encoding.
    folder : Path
        Where to look for the material files that it names.

    Returns
    -------
    FileMesh
        Polygons with ``group:NAME`` and ``material:NAME``; no unit.

    Raises
    ------
    MeshFileError
        If a face names vertex 0 or one that is not there, or a word is no number.
    """
    said = _sorted_out(_joined(without_comments(plain(data).splitlines())))
    vertices, colours = _vertices(rows_of(said.vertices, said.vertex_lines), said.vertex_lines)
    corners, counts = _faces(said, len(vertices))
    sets = _sets(said)
    texture, notes = places_of_corners((said.places, said.place_lines), said.faces, said.places_above, counts)
    libraries = _one_by_one(said.libraries, folder)
    materials = [name.removeprefix("material:") for name in sets if name.startswith("material:")]
    pictures = pictures_of(libraries, folder, materials) if texture is not None else []
    return FileMesh(
        vertices=vertices,
        corners=corners,
        counts=counts,
        sets=sets,
        vertex_colours=colours,
        texture=texture,
        texture_file=only_texture(pictures),
        instead=_spoken(said.elements),
        notes=(*missing_neighbours(libraries, folder, "material file"), *notes, *several_textures(pictures)),
    )


def _joined(lines: list[bytes]) -> list[bytes]:
    """Lines with continuations put into the first of them; the others become empty, so that numbers stay right."""
    for index in range(len(lines) - 2, -1, -1):
        if lines[index].endswith(b"\\"):
            lines[index] = lines[index][:-1] + b" " + lines[index + 1]
            lines[index + 1] = b""
    return lines


def _sorted_out(lines: list[bytes]) -> _Statements:
    said = _Statements()
    changed = True
    for number, line in enumerate(lines, 1):
        words = line.split(None, 1)
        if len(words) < 2:
            if words == [b"vt"]:  # keeps the numbers of the next ones right
                said.places.append(b"")
                said.place_lines.append(number)
            changed = _bare(said, words) or changed
            continue
        key, rest = words
        if key == b"v":
            said.vertices.append(rest)
            said.vertex_lines.append(number)
        elif key in (b"f", b"fo"):
            if changed:
                said.memberships.append(_membership(said))
                said.first_faces.append(len(said.faces))
                changed = False
            said.faces.append(rest)
            said.face_lines.append(number)
            said.vertices_above.append(len(said.vertices))
            said.places_above.append(len(said.places))
        elif key == b"vt":
            said.places.append(rest)
            said.place_lines.append(number)
        elif key not in _PASSED_OVER:
            changed = _other(said, key, rest) or changed
    return said


def _bare(said: _Statements, words: list[bytes]) -> bool:
    """Take in a word alone on its line: a bare ``g`` ends the group, a bare ``usemtl`` the material."""
    if words == [b"g"]:
        said.groups = ("default",)
    elif words == [b"o"]:
        said.object_name = ""
    elif words == [b"usemtl"]:
        said.material = ""
    else:
        return False
    return True


def _other(said: _Statements, key: bytes, rest: bytes) -> bool:
    """Take in a statement about the faces below; whether their membership changes."""
    if key == b"g":
        said.groups = tuple(dict.fromkeys(name_of(word) for word in rest.split()))
        if len(said.groups) > _MOST_GROUPS:
            raise MeshFileError(f"a face is in {len(said.groups)} groups at once.", remedy=_AGAIN)
    elif key == b"o":
        said.object_name = name_of(rest)
    elif key == b"usemtl":
        said.material = name_of(rest)
    elif key == b"mtllib":
        said.libraries.append(name_of(rest))
    elif key in _ELSE:
        said.elements[_ELSE[key]] = said.elements.get(_ELSE[key], 0) + 1
    return key in (b"g", b"o", b"usemtl")


def _membership(said: _Statements) -> tuple[str, ...]:
    names = [f"group:{name}" for name in said.groups]
    if said.object_name and said.object_name not in said.groups:
        names.append(f"group:{said.object_name}")
    if said.material:
        names.append(f"material:{said.material}")
    return tuple(names)


def _sets(said: _Statements) -> dict[str, IntArray]:
    """Faces of each name. Where some faces stand in a group, those without any are the group ``default``."""
    memberships = said.memberships
    if any(name.startswith("group:") for names in memberships for name in names):
        memberships = [
            names if any(name.startswith("group:") for name in names) else ("group:default", *names)
            for names in memberships
        ]
    sets: dict[str, list[IntArray]] = {}
    ends = [*said.first_faces[1:], len(said.faces)]
    for names, first, stop in zip(memberships, said.first_faces, ends, strict=False):  # no faces: one end too many
        for name in names:
            sets.setdefault(name, []).append(np.arange(first, stop, dtype=np.int64))
    return {name: np.concatenate(parts) for name, parts in sets.items()}


def _vertices(rows: Rows, lines: list[int]) -> tuple[FloatArray, UInt8Array | None]:
    """Positions, and colours where some vertices have six numbers or more."""
    short = np.flatnonzero(rows.counts < 3)
    if short.size:
        raise MeshFileError(f"line {lines[int(short[0])]}: a vertex has fewer than three numbers.", remedy=_AGAIN)
    at = rows.starts
    vertices = rows.values[at[:, None] + np.arange(3)]
    coloured = np.flatnonzero(rows.counts >= 6)
    if coloured.size == 0:
        return vertices, None
    colours = np.full((len(vertices), 4), 255, dtype=np.uint8)
    colours[rows.counts < 6, 3] = 0
    colours[coloured, :3] = colours_from(rows.values[at[coloured][:, None] + np.arange(3, 6)])[:, :3]
    return vertices, colours


def _faces(said: _Statements, vertex_count: int) -> tuple[IntArray, IntArray]:
    """Vertex indices from 0, and corners of each face."""
    stripped = [_TEXTURE_AND_NORMAL.sub(b"", face) if b"/" in face else face for face in said.faces]
    rows = rows_of(stripped, said.face_lines)
    lines = np.repeat(np.array(said.face_lines, dtype=np.int64), rows.counts)
    with np.errstate(invalid="ignore"):
        wrong = np.flatnonzero(~(np.abs(rows.values) < 2.0**53) | (rows.values != np.rint(rows.values)))
    if wrong.size:
        raise MeshFileError(f"line {lines[wrong[0]]}: a face has a corner that is no vertex number.", remedy=_AGAIN)
    given = rows.values.astype(np.int64)
    if (zero := np.flatnonzero(given == 0)).size:
        raise MeshFileError(f"line {lines[zero[0]]}: a face names vertex 0; OBJ counts from 1.", remedy=_AGAIN)
    above = np.repeat(np.array(said.vertices_above, dtype=np.int64), rows.counts)
    corners = np.where(given > 0, given - 1, above + given)
    if (wrong := np.flatnonzero((corners < 0) | (corners >= vertex_count))).size:
        raise MeshFileError(
            f"line {lines[wrong[0]]}: a face names vertex {given[wrong[0]]}, but the file has {vertex_count} vertices.",
            remedy=_AGAIN,
        )
    return corners, rows.counts


def _one_by_one(libraries: list[str], folder: Path) -> list[str]:
    """Part a statement that names several files, unless one file has that whole name."""
    return [name for line in libraries for name in ([line] if neighbour(line, folder) else line.split())]


def _spoken(elements: dict[str, int]) -> str:
    return " and ".join(f"{count} {name}{'s' if count != 1 else ''}" for name, count in elements.items())
