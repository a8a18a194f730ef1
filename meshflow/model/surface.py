"""The scan as read: triangles in millimetres, with everything the file said about them.

Conventions: counter-clockwise faces seen from outside; face ids count the triangles from 0; a *face set* is a named
group of faces, its name carrying where it came from: ``group:sides`` (OBJ group, STL solid, GLB node, 3MF object),
``material:brass``, ``label:3``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray, UInt8Array, frozen
from meshflow.model.finding import Finding

__all__ = ["Evidence", "Source", "Surface", "evidence_words"]


_WORTH_SAYING: Final = 1e-3  # of the area


class Evidence(IntEnum):
    """Where a face comes from: the scanner, a mirror image, or a guess (a filled hole)."""

    MEASURED = 0
    MIRRORED = 1
    CONJECTURED = 2


def evidence_words(conjectured_share: float, mirrored_share: float) -> str:
    """Return how much of a piece was not measured, as it stands in notes, drawings and documents.

    Parameters
    ----------
    conjectured_share, mirrored_share : float
        Shares of the area, 0 to 1.

    Returns
    -------
    str
        One sentence; empty when neither share comes to a thousandth, as with a pin hole closed in a large piece.

    Examples
    --------
    >>> evidence_words(0.16, 0.0)
    '16.0 % of this piece is conjecture (filled in); the rest was measured.'
    """
    shares = ((conjectured_share, "conjecture (filled in)"), (mirrored_share, "mirrored from the other side"))
    parts = [f"{100.0 * share:.1f} % of this piece is {what}" for share, what in shares if share >= _WORTH_SAYING]
    if not parts:
        return ""
    rest = "; the rest was measured" if conjectured_share + mirrored_share < 1.0 - _WORTH_SAYING else ""
    return f"{', '.join(parts)}{rest}."


@dataclass(frozen=True, slots=True)
class Source:
    """The file a surface was read from.

    Parameters
    ----------
    file : str
        File name, without its folder.
    sha256 : str
        Hash of the bytes.
    format : str
        ``stl``, ``obj``, ``ply``, ``off``, ``gltf``, ``glb`` or ``3mf``.
    unit : str
        Unit of the numbers in the file.
    unit_from : {"file", "user"}
        Who said so.
    """

    file: str = ""
    sha256: str = ""
    format: str = ""
    unit: str = "mm"
    unit_from: Literal["file", "user"] = "user"


@dataclass(frozen=True, eq=False)
class Surface:
    """A triangle mesh with what its file said about the faces.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices, counter-clockwise seen from outside.
    source : Source
        Where it came from.
    face_sets : mapping of str to int array
        Named groups of face ids, sorted. A face may be in several.
    face_colours, vertex_colours : (m, 4) or (n, 4) uint8 array, optional
        Red, green, blue, alpha.
    evidence : (m,) uint8 array, optional
        `Evidence` of each face; all measured when left out.
    face_origin : (m,) int array, optional
        Index of the polygon in the file that the face was cut from.
    notes : tuple of Finding
        What reading and mending had to say.
    texture_uv : (m, 3, 2) float array, optional
        Place of each face corner in the texture picture: rightwards and upwards, 0 to 1 across the picture; not a
        number where a corner has none.
    texture_file : str, optional
        File name of the picture, as the mesh file names it.
    """

    vertices: FloatArray
    faces: IntArray
    source: Source = field(default_factory=Source)
    face_sets: Mapping[str, IntArray] = field(default_factory=dict)
    face_colours: UInt8Array | None = None
    vertex_colours: UInt8Array | None = None
    evidence: UInt8Array | None = None
    face_origin: IntArray | None = None
    notes: tuple[Finding, ...] = ()
    texture_uv: FloatArray | None = None
    texture_file: str | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__  # the only way to normalise a field of a frozen dataclass
        put(self, "vertices", frozen(self.vertices, np.float64, columns=3))
        put(self, "faces", frozen(self.faces, np.int64, columns=3))
        sets = {name: frozen(ids, np.int64) for name, ids in sorted(self.face_sets.items())}
        put(self, "face_sets", MappingProxyType(sets))
        count = len(self.faces)
        evidence = np.zeros(count, np.uint8) if self.evidence is None else self.evidence
        origin = np.arange(count) if self.face_origin is None else self.face_origin
        put(self, "evidence", frozen(evidence, np.uint8))
        put(self, "face_origin", frozen(origin, np.int64))
        for name in ("face_colours", "vertex_colours"):
            if getattr(self, name) is not None:
                put(self, name, frozen(getattr(self, name), np.uint8, columns=4))
        if self.texture_uv is not None:
            put(self, "texture_uv", frozen(np.reshape(self.texture_uv, (-1, 3, 2)), np.float64))

    @property
    def extent_mm(self) -> tuple[float, float, float]:
        """Size of the bounding box of the vertices that faces use [mm]."""
        if len(self.faces) == 0:
            return (0.0, 0.0, 0.0)
        corners = self.vertices[self.faces]
        size = corners.max(axis=(0, 1)) - corners.min(axis=(0, 1))
        return (float(size[0]), float(size[1]), float(size[2]))
