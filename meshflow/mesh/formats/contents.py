"""What a reader answers: polygons in the units of the file, before anything is cut, scaled or dropped."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding, Severity

__all__ = [
    "FileMesh",
    "check_indices",
    "colours_from",
    "counted",
    "doubles",
    "missing_neighbours",
    "neighbour",
    "note",
    "only_texture",
    "ranges",
    "several_textures",
    "single_step",
    "trailing",
]

_BLOCK = 1 << 16  # rows looked at together: bounds the memory


@dataclass(frozen=True, eq=False, kw_only=True)
class FileMesh:
    """A mesh as its file holds it.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions in units of the file; may hold numbers that are not finite.
    corners : (k,) int array
        Vertex indices of all polygons, one polygon after the other; in range.
    counts : (p,) int array
        Corners of each polygon.
    unit : str, optional
        Unit that the file states; None where the format carries none.
    step : float
        Coarsest step between neighbouring coordinates where they were stored as 32-bit floats, in units of the
        file; 0 for text and 64 bits.
    sets : mapping of str to int array
        Named groups of polygon ids, each sorted.
    polygon_colours, vertex_colours : (p, 4) or (n, 4) uint8 array, optional
        Red, green, blue, alpha; alpha 0 where the file gives none.
    evidence : (p,) uint8 array, optional
        `Evidence` of each polygon, where the file states it.
    texture : (k, 2) float array, optional
        Place of each corner in the texture, rightwards and upwards; not a number where it has none.
    texture_file : str, optional
        File name of the texture.
    instead : str
        What else the file holds, for the message when it has no faces: ``1 polyline``.
    notes : tuple of Finding
        What reading had to say.
    """

    vertices: FloatArray
    corners: IntArray
    counts: IntArray
    unit: str | None = None
    step: float = 0.0
    sets: Mapping[str, IntArray] = field(default_factory=dict)
    polygon_colours: UInt8Array | None = None
    vertex_colours: UInt8Array | None = None
    evidence: UInt8Array | None = None
    texture: FloatArray | None = None
    texture_file: str | None = None
    instead: str = ""
    notes: tuple[Finding, ...] = ()


def note(code: str, text: str, *, warn: bool = False, remedy: str = "", count: int = 1) -> Finding:
    """Return a finding of the readers, a note unless it must be heeded."""
    return Finding(code, Severity.WARNING if warn else Severity.NOTE, text, remedy=remedy, count=count)


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> counted(1, "facet"), counted(2, "facet"), counted(3, "vertex", "vertices")
    ('1 facet', '2 facets', '3 vertices')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def trailing(count: int, what: str) -> tuple[Finding, ...]:
    """Return M107 for `count` of `what` (byte, line) behind the data, or nothing when there are none."""
    if count <= 0:
        return ()
    text = f"{counted(count, what)} beyond what the file's own counts describe; left out."
    return (note("M107", text, warn=True, remedy="Export the mesh again if a part of it is missing.", count=count),)


def check_indices(corners: IntArray, vertex_count: int, owner: Callable[[int], int], what: str) -> None:
    """Raise `MeshFileError` if a corner names a vertex that is not there.

    Parameters
    ----------
    corners : (k,) int array
        Vertex indices from 0.
    vertex_count : int
        How many vertices there are.
    owner : callable
        From a place in `corners` to the number to name it by: its face, or its line.
    what : str
        What `owner` counts: ``face`` or ``line``.
    """
    if corners.size == 0 or 0 <= corners.min() <= corners.max() < vertex_count:
        return
    first = int(np.flatnonzero((corners < 0) | (corners >= vertex_count))[0])
    raise MeshFileError(
        f"{what} {owner(first)} refers to vertex {int(corners[first])} (counting from 0), "
        f"but the file has {vertex_count} vertices.",
        remedy="The file is damaged: export the mesh again.",
    )


def ranges(starts: IntArray, counts: IntArray) -> IntArray:
    """Return ``start, start + 1, ...`` for each start, `counts` of them, joined.

    Examples
    --------
    >>> ranges(np.array([5, 20]), np.array([2, 3])).tolist()
    [5, 6, 20, 21, 22]
    """
    before = np.cumsum(counts) - counts
    return np.repeat(starts - before, counts) + np.arange(int(counts.sum()), dtype=np.int64)


def doubles(values: Any) -> FloatArray:
    """Return numbers as 64-bit floats; a signalling "not a number" passes without a warning, to be dropped later."""
    with np.errstate(invalid="ignore"):
        return np.asarray(values, dtype=np.float64)


def single_step(vertices: FloatArray, corners: IntArray) -> float:
    """Return the step of single precision at the farthest vertex that `corners` use; marks such as 1e30 aside."""
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[corners.reshape(-1)] = True
    far = 0.0
    for at in range(0, len(vertices), _BLOCK):
        size = np.abs(vertices[at : at + _BLOCK][used[at : at + _BLOCK]])
        far = max(far, float(size[size < 1e30].max(initial=0.0)))
    return float(np.spacing(np.float32(far)))


def colours_from(values: FloatArray, *, whole: float | FloatArray = 0.0) -> UInt8Array:
    """Return colours of 0..255 with alpha from rows of three or four numbers.

    Parameters
    ----------
    values : (n, 3) or (n, 4) float array
        Colour parts.
    whole : float or (n, 1) float array
        The value of full intensity; 0 means: 1 if nothing is above 1, else 255.

    Returns
    -------
    (n, 4) uint8 array
        Red, green, blue, alpha; alpha 255 where three numbers were given. Parts that are no numbers become 0.
    """
    values = np.nan_to_num(doubles(values), nan=0.0, posinf=0.0, neginf=0.0)
    if np.ndim(whole) == 0 and not whole:
        whole = 1.0 if values.size == 0 or values.max() <= 1.0 else 255.0
    colours = np.full((len(values), 4), 255, dtype=np.uint8)
    colours[:, : values.shape[1]] = np.rint(np.clip(values / whole, 0.0, 1.0) * 255.0).astype(np.uint8)
    return colours


def neighbour(name: str, folder: Path) -> Path | None:
    """Return the path of a file that a mesh names, or None unless it is a plain file inside the mesh's folder.

    Absolute names, names with a scheme, ``..``, backslashes and links that lead out of the folder all give None:
    a mesh file never makes us open something elsewhere.
    """
    if not name or name.startswith(("/", "~")) or any(sign in name for sign in ":\\\0") or ".." in name.split("/"):
        return None
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder.resolve())
        return path if inside and path.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None


def missing_neighbours(names: list[str], folder: Path, what: str) -> tuple[Finding, ...]:
    """Return M104 for the files in `names` that are not in the mesh's folder."""
    missing = [name for name in dict.fromkeys(names) if neighbour(name, folder) is None]
    if not missing:
        return ()
    listed = ", ".join(missing[:3]) + (" ..." if len(missing) > 3 else "")
    text = f"{counted(len(missing), what)} named by the mesh but not in its folder: {listed}. Shape and groups do not "
    text += "need it."
    return (note("M104", text, count=len(missing)),)


def only_texture(names: Sequence[str]) -> str | None:
    """Return the one picture that `names` holds; None where there is none, or more than one."""
    return names[0] if len(set(names)) == 1 else None


def several_textures(names: Sequence[str]) -> tuple[Finding, ...]:
    """Return M108 where the texture is spread over several pictures."""
    if len(different := list(dict.fromkeys(names))) < 2:
        return ()
    listed = ", ".join(different[:3]) + (" ..." if len(different) > 3 else "")
    text = f"the texture is spread over {len(different)} pictures ({listed}): its places are kept, no picture is named."
    return (note("M108", text, count=len(different)),)
