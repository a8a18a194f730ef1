"""Which faces of a welded mesh count: those with an area, each once.

Terms: a *flat* face has no area (a repeated corner, or three corners in line); a *duplicate* has the same corners
and the same winding as an earlier face; a *twin* has the same corners and the opposite winding: the second side of
a two-sided sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.triangles import edge_lengths, face_vectors
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.check import FaceShapes

__all__ = ["Copies", "face_copies", "face_quality", "face_shapes", "flat_faces"]

FLAT_HEIGHT = 1e-10  # of the longest side: six digits above the rounding of double precision, far under any sliver


@dataclass(frozen=True, eq=False)
class Copies:
    """Faces that share all their corners with another.

    Parameters
    ----------
    duplicate : (m,) bool array
        Faces that an earlier one repeats exactly.
    second_side : (m,) bool array
        Faces that turn the back to an earlier one, duplicates left out.
    doubled : (m,) bool array
        Faces that have a twin, on whichever side.
    """

    duplicate: BoolArray
    second_side: BoolArray
    doubled: BoolArray


def flat_faces(vertices: FloatArray, faces: IntArray, rounding: float = 0.0) -> BoolArray:
    """Return which faces have no area.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Vertex indices.
    rounding : float
        How far rounding may have moved a coordinate [mm].

    Returns
    -------
    (m,) bool array
        Faces with a repeated corner, or whose height over the longest side is no more than rounding error.
    """
    repeated = (faces == np.roll(faces, -1, axis=1)).any(axis=1)
    longest = edge_lengths(vertices, faces).max(axis=1, initial=0.0)
    height = np.linalg.norm(face_vectors(vertices, faces), axis=1) / np.where(longest > 0, longest, 1.0)
    return np.asarray(repeated | (height <= FLAT_HEIGHT * longest + rounding))


def face_copies(faces: IntArray) -> Copies:
    """Return which faces repeat another, by their corners.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices; no face with a repeated corner.

    Returns
    -------
    Copies
        Duplicates and twins, seen from the first face of each kind.
    """
    count = len(faces)
    order = np.argsort(faces, axis=1)
    corners = np.take_along_axis(faces, order, axis=1)
    odd = ((order[:, 0] > order[:, 1]) ^ (order[:, 0] > order[:, 2]) ^ (order[:, 1] > order[:, 2])).astype(np.int64)
    rank = np.lexsort((odd, corners[:, 2], corners[:, 1], corners[:, 0]))
    same_corners = np.zeros(count, dtype=np.bool_)
    same_corners[1:] = (corners[rank[1:]] == corners[rank[:-1]]).all(axis=1)
    same_winding = same_corners.copy()
    same_winding[1:] &= odd[rank[1:]] == odd[rank[:-1]]
    duplicate = np.zeros(count, dtype=np.bool_)
    duplicate[rank] = same_winding
    return _with_sides(duplicate, rank, np.cumsum(~same_corners) - 1, odd)


def _with_sides(duplicate: BoolArray, rank: IntArray, group_of_rank: IntArray, odd: IntArray) -> Copies:
    """Find the groups that hold both windings; the side that comes first in the file is the front."""
    count = len(rank)
    group = np.empty(count, dtype=np.int64)
    group[rank] = group_of_rank
    groups = int(group_of_rank[-1]) + 1 if count else 0
    first = np.full(groups, count)
    np.minimum.at(first, group, np.arange(count))
    front = odd[first[group]] == odd
    both = np.zeros(groups, dtype=np.bool_)
    both[group[~front]] = True
    return Copies(duplicate, ~front & ~duplicate, both[group])


def face_quality(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the shape of each face: 1 for an equilateral triangle, 0 for a flat one.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle.
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (m,) float array
        ``4 sqrt(3) area / (a^2 + b^2 + c^2)``.

    References
    ----------
    R. E. Bank, R. K. Smith, "Mesh smoothing using a posteriori error estimates", SIAM J. Numer. Anal. 34, 1997.

    Examples
    --------
    >>> square = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> face_quality(square, np.array([[0, 1, 2]])).round(3).tolist()
    [0.866]
    """
    squares = (edge_lengths(vertices, faces) ** 2).sum(axis=1)
    doubled_area = np.linalg.norm(face_vectors(vertices, faces), axis=1)
    return np.asarray(2.0 * np.sqrt(3.0) * doubled_area / np.where(squares > 0, squares, 1.0))


_POOR = 0.1


def face_shapes(vertices: FloatArray, faces: IntArray) -> FaceShapes:
    """Return a summary of `face_quality` over the faces of a mesh."""
    if len(faces) == 0:
        return FaceShapes()
    quality = face_quality(vertices, faces)
    edge = float(np.median(edge_lengths(vertices, faces)))
    return FaceShapes(float(quality.mean()), float(quality.min()), float((quality < _POOR).mean()), edge)
