"""The nearest points of a surface to many points, exactly, and on which side they lie.

Terms: the *foot* of a point is the point of the surface nearest to it; a foot lies in a face, on an edge or in a
vertex, and the *outward direction* there is the normal that tells inside from outside even on an edge or a vertex:
the sum of the normals of the faces there, each weighted by the angle it spans. A foot on the *rim* lies on an edge
with one face only: beyond it the surface says nothing.

References
----------
J. A. Baerentzen, H. Aanaes, "Signed distance computation using the angle weighted pseudonormal", IEEE TVCG 11:3,
2005 (the outward direction). The tree and the exact foot are those of `nearest_kernel`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import face_normals, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Feet", "Outward", "SurfaceTree"]


@dataclass(frozen=True, eq=False)
class Feet:
    """The nearest points of a surface to some points.

    Parameters
    ----------
    face : (k,) int array
        The face each lies in; of several equally near faces the first; -1 where none was near enough.
    weights : (k, 3) float array
        Weights on the corners of that face; they sum to 1, and are exactly 0 on an edge or vertex met from outside.
    position : (k, 3) float array
        Where it is [mm]; not a number where none was near enough.
    distance : (k,) float array
        How far the asked point was from it [mm]; infinite where none was near enough.
    """

    face: IntArray
    weights: FloatArray
    position: FloatArray
    distance: FloatArray


class SurfaceTree:
    """A surface prepared for many questions about what is nearest; exact, one thread.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions, finite [mm].
    faces : (m, 3) int array
        Vertex indices; at least one face.

    Examples
    --------
    >>> tree = SurfaceTree(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    >>> tree.nearest(np.array([[3.0, 3.0, 2.0], [-3.0, 3.0, 4.0]])).distance.tolist()
    [2.0, 5.0]
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        from meshflow.geometry.nearest_kernel import build_tree

        self.vertices = np.ascontiguousarray(vertices, dtype=np.float64)
        self.faces = np.ascontiguousarray(faces, dtype=np.int64)
        # About the middle of the box, so that a piece far from the origin loses no digits in the products.
        self._middle = 0.5 * (self.vertices[self.faces].min(axis=(0, 1)) + self.vertices[self.faces].max(axis=(0, 1)))
        self._corners = self.vertices[self.faces] - self._middle
        self._tree = build_tree(self._corners.min(axis=1), self._corners.max(axis=1))

    def nearest(self, points: FloatArray, *, within: float = np.inf) -> Feet:
        """Return the feet of points.

        Parameters
        ----------
        points : (k, 3) float array
            The points [mm].
        within : float
            Farthest distance to look [mm].

        Returns
        -------
        Feet
            Face, weights, position and distance of each.
        """
        from meshflow.geometry.nearest_kernel import nearest_faces

        own = np.ascontiguousarray(np.asarray(points, dtype=np.float64).reshape(-1, 3) - self._middle)
        face, weights = nearest_faces(self._corners, *self._tree, own, float(within))
        foot = np.einsum("kc,kcd->kd", weights, self._corners[face])
        distance = np.linalg.norm(own - foot, axis=1)
        none = face < 0
        foot[none], distance[none] = np.nan, np.inf
        return Feet(face, weights, foot + self._middle, distance)

    def hits(
        self, starts: FloatArray, ways: FloatArray, *, after: float = 0.0, from_within: bool = False
    ) -> tuple[IntArray, FloatArray]:
        """Return the first face that rays meet.

        Parameters
        ----------
        starts : (k, 3) float array
            Where the rays start [mm].
        ways : (k, 3) float array
            Unit directions.
        after : float
            Hits no farther than this do not count [mm].
        from_within : bool
            Only faces met from behind count, where a ray leaves a solid.

        Returns
        -------
        face : (k,) int array
            The first face; -1 where nothing is met.
        distance : (k,) float array
            How far it is [mm]; infinite where nothing is met.
        """
        from meshflow.geometry.nearest_kernel import first_hits

        own = np.ascontiguousarray(np.asarray(starts, dtype=np.float64).reshape(-1, 3) - self._middle)
        way = np.ascontiguousarray(np.asarray(ways, dtype=np.float64).reshape(-1, 3))
        return first_hits(self._corners, *self._tree, own, way, float(after), from_within)


class Outward:
    """Which way is out at any point of a surface, and whether it lies on the rim.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Welded, consistently wound faces, counter-clockwise seen from outside.

    Attributes
    ----------
    consistent : bool
        Whether no edge is run through twice the same way, so that sides mean something.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        table = edge_table(faces)
        self._faces = faces
        self._of_face = face_normals(vertices, faces)
        self._of_vertex = vertex_normals(vertices, faces)
        self._edge = table.of_half_edge.reshape(-1, 3)
        self._of_edge = np.zeros((len(table.vertices), 3))
        for axis in range(3):
            self._of_edge[:, axis] = np.bincount(
                table.of_half_edge, weights=np.repeat(self._of_face[:, axis], 3), minlength=len(table.vertices)
            )
        self._rim_edge = table.boundary
        self._rim_vertex = np.zeros(len(vertices), dtype=np.bool_)
        self._rim_vertex[table.vertices[table.boundary]] = True
        forward = (faces < np.roll(faces, -1, axis=1)).reshape(-1)
        runs = np.bincount(table.of_half_edge, weights=np.where(forward, 1.0, -1.0), minlength=len(table.vertices))
        self.consistent = bool((runs[table.face_count == 2] == 0).all())

    def at(self, feet: Feet) -> tuple[FloatArray, BoolArray]:
        """Return the outward direction (k, 3), of unit length, and whether the foot is on the rim (k,)."""
        zero = feet.weights == 0.0
        zeros = zero.sum(axis=1)
        out = self._of_face[feet.face].copy()
        on_rim = np.zeros(len(out), dtype=np.bool_)
        # With the weight of corner k zero the foot lies on half-edge k + 1.
        edge = self._edge[feet.face, (np.argmax(zero, axis=1) + 1) % 3]
        vertex = self._faces[feet.face, np.argmax(~zero, axis=1)]
        one, two = zeros == 1, zeros == 2
        out[one], on_rim[one] = self._of_edge[edge[one]], self._rim_edge[edge[one]]
        out[two], on_rim[two] = self._of_vertex[vertex[two]], self._rim_vertex[vertex[two]]
        length = np.linalg.norm(out, axis=1, keepdims=True)
        return out / np.where(length > 0, length, 1.0), on_rim
