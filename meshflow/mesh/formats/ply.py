"""PLY: tables of vertices and polygons, as text or bytes, with colours and labels, no unit.

`ply_header` and `ply_table` read the tables. What is used: ``x y z`` and colours of ``vertex``; the list
``vertex_indices`` (or ``vertex_index``), colours and a whole-number label of ``face``; the lists of ``tristrips``.
Every other table and column is passed over.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import (
    FileMesh,
    check_indices,
    colours_from,
    doubles,
    missing_neighbours,
    single_step,
    trailing,
)
from meshflow.mesh.formats.ply_header import Header, read_header
from meshflow.mesh.formats.ply_table import Column, Lists, read_tables
from meshflow.mesh.formats.strips import strip_faces
from meshflow.mesh.formats.text import plain
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, UInt8Array

__all__ = ["LABELS", "read_ply"]

LABELS = ("label", "labels", "segment", "segment_id", "region", "region_id", "group", "group_id", "part", "part_id")
_INDICES = ("vertex_indices", "vertex_index", "vertex_indexes")
_COLOURS = (("red", "green", "blue", "alpha"), ("diffuse_red", "diffuse_green", "diffuse_blue", "diffuse_alpha"))
_AGAIN = "The file is damaged: export the mesh again."
_FULL = {"u1": 255.0, "u2": 65535.0}


def read_ply(data: bytes, folder: Path) -> FileMesh:
    """Read PLY in all three encodings.

    Parameters
    ----------
    data : bytes
        The file.
    folder : Path
        Where to look for a texture that its comments name.

    Returns
    -------
    FileMesh
        Polygons with ``label:NUMBER`` where the faces have a whole-number property named as in `LABELS`, and the
        colours of faces and vertices; no unit.

    Raises
    ------
    MeshFileError
        If rows are missing, a face names a vertex that is not there, or positions are missing.
    """
    data = plain(data)
    header = read_header(data)
    tables, left, left_unit = read_tables(data, header)
    by_name = {element.name: table for element, table in zip(header.elements, tables, strict=True)}
    vertices = _positions(by_name.get("vertex", {}))
    face = by_name.get("face", {})
    corners, counts = _polygons(face, header)
    strips = _strips(by_name.get("tristrips", {}))
    all_corners = np.concatenate([corners, strips.reshape(-1)])
    all_counts = np.concatenate([counts, np.full(len(strips), 3, dtype=np.int64)])
    check_indices(all_corners, len(vertices), np.repeat(np.arange(len(all_counts)), all_counts), "face")
    kinds = _kinds(header, "vertex")
    return FileMesh(
        vertices=vertices,
        corners=all_corners,
        counts=all_counts,
        step=single_step(vertices, all_corners) if all(kinds[axis] == "f4" for axis in "xyz") else 0.0,
        sets=_label_sets(face, _kinds(header, "face")),
        polygon_colours=_padded(_colours(face, _kinds(header, "face")), len(strips)),
        vertex_colours=_colours(by_name.get("vertex", {}), kinds),
        instead=_elsewhere(by_name, len(vertices)),
        notes=(*trailing(left, left_unit), *missing_neighbours(_textures(header.comments), folder, "texture")),
    )


def _kinds(header: Header, name: str) -> dict[str, str]:
    return {prop.name: prop.kind for element in header.elements if element.name == name for prop in element.properties}


def _positions(table: dict[str, Column]) -> FloatArray:
    axes = [table.get(axis) for axis in "xyz"]
    if not table or any(axis is None or isinstance(axis, Lists) for axis in axes):
        raise MeshFileError("the PLY has no vertices with x, y and z.", remedy="Export a surface mesh.")
    return np.stack([doubles(axis) for axis in axes], axis=1)


def _polygons(face: dict[str, Column], header: Header) -> tuple[IntArray, IntArray]:
    none = np.zeros(0, dtype=np.int64)
    lists = next((face[name] for name in _INDICES if name in face), None)
    if isinstance(lists, Lists):
        return _indices(lists.values), lists.counts
    if any(element.name == "face" and element.count for element in header.elements):
        raise MeshFileError(
            f"the faces have no list {_INDICES[0]}; their columns are {', '.join(face) or 'none'}.", remedy=_AGAIN
        )
    return none, none


def _indices(values: NDArray[Any]) -> IntArray:
    """Vertex indices as integers; what is no whole number becomes -2, which the check of indices names."""
    if values.dtype.kind != "f":
        return np.where(values > np.iinfo(np.int64).max // 2, -2, values).astype(np.int64)
    return np.where(_is_whole(values), values, -2).astype(np.int64)


def _is_whole(values: NDArray[Any]) -> BoolArray:
    if values.dtype.kind != "f":
        return np.ones(len(values), dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray((values == np.rint(values)) & (np.abs(values) < 2.0**53))


def _strips(table: dict[str, Column]) -> IntArray:
    """Triangles of all strips; -1 inside a list begins a new strip, and so does every row."""
    lists = next((table[name] for name in _INDICES if name in table), None)
    if not isinstance(lists, Lists):
        return np.zeros((0, 3), dtype=np.int64)
    return strip_faces(np.insert(_indices(lists.values), np.cumsum(lists.counts)[:-1], -1))


def _colours(table: dict[str, Column], kinds: dict[str, str]) -> UInt8Array | None:
    for names in _COLOURS:
        if all(name in kinds and not isinstance(table.get(name), Lists) for name in names[:3]):
            present = [name for name in names if name in kinds and not isinstance(table.get(name), Lists)]
            values = np.stack([doubles(table[name]) for name in present], axis=1)
            return colours_from(values, whole=_FULL.get(kinds[names[0]], 0.0))
    return None


def _padded(colours: UInt8Array | None, more: int) -> UInt8Array | None:
    return colours if colours is None else np.concatenate([colours, np.zeros((more, 4), dtype=np.uint8)])


def _label_sets(face: dict[str, Column], kinds: dict[str, str]) -> dict[str, IntArray]:
    """Faces of each label; labels stay with the polygon, so cutting it up later loses none."""
    name = next((n for n in LABELS if kinds.get(n, "f")[0] in "iu" and not isinstance(face.get(n), Lists)), None)
    if name is None:
        return {}
    labels = np.asarray(face[name])
    if (wrong := np.flatnonzero(~_is_whole(labels))).size:
        raise MeshFileError(f"the {name} of face {wrong[0]} is no whole number.", remedy=_AGAIN)
    if len(labels) == 0:
        return {}
    order = np.argsort(labels, kind="stable")
    values, first = np.unique(labels[order], return_index=True)
    return {f"label:{int(value)}": ids for value, ids in zip(values, np.split(order, first[1:]), strict=True)}


def _textures(comments: Sequence[str]) -> list[str]:
    return [line.split(None, 1)[1] for line in comments if line.lower().startswith("texturefile ")]


def _elsewhere(tables: dict[str, dict[str, Column]], points: int) -> str:
    edges = next(iter(tables.get("edge", {}).values()), None)
    if edges is None or isinstance(edges, Lists) or len(edges) == 0:
        return ""
    return f"{points} points and {len(edges)} edges"
