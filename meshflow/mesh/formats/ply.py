"""PLY: tables of vertices and polygons, as text or bytes, with colours and labels, no unit.

`ply_header` and `ply_table` read the tables, `ply_said` what they say beside the shape. What is used: ``x y z``,
colours, labels and texture places of ``vertex``; the list ``vertex_indices`` (or ``vertex_index``), colours, labels,
evidence and texture places of ``face``; the lists of ``tristrips``. Every other table and column is passed over.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import (
    FileMesh,
    check_indices,
    missing_neighbours,
    only_texture,
    several_textures,
    single_step,
    trailing,
)
from meshflow.mesh.formats.ply_header import Header, read_header
from meshflow.mesh.formats.ply_said import colours_of, evidence_of, label_sets, texture_files, texture_of
from meshflow.mesh.formats.ply_table import Column, Lists, read_tables
from meshflow.mesh.formats.strips import strip_faces
from meshflow.mesh.formats.text import plain
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, UInt8Array

__all__ = ["read_ply"]

_INDICES = ("vertex_indices", "vertex_index", "vertex_indexes")
_AGAIN = "The file is damaged: export the mesh again."


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
        Polygons with their labels, colours, evidence and texture; no unit.

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
    corners, counts = _polygons(by_name.get("face", {}), header)
    strips = _strips(by_name.get("tristrips", {}))
    if len(strips):
        corners = np.concatenate([corners, strips.reshape(-1)])
        counts = np.concatenate([counts, np.full(len(strips), 3, dtype=np.int64)])
    check_indices(corners, len(vertices), lambda corner: _owner(counts, corner), "face")
    face, vertex = ((by_name.get(name, {}), _kinds(header, name)) for name in ("face", "vertex"))
    evidence, notes = evidence_of(*face)
    pictures = texture_files(header.comments)
    return FileMesh(
        vertices=vertices,
        corners=corners,
        counts=counts,
        step=single_step(vertices, corners) if all(vertex[1][axis] == "f4" for axis in "xyz") else 0.0,
        sets=label_sets(face, vertex, corners, counts, header.comments),
        polygon_colours=_padded(colours_of(*face), len(strips)),
        vertex_colours=colours_of(*vertex),
        evidence=_padded(evidence, len(strips)),
        texture=texture_of(face, vertex, corners, counts),
        texture_file=only_texture(pictures),
        instead=_elsewhere(by_name, len(vertices)),
        notes=(
            *trailing(left, left_unit),
            *notes,
            *missing_neighbours(pictures, folder, "texture"),
            *several_textures(pictures),
        ),
    )


def _owner(counts: IntArray, corner: int) -> int:
    return int(np.searchsorted(np.cumsum(counts), corner, side="right"))


def _kinds(header: Header, name: str) -> dict[str, str]:
    return {prop.name: prop.kind for element in header.elements if element.name == name for prop in element.properties}


def _positions(table: dict[str, Column]) -> FloatArray:
    axes = [column for axis in "xyz" if (column := table.get(axis)) is not None and not isinstance(column, Lists)]
    if len(axes) < 3:
        raise MeshFileError("the PLY has no vertices with x, y and z.", remedy="Export a surface mesh.")
    vertices = np.empty((len(axes[0]), 3))
    with np.errstate(invalid="ignore"):  # a signalling "not a number" is dropped later
        for place, values in enumerate(axes):
            vertices[:, place] = values
    return vertices


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
    if values.dtype.kind == "f":
        values = np.where(_is_whole(values), values, -2)
    elif values.dtype.itemsize == 8:
        values = np.where(values > np.iinfo(np.int64).max // 2, -2, values)
    return np.asarray(values.astype(np.int64, order="C").reshape(-1))


def _is_whole(values: NDArray[Any]) -> BoolArray:
    if values.dtype.kind != "f":
        return np.ones(values.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray((values == np.rint(values)) & (np.abs(values) < 2.0**53))


def _strips(table: dict[str, Column]) -> IntArray:
    """Triangles of all strips; -1 inside a list begins a new strip, and so does every row."""
    lists = next((table[name] for name in _INDICES if name in table), None)
    if not isinstance(lists, Lists):
        return np.zeros((0, 3), dtype=np.int64)
    return strip_faces(np.insert(_indices(lists.values), np.cumsum(lists.counts)[:-1], -1))


def _padded(values: UInt8Array | None, more: int) -> UInt8Array | None:
    """Values of the faces with zeros for the `more` triangles of strips behind them."""
    if values is None or not more:
        return values
    return np.concatenate([values, np.zeros((more, *values.shape[1:]), dtype=np.uint8)])


def _elsewhere(tables: dict[str, dict[str, Column]], points: int) -> str:
    edges = next(iter(tables.get("edge", {}).values()), None)
    if edges is None or isinstance(edges, Lists) or len(edges) == 0:
        return ""
    return f"{points} points and {len(edges)} edges"
