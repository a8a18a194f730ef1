"""How far each vertex may go when a sheet is moved along its normals, so that nothing folds.

Terms: the *way* of a vertex is where it would go, its *share* how much of that it does go; a place is *tight* where the
piece is hollower than the offset on the side it moves to, so that the true offset would fold over itself.

Method: each face allows a share: up to just before its area, seen along its own normal, falls to a twentieth. Walls
that face each other share the gap: a vertex goes no farther than the radius of the largest ball that touches it and
holds no point of a facing wall (the shrinking ball). Where corners that go differently far still turn a face over, the
shares there are cut further.

References
----------
J. Ma, S. W. Bae, S. Choi, "3D medial axis point approximation using nearest neighbors and the normal field", The
Visual Computer 28, 2012.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.triangles import face_areas, face_normals, face_vectors, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["LEAST_AREA", "face_room", "offset_shares", "steadied", "without_turned_faces"]

LEAST_AREA = 0.05  # of a face's area, seen along its old normal
_SLIVER, _SLIVER_SHARE, _STEADY_ROUNDS = 0.05, 1e-3, 4
_FACING = -0.3  # cosine between the way and the normal of a wall that faces it
_BALL_ROUNDS, _BALL_NEIGHBOURS = 6, 16
_GAP = 0.98  # of the ball's radius
_MOST_ROUNDS = 60
_CUT = 0.8
_STOP = 1e-3  # a share under this is none


def offset_shares(vertices: FloatArray, faces: IntArray, way: FloatArray, *, inward: bool) -> FloatArray:
    """Return how much of its way each vertex may go.

    Parameters
    ----------
    vertices, way : (n, 3) float array
        Positions, and where each vertex would go from there [mm].
    faces : (m, 3) int array
        Vertex indices, consistently wound.
    inward : bool
        Whether the way leads against the outward normals.

    Returns
    -------
    (n,) float array
        Shares, 0 to 1; 1 everywhere where nothing is tight.
    """
    shares = np.ones(len(vertices))
    np.minimum.at(shares, faces, np.minimum(face_room(vertices, faces, way), 1.0)[:, None])
    shares = np.minimum(shares, _room_before_walls(vertices, faces, way, inward))
    return without_turned_faces(vertices, faces, way, shares)


def steadied(vertices: FloatArray, faces: IntArray, way: FloatArray) -> FloatArray:
    """Return the ways with those of slivers made one, so that they move as a whole instead of turning over.

    Where a line was cut through the triangles of a scan stand faces narrower than the normals there are good for. A
    patch of faces that would turn over is taken for that, and not for a hollow, when its area is under a twentieth of
    the square of the way and under a thousandth of the piece.

    Parameters
    ----------
    vertices, way : (n, 3) float array
        Positions, and where each vertex would go from there [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (n, 3) float array
        Where each vertex should go instead; the same array where there are no slivers.
    """
    area = face_areas(vertices, faces)
    square = float(np.square(way).sum(axis=1).max(initial=0.0))
    for _ in range(_STEADY_ROUNDS):
        turned = np.flatnonzero(face_room(vertices, faces, way) < 1.0)
        if len(turned) == 0:
            break
        patch, vertex = _patches(faces[turned])
        size = np.bincount(patch[faces[turned, 0]], weights=area[turned])
        small = size[patch[vertex]] < min(_SLIVER * square, _SLIVER_SHARE * float(area.sum()))
        vertex = vertex[small]
        if len(vertex) == 0:
            break
        way = way.copy()
        count = np.bincount(patch[vertex], minlength=len(size))
        mean = [np.bincount(patch[vertex], weights=way[vertex, k], minlength=len(size)) for k in range(3)]
        way[vertex] = (np.stack(mean, axis=1) / np.maximum(count, 1)[:, None])[patch[vertex]]
    return way


def _patches(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return the patch of each vertex (faces that share a vertex are one), and the vertices that have one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    vertex, local = np.unique(faces, return_inverse=True)
    local = local.reshape(-1, 3)
    ends = np.concatenate([local[:, :2], local[:, 1:]])
    linked = coo_array((np.ones(len(ends), dtype=np.int8), (ends[:, 0], ends[:, 1])), shape=(len(vertex),) * 2)
    label = np.asarray(connected_components(linked, directed=False)[1], dtype=np.int64)
    patch = np.zeros(int(vertex[-1]) + 1, dtype=np.int64)
    patch[vertex] = label
    return patch, vertex


def face_room(vertices: FloatArray, faces: IntArray, way: FloatArray) -> FloatArray:
    """Return what share of the way each face can go before it turns over, when all vertices go alike.

    Parameters
    ----------
    vertices, way : (n, 3) float array
        Positions, and where each vertex goes from there [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (m,) float array
        Share of the way; infinite where the face never turns over. A ball moved through its own centre comes out
        whole on the other side: it counts as turned over on the way.

    Notes
    -----
    The area vector of a face is quadratic in the share t, so the first t at which it falls to `LEAST_AREA` along the
    old normal is the smaller root of a quadratic.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    >>> face_room(corners, np.array([[0, 1, 2]]), -2.0 * corners).round(3).tolist()
    [0.388]
    """
    one, two = (vertices[faces[:, k]] - vertices[faces[:, 0]] for k in (1, 2))
    by_one, by_two = (way[faces[:, k]] - way[faces[:, 0]] for k in (1, 2))
    normal = np.cross(one, two)
    square = np.einsum("fd,fd->f", normal, normal)
    scale = np.where(square > 0, square, 1.0)
    linear = np.einsum("fd,fd->f", np.cross(by_one, two) + np.cross(one, by_two), normal) / scale
    second = np.einsum("fd,fd->f", np.cross(by_one, by_two), normal) / scale
    room = 1.0 - LEAST_AREA
    root = np.sqrt(np.maximum(linear * linear - 4.0 * second * room, 0.0))
    # second t^2 + linear t + room = 0, the smaller positive root in the form without cancellation.
    below = root - linear
    reaches = (square > 0) & (linear * linear >= 4.0 * second * room) & (below > 0)
    return np.asarray(np.where(reaches, 2.0 * room / np.where(below > 0, below, 1.0), np.inf))


def _room_before_walls(vertices: FloatArray, faces: IntArray, way: FloatArray, inward: bool) -> FloatArray:
    """Return how much of its way each vertex may go before it meets a wall that comes towards it."""
    from scipy.spatial import cKDTree

    length = np.linalg.norm(way, axis=1)
    moving = np.flatnonzero(length > 0)
    at, along = vertices[moving], way[moving] / length[moving, None]
    sign = -1.0 if inward else 1.0
    points = np.concatenate([vertices[moving], vertices[faces].mean(axis=1)])
    facing = sign * np.concatenate([vertex_normals(vertices, faces)[moving], face_normals(vertices, faces)])
    tree = cKDTree(points)
    radius = length[moving] / _GAP
    # Those whose ball still holds a point: of a wall, or of the sheet about the vertex itself.
    first, _ = tree.query(at + radius[:, None] * along)
    open_ = np.flatnonzero(first < radius * (1.0 - 1e-9))
    for _ in range(_BALL_ROUNDS if len(open_) else 0):
        _, near = tree.query(at[open_] + radius[open_, None] * along[open_], k=min(_BALL_NEIGHBOURS, len(points)))
        near = near.reshape(len(open_), -1)
        step = points[near] - at[open_, None, :]
        ahead = np.einsum("nkd,nd->nk", step, along[open_])
        square = np.einsum("nkd,nkd->nk", step, step)
        wall = (np.einsum("nkd,nd->nk", facing[near], along[open_]) < _FACING) & (ahead > 0)
        ball = np.where(wall, square / (2.0 * np.where(ahead > 0, ahead, 1.0)), np.inf).min(axis=1)
        smaller = ball < radius[open_] * (1.0 - 1e-9)
        open_ = open_[smaller]
        radius[open_] = ball[smaller]
        if len(open_) == 0:
            break
    shares = np.ones(len(vertices))
    met = radius < length[moving] / _GAP  # the others go all the way, to the last bit
    shares[moving[met]] = _GAP * radius[met] / length[moving[met]]
    return shares


def without_turned_faces(vertices: FloatArray, faces: IntArray, way: FloatArray, shares: FloatArray) -> FloatArray:
    """Return the shares, cut round faces that turn over when their corners go differently far.

    At share 0 nothing has turned over, so that there always is an answer.
    """
    shares = shares.copy()
    before = face_vectors(vertices, faces)
    square = np.einsum("fd,fd->f", before, before)
    for _ in range(_MOST_ROUNDS):
        after = face_vectors(vertices + shares[:, None] * way, faces)
        turned = (np.einsum("fd,fd->f", before, after) < 0.9 * LEAST_AREA * square) & (square > 0)
        if not turned.any():
            break
        corners = np.unique(faces[turned])
        shares[corners] = np.where(shares[corners] < _STOP, 0.0, _CUT * shares[corners])
    else:
        shares[_round_about(faces, turned, len(vertices), rings=2)] = 0.0
    return shares


def _round_about(faces: IntArray, marked: BoolArray, count: int, *, rings: int) -> BoolArray:
    """Return the vertices of marked faces and of `rings` rings of faces about them."""
    for _ in range(rings):
        near = np.zeros(count, dtype=bool)
        near[faces[marked]] = True
        marked = np.asarray(near[faces].any(axis=1))
    near = np.zeros(count, dtype=bool)
    near[faces[marked]] = True
    return near
