"""By how much each vertex moves when every face moves by one millimetre along its normal.

Terms: a *fold* is a vertex whose faces stand over 8 degrees off their mean normal; a *mitre* is the longer way a vertex
goes so that slanting faces move by no less than the others; the *rim* is the open edge of the sheet.

Convention: along the outward normal, the side from which the faces run counter-clockwise.

Method: inside, along the angle-weighted normal (Thuermer and Wuethrich 1998), farther by one over the mean cosine
between that normal and the faces there. At a fold the point that lies at distance one from all the planes, by least
squares, held to the first guess along the directions that the planes leave open: sharp edges are mitred. At the rim the
faces lie on one side only and their mean is tilted by half a facet. There we use that along a circle, a ball or any
quadric graph the normals at the two ends of a chord lean away from each other by the same: chord . (n1 + n2) = 0. The
rim's normal is the one for which this holds best, by least squares, with the vertices inside that are one or two edges
away. Along a straight rim there are faces on both sides and their mean is right, so only its tilt across is found so.
On a wall of equal facets this is exact: a cylinder's offset is the offset polyhedron, rim included. Under noise the rim
moves about as well as any other vertex with half as many faces.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_sides, edge_table, half_edges
from meshflow.geometry.triangles import corner_angles, edge_lengths, face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["LONGEST_MITRE", "offset_directions"]

LONGEST_MITRE = 2.0  # a fold of 120 degrees, or a corner a little sharper than that of a cube
_FOLD = np.radians(8.0)
_SAME_SHEET = np.radians(30.0)
_STRAIGHT_RIM = np.radians(30.0)
_HOLD = 1e-3
_ROUNDS = 4  # of Newton's method for a unit normal; it starts half a facet off


def offset_directions(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, BoolArray]:
    """Return the displacement of each vertex when all faces move by 1 along their normals.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices, consistently wound.

    Returns
    -------
    directions : (n, 3) float array
        Displacements; zero for a vertex that no face uses.
    held : (n,) bool array
        Where the mitre was cut short at `LONGEST_MITRE`.

    Examples
    --------
    >>> panel = np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]])
    >>> offset_directions(panel, np.array([[0, 1, 2]]))[0].tolist()
    [[0.0, 0.0, 1.0], [0.0, 0.0, 1.0], [0.0, 0.0, 1.0]]
    """
    count = len(vertices)
    normals, angles = face_normals(vertices, faces), corner_angles(edge_lengths(vertices, faces))
    mean = _unit(_over_corners(faces, angles[:, :, None] * normals[:, None, :], count))
    lowest = np.ones(count)
    np.minimum.at(lowest, faces, np.einsum("fd,fkd->fk", normals, mean[faces]))
    fold = lowest < np.cos(_FOLD)
    mean = _carried_to_the_rim(vertices, faces, normals, mean, fold)
    cosine = np.einsum("fd,fkd->fk", normals, mean[faces])
    total = _over_corners(faces, angles, count)
    share = _over_corners(faces, angles * cosine, count) / np.where(total > 0, total, 1.0)
    directions = mean / np.maximum(share, 1.0 / LONGEST_MITRE)[:, None]
    if fold.any():
        directions[fold] = _meeting_points(faces, angles, normals, directions)[fold]
    length = np.linalg.norm(directions, axis=1)
    held = length > LONGEST_MITRE
    directions[held] *= (LONGEST_MITRE / length[held])[:, None]
    return directions, held


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1.0))


def _over_corners(faces: IntArray, values: FloatArray, count: int) -> FloatArray:
    """Sum values given at the corners, shape (m, 3, ...), over the corners of each vertex."""
    flat = values.reshape(3 * len(faces), -1)
    columns = [np.bincount(faces.reshape(-1), weights=column, minlength=count) for column in flat.T]
    return np.asarray(np.stack(columns, axis=1).reshape(count, *values.shape[2:]))


def _carried_to_the_rim(
    vertices: FloatArray, faces: IntArray, normals: FloatArray, mean: FloatArray, fold: BoolArray
) -> FloatArray:
    """Return the normals with those of smooth rim vertices found from the vertices inside.

    Corners of the rim see too few of those, so they come last and take the rim beside them as well.
    """
    table = edge_table(faces)
    rim = np.zeros(len(mean), dtype=bool)
    rim[table.vertices[table.boundary]] = True
    at, near = _near_pairs(table, normals, rim & ~fold, fold)
    along, straight = _rim_tangents(vertices, faces, table)
    to_find, result = rim & ~fold, mean
    for turn_now in (straight, ~straight):
        use = turn_now[at] & ~to_find[near]
        result = _met_halfway(vertices, result, at[use], near[use], np.where(straight[:, None], along, 0.0))
        to_find[at[use]] = False
    return result


def _near_pairs(table: EdgeTable, normals: FloatArray, start: BoolArray, fold: BoolArray) -> tuple[IntArray, IntArray]:
    """Return (vertex to start from, another one) for all up to two edges apart with no fold on the way."""
    from scipy.sparse import coo_array

    sides, count = edge_sides(table), len(start)
    level = np.einsum("ed,ed->e", normals[sides[:, 0] // 3], normals[sides[:, 1] // 3]) > np.cos(_SAME_SHEET)
    ends = np.concatenate([table.vertices[table.face_count == 2][level], table.vertices[table.boundary]])
    ends = ends[~fold[ends].any(axis=1)]
    both = np.concatenate([ends, ends[:, ::-1]])
    linked = coo_array((np.ones(len(both), dtype=np.int64), (both[:, 0], both[:, 1])), shape=(count, count)).tocsr()
    rows = np.flatnonzero(start)
    reach = linked[rows] + linked[rows] @ linked
    reach.sort_indices()
    at, near = np.repeat(rows, np.diff(reach.indptr)), reach.indices.astype(np.int64)
    return at[at != near], near[at != near]


def _met_halfway(
    vertices: FloatArray, normals: FloatArray, at: IntArray, known: IntArray, along: FloatArray
) -> FloatArray:
    """Return the normals with those at `at` turned so that chord . (normal + known normal) is least in the squares.

    Where `along` is a direction and not zero, only the tilt across it is found.
    """
    free, row = np.unique(at, return_inverse=True)
    if len(free) == 0:
        return normals
    chord, turned = vertices[known] - vertices[at], normals[free]
    square = np.maximum(np.einsum("pd,pd->p", chord, chord), 1e-300)
    for _ in range(_ROUNDS):
        ways = _tangents(turned, along[free])
        slope = np.einsum("pd,pkd->pk", chord, ways[row])
        wanted = -np.einsum("pd,pd->p", chord, turned[row] + normals[known])
        matrix, right = np.zeros((len(free), 2, 2)), np.zeros((len(free), 2))
        # A chord that runs along the rim says little of the tilt across, and may lead where the piece bends otherwise.
        slant = (np.einsum("pk,pk->p", slope, slope) / square) ** 2
        slope, wanted = slant[:, None] * slope, slant * wanted
        np.add.at(matrix, row, slope[:, :, None] * slope[:, None, :])
        np.add.at(right, row, wanted[:, None] * slope)
        # Where the chords leave a direction open the normal keeps to the mean there.
        hold = 1e-9 * np.trace(matrix, axis1=1, axis2=2) + 1e-300
        tilt = np.linalg.solve(matrix + hold[:, None, None] * np.eye(2), right[:, :, None])[:, :, 0]
        turned = _unit(turned + np.einsum("nk,nkd->nd", tilt, ways))
    result = normals.copy()
    result[free] = turned
    return result


def _tangents(normals: FloatArray, along: FloatArray) -> FloatArray:
    """Return the directions in which each normal may turn, shape (k, 2, 3): across `along` alone where there is one."""
    any_way = np.linalg.norm(along, axis=1, keepdims=True) == 0.0
    helper = np.where(any_way, np.eye(3)[np.argmin(np.abs(normals), axis=1)], along)
    first = _unit(np.asarray(np.cross(normals, helper)))
    return np.stack([first, np.where(any_way, np.cross(normals, first), 0.0)], axis=1)


def _rim_tangents(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> tuple[FloatArray, BoolArray]:
    """Return the direction of the rim at each rim vertex, and where it does not turn a corner."""
    half = half_edges(faces)[table.boundary[table.of_half_edge]]
    step = _unit(vertices[half[:, 1]] - vertices[half[:, 0]])
    total = np.zeros_like(vertices)
    np.add.at(total, half, step[:, None, :])
    straight = np.linalg.norm(total, axis=1) > 2.0 * np.cos(0.5 * _STRAIGHT_RIM)
    return _unit(total), straight


def _meeting_points(faces: IntArray, angles: FloatArray, normals: FloatArray, first: FloatArray) -> FloatArray:
    """Return the points at distance 1 from all planes round each vertex, by least squares held to a first guess."""
    outer = angles[:, :, None, None] * (normals[:, :, None] * normals[:, None, :])[:, None]
    matrix = _over_corners(faces, outer, len(first))
    right = _over_corners(faces, angles[:, :, None] * normals[:, None, :], len(first))
    hold = _HOLD * np.maximum(np.trace(matrix, axis1=1, axis2=2), 1e-300)
    matrix = matrix + hold[:, None, None] * np.eye(3)
    return np.asarray(np.linalg.solve(matrix, (right + hold[:, None] * first)[:, :, None])[:, :, 0])
