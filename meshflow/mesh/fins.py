"""Fins: scraps of surface that stand on it along an edge, as scanners leave them beside holes.

A *patch* is what hangs together over edges that exactly two faces share. A fin is a small patch on a branching edge
(three faces or more) beside a patch that is not small: without it the edge is an edge again.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import face_adjacency
from meshflow.mesh.anatomy import PIN_HOLE_EDGES, Anatomy, pin_hole_size
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["fins"]


def fins(body: Anatomy) -> BoolArray:
    """Return which sound faces belong to fins.

    Parameters
    ----------
    body : Anatomy
        The mesh.

    Returns
    -------
    (k,) bool array
        Faces of patches of at most 12 faces, no larger across than a pin hole, that stand on a branching edge together
        with a patch that is no fin.
    """
    branching = (body.table.face_count > 2)[body.table.of_half_edge].reshape(-1, 3)
    if not branching.any():
        return np.zeros(len(body.faces), dtype=np.bool_)
    patch = _patches(body)
    size = np.bincount(patch)
    small = (size <= PIN_HOLE_EDGES) & (_widths(body, patch, size) <= pin_hole_size(body))
    on_branch = np.bincount(patch, weights=branching.any(axis=1)) > 0
    # An edge on which only small patches meet says nothing about which of them is the surface.
    has_main = np.zeros(len(body.table.vertices), dtype=np.bool_)
    has_main[body.table.of_half_edge.reshape(-1, 3)[~small[patch]].reshape(-1)] = True
    beside_main = np.bincount(patch, weights=(branching & has_main[body.table.of_half_edge.reshape(-1, 3)]).any(axis=1))
    return np.asarray((small & on_branch & (beside_main > 0))[patch])


def _patches(body: Anatomy) -> IntArray:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs, _ = face_adjacency(body.faces, body.table)
    count = len(body.faces)
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    return np.asarray(label, dtype=np.int64)


def _widths(body: Anatomy, patch: IntArray, size: IntArray) -> FloatArray:
    """Return the diagonal of the box round each small patch [mm]; infinite for the others."""
    few = np.flatnonzero(size[patch] <= PIN_HOLE_EDGES)
    low, high = np.full((len(size), 3), np.inf), np.full((len(size), 3), -np.inf)
    for corner in range(3):
        np.minimum.at(low, patch[few], body.vertices[body.faces[few, corner]])
        np.maximum.at(high, patch[few], body.vertices[body.faces[few, corner]])
    width = np.full(len(size), np.inf)
    small = size <= PIN_HOLE_EDGES
    width[small] = np.linalg.norm(high[small] - low[small], axis=1)
    return width
