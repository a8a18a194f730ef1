"""Faces that run through each other, or lie on one another.

What the maker calls it: a mesh that passes through itself; two scans laid over each other, a flap folded back.

Method: a tree of boxes over the faces, sorted along a space-filling curve, gives the pairs whose boxes touch; each
pair is put to the separating axis test. Two convex shapes are apart when some axis shows them apart, and for two
triangles the normals and the cross products of their edges are axes enough; for two in one plane, the normals of
their edges in it. Along each axis the test takes how far one would have to move to leave the other. Only a pair that is
in by more than the tolerance along every axis counts. So two faces that merely share a corner or an edge, touch, or
stand on one another within the tolerance never count, and no special case is needed for neighbours: they count
exactly when they overlap beyond what they share.

References
----------
S. Gottschalk, M. C. Lin, D. Manocha, "OBBTree: a hierarchical structure for rapid interference detection", SIGGRAPH
1996 (separating axes). G. M. Morton, "A computer oriented geodetic data base", IBM 1966 (the curve).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Crossings", "crossing_faces"]

MOST_PAIRS = 200_000
_TESTS_PER_FACE = 200  # a clean scan needs about 15
_SPARE_TESTS = 1_000_000


@dataclass(frozen=True, eq=False)
class Crossings:
    """Pairs of faces that cross.

    Parameters
    ----------
    pairs : (p, 2) int array
        Face ids, the lower first, sorted.
    complete : bool
        Whether the whole mesh was searched; False when a cap was reached.
    """

    pairs: IntArray
    complete: bool


def crossing_faces(
    vertices: FloatArray, faces: IntArray, *, depth_mm: float, most_pairs: int = MOST_PAIRS
) -> Crossings:
    """Find the pairs of faces that cross or overlap.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Vertex indices; every face has an area.
    depth_mm : float
        How deep two faces must run into each other to count [mm].
    most_pairs : int
        Stop after finding so many; the search also stops after testing 200 pairs a face.

    Returns
    -------
    Crossings
        The pairs, and whether the search was complete.
    """
    from meshflow.mesh.crossing_kernel import pairs_in_tree

    count = len(faces)
    if count < 2:
        return Crossings(np.empty((0, 2), dtype=np.int64), True)
    order = _along_curve(vertices, faces)
    corner = vertices[faces[order]]
    normal = face_normals(vertices, faces[order])
    box = np.concatenate([corner.min(axis=1), corner.max(axis=1)], axis=1)
    out = np.empty((most_pairs, 2), dtype=np.int64)
    most_tests = _TESTS_PER_FACE * count + _SPARE_TESTS
    found, tested = pairs_in_tree(corner, normal, box, _box_tree(box), depth_mm, most_tests, out)
    pairs = np.sort(order[out[:found]], axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return Crossings(pairs, bool(found < most_pairs and tested < most_tests))


def _along_curve(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Order the faces by the Morton code of their middles: the bits of x, y and z interleaved, 21 of each."""
    middle = vertices[faces].mean(axis=1)
    low = middle.min(axis=0)
    span = float((middle.max(axis=0) - low).max())
    cell = ((middle - low) * ((2**21 - 1) / span if span > 0 else 0.0)).astype(np.uint64)
    code = np.zeros(len(faces), dtype=np.uint64)
    for axis in range(3):
        code |= _spread_bits(cell[:, axis]) << np.uint64(axis)
    return np.argsort(code, kind="stable")


def _spread_bits(
    x: np.ndarray[tuple[int, ...], np.dtype[np.uint64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint64]]:
    """Put two zero bits between any two of the lowest 21 bits."""
    for shift, mask in (
        (32, 0x1F00000000FFFF),
        (16, 0x1F0000FF0000FF),
        (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3),
        (2, 0x1249249249249249),
    ):
        x = (x | (x << np.uint64(shift))) & np.uint64(mask)
    return x


def _box_tree(box: FloatArray) -> FloatArray:
    """Boxes of a complete binary tree over runs of faces, as a heap; empty leaves have inverted boxes."""
    from meshflow.mesh.crossing_kernel import LEAF

    leaves = -(-len(box) // LEAF)
    wide = 1 << max(leaves - 1, 0).bit_length()
    node = np.empty((2 * wide, 6))
    node[:, :3], node[:, 3:] = np.inf, -np.inf
    starts = np.arange(leaves) * LEAF
    node[wide : wide + leaves, :3] = np.minimum.reduceat(box[:, :3], starts, axis=0)
    node[wide : wide + leaves, 3:] = np.maximum.reduceat(box[:, 3:], starts, axis=0)
    while wide > 1:
        below = node[wide : 2 * wide].reshape(-1, 2, 6)
        wide //= 2
        node[wide : 2 * wide, :3] = below[:, :, :3].min(axis=1)
        node[wide : 2 * wide, 3:] = below[:, :, 3:].max(axis=1)
    return node
