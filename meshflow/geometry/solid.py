"""Closed bodies from sheets: a sheet and its underside joined along the rim, and what is asked of any body.

Convention: faces run counter-clockwise seen from outside; the upper sheet's normals point out of the body.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import edge_table, half_edges
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["closed_between", "is_closed", "rim_half_edges", "side_walls", "volume"]


def rim_half_edges(faces: IntArray) -> IntArray:
    """Return the half-edges that no other face runs back along, (k, 2): each with its face on the left."""
    table = edge_table(faces)
    return np.asarray(half_edges(faces)[table.boundary[table.of_half_edge]])


def side_walls(upper: IntArray, lower: IntArray) -> IntArray:
    """Return the faces that join rim half-edges of an upper sheet to their likes below.

    Parameters
    ----------
    upper, lower : (k, 2) int array
        Half-edges of the upper sheet, its face on the left, and the vertices below them.

    Returns
    -------
    (2 k, 3) int array
        Walls that face away from the sheet.
    """
    (a, b), (c, d) = upper.T, lower.T
    return np.concatenate([np.stack([b, a, c], axis=1), np.stack([b, c, d], axis=1)])


def closed_between(upper: FloatArray, lower: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Return the body between a sheet and another with the same faces, walls along every rim.

    Parameters
    ----------
    upper, lower : (n, 3) float array
        Positions of the vertices above and below [mm].
    faces : (m, 3) int array
        Faces of the upper sheet, its normals pointing out of the body.

    Returns
    -------
    vertices : (2 n, 3) float array
        Upper, then lower.
    faces : (p, 3) int array
        Closed where the sheet has no edge with three faces.

    Examples
    --------
    >>> top = np.array([[0.0, 0, 1], [2, 0, 1], [0, 2, 1]])
    >>> body = closed_between(top, top - [0, 0, 1], np.array([[0, 1, 2]]))
    >>> is_closed(body[1]), round(volume(*body), 9)
    (True, 2.0)
    """
    count = len(upper)
    rim = rim_half_edges(faces)
    joined = np.concatenate([faces, faces[:, ::-1] + count, side_walls(rim, rim + count)])
    return np.concatenate([upper, lower]), joined


def is_closed(faces: IntArray) -> bool:
    """Return whether every edge has exactly two faces that run along it each their way."""
    ends = half_edges(faces)
    if len(ends) == 0:
        return False
    count = int(ends.max()) + 1
    there, back = np.sort(ends[:, 0] * count + ends[:, 1]), np.sort(ends[:, 1] * count + ends[:, 0])
    return bool(np.array_equal(there, back) and (np.diff(there) != 0).all())


def volume(vertices: FloatArray, faces: IntArray) -> float:
    """Return the volume inside a body [mm3]; negative where it is inside out."""
    corner = vertices[faces] - vertices[faces].mean(axis=(0, 1))
    return float(np.einsum("ij,ij->", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])) / 6.0)
