"""STL as text: ``solid``, facets of three ``vertex`` lines, ``endsolid``; several solids make one surface.

A regular stretch of facets is read by numpy; a stretch with anything odd in it is read word by word. A facet that
has not three vertices never shifts its neighbours: it is cut up if flat, else left out, and M102 says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, counted, note
from meshflow.mesh.formats.polygons import flatness
from meshflow.mesh.formats.text import name_of, numbers, rows_of
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["read_stl_text"]

_SOLID = re.compile(rb"(?<!\S)(?P<end>end)?solid(?P<name>(?:(?!facet\s+normal)[^\r\n])*)", re.IGNORECASE)
_ENDFACET = re.compile(rb"endfacet", re.IGNORECASE)
_STRETCH = 1 << 22  # bytes read at a time: bounds the memory of a big file
_FLAT = 1e-3  # a facet of four or more corners is taken as a polygon if it is flat to a thousandth of its size

# Each keyword becomes one control character, in the order in which a facet has them.
_MARKS = ((b"facet normal", b"\x01"), (b"outer loop", b"\x02"), (b"vertex", b"\x03"))
_END_MARKS = ((b"endloop", b"\x04"), (b"endfacet", b"\x05"))
_FACET_MARKS = np.array([1, 2, 3, 3, 3, 4, 5], dtype=np.uint8)
_FACET_NUMBERS = np.array([3, 0, 3, 3, 3, 0, 0])
_STRAY_MARKS = re.compile(rb"[\x00-\x08\x0e-\x1f]")


def read_stl_text(data: bytes) -> FileMesh:
    """Read STL text.

    Parameters
    ----------
    data : bytes
        The file, without byte-order mark.

    Returns
    -------
    FileMesh
        One polygon a facet; named solids as ``group:NAME``; no unit.

    Raises
    ------
    MeshFileError
        If a facet is cut short or holds a word that is no number.
    """
    data = data.rstrip(b"\0\x1a \t\r\n")  # what old systems put behind a text
    solids = _solid_lines(data)
    corners, counts, names = [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)], []
    for index, solid in enumerate(solids):
        end = solids[index + 1].start() if index + 1 < len(solids) else len(data)
        found = list(_solid(data, solid.end(), end))
        corners += [points for points, _ in found]
        counts += [sizes for _, sizes in found]
        names.append((name_of(solid["name"]) if solid["end"] is None else "", sum(len(sizes) for _, sizes in found)))
    vertices, sizes = np.concatenate(corners), np.concatenate(counts)
    keep = _usable(vertices, sizes)
    notes = []
    if (odd := int((sizes != 3).sum())) > 0:
        cut = int((keep & (sizes != 3)).sum())
        text = f"{counted(odd, 'facet')} without just three vertices: {cut} flat and cut up, {odd - cut} left out."
        notes.append(note("M102", text, warn=True, remedy="Export the mesh again.", count=odd))
    if not solids or solids[-1]["end"] is None:
        notes.append(note("M103", "the closing endsolid is missing; every facet before it is complete."))
    return FileMesh(
        vertices=vertices[np.repeat(keep, sizes)],
        corners=np.arange(int(sizes[keep].sum()), dtype=np.int64),
        counts=sizes[keep],
        sets=_sets(names, keep),
        notes=tuple(notes),
    )


def _solid_lines(data: bytes) -> list[re.Match[bytes]]:
    """Return the matches of all ``solid NAME`` and ``endsolid NAME``, in order."""
    places: list[int] = []
    for word in (b"solid", b"SOLID", b"Solid"):  # looked for as they stand: the file is big and the word is rare
        place = data.find(word)
        while place >= 0:
            places.append(place)
            place = data.find(word, place + 5)
    found: list[re.Match[bytes]] = []
    for place in sorted(places):
        start = place - 3 if data[max(place - 3, 0) : place].lower() == b"end" else place
        match = _SOLID.match(data, start)
        if match and (not found or start >= found[-1].end()):  # a name may hold the word as well
            found.append(match)
    return found


def _usable(vertices: FloatArray, sizes: IntArray) -> BoolArray:
    keep = sizes >= 3
    starts = np.cumsum(sizes) - sizes
    for facet in np.flatnonzero(sizes > 3).tolist():
        keep[facet] = flatness(vertices[starts[facet] : starts[facet] + sizes[facet]]) <= _FLAT
    return keep


def _sets(names: list[tuple[str, int]], keep: BoolArray) -> dict[str, IntArray]:
    """Facets of each named solid; unnamed ones get a number where there are several."""
    sets: dict[str, list[IntArray]] = {}
    holding = sum(count > 0 for _, count in names)
    first, number = 0, 0
    new = np.cumsum(keep) - 1
    for name, count in names:
        ids = np.arange(first, first + count)
        first, number = first + count, number + (count > 0)
        name = name or (f"solid {number}" if holding > 1 else "")
        if name and keep[ids].any():
            sets.setdefault(f"group:{name}", []).append(new[ids[keep[ids]]])
    return {name: np.concatenate(parts) for name, parts in sets.items()}


def _solid(data: bytes, start: int, end: int) -> Iterator[tuple[FloatArray, IntArray]]:
    """Yield corners and corner counts of the facets between two places, one stretch after the other."""
    while start < end:
        stop = end
        if end - start > _STRETCH:
            found = _ENDFACET.search(data, start + _STRETCH, end)
            stop = found.end() if found else end
        piece = data[start:stop]
        if not piece.isspace():
            yield _regular(piece) or _odd(piece, data, start)
        start = stop


def _odd(piece: bytes, data: bytes, start: int) -> tuple[FloatArray, IntArray]:
    try:
        return _word_by_word(piece, 1)
    except MeshFileError:  # read once more to name the right line: counting lines for every stretch would be slow
        return _word_by_word(piece, 1 + _lines(data, start))


def _lines(data: bytes, end: int) -> int:
    return data.count(b"\n", 0, end) or data.count(b"\r", 0, end)


def _regular(piece: bytes) -> tuple[FloatArray, IntArray] | None:
    """Facets of a stretch in which all are alike and complete; None if one is not."""
    if _STRAY_MARKS.search(piece):
        return None
    text = piece.lower()
    for word, mark in (*_END_MARKS, *_MARKS):
        text = text.replace(word, mark)
    codes = np.frombuffer(text, dtype=np.uint8)
    at = np.flatnonzero((codes > 0) & (codes < 6))
    blank = codes <= 32
    begins = np.flatnonzero(~blank & np.concatenate([[True], blank[:-1]]))
    if len(at) == 0:
        return (np.zeros((0, 3)), np.zeros(0, dtype=np.int64)) if len(begins) == 0 else None
    if len(at) % 7 or (codes[at].reshape(-1, 7) != _FACET_MARKS).any():
        return None
    words = np.diff(np.searchsorted(begins, np.append(at, len(codes))), prepend=0)
    if words[0] or (words[1:].reshape(-1, 7) != _FACET_NUMBERS).any():
        return None
    values = numbers(text.translate(_MARKS_TO_BLANKS))
    if values is None or len(values) != 12 * (len(at) // 7):
        return None
    facets = values.reshape(-1, 12)
    return facets[:, 3:].reshape(-1, 3).copy(), np.full(len(facets), 3, dtype=np.int64)


_MARKS_TO_BLANKS = bytes(32 if code < 6 else code for code in range(256))


def _word_by_word(piece: bytes, first_line: int) -> tuple[FloatArray, IntArray]:
    """Facets of a stretch with something odd in it: any blanks, any number of vertices, or words out of place."""
    rows: list[bytes] = []
    row_lines: list[int] = []
    sizes: list[int] = []
    open_facet, needed = False, 0
    for number, line in enumerate(piece.splitlines(), first_line):
        for word in line.split():
            key = word.lower()
            if needed:
                rows[-1] += b" " + word
                needed -= 1
            elif key == b"facet":
                sizes.append(_begin(open_facet, number))
                open_facet = True
            elif key == b"vertex" and open_facet:
                rows.append(b"")
                row_lines.append(number)
                sizes[-1] += 1
                needed = 3
            elif key == b"endfacet" and open_facet:
                open_facet = False
            elif not open_facet or (key in (b"vertex", b"endfacet")):
                raise MeshFileError(f'line {number}: "{name_of(word[:40])}" is out of place.', remedy=_AGAIN)
    if open_facet or needed:
        raise MeshFileError(
            f"the file is cut short: it ends inside a facet; {max(len(sizes) - 1, 0)} facets before it are complete.",
            remedy=_AGAIN,
        )
    return rows_of(rows, row_lines).values.reshape(-1, 3), np.array(sizes, dtype=np.int64)


_AGAIN = "Copy or export the file again; a part of a surface is not taken for the whole."


def _begin(open_facet: bool, line: int) -> int:
    if open_facet:
        raise MeshFileError(f"line {line}: a facet begins before the one above has ended.", remedy=_AGAIN)
    return 0
