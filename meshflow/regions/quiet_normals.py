"""Face normals with the scan noise taken out, creases kept; no vertex moves.

Method: bilateral filtering of the normal field (Zheng, Fu, Au and Tai 2011, local iterative scheme). The new normal
of a face is the mean of its own and those of all faces that share a vertex with it, weighted by area, by distance
between the centres, and by how alike the normals are; so faces across a crease have no say. How alike counts as alike
is taken from the surface itself: from the least turn of each face to a neighbour, which is nought on most faces of a
drawn, noiseless solid (its normals then come back as they are) and some degrees on a scan.

References
----------
Y. Zheng, H. Fu, O. K.-C. Au, C.-L. Tai, "Bilateral normal filtering for mesh denoising", IEEE Trans. Visualization and
Computer Graphics 17:10, 2011.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import face_adjacency
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["quiet_normals", "turns_between"]

_ROUNDS = 20
_ALIKE = 5.0  # of the median least turn
_MOST_ALIKE = 0.6  # so that the sides of a block, all of them creases, do not count as noise
_NOISELESS_RAD = np.radians(0.5)


def quiet_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return denoised unit normals of faces.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (m, 3) float array
        Unit normals; the plain ones where the surface has no noise.
    """
    normals = face_normals(vertices, faces)
    pairs, _ = face_adjacency(faces)
    if len(pairs) == 0 or _alike(normals, pairs) < _NOISELESS_RAD:
        return normals
    from meshflow.regions.quiet_kernel import filter_once

    first, beside = _links(faces)
    centres = vertices[faces].mean(axis=1)
    apart = np.linalg.norm(np.repeat(centres, np.diff(first), axis=0) - centres[beside], axis=1)
    reach = np.linalg.norm(centres[pairs[:, 0]] - centres[pairs[:, 1]], axis=1).mean()
    near = face_areas(vertices, faces)[beside] * np.exp(-0.5 * (apart / reach) ** 2)
    for _ in range(_ROUNDS):
        alike = _alike(normals, pairs)
        if alike < _NOISELESS_RAD:
            break
        filtered = np.empty_like(normals)
        filter_once(normals, first, beside, near, alike, filtered)
        normals = filtered
    return normals


def turns_between(normals: FloatArray, pairs: IntArray) -> FloatArray:
    """Return the angle between the normals of pairs of faces, shape (k,) [rad]."""
    one, two = normals[pairs[:, 0]], normals[pairs[:, 1]]
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(one, two), axis=1), np.einsum("ed,ed->e", one, two)))


def _alike(normals: FloatArray, pairs: IntArray) -> float:
    """Return the difference of normals that counts as noise, from the median of the least turns of the faces [rad]."""
    turn = turns_between(normals, pairs)
    least = np.full(len(normals), np.inf)
    np.minimum.at(least, pairs.reshape(-1), np.repeat(turn, 2))
    has = least < np.inf
    return min(_ALIKE * float(np.median(least[has])), _MOST_ALIKE)


def _links(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return, for each face, where the faces that share a vertex with it start, and these faces, sorted."""
    from scipy.sparse import coo_array

    rows = np.repeat(np.arange(len(faces)), 3)
    shape = (len(faces), int(faces.max()) + 1)
    at = coo_array((np.ones(3 * len(faces), dtype=np.int8), (rows, faces.reshape(-1))), shape=shape).tocsr()
    links = (at @ at.T).tocsr()
    links.sort_indices()
    return links.indptr.astype(np.int64), links.indices.astype(np.int64)
