"""Discrete differential operators on triangle meshes, from side lengths alone.

Terms and signs: `cotan_laplacian` is positive semi-definite (it is minus the smooth Laplacian, integrated); a *mass*
is the share of the area that belongs to a vertex. Lengths are *mollified* where a face is (almost) degenerate: every
length grows by one small amount so that each triangle inequality holds with room to spare. Good meshes are untouched.
Mollified lengths serve linear operators only; areas, strains and outlines use the true ones.

References
----------
Pinkall and Polthier, "Computing discrete minimal surfaces and their conjugates", Experimental Mathematics 2:1, 1993.
Sharp and Crane, "A Laplacian for nonmanifold triangle meshes", Computer Graphics Forum 39:5, 2020 (mollification).
Bergou, Wardetzky, Harmon, Zorin and Grinspun, "A quadratic bending model for inextensible surfaces", SGP 2006.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_array

__all__ = [
    "barycentric_mass",
    "cotan_laplacian",
    "cotangents",
    "curve_bending",
    "heron_areas",
    "hinge_bending",
    "mollified",
]

ROOM = 1e-5  # of the mean edge: room left in every triangle inequality


def mollified(lengths: FloatArray) -> FloatArray:
    """Return side lengths of which every triangle inequality holds with room of 1e-5 of the mean side.

    Parameters
    ----------
    lengths : (m, 3) float array
        Sides of each face.

    Returns
    -------
    (m, 3) float array
        The same array when it already has the room, else all sides longer by one common amount.
    """
    room = ROOM * float(lengths.mean())
    lack = float((room + 2.0 * lengths.max(axis=1) - lengths.sum(axis=1)).max())
    return lengths + lack if lack > 0 else lengths


def heron_areas(lengths: FloatArray) -> FloatArray:
    """Return triangle areas from sides, by Kahan's stable form of Heron's formula, shape (m,)."""
    c, b, a = np.sort(lengths, axis=1).T
    product = (a + (b + c)) * np.maximum(c - (a - b), 0.0) * (c + (a - b)) * (a + (b - c))
    return np.asarray(0.25 * np.sqrt(np.maximum(product, 0.0)))


def cotangents(lengths: FloatArray) -> FloatArray:
    """Return the cotangent of each corner angle, shape (m, 3); the sides must leave room (see `mollified`)."""
    square = lengths**2
    return np.asarray((square.sum(axis=1, keepdims=True) - 2.0 * square) / (4.0 * heron_areas(lengths)[:, None]))


def cotan_laplacian(lengths: FloatArray, faces: IntArray, vertex_count: int) -> csr_array:
    """Return the positive semi-definite cotangent Laplacian.

    Parameters
    ----------
    lengths : (m, 3) float array
        Sides; column k is opposite to corner k.
    faces : (m, 3) int array
        Vertex indices.
    vertex_count : int
        Number of vertices.

    Returns
    -------
    (n, n) sparse array
        ``(L u)_i = sum_j w_ij (u_i - u_j)`` with ``w_ij`` half the sum of the cotangents opposite to edge ij.
    """
    from scipy.sparse import csr_array

    from meshflow.geometry.scatter import laplacian_rows

    corners = np.ascontiguousarray(faces, dtype=np.int64)
    starts, columns, entries = laplacian_rows(corners, 0.5 * cotangents(lengths), vertex_count)
    return csr_array((entries, columns, starts), shape=(vertex_count, vertex_count))


def barycentric_mass(areas: FloatArray, faces: IntArray, vertex_count: int) -> FloatArray:
    """Return a third of the area of the faces round each vertex, shape (n,) [mm2]."""
    share = np.repeat(areas / 3.0, 3)
    return np.asarray(np.bincount(faces.reshape(-1), weights=share, minlength=vertex_count), dtype=np.float64)


def hinge_bending(vertices: FloatArray, faces: IntArray) -> csr_array:
    """Return the quadratic bending energy of a surface: zero for every flat piece, with natural rims.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (n, n) sparse array
        Q with ``x^T Q x`` the integral of the squared mean curvature vector, summed over pairs of faces that share an
        edge [mm2 for x in mm]. Rim vertices bend only through the pairs they belong to, so the rim is free.
    """
    from scipy.sparse import coo_array

    hinge = _hinges(faces)
    x = [vertices[hinge[:, corner]] for corner in range(4)]
    c01, c02 = _cotangent(x[0], x[1], x[2]), _cotangent(x[0], x[1], x[3])
    c03, c04 = _cotangent(x[1], x[0], x[2]), _cotangent(x[1], x[0], x[3])
    row = np.stack([c03 + c04, c01 + c02, -c01 - c03, -c02 - c04], axis=1)
    double_area = sum(np.linalg.norm(np.cross(x[1] - x[0], x[k] - x[0]), axis=1) for k in (2, 3))
    weight = 6.0 / np.where(double_area > 0, double_area, np.inf)
    entries = weight[:, None, None] * row[:, :, None] * row[:, None, :]
    places = (np.repeat(hinge, 4, axis=1).reshape(-1), np.tile(hinge, (1, 4)).reshape(-1))
    return coo_array((entries.reshape(-1), places), shape=(len(vertices),) * 2).tocsr()


def _hinges(faces: IntArray) -> IntArray:
    """Vertices of each pair of faces: the shared edge, then the two apexes."""
    table = edge_table(faces)
    order = np.argsort(table.of_half_edge, kind="stable")
    first = np.concatenate([[0], np.cumsum(table.face_count)[:-1]])[table.face_count == 2]
    one, two = order[first], order[first + 1]
    corner = faces.reshape(-1)
    after = 3 * (one // 3) + (one + 1) % 3
    return np.stack(
        [corner[one], corner[after], corner[3 * (one // 3) + (one + 2) % 3], corner[3 * (two // 3) + (two + 2) % 3]],
        axis=1,
    )


def _cotangent(apex: FloatArray, one: FloatArray, two: FloatArray) -> FloatArray:
    u, v = one - apex, two - apex
    sine = np.linalg.norm(np.cross(u, v), axis=1)
    return np.asarray((u * v).sum(axis=1) / np.where(sine > 0, sine, np.inf))


def curve_bending(points: FloatArray, triples: IntArray) -> csr_array:
    """Return the quadratic bending energy of curves: the integral of the squared second derivative.

    Parameters
    ----------
    points : (n, 3) float array
        Positions [mm].
    triples : (k, 3) int array
        Vertex before, vertex, vertex after, for each vertex that resists bending.

    Returns
    -------
    (n, n) sparse array
        Q with ``x^T Q x`` the energy [1/mm for x in mm].
    """
    from scipy.sparse import coo_array

    before = np.linalg.norm(points[triples[:, 1]] - points[triples[:, 0]], axis=1)
    after = np.linalg.norm(points[triples[:, 2]] - points[triples[:, 1]], axis=1)
    mean = 0.5 * (before + after)
    row = np.stack([1.0 / before, -1.0 / before - 1.0 / after, 1.0 / after], axis=1) / mean[:, None]
    entries = mean[:, None, None] * row[:, :, None] * row[:, None, :]
    places = (np.repeat(triples, 3, axis=1).reshape(-1), np.tile(triples, (1, 3)).reshape(-1))
    return coo_array((entries.reshape(-1), places), shape=(len(points),) * 2).tocsr()
