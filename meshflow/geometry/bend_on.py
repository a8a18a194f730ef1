"""A flat plate bent onto a surface: the way back from the flat pattern.

Method: a point of the plate is found in a flat triangle; the same weights on that triangle's corners in space give its
place, and it stands off by its height along the surface's normal there, mixed from the corners with the same weights.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.nearest import Feet, SurfaceTree
from meshflow.geometry.triangles import vertex_normals
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Bent"]


class Bent:
    """A surface and its flat pattern.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm].
    vertices : (n, 3) float array
        Positions on the surface [mm].
    faces : (m, 3) int array
        Counter-clockwise on the flat, where the outer face looks up.

    Examples
    --------
    >>> flat = np.array([[0.0, 0.0], [4.0, 0.0], [0.0, 4.0]])
    >>> upright = np.array([[0.0, 0, 0], [0, 4.0, 0], [0, 0, 4.0]])
    >>> Bent(flat, upright, np.array([[0, 1, 2]])).at(np.array([[1.0, 2.0, 0.5]])).tolist()
    [[0.5, 1.0, 2.0]]
    """

    def __init__(self, flat: FloatArray, vertices: FloatArray, faces: IntArray) -> None:
        self._tree = SurfaceTree(np.column_stack([flat, np.zeros(len(flat))]), faces)
        self._vertices, self._faces = vertices, faces
        self._normals = vertex_normals(vertices, faces)

    def at(self, plate: FloatArray) -> FloatArray:
        """Return where points of a plate go.

        Parameters
        ----------
        plate : (k, 3) float array
            Flat x and y, and height over the surface, outward where positive [mm].

        Returns
        -------
        (k, 3) float array
            Positions [mm]. A point beyond the pattern goes with its nearest place on the rim; see `outside`.
        """
        feet = self._feet(plate[:, :2])
        corners = self._faces[feet.face]
        place = np.einsum("kc,kcd->kd", feet.weights, self._vertices[corners])
        way = np.einsum("kc,kcd->kd", feet.weights, self._normals[corners])
        way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
        return np.asarray(place + plate[:, 2:3] * way)

    def outside(self, flat: FloatArray) -> FloatArray:
        """Return how far flat points lie beyond the pattern, (k,) [mm]; 0 on it."""
        return np.asarray(self._feet(flat).distance)

    def _feet(self, flat: FloatArray) -> Feet:
        return self._tree.nearest(np.column_stack([flat, np.zeros(len(flat))]))
