"""A piece under work: triangles that lie on the scan, each vertex known by its place in a face of the scan.

Convention: as in `model.region`; new vertices lie on edges or in faces of the scan, never beside it, so every position
follows from parent face and barycentric weights.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.topology import submesh
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.surface import Surface

__all__ = ["Piece", "implanted", "index_in_whole", "piece_of", "whole_piece"]


@dataclass(frozen=True, eq=False)
class Piece:
    """Triangles on a surface.

    Parameters
    ----------
    surface : Surface
        The scan.
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    face_parent : (m,) int array
        Face of the scan that each face lies in.
    vertex_parent : (n,) int array
        Face of the scan that each vertex lies in.
    barycentric : (n, 3) float array
        Place of each vertex in that face.
    """

    surface: Surface
    vertices: FloatArray
    faces: IntArray
    face_parent: IntArray
    vertex_parent: IntArray
    barycentric: FloatArray

    @property
    def area_mm2(self) -> float:
        """Area of the piece [mm2]."""
        return float(face_areas(self.vertices, self.faces).sum())

    def take(self, keep: IntArray) -> tuple[Piece, IntArray]:
        """Return the faces `keep` as a piece, and the old index of each of its vertices."""
        _, faces, old = submesh(self.vertices, self.faces, keep)
        piece = replace(
            self,
            vertices=self.vertices[old],
            faces=faces,
            face_parent=self.face_parent[keep],
            vertex_parent=self.vertex_parent[old],
            barycentric=self.barycentric[old],
        )
        return piece.settled(), old

    def settled(self) -> Piece:
        """Return the piece with each vertex placed in the parent of its own first face."""
        parent = np.empty(len(self.vertices), dtype=np.int64)
        # Written last to first, so that the first face of a vertex has the last word.
        parent[self.faces.reshape(-1)[::-1]] = np.repeat(self.face_parent, 3)[::-1]
        index = np.arange(len(self.vertices))
        return replace(self, vertex_parent=parent, barycentric=self.weights_in(index, parent))

    def weights_in(self, index: IntArray, parent: IntArray) -> FloatArray:
        """Return the barycentric weights of some vertices in other faces of the scan that they also lie in.

        Parameters
        ----------
        index : (k,) int array
            Vertices of the piece.
        parent : (k,) int array
            A face of the scan for each; the vertex lies in it, on its sides or its corners.

        Returns
        -------
        (k, 3) float array
            Weights on the corners of `parent`. Exact: corners are matched by index, nothing is projected.
        """
        corners = self.surface.faces[self.vertex_parent[index]]
        wanted = self.surface.faces[parent]
        same = corners[:, :, None] == wanted[:, None, :]
        return np.asarray(np.einsum("ik,ikc->ic", self.barycentric[index], same))


def piece_of(surface: Surface, faces: IntArray) -> Piece:
    """Return whole faces of a surface as a piece.

    Parameters
    ----------
    surface : Surface
        The scan.
    faces : (k,) int array
        Face ids, sorted.

    Returns
    -------
    Piece
        Faces in the order given, vertices in the order of the scan.
    """
    vertices, local, _ = submesh(surface.vertices, surface.faces, faces)
    parent = np.empty(len(vertices), dtype=np.int64)
    weights = np.zeros((len(vertices), 3))
    corner_of = np.empty(len(vertices), dtype=np.int64)
    parent[local.reshape(-1)[::-1]] = np.repeat(faces, 3)[::-1]
    corner_of[local.reshape(-1)[::-1]] = np.tile([0, 1, 2], len(faces))[::-1]
    weights[np.arange(len(vertices)), corner_of] = 1.0
    return Piece(surface, vertices, local, faces, parent, weights)


def whole_piece(surface: Surface) -> Piece:
    """Return all faces of a surface as a piece."""
    return piece_of(surface, np.arange(len(surface.faces)))


def implanted(whole: Piece, part: Piece, old: IntArray, origin: IntArray) -> tuple[Piece, IntArray]:
    """Put a divided part back into the piece it was taken from.

    Parameters
    ----------
    whole : Piece
        The piece.
    part : Piece
        Faces taken from it and divided since, with vertices added at the end. No side was divided that it shares with
        a face left behind.
    old : (k,) int array
        Vertex of `whole` that each of the first vertices of `part` is.
    origin : (m,) int array
        Face of `whole` that each face of `part` lies in; all faces taken occur.

    Returns
    -------
    piece : Piece
        The whole: its own vertices first, then those added; faces in the order of those they came from.
    origin : (m',) int array
        Face of `whole` that each of its faces lies in.
    """
    index = index_in_whole(whole, part, old)
    left = np.ones(len(whole.faces), dtype=bool)
    left[origin] = False
    behind = np.flatnonzero(left)
    faces = np.concatenate([whole.faces[behind], index[part.faces]])
    parent = np.concatenate([whole.face_parent[behind], part.face_parent])
    came = np.concatenate([behind, origin])
    order = np.argsort(came, kind="stable")
    added = slice(len(old), None)
    piece = replace(
        whole,
        vertices=np.concatenate([whole.vertices, part.vertices[added]]),
        faces=faces[order],
        face_parent=parent[order],
        vertex_parent=np.concatenate([whole.vertex_parent, part.vertex_parent[added]]),
        barycentric=np.concatenate([whole.barycentric, part.barycentric[added]]),
    )
    return piece, came[order]


def index_in_whole(whole: Piece, part: Piece, old: IntArray) -> IntArray:
    """Return the vertex of the whole that each vertex of a divided part is once `implanted` has put it back."""
    return np.concatenate([old, len(whole.vertices) + np.arange(len(part.vertices) - len(old))])
