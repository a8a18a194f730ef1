"""The point of a surface that lies nearest to a point of space.

Source: the nearest point of a triangle is the foot of the perpendicular where that falls inside, else the nearest
point of its sides; C. Ericson, "Real-Time Collision Detection", 2005, section 5.1.5. All faces are measured at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray, frozen

__all__ = ["SurfacePoint", "closest_points", "closest_surface_point"]


@dataclass(frozen=True, eq=False)
class SurfacePoint:
    """A point of a surface.

    Parameters
    ----------
    face : int
        The face it lies in; of several equally near faces the first.
    barycentric : (3,) float array
        Its weights on the corners of that face; they sum to 1.
    position : (3,) float array
        Where it is [mm].
    distance : float
        How far the asked point was from it [mm].
    """

    face: int
    barycentric: FloatArray
    position: FloatArray
    distance: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "barycentric", frozen(self.barycentric, np.float64))
        object.__setattr__(self, "position", frozen(self.position, np.float64))


def closest_surface_point(vertices: FloatArray, faces: IntArray, point: FloatArray) -> SurfacePoint:
    """Return the point of the surface nearest to `point`.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices; at least one face.
    point : (3,) float array
        The point of space [mm].

    Returns
    -------
    SurfacePoint
        Face, barycentric weights, position and distance.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]])
    >>> closest_surface_point(corners, np.array([[0, 1, 2]]), np.array([3.0, 3.0, 2.0])).distance
    2.0
    """
    weights, distances = closest_points(vertices, faces, point)
    face = int(np.argmin(distances))
    return SurfacePoint(face, weights[face], weights[face] @ vertices[faces[face]], float(distances[face]))


def closest_points(vertices: FloatArray, faces: IntArray, point: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return, for each face, its point nearest to `point`.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    point : (3,) float array
        The point of space [mm].

    Returns
    -------
    barycentric : (m, 3) float array
        Weights of the nearest point on the corners of each face.
    distances : (m,) float array
        Its distance [mm].
    """
    corners = vertices[faces] - np.asarray(point, dtype=np.float64)
    best, inside = _perpendicular_foot(corners)
    least = np.where(inside, _length(best, corners), np.inf)
    for side in range(3):
        weights = _nearest_on_side(corners, side)
        length = _length(weights, corners)
        nearer = length < least
        best[nearer], least[nearer] = weights[nearer], length[nearer]
    return best, least


def _length(weights: FloatArray, corners: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(np.einsum("fk,fkd->fd", weights, corners), axis=1))


def _perpendicular_foot(corners: FloatArray) -> tuple[FloatArray, BoolArray]:
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    square = np.einsum("fd,fd->f", normal, normal)
    shares = np.stack([np.einsum("fd,fd->f", np.cross(p, q), normal) for p, q in ((b, c), (c, a), (a, b))], axis=1)
    weights = shares / np.where(square > 0, square, 1.0)[:, None]
    return weights, np.asarray((square > 0) & (weights >= 0).all(axis=1))


def _nearest_on_side(corners: FloatArray, side: int) -> FloatArray:
    start, end = corners[:, side], corners[:, (side + 1) % 3]
    along = end - start
    square = np.einsum("fd,fd->f", along, along)
    share = np.clip(-np.einsum("fd,fd->f", start, along) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    weights = np.zeros((len(corners), 3))
    weights[:, side], weights[:, (side + 1) % 3] = 1.0 - share, share
    return weights
