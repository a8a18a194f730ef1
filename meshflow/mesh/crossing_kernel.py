"""The compiled inner loops of the search for crossing faces. Import it inside a function: it loads numba.

Written for numba's subset of Python: plain loops over flat arrays, one thread, so the order of the answer never
depends on the machine.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba
import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["pairs_in_tree"]

_Function = TypeVar("_Function", bound=Callable[..., Any])

LEAF = 4  # faces in a leaf of the tree
_PARALLEL = 1e-24  # squared sine under which two edges give no axis


def _compiled(function: _Function) -> _Function:
    """Compile on first use, keeping the machine code on disk where the installation can be written to."""
    try:
        return numba.njit(function, cache=True)  # type: ignore[no-any-return]
    except RuntimeError:  # numba finds no place for its cache
        return numba.njit(function)  # type: ignore[no-any-return]


@_compiled
def _depth_along(a: FloatArray, b: FloatArray, x: float, y: float, z: float) -> float:
    """How far one triangle would have to move along a unit axis to leave the other; negative when it is clear."""
    a_low = a_high = a[0, 0] * x + a[0, 1] * y + a[0, 2] * z
    b_low = b_high = b[0, 0] * x + b[0, 1] * y + b[0, 2] * z
    for k in range(1, 3):
        p = a[k, 0] * x + a[k, 1] * y + a[k, 2] * z
        q = b[k, 0] * x + b[k, 1] * y + b[k, 2] * z
        a_low, a_high = min(a_low, p), max(a_high, p)
        b_low, b_high = min(b_low, q), max(b_high, q)
    return float(min(a_high - b_low, b_high - a_low))


@_compiled
def _reach_beyond(a: FloatArray, normal: FloatArray, b: FloatArray) -> float:
    """Largest distance of the corners of b from the plane of a."""
    far = 0.0
    for k in range(3):
        d = 0.0
        for i in range(3):
            d += (b[k, i] - a[0, i]) * normal[i]
        far = max(far, abs(d))
    return far


@_compiled
def _overlap_in_plane(a: FloatArray, b: FloatArray, normal: FloatArray, depth: float) -> bool:
    """Whether two triangles of one plane overlap by more than `depth` across every edge."""
    for which in range(2):
        t = a if which == 0 else b
        for k in range(3):
            e0 = t[(k + 1) % 3, 0] - t[k, 0]
            e1 = t[(k + 1) % 3, 1] - t[k, 1]
            e2 = t[(k + 1) % 3, 2] - t[k, 2]
            x = normal[1] * e2 - normal[2] * e1
            y = normal[2] * e0 - normal[0] * e2
            z = normal[0] * e1 - normal[1] * e0
            size = np.sqrt(x * x + y * y + z * z)
            if size > 0.0 and _depth_along(a, b, x / size, y / size, z / size) <= depth:
                return False
    return True


@_compiled
def _cross(a: FloatArray, na: FloatArray, b: FloatArray, nb: FloatArray, depth: float) -> bool:
    """Whether two triangles, shape (3, 3) with unit normals (3,), run through each other deeper than `depth`."""
    if _depth_along(a, b, na[0], na[1], na[2]) <= depth:
        return _reach_beyond(a, na, b) <= depth and _overlap_in_plane(a, b, na, depth)
    if _depth_along(a, b, nb[0], nb[1], nb[2]) <= depth:
        return _reach_beyond(b, nb, a) <= depth and _overlap_in_plane(a, b, nb, depth)
    for i in range(3):
        e0 = a[(i + 1) % 3, 0] - a[i, 0]
        e1 = a[(i + 1) % 3, 1] - a[i, 1]
        e2 = a[(i + 1) % 3, 2] - a[i, 2]
        e_square = e0 * e0 + e1 * e1 + e2 * e2
        for j in range(3):
            f0 = b[(j + 1) % 3, 0] - b[j, 0]
            f1 = b[(j + 1) % 3, 1] - b[j, 1]
            f2 = b[(j + 1) % 3, 2] - b[j, 2]
            x, y, z = e1 * f2 - e2 * f1, e2 * f0 - e0 * f2, e0 * f1 - e1 * f0
            square = x * x + y * y + z * z
            if square <= _PARALLEL * e_square * (f0 * f0 + f1 * f1 + f2 * f2):
                continue
            size = np.sqrt(square)
            if _depth_along(a, b, x / size, y / size, z / size) <= depth:
                return False
    return True


@_compiled
def _apart(one: FloatArray, two: FloatArray) -> bool:
    """Whether two boxes (lower corner, upper corner) do not touch."""
    return bool(
        (one[0] > two[3] or two[0] > one[3])
        or (one[1] > two[4] or two[1] > one[4])
        or (one[2] > two[5] or two[2] > one[5])
    )


@_compiled
def pairs_in_tree(
    corner: FloatArray,
    normal: FloatArray,
    box: FloatArray,
    node: FloatArray,
    depth: float,
    most_tests: int,
    out: IntArray,
) -> tuple[int, int]:
    """Find the faces that cross, by walking a box tree once for each of its leaves.

    Parameters
    ----------
    corner : (m, 3, 3) float array
        Corners of the faces in the order of the tree.
    normal : (m, 3) float array
        Unit normals.
    box : (m, 6) float array
        Box of each face: lower corner, upper corner.
    node : (2p, 6) float array
        Boxes of a complete binary tree of p leaves as a heap: children of node i are 2 i and 2 i + 1, leaf j is node
        p + j and holds faces 4 j to 4 j + 3.
    depth : float
        How deep two faces must run into each other.
    most_tests : int
        Stop after so many pairs of faces.
    out : (c, 2) int array
        Receives the pairs, in places of the tree's order.

    Returns
    -------
    found, tested : int
        Pairs found, and pairs tested; the search was cut short when `found` fills `out` or `tested` is `most_tests`.
    """
    count, leaves = len(corner), len(node) // 2
    stack = np.empty(128, dtype=np.int64)
    level = np.empty(128, dtype=np.int64)
    height = 0
    while (1 << height) < leaves:
        height += 1
    found = tested = 0
    for leaf in range(-(-count // LEAF)):
        stack[0], level[0], size = 1, height, 1
        while size > 0:
            size -= 1
            here, below = stack[size], level[size]
            last_leaf = ((here + 1) << below) - 1 - leaves
            if last_leaf < leaf or _apart(node[leaves + leaf], node[here]):
                continue
            if below > 0:
                stack[size], level[size] = 2 * here + 1, below - 1
                stack[size + 1], level[size + 1] = 2 * here, below - 1
                size += 2
                continue
            for i in range(LEAF * leaf, min(LEAF * leaf + LEAF, count)):
                for j in range(max(LEAF * last_leaf, i + 1), min(LEAF * last_leaf + LEAF, count)):
                    if _apart(box[i], box[j]):
                        continue
                    if tested == most_tests or found == len(out):
                        return found, tested
                    tested += 1
                    if _cross(corner[i], normal[i], corner[j], normal[j], depth):
                        out[found, 0], out[found, 1] = i, j
                        found += 1
    return found, tested
