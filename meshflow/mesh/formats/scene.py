"""Pieces placed by a scene, as glTF nodes and 3MF components do it, joined into one mesh.

Convention: a placement is a 4 x 4 matrix acting on columns, ``x' = M x``. A placement that mirrors (negative
determinant) turns the faces round, so that their outside stays outside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, counted, note, single_step
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding

__all__ = ["MOST_DEPTH", "MOST_FACES", "MOST_PLACEMENTS", "Piece", "Scene"]

MOST_FACES = 10_000_000  # a small file can place one mesh ten thousand times over: bounds the memory
MOST_PLACEMENTS = 50_000
MOST_DEPTH = 200
MOST_NAMES = 2_000_000  # names of parts over all placements


@dataclass(frozen=True, eq=False)
class Piece:
    """Triangles before they are placed.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions.
    faces : (m, 3) int array
        Vertex indices, in range.
    sets : mapping of str to int array
        Named groups of its faces, each sorted.
    face_colours, vertex_colours : (m, 4) or (n, 4) uint8 array, optional
        Red, green, blue, alpha.
    texture : (n, 2) float array, optional
        Place of each vertex in the texture, rightwards and upwards.
    evidence : (m,) uint8 array, optional
        `Evidence` of each face.
    """

    vertices: FloatArray
    faces: IntArray
    sets: Mapping[str, IntArray] = field(default_factory=dict)
    face_colours: UInt8Array | None = None
    vertex_colours: UInt8Array | None = None
    texture: FloatArray | None = None
    evidence: UInt8Array | None = None


class Scene:
    """Collects placed pieces and joins them."""

    def __init__(self) -> None:
        self._placed: list[tuple[Piece, FloatArray]] = []
        self._sets: dict[str, list[IntArray]] = {}
        self._faces = self._vertices = self._visits = self._names = 0

    def visit(self) -> None:
        """Count a step through the scene; `MeshFileError` when a small file makes far too many."""
        self._visits += 1
        if self._visits > MOST_PLACEMENTS:
            raise MeshFileError(
                f"the scene places more than {MOST_PLACEMENTS} parts.", remedy="Export the one piece you need."
            )

    def place(self, piece: Piece, matrix: FloatArray, groups: Sequence[str]) -> None:
        """Add a piece under the names `groups`; `MeshFileError` when the whole grows beyond `MOST_FACES`."""
        if not np.isfinite(matrix).all():
            raise MeshFileError("a placement in the scene is no usable matrix.", remedy="Export the mesh again.")
        first, count = self._faces, len(piece.faces)
        self._faces += count
        self._vertices += len(piece.vertices)
        if max(self._faces, self._vertices) > MOST_FACES:
            raise MeshFileError(
                f"with all its copies placed the scene has more than {MOST_FACES} triangles or vertices.",
                remedy="Export the one piece you need.",
            )
        self._names += len(groups) + len(piece.sets)
        if self._names > MOST_NAMES:
            raise MeshFileError(
                "the scene gives its parts far too many names.", remedy="Export the one piece you need."
            )
        self._placed.append((piece, matrix))
        for name in dict.fromkeys(f"group:{group}" for group in groups if group):
            self._sets.setdefault(name, []).append(np.arange(first, first + count))
        for name, ids in piece.sets.items():
            self._sets.setdefault(name, []).append(first + ids)

    def joined(
        self,
        *,
        unit: str,
        single_precision: bool,
        texture_file: str | None = None,
        instead: str = "",
        notes: Sequence[Finding] = (),
    ) -> FileMesh:
        """Return everything placed as one mesh."""
        vertices, faces = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)]
        before, step = 0, 0.0
        for piece, matrix in self._placed:
            with np.errstate(all="ignore"):  # what overflows is dropped later, with its note
                vertices.append(piece.vertices @ matrix[:3, :3].T + matrix[:3, 3])
            faces.append((piece.faces[:, ::-1] if _mirrors(matrix) else piece.faces) + before)
            before += len(piece.vertices)
            if single_precision:  # of the piece as stored: a placement moves it in double precision
                step = max(step, single_step(piece.vertices, piece.faces) * float(np.abs(matrix[:3, :3]).max()))
        return FileMesh(
            vertices=np.concatenate(vertices),
            corners=np.concatenate(faces).reshape(-1),
            counts=np.full(self._faces, 3, dtype=np.int64),
            unit=unit,
            step=step,
            sets={name: np.unique(np.concatenate(parts)) for name, parts in self._sets.items()},
            polygon_colours=_joined_colours([(p.face_colours, len(p.faces)) for p, _ in self._placed]),
            vertex_colours=_joined_colours([(p.vertex_colours, len(p.vertices)) for p, _ in self._placed]),
            evidence=self._evidence(),
            texture=self._texture(),
            texture_file=texture_file,
            instead=instead,
            notes=(*notes, *self._notes()),
        )

    def _evidence(self) -> UInt8Array | None:
        if all(piece.evidence is None for piece, _ in self._placed):
            return None
        return np.concatenate(
            [np.zeros(len(p.faces), np.uint8) if p.evidence is None else p.evidence for p, _ in self._placed]
        )

    def _texture(self) -> FloatArray | None:
        """Places of all corners; not a number for the pieces without."""
        if all(piece.texture is None for piece, _ in self._placed):
            return None
        parts = []
        for piece, matrix in self._placed:
            faces = piece.faces[:, ::-1] if _mirrors(matrix) else piece.faces
            places = np.full((len(piece.vertices), 2), np.nan) if piece.texture is None else piece.texture
            parts.append(places[faces.reshape(-1)])
        return np.concatenate(parts)

    def _notes(self) -> list[Finding]:
        moved = [matrix for _, matrix in self._placed if (matrix != np.eye(4)).any()]
        copies = len(self._placed) - len({id(piece) for piece, _ in self._placed})
        mirrored = sum(_mirrors(matrix) for matrix in moved)
        if not moved and not copies:
            return []
        text = f"the file's own scene was applied: {counted(len(self._placed), 'part')}, {len(moved)} of them moved, "
        text += (
            f"turned or scaled, {copies} further copies, {mirrored} mirrored (faces turned to keep the outside out)."
        )
        return [note("M106", text, count=len(self._placed))]


def _mirrors(matrix: FloatArray) -> bool:
    with np.errstate(all="ignore"):
        size = np.abs(matrix[:3, :3]).max()
        return bool(np.linalg.det(matrix[:3, :3] / size) < 0) if size > 0 else False


def _joined_colours(parts: list[tuple[UInt8Array | None, int]]) -> UInt8Array | None:
    """Colours of all pieces; alpha 0 for the pieces without."""
    if all(colours is None for colours, _ in parts):
        return None
    return np.concatenate(
        [np.zeros((count, 4), dtype=np.uint8) if colours is None else colours for colours, count in parts]
    )
