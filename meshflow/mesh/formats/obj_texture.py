"""The texture of an OBJ file: the places of its corners, and the picture its material files name.

Terms: ``vt`` a place in the picture, rightwards and upwards; ``f 1/7`` a corner at vertex 1 and texture place 7, or
counted back from the last place above it when negative; ``map_Kd`` in a material file names the picture. Only a plain
material file in the mesh's own folder is opened, the picture itself never. Source: the format's publication of the
early nineties as quoted by every later text (READ_VIA).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import counted, neighbour, note
from meshflow.mesh.formats.text import name_of, numbers, plain, rows_of
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding

__all__ = ["pictures_of", "places_of_corners"]

_CORNER = re.compile(rb"[^\s/]+(?:/([^\s/]*))?(?:/\S*)?")
_MATERIAL = re.compile(rb"^[ \t]*(newmtl|map_Kd)[ \t]+(.+)$", re.MULTILINE)
_OPTIONS = re.compile(rb"(?:-(?:[ost]|mm)(?:[ \t]+[-+.\deE]+){1,3}[ \t]+|-\w+[ \t]+\S+[ \t]+)*")
_MOST_BYTES = 4 << 20


def places_of_corners(
    places: tuple[list[bytes], list[int]], faces: list[bytes], above: list[int], counts: IntArray
) -> tuple[FloatArray | None, tuple[Finding, ...]]:
    """Return the place of each corner in the texture.

    Parameters
    ----------
    places : tuple of lines and line numbers
        What stands behind each ``vt``.
    faces : list of bytes
        What stands behind each ``f``.
    above : list of int
        How many ``vt`` stand above each face.
    counts : (p,) int array
        Corners of each face.

    Returns
    -------
    texture : (k, 2) float array or None
        Not a number for corners without a place; None where no corner has one.
    notes : tuple of Finding
        M108 where corners name places that are not there: the shape does not need them.
    """
    if not places[0] or not any(b"/" in face for face in faces):
        return None, ()
    given = [match[1] or b"0" for face in faces for match in _CORNER.finditer(face)]
    values = numbers(b" ".join(given))
    try:
        rows = rows_of(*places)
    except MeshFileError:
        rows = None
    if values is None or len(values) != int(counts.sum()) or rows is None or (rows.counts < 1).any():
        text = "texture places that are no numbers: the texture was left out."
        return None, (note("M108", text, warn=True, remedy="Export the mesh again if its picture is needed."),)
    if not values.any():
        return None, ()
    known = np.full((len(rows.counts) + 1, 2), np.nan)  # the last row is that of corners without a place
    known[:-1, 0], known[:-1, 1] = rows.values[rows.starts], 0.0
    wide = np.flatnonzero(rows.counts > 1)
    known[wide, 1] = rows.values[rows.starts[wide] + 1]
    with np.errstate(invalid="ignore"):
        number = np.where(values > 0, values - 1, np.repeat(np.array(above, dtype=np.float64), counts) + values)
        there = (number >= 0) & (number < len(rows.counts)) & (number == np.rint(number)) & (values != 0)
    lost = int((~there & (values != 0)).sum())
    texture = known[np.where(there, number, len(rows.counts)).astype(np.int64)]
    if not lost:
        return texture, ()
    text = f"{counted(lost, 'corner')} with a texture place that is not in the file: they have none."
    return texture, (
        note("M108", text, warn=True, remedy="Export the mesh again if its picture is needed.", count=lost),
    )


def pictures_of(libraries: Sequence[str], folder: Path, used: Sequence[str]) -> list[str]:
    """Return the pictures that material files name for the materials in `used`.

    Parameters
    ----------
    libraries : sequence of str
        Names of the material files; those that are no plain file in the folder are passed over.
    folder : Path
        The mesh's folder.
    used : sequence of str
        Names of materials.

    Returns
    -------
    list of str
        Each picture once, in the order of the files.
    """
    wanted = frozenset(used)
    pictures: dict[str, None] = {}
    for library in dict.fromkeys(libraries):
        material = ""
        for match in _MATERIAL.finditer(_text(library, folder)):
            if match[1] == b"newmtl":
                material = name_of(match[2])
            elif material in wanted and (picture := name_of(_OPTIONS.sub(b"", match[2], count=1))):
                pictures[picture] = None
    return list(pictures)


def _text(library: str, folder: Path) -> bytes:
    path = neighbour(library, folder)
    try:
        if path is None or path.stat().st_size > _MOST_BYTES:
            return b""
        return plain(path.read_bytes()).replace(b"\r", b"\n")
    except OSError:
        return b""
