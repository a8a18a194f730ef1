"""What a PLY file says about its faces and vertices beside their shape: labels, colours, evidence, texture.

Labels. A whole-number property of the faces, named as in `LABELS`, puts each face into ``label:NUMBER``. Where only
the vertices have one, a face takes the label that most of its corners have, the lowest of those that are level, so
that the faces stay parted without a gap. A comment ``label 7 means group:rim`` gives a number its name; several such
lines put its faces into several sets, and ``means nothing`` into none. That is how `meshflow.mesh.write` keeps sets
that overlap or have names.

Evidence. A whole-number property ``evidence`` of the faces: 0 measured, 1 mirrored, 2 conjectured.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import colours_from, doubles, note, ranges
from meshflow.mesh.formats.ply_table import Column, Lists
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding

__all__ = ["LABELS", "SET_KINDS", "colours_of", "evidence_of", "label_sets", "texture_files", "texture_of"]

LABELS = ("label", "labels", "segment", "segment_id", "region", "region_id", "group", "group_id", "part", "part_id")
SET_KINDS = ("group:", "material:", "label:")
_MEANS = re.compile(r"label (-?\d{1,19}) means (.+)")
_MOST_MEMBERS = 50_000_000  # faces over all sets: a header of thousands of names would fill the memory
_COLOURS = (("red", "green", "blue", "alpha"), ("diffuse_red", "diffuse_green", "diffuse_blue", "diffuse_alpha"))
_TEXTURES = (("s", "t"), ("u", "v"), ("texture_u", "texture_v"))
_FULL = {"u1": 255.0, "u2": 65535.0}

Table = dict[str, Column]


def colours_of(table: Table, kinds: dict[str, str]) -> UInt8Array | None:
    """Return the colours of the rows of a table, shape (n, 4); None where it has no columns for them."""
    for names in _COLOURS:
        if all(name in kinds and not isinstance(table.get(name), Lists) for name in names[:3]):
            present = [name for name in names if name in kinds and not isinstance(table.get(name), Lists)]
            values = np.stack([doubles(table[name]) for name in present], axis=1)
            return colours_from(values, whole=_FULL.get(kinds[names[0]], 0.0))
    return None


def label_sets(
    face: tuple[Table, dict[str, str]],
    vertex: tuple[Table, dict[str, str]],
    corners: IntArray,
    counts: IntArray,
    comments: Sequence[str],
) -> dict[str, IntArray]:
    """Return named sets of polygons.

    Parameters
    ----------
    face, vertex : tuple of table and kinds
        Columns of the two tables, and the numpy type of each.
    corners : (k,) int array
        Vertex indices of all polygons, in range.
    counts : (p,) int array
        Corners of each polygon; polygons beyond the table of faces have no label of their own.
    comments : sequence of str
        Comments of the header.

    Returns
    -------
    dict of str to int array
        Sorted polygon numbers of each set; labels stay with the polygon, so cutting it up later loses none.

    Raises
    ------
    MeshFileError
        If a label is no whole number, or a comment gives one label far too many names.
    """
    labels = _labels(*face, "face")
    if labels is None:
        of_vertices = _labels(*vertex, "vertex")
        labels = None if of_vertices is None else _of_most_corners(of_vertices[corners], counts)
    if labels is None or len(labels) == 0:
        return {}
    names = _names(comments)
    order = np.argsort(labels, kind="stable")
    values, first = np.unique(labels[order], return_index=True)
    sets: dict[str, list[IntArray]] = {}
    members = 0
    for value, ids in zip(values.tolist(), np.split(order, first[1:]), strict=True):
        given = names.get(value, [f"label:{value}"])
        members += len(given) * len(ids)
        if members > _MOST_MEMBERS:
            raise MeshFileError(
                f"label {value} has {len(given)} names for {len(ids)} faces.",
                remedy="Take the comments out of the file.",
            )
        for name in given:
            sets.setdefault(name, []).append(ids)
    return {name: np.sort(np.concatenate(parts)) for name, parts in sets.items()}


def _labels(table: Table, kinds: dict[str, str], what: str) -> IntArray | None:
    name = next((n for n in LABELS if kinds.get(n, "f")[0] in "iu" and not isinstance(table.get(n), Lists)), None)
    if name is None or name not in table:
        return None
    values = np.asarray(table[name])
    if values.dtype.kind == "f":  # as text: any number may stand there
        with np.errstate(invalid="ignore"):
            wrong = np.flatnonzero(~((values == np.rint(values)) & (np.abs(values) < 2.0**53)))
        if wrong.size:
            raise MeshFileError(
                f"the {name} of {what} {wrong[0]} is no whole number.",
                remedy="The file is damaged: export the mesh again.",
            )
    return values.astype(np.int64)


def _of_most_corners(labels: IntArray, counts: IntArray) -> IntArray:
    """Label of each polygon from those of its corners; polygons without corners have that of vertex label 0."""
    if (counts == 3).all():
        a, b, c = labels.reshape(-1, 3).T
        return np.where((a == b) | (a == c), a, np.where(b == c, b, np.minimum(np.minimum(a, b), c)))
    owner = np.repeat(np.arange(len(counts)), counts)
    order = np.lexsort((labels, owner))
    owner, labels = owner[order], labels[order]
    starts = np.flatnonzero(np.diff(owner, prepend=-1) | np.diff(labels, prepend=labels[:1]))
    size = np.diff(starts, append=len(labels))
    owner, labels = owner[starts], labels[starts]
    order = np.lexsort((labels, -size, owner))
    best = order[np.flatnonzero(np.diff(owner[order], prepend=-1))]
    out = np.zeros(len(counts), dtype=np.int64)
    out[owner[best]] = labels[best]
    return out


def _names(comments: Sequence[str]) -> dict[int, list[str]]:
    """Names that comments give to labels."""
    names: dict[int, dict[str, None]] = {}
    for match in filter(None, map(_MEANS.fullmatch, comments)):
        given, name = names.setdefault(int(match[1]), {}), match[2]
        if name != "nothing":
            given[name if name.startswith(SET_KINDS) else f"group:{name}"] = None
    return {label: list(given) for label, given in names.items()}


def evidence_of(face: Table, kinds: dict[str, str]) -> tuple[UInt8Array | None, tuple[Finding, ...]]:
    """Return what the faces rest on, and a note where the numbers mean nothing."""
    column = face.get("evidence")
    if column is None or isinstance(column, Lists) or kinds["evidence"][0] == "f":
        return None, ()
    values = np.asarray(column)
    if not np.isin(values, (0, 1, 2)).all():
        text = "the faces have a number called evidence, but not just 0, 1 and 2: left out, all count as measured."
        return None, (note("M108", text, warn=True, remedy="See where the file comes from."),)
    return values.astype(np.uint8), ()


def texture_of(
    face: tuple[Table, dict[str, str]], vertex: tuple[Table, dict[str, str]], corners: IntArray, counts: IntArray
) -> FloatArray | None:
    """Return the place of each corner in the texture, shape (k, 2), from the faces or else from the vertices."""
    listed = face[0].get("texcoord")
    if isinstance(listed, Lists):
        whole = listed.counts == 2 * counts[: len(listed.counts)]
        out = np.full((len(corners), 2), np.nan)
        starts = np.cumsum(counts) - counts
        ids = np.flatnonzero(whole)
        first = np.cumsum(listed.counts) - listed.counts
        values = doubles(listed.values.reshape(-1))[ranges(first[ids], listed.counts[ids])]
        out[ranges(starts[ids], counts[ids])] = values.reshape(-1, 2)
        return out
    table, kinds = vertex
    for names in _TEXTURES:
        if all(kinds.get(name, "i")[0] == "f" and not isinstance(table.get(name), Lists) for name in names):
            return np.stack([doubles(table[name]) for name in names], axis=1)[corners]
    return None


def texture_files(comments: Sequence[str]) -> list[str]:
    """Return the pictures that the comments name."""
    return [line.split(None, 1)[1] for line in comments if line.lower().startswith("texturefile ")]
