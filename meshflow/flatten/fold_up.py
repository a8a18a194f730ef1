"""A piece that lies flat, on its way back to its form: what the bench will see while it is rolled or folded.

Terms: the *share* is how much of the bending is done, 0 the flat pattern, 1 the formed piece.

Method: a developable surface stays one when its curvature is scaled everywhere by one factor: its rulings stay, Gauss's
equation keeps 0 = 0 and the equations of Codazzi are linear (Struik, Lectures on Classical Differential Geometry,
sections 3-2 and 4-4, from memory). So each face is turned against its neighbour by that share of the angle it is turned
on the formed piece, from the middle of the piece outwards; then the corners are set so that the edges fit those turns
best by least squares (Sorkine and Alexa, "As-rigid-as-possible surface modeling", 2007, equation 9). Scan noise leaves
turns that do not quite fit together; what that costs is measured by the lengths of the edges.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.linear import factorise
from meshflow.geometry.topology import face_adjacency
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import FlatPattern

__all__ = ["folded"]


def folded(pattern: FlatPattern, share: float) -> FloatArray:
    """Return the corners of a piece when a share of its bending is done.

    Parameters
    ----------
    pattern : FlatPattern
        A pattern that lies flat: its lengths are those of the formed piece.
    share : float
        From 0, flat, to 1, formed.

    Returns
    -------
    (n, 3) float array
        Positions [mm]; the middle of the piece stands as it stands on the formed piece.

    Raises
    ------
    OptionError
        If the share is not between 0 and 1.
    """
    if not 0.0 <= share <= 1.0:
        raise OptionError(f"a share of {share:g} of the bending makes no sense.", remedy="Give 0 to 1.")
    flat = np.column_stack([pattern.vertices, np.zeros(len(pattern.vertices))])
    turns = _turns(flat, pattern.region.vertices, pattern.faces)
    scaled = _scaled(turns, pattern.vertices, pattern.faces, share)
    return _fitted(flat, pattern.faces, scaled)


def _turns(flat: FloatArray, formed: FloatArray, faces: IntArray) -> FloatArray:
    """Return the turn of each face from the flat to the formed piece, shape (m, 3, 3)."""
    start, end = flat[faces], formed[faces]
    flat_edges = np.stack([start[:, 1] - start[:, 0], start[:, 2] - start[:, 0]], axis=2)[:, :2]
    formed_edges = np.stack([end[:, 1] - end[:, 0], end[:, 2] - end[:, 0]], axis=2)
    u, _, v = np.linalg.svd(formed_edges @ np.linalg.inv(flat_edges), full_matrices=False)
    across = u @ v
    return np.concatenate([across, np.cross(across[:, :, 0], across[:, :, 1])[:, :, None]], axis=2)


def _scaled(turns: FloatArray, flat: FloatArray, faces: IntArray, share: float) -> FloatArray:
    """Return the turns with a share of the angle between neighbours, walked from the middle outwards."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import breadth_first_order

    pairs, _ = face_adjacency(faces)
    count = len(faces)
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count)).tocsr()
    middle = flat[faces].mean(axis=1)
    root = int(np.argmin(np.hypot(*(middle - 0.5 * (flat.min(axis=0) + flat.max(axis=0))).T)))
    order, before = breadth_first_order(links, root, directed=False)
    depth = np.zeros(count, dtype=np.int64)
    for face in order[1:].tolist():
        depth[face] = depth[before[face]] + 1
    scaled = turns.copy()
    for level in range(1, int(depth.max(initial=0)) + 1):
        here = order[depth[order] == level]
        parent = before[here]
        between = np.einsum("kji,kjl->kil", turns[parent], turns[here])
        scaled[here] = scaled[parent] @ _power(between, share)
    return scaled


def _power(rotation: FloatArray, share: float) -> FloatArray:
    """Return rotations by a share of their angle about their own axes, shape (k, 3, 3)."""
    axis = np.stack(
        [
            rotation[:, 2, 1] - rotation[:, 1, 2],
            rotation[:, 0, 2] - rotation[:, 2, 0],
            rotation[:, 1, 0] - rotation[:, 0, 1],
        ],
        axis=1,
    )
    sine = 0.5 * np.linalg.norm(axis, axis=1)
    cosine = 0.5 * (np.trace(rotation, axis1=1, axis2=2) - 1.0)
    angle = share * np.arctan2(sine, cosine)
    unit = axis / np.maximum(2.0 * sine, 1e-300)[:, None]
    x, y, z = unit.T
    zero = np.zeros(len(unit))
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    first = np.sin(angle)[:, None, None] * cross
    return np.asarray(np.eye(3) + first + (1.0 - np.cos(angle))[:, None, None] * (cross @ cross))


def _fitted(flat: FloatArray, faces: IntArray, turns: FloatArray) -> FloatArray:
    """Return corners whose edges fit the turned edges of the faces best, by cotangent weights."""
    from scipy.sparse import coo_matrix

    count = len(flat)
    rows, columns, weights, right = [], [], [], np.zeros((count, 3))
    for corner in range(3):
        i, j, k = (faces[:, (corner + step) % 3] for step in (0, 1, 2))
        a, b = flat[i] - flat[k], flat[j] - flat[k]
        weight = 0.5 * np.einsum("ki,ki->k", a, b) / np.maximum(np.linalg.norm(np.cross(a, b), axis=1), 1e-12)
        wanted = weight[:, None] * np.einsum("kij,kj->ki", turns, flat[i] - flat[j])
        np.add.at(right, i, wanted)
        np.add.at(right, j, -wanted)
        rows += [i, j, i, j]
        columns += [i, j, j, i]
        weights += [weight, weight, -weight, -weight]
    table = (np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns)))
    matrix = coo_matrix(table, shape=(count, count)).tocsr()
    solved = factorise(matrix[1:, 1:]).solve(right[1:])  # the first corner is held
    return np.concatenate([np.zeros((1, 3)), solved])
