"""Single points that stick out of the surface.

What the maker calls it: spikes; stray points that the scanner saw off the surface.

Terms: *spike height* is how far a point stands off the middle of its neighbours, along the normal of their ring and
less the mean of the same for the neighbours, in radii of their ring.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import EdgeTable
from meshflow.geometry.triangles import face_vectors
from meshflow.mesh.roughness import TO_SIGMA, adjacency, off_the_rim
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["SPIKE_HEIGHT", "spikes"]

SPIKE_HEIGHT = 0.8  # a cone of 90 degrees stands at 0.8, a cube's corner at 0.4
_BEYOND_CHANCE = 0.5  # added to sqrt(2 ln n), the largest of n Gaussian samples in sigmas


def spikes(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> IntArray:
    """Find single points that stick out of the surface around them.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Consistently wound faces.
    table : EdgeTable
        Their edges.

    Returns
    -------
    (s,) int array
        Vertices off the rim whose spike height is over 0.8, beyond what chance alone gives among so many points, and
        no less than that of any neighbour that stands off the other way.
    """
    inner = np.flatnonzero(off_the_rim(table, len(vertices)))
    if len(inner) == 0:
        return inner
    near = adjacency(table, len(vertices))
    degree = np.maximum(np.diff(near.indptr), 1)
    middle = (near @ vertices) / degree[:, None]
    off = np.einsum("vi,vi->v", vertices - middle, _ring_normals(vertices, faces))
    a, b = table.vertices.T
    reach = np.bincount(a, weights=np.linalg.norm(vertices[b] - middle[a], axis=1), minlength=len(vertices))
    reach += np.bincount(b, weights=np.linalg.norm(vertices[a] - middle[b], axis=1), minlength=len(vertices))
    radius = reach / degree
    signed = (off - (near @ off) / degree) / np.where(radius > 0, radius, 1.0)
    height = np.abs(signed)
    scatter = TO_SIGMA * float(np.median(height[inner]))
    beyond = float(np.sqrt(2.0 * np.log(len(inner)))) + _BEYOND_CHANCE
    # A point at the foot of two spikes seems to stand off the other way: it is not blamed for a greater one beside it.
    against = np.signbit(signed[a]) != np.signbit(signed[b])
    blame = np.zeros(len(vertices))
    np.maximum.at(blame, a[against], height[b[against]])
    np.maximum.at(blame, b[against], height[a[against]])
    out = (height > max(SPIKE_HEIGHT, beyond * scatter)) & (height >= blame)
    return np.asarray(inner[out[inner]])


def _ring_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the unit area vector of the ring of neighbours, which does not depend on where the point stands."""
    vector = face_vectors(vertices, faces)
    total = np.zeros_like(vertices)
    for axis in range(3):
        total[:, axis] = np.bincount(faces.reshape(-1), weights=np.repeat(vector[:, axis], 3), minlength=len(vertices))
    size = np.linalg.norm(total, axis=1, keepdims=True)
    return np.asarray(total / np.where(size > 0, size, 1.0))
