"""Binary PLY, little-endian: the form that keeps most of what is known of a surface.

Columns: ``x y z`` (single precision where it loses nothing, else double) and colours of ``vertex``; the corners,
``label``, ``evidence``, colours and ``texcoord`` of ``face``. See `meshflow.mesh.formats.ply_said` for their meaning.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import InputError
from meshflow.mesh.writers.labels import numbered
from meshflow.model.arrays import FloatArray
from meshflow.model.surface import Surface

__all__ = ["ply_bytes"]

_TYPES = {"<f4": "float", "<f8": "double", "<i4": "int", "u1": "uchar"}
_COLOUR = ("red", "green", "blue", "alpha")
Columns = list[tuple[str, str, NDArray[Any]]]


def ply_bytes(surface: Surface) -> bytes:
    """Return a surface as binary PLY.

    Parameters
    ----------
    surface : Surface
        The surface, sound.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        If it has more vertices than the format's indices can name.
    """
    if len(surface.vertices) > np.iinfo(np.int32).max:
        raise InputError(f"{len(surface.vertices)} vertices are more than PLY can number.", remedy="Thin it out first.")
    notes = ["made by meshflow, lengths in millimetres"]
    face: Columns = [("vertex_indices", "<i4", surface.faces)]
    if surface.face_sets:
        labels, meanings = numbered(surface.face_sets, len(surface.faces))
        face.append(("label", "<i4", labels))
        notes += meanings
    notes.append("evidence 0 measured, 1 mirrored, 2 conjectured")
    face.append(("evidence", "u1", np.asarray(surface.evidence)))
    face += _colours(surface.face_colours)
    if surface.texture_uv is not None:
        face.append(("texcoord", _kind(surface.texture_uv), surface.texture_uv.reshape(-1, 6)))
        notes += [f"TextureFile {' '.join(name.split())}" for name in [surface.texture_file] if name]
    tables = (("vertex", _positions(surface) + _colours(surface.vertex_colours)), ("face", face))
    head = ["ply", "format binary_little_endian 1.0", *(f"comment {line}" for line in notes)]
    body = b""
    for name, columns in tables:
        head += [f"element {name} {len(columns[0][2])}", *(_declared(*column) for column in columns)]
        body += _rows(columns)
    return "\n".join([*head, "end_header\n"]).encode() + body


def _positions(surface: Surface) -> Columns:
    kind = _kind(surface.vertices)
    return [(axis, kind, surface.vertices[:, place]) for place, axis in enumerate("xyz")]


def _kind(values: FloatArray) -> str:
    """Return the narrowest type that loses nothing."""
    with np.errstate(over="ignore"):
        return "<f4" if bool(((values.astype(np.float32) == values) | np.isnan(values)).all()) else "<f8"


def _colours(colours: NDArray[np.uint8] | None) -> Columns:
    return [] if colours is None else [(part, "u1", colours[:, place]) for place, part in enumerate(_COLOUR)]


def _declared(name: str, kind: str, values: NDArray[Any]) -> str:
    return f"property {'list uchar ' if values.ndim == 2 else ''}{_TYPES[kind]} {name}"


def _rows(columns: Columns) -> bytes:
    fields: list[Any] = []
    for name, kind, values in columns:
        fields += [(f"{name} count", "u1"), (name, kind, values.shape[1:])] if values.ndim == 2 else [(name, kind)]
    rows = np.zeros(len(columns[0][2]), dtype=np.dtype(fields))
    for name, _, values in columns:
        rows[name] = values
        if values.ndim == 2:
            rows[f"{name} count"] = values.shape[1]
    return rows.tobytes()
