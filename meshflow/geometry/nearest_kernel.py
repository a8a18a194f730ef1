"""The compiled loops of `nearest`: a tree of boxes over the faces, and the walk through it. Import it when it is used.

Method: every node of the tree holds the box of its faces and is divided at the median of their middles along the
longest side; a query goes to the nearer child first and leaves out boxes farther than what it has found. The nearest
point of one face is the foot of the perpendicular where that falls inside, else the nearest point of its sides
(C. Ericson, "Real-Time Collision Detection", 2005, section 5.1.5).
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["build_tree", "first_hits", "nearest_faces"]

LEAF = 6  # faces in a leaf
_DEEPEST = 128  # the halves of a node are equal, so 60 levels would hold 2^60 faces


@njit(cache=True)
def build_tree(low: FloatArray, high: FloatArray) -> tuple[IntArray, FloatArray, IntArray]:  # pragma: no cover
    """Divide boxes into a tree.

    Parameters
    ----------
    low, high : (m, 3) float array
        Corners of the box of each face.

    Returns
    -------
    order : (m,) int array
        The faces, those of a leaf side by side.
    boxes : (k, 6) float array
        Low and high corner of each node.
    nodes : (k, 3) int array
        First and past-last place in `order`, and the first of the two children (they follow one another); 0 in a leaf.
    """
    count = len(low)
    order = np.arange(count)
    most = 2 * max(count, 1) + 1
    boxes, nodes = np.empty((most, 6)), np.zeros((most, 3), np.int64)
    middle = 0.5 * (low + high)
    nodes[0, 1] = count
    made, at = 1, 0
    while at < made:
        first, past = nodes[at, 0], nodes[at, 1]
        ids = order[first:past]
        for axis in range(3):
            boxes[at, axis], boxes[at, 3 + axis] = np.inf, -np.inf
            for face in ids:
                boxes[at, axis] = min(boxes[at, axis], low[face, axis])
                boxes[at, 3 + axis] = max(boxes[at, 3 + axis], high[face, axis])
        if past - first > LEAF:
            axis = 0
            for other in (1, 2):
                if boxes[at, 3 + other] - boxes[at, other] > boxes[at, 3 + axis] - boxes[at, axis]:
                    axis = other
            half = (past - first) // 2
            _halve(ids, middle[:, axis], half)
            nodes[at, 2] = made
            nodes[made, 0], nodes[made, 1] = first, first + half
            nodes[made + 1, 0], nodes[made + 1, 1] = first + half, past
            made += 2
        at += 1
    return order, boxes[:made].copy(), nodes[:made].copy()


@njit(cache=True)
def _halve(ids: IntArray, key: FloatArray, half: int) -> None:  # pragma: no cover - compiled
    """Reorder `ids` so that the `half` with the least keys come first (Hoare's selection, middle of three)."""
    low, high = 0, len(ids) - 1
    while low < high:
        a, b, c = key[ids[low]], key[ids[(low + high) // 2]], key[ids[high]]
        pivot = max(min(a, b), min(max(a, b), c))
        i, j = low, high
        while i <= j:
            while key[ids[i]] < pivot:
                i += 1
            while key[ids[j]] > pivot:
                j -= 1
            if i <= j:
                ids[i], ids[j] = ids[j], ids[i]
                i += 1
                j -= 1
        if half <= j:
            high = j
        elif half >= i:
            low = i
        else:
            return


@njit(cache=True)
def nearest_faces(
    corners: FloatArray, order: IntArray, boxes: FloatArray, nodes: IntArray, points: FloatArray, within: float
) -> tuple[IntArray, FloatArray]:  # pragma: no cover - compiled
    """Return the face nearest to each point and the weights of the nearest point on its corners.

    Parameters
    ----------
    corners : (m, 3, 3) float array
        Corners of each face.
    order, boxes, nodes
        What `build_tree` gave.
    points : (k, 3) float array
        The points.
    within : float
        Farthest distance to look.

    Returns
    -------
    face : (k,) int array
        Of several equally near the least id; -1 where none lies within.
    weights : (k, 3) float array
        Zero where none lies within.
    """
    count = len(points)
    found, weights = np.full(count, -1, np.int64), np.zeros((count, 3))
    stack, squares = np.empty(_DEEPEST, np.int64), np.empty(_DEEPEST)
    trial = np.empty(3)
    last = 0
    for k in range(count):
        x, y, z = points[k, 0], points[k, 1], points[k, 2]
        best = within * within
        # Points often come in the order of a surface: what was nearest to the last one leaves out most boxes.
        square = _nearest_in_face(corners[last], x, y, z, trial)
        if square <= best:
            best, found[k] = square, last
            weights[k, 0], weights[k, 1], weights[k, 2] = trial[0], trial[1], trial[2]
        stack[0], squares[0], size = 0, _square_to_box(boxes, 0, x, y, z), 1
        while size > 0:
            size -= 1
            at = stack[size]
            if squares[size] > best:
                continue
            child = nodes[at, 2]
            if child > 0:
                one, two = _square_to_box(boxes, child, x, y, z), _square_to_box(boxes, child + 1, x, y, z)
                far = 1 if one <= two else 0
                stack[size], squares[size] = child + far, max(one, two)
                stack[size + 1], squares[size + 1] = child + 1 - far, min(one, two)
                size += 2
                continue
            for place in range(nodes[at, 0], nodes[at, 1]):
                face = order[place]
                square = _nearest_in_face(corners[face], x, y, z, trial)
                if square < best or (square == best and (found[k] < 0 or face < found[k])):
                    best, found[k] = square, face
                    weights[k, 0], weights[k, 1], weights[k, 2] = trial[0], trial[1], trial[2]
        last = max(found[k], 0)
    return found, weights


@njit(cache=True)
def _square_to_box(boxes: FloatArray, at: int, x: float, y: float, z: float) -> float:  # pragma: no cover - compiled
    dx = max(max(boxes[at, 0] - x, x - boxes[at, 3]), 0.0)
    dy = max(max(boxes[at, 1] - y, y - boxes[at, 4]), 0.0)
    dz = max(max(boxes[at, 2] - z, z - boxes[at, 5]), 0.0)
    return float(dx * dx + dy * dy + dz * dz)


@njit(cache=True)
def _nearest_in_face(
    corner: FloatArray, x: float, y: float, z: float, weights: FloatArray
) -> float:  # pragma: no cover - compiled
    """Put the weights of the nearest point into `weights`; return its squared distance."""
    ax, ay, az = corner[0, 0] - x, corner[0, 1] - y, corner[0, 2] - z
    bx, by, bz = corner[1, 0] - x, corner[1, 1] - y, corner[1, 2] - z
    cx, cy, cz = corner[2, 0] - x, corner[2, 1] - y, corner[2, 2] - z
    ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    square = nx * nx + ny * ny + nz * nz
    if square > 0.0:
        wa = ((by * cz - bz * cy) * nx + (bz * cx - bx * cz) * ny + (bx * cy - by * cx) * nz) / square
        wb = ((cy * az - cz * ay) * nx + (cz * ax - cx * az) * ny + (cx * ay - cy * ax) * nz) / square
        wc = 1.0 - wa - wb
        if wa >= 0.0 and wb >= 0.0 and wc >= 0.0:
            weights[0], weights[1], weights[2] = wa, wb, wc
            px, py, pz = wa * ax + wb * bx + wc * cx, wa * ay + wb * by + wc * cy, wa * az + wb * bz + wc * cz
            return float(px * px + py * py + pz * pz)
    least = _on_side(ax, ay, az, bx, by, bz, 0, 1, np.inf, weights)
    least = _on_side(bx, by, bz, cx, cy, cz, 1, 2, least, weights)
    return _on_side(cx, cy, cz, ax, ay, az, 2, 0, least, weights)


@njit(cache=True)
def _on_side(
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, i: int, j: int, least: float, weights: FloatArray
) -> float:  # pragma: no cover - compiled
    ux, uy, uz = bx - ax, by - ay, bz - az
    length = ux * ux + uy * uy + uz * uz
    share = -(ax * ux + ay * uy + az * uz) / length if length > 0.0 else 0.0
    share = min(max(share, 0.0), 1.0)
    px, py, pz = ax + share * ux, ay + share * uy, az + share * uz
    square = px * px + py * py + pz * pz
    if square < least:
        weights[0], weights[1], weights[2] = 0.0, 0.0, 0.0
        weights[i], weights[j] = 1.0 - share, share
        return float(square)
    return least


@njit(cache=True)
def first_hits(
    corners: FloatArray,
    order: IntArray,
    boxes: FloatArray,
    nodes: IntArray,
    starts: FloatArray,
    ways: FloatArray,
    after: float,
    against: bool,
) -> tuple[IntArray, FloatArray]:  # pragma: no cover - compiled
    """Return the first face that each ray meets and how far along.

    Parameters
    ----------
    corners, order, boxes, nodes
        As for `nearest_faces`.
    starts, ways : (k, 3) float array
        Where each ray starts, and its direction.
    after : float
        Hits no farther than this along the ray do not count.
    against : bool
        Only faces whose normal goes along with the ray count: those seen from behind, where a ray leaves a solid.

    Returns
    -------
    face : (k,) int array
        Of several equally far the least id; -1 where nothing is met.
    along : (k,) float array
        Distance in lengths of the direction; infinite where nothing is met.

    References
    ----------
    T. Moeller, B. Trumbore, "Fast, minimum storage ray/triangle intersection", J. Graphics Tools 2:1, 1997.
    """
    count = len(starts)
    found, along = np.full(count, -1, np.int64), np.full(count, np.inf)
    stack = np.empty(_DEEPEST, np.int64)
    for k in range(count):
        o, d = starts[k], ways[k]
        stack[0], size = 0, 1
        while size > 0:
            size -= 1
            at = stack[size]
            if not _meets_box(boxes[at], o, d, along[k]):
                continue
            child = nodes[at, 2]
            if child > 0:
                stack[size], stack[size + 1] = child + 1, child
                size += 2
                continue
            for place in range(nodes[at, 0], nodes[at, 1]):
                face = order[place]
                t = _meets_face(corners[face], o, d, against)
                if t > after and (t < along[k] or (t == along[k] and face < found[k])):
                    along[k], found[k] = t, face
    return found, along


@njit(cache=True)
def _meets_box(box: FloatArray, o: FloatArray, d: FloatArray, limit: float) -> bool:  # pragma: no cover - compiled
    near, far = 0.0, limit
    for axis in range(3):
        if d[axis] == 0.0:
            if o[axis] < box[axis] or o[axis] > box[3 + axis]:
                return False
            continue
        one, two = (box[axis] - o[axis]) / d[axis], (box[3 + axis] - o[axis]) / d[axis]
        near, far = max(near, min(one, two)), min(far, max(one, two))
    # Rounding of the quotients must not lose a face that lies in the side of its box.
    return near <= far * (1.0 + 1e-12) + 1e-12


@njit(cache=True)
def _meets_face(
    corner: FloatArray, o: FloatArray, d: FloatArray, against: bool
) -> float:  # pragma: no cover - compiled
    """Return how far along the ray it meets the face; infinite when it misses."""
    ux, uy, uz = corner[1, 0] - corner[0, 0], corner[1, 1] - corner[0, 1], corner[1, 2] - corner[0, 2]
    vx, vy, vz = corner[2, 0] - corner[0, 0], corner[2, 1] - corner[0, 1], corner[2, 2] - corner[0, 2]
    px, py, pz = d[1] * vz - d[2] * vy, d[2] * vx - d[0] * vz, d[0] * vy - d[1] * vx
    det = ux * px + uy * py + uz * pz  # minus the normal times the direction
    if det == 0.0 or (against and det > 0.0):
        return np.inf
    tx, ty, tz = o[0] - corner[0, 0], o[1] - corner[0, 1], o[2] - corner[0, 2]
    u = (tx * px + ty * py + tz * pz) / det
    qx, qy, qz = ty * uz - tz * uy, tz * ux - tx * uz, tx * uy - ty * ux
    v = (d[0] * qx + d[1] * qy + d[2] * qz) / det
    # A ray through an edge must not slip between its two faces.
    if u < -1e-12 or v < -1e-12 or u + v > 1.0 + 1e-12:
        return np.inf
    return float((vx * qx + vy * qy + vz * qz) / det)
