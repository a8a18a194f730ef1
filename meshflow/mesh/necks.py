"""Thin necks: strips of surface between two rims, or between two stretches of one.

What the maker calls it: a web, a bridge; the place where the piece will tear.

Method: from all rim points at once the shortest ways along edges spread over the surface (E. W. Dijkstra, 1959). Where
two fronts meet, the way from one rim point over the meeting edge to the other is as wide as the strip is there. It is a
neck when it is short and the two points lie on different rims, or far apart along one: further than many widths, so
that the corners of a panel are none. Where a fifth of a shell is as narrow, the piece is a strap and has no neck.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.rims import ordered_loop
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Necks", "necks"]

_MOST_PAIRED = 20_000  # narrow edges; of more, neighbours in one cell are enough
_STRAP = 0.2  # of the faces of a shell
_WAY_ROUND = 6.0  # widths along the rim between the two sides of a neck


@dataclass(frozen=True, eq=False)
class Necks:
    """Thin necks.

    Parameters
    ----------
    width_mm : (k,) float array
        Width of each at its thinnest, along edges [mm].
    faces : (f,) int array
        Sound faces where the necks are, sorted.
    """

    width_mm: FloatArray
    faces: IntArray


def necks(body: Anatomy, width_mm: float, asked: BoolArray) -> Necks:
    """Find the strips between rims that are narrower than a width.

    Parameters
    ----------
    body : Anatomy
        The mesh.
    width_mm : float
        Strips narrower than this count [mm].
    asked : (s,) bool array
        Shells to look at.

    Returns
    -------
    Necks
        One for each connected stretch of narrow strip.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import dijkstra

    none = Necks(np.empty(0), np.empty(0, dtype=np.int64))
    loop_of, along, length = _places(body, asked)
    rim = np.flatnonzero(loop_of >= 0)
    if len(rim) == 0 or width_mm <= 0:
        return none
    a, b = body.table.vertices.T
    side = np.linalg.norm(body.vertices[a] - body.vertices[b], axis=1)
    count = len(body.vertices)
    graph = coo_array((np.maximum(side, 1e-300), (a, b)), shape=(count, count)).tocsr()
    far, _, source = dijkstra(
        graph, directed=False, indices=rim, limit=width_mm, min_only=True, return_predecessors=True
    )
    meets = (source[a] >= 0) & (source[b] >= 0) & (body.table.face_count > 1) & (source[a] != source[b])
    one, two = source[a[meets]], source[b[meets]]
    across = far[a[meets]] + side[meets] + far[b[meets]]
    apart = np.abs(along[one] - along[two])
    apart = np.minimum(apart, length[loop_of[one]] - apart)
    narrow = (across < width_mm) & ((loop_of[one] != loop_of[two]) | (apart > _WAY_ROUND * width_mm))
    edges, across = np.flatnonzero(meets)[narrow], across[narrow]
    shell = np.zeros(len(side), dtype=np.int64)
    shell[body.table.of_half_edge] = np.repeat(body.shell, 3)
    kept = _in_no_strap(body, edges)[shell[edges]]
    edges, across = edges[kept], across[kept]
    if len(edges) == 0:
        return none
    group = _clusters(0.5 * (body.vertices[a[edges]] + body.vertices[b[edges]]), width_mm)
    least = np.full(int(group.max()) + 1, np.inf)
    np.minimum.at(least, group, across)
    return Necks(least, np.flatnonzero(_beside(body, edges)))


def _clusters(points: FloatArray, reach: float) -> IntArray:
    """Return the cluster of each point; a cluster hangs together by steps of at most about `reach`."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    cell = np.unique(np.floor(points / reach).astype(np.int64), axis=0, return_inverse=True)[1].reshape(-1)
    count = len(points)
    rows, columns = [np.arange(count)], [count + cell]  # points of one cell hang together as it is
    if count <= _MOST_PAIRED:
        pairs = tree.query_pairs(reach, output_type="ndarray")
        rows, columns = [*rows, pairs[:, 0]], [*columns, pairs[:, 1]]
    places = (np.concatenate(rows), np.concatenate(columns))
    graph = coo_array((np.ones(len(places[0]), dtype=np.int8), places), shape=(2 * count, 2 * count))
    _, label = connected_components(graph, directed=False)
    return np.unique(label[:count], return_inverse=True)[1].reshape(-1)


def _beside(body: Anatomy, edges: IntArray) -> BoolArray:
    """Which faces have one of the edges."""
    on = np.zeros(len(body.table.vertices), dtype=np.bool_)
    on[edges] = True
    return np.asarray(on[body.table.of_half_edge].reshape(-1, 3).any(axis=1))


def _in_no_strap(body: Anatomy, edges: IntArray) -> BoolArray:
    """Which shells are wider than the narrow edges nearly everywhere, shape (s,)."""
    narrow = np.bincount(body.shell, weights=_beside(body, edges), minlength=body.shell_count)
    return np.asarray(narrow <= _STRAP * np.bincount(body.shell, minlength=body.shell_count))


def _places(body: Anatomy, asked: BoolArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Loop of each vertex (-1 off the rims) and its place along it; and the length of each loop."""
    loop_of = np.full(len(body.vertices), -1, dtype=np.int64)
    along = np.zeros(len(body.vertices))
    shell = body.loop_shell()
    for loop in np.flatnonzero(body.rims.whole & asked[shell]).tolist():
        half = ordered_loop(body.faces, body.rims, loop)
        start, end = body.faces[half // 3, half % 3], body.faces[half // 3, (half + 1) % 3]
        step = np.linalg.norm(body.vertices[start] - body.vertices[end], axis=1)
        loop_of[start] = loop
        along[start] = np.concatenate([[0.0], np.cumsum(step)[:-1]])
    return loop_of, along, body.rims.length_mm
