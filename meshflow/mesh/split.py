"""Parting a surface where it branches or only touches itself, so that every edge has two faces at most.

What the maker calls it: cutting the sheets apart.

Terms: a *singular* edge has more than two faces; a *fan* is a run of faces round a vertex, each joined to the next
across an edge; a *wedge* is the room between two faces of an edge on their inner side.

Method: the surface is cut along singular edges and at vertices of several fans, each fan getting a vertex of its own.
So that no more is opened than must be, faces of a singular edge are joined again in pairs. Where they come in the order
of solids that touch there (each with its neighbour round the edge across a wedge of material), those pairs are taken;
else the pairs that run on most smoothly, and what is left over becomes open edge. Where a fan winds round like a spiral
stair and comes back to an edge it has passed, its end is cut loose at one vertex. The second sides of a two-sided sheet
are parted from the first sides.

Vertices parted are drawn apart by a few weld tolerances, each towards its own faces: otherwise reading the file again
would weld what was cut.

References
----------
A. Gueziec, G. Taubin, F. Lazarus, W. Horn, "Converting sets of polygons to manifold surfaces by cutting and
stitching", IEEE Visualization 1998 (local cutting; the joining again is their pinching).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_sides, edge_table
from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Parted", "drawn_apart", "is_manifold", "parted"]

_APART = 4.0  # weld tolerances
_SHORT = 0.2  # of the shortest edge: no face may turn over for it


@dataclass(frozen=True, eq=False)
class Parted:
    """A manifold mesh and what it was made from.

    Parameters
    ----------
    faces : (m, 3) int array
        The same faces over more vertices.
    old_vertex : (n',) int array
        Old vertex of each; the first n are the old ones.
    edges, points : int
        Singular edges and touching points that were cut.
    touched : (m,) bool array
        Faces with a corner that was renumbered.
    """

    faces: IntArray
    old_vertex: IntArray
    edges: int
    points: int
    touched: BoolArray


def parted(vertices: FloatArray, faces: IntArray, second_side: BoolArray) -> Parted:
    """Part a mesh where it is not manifold.

    Parameters
    ----------
    vertices : (n, 3) float array
        Welded positions [mm].
    faces : (m, 3) int array
        Faces with three different corners, wound alike where they can be.
    second_side : (m,) bool array
        Faces that lie back to back on others: the second sides of a sheet.

    Returns
    -------
    Parted
        Faces over vertices of their own fans.
    """
    count = len(vertices)
    apart = faces + count * second_side[:, None]  # the second sides live on vertices of their own
    table = edge_table(apart)
    partner = _partners(vertices, faces, apart, table)
    fans = _fans(apart, partner)
    new, owner = _numbered(faces, fans, count)
    while len(cut := _cuts(new, partner)):
        partner[partner[cut]] = -1
        partner[cut] = -1
        fans = _fans(apart, partner)
        new, owner = _numbered(faces, fans, count)
    singular = table.face_count > 2
    on_edge = np.zeros(2 * count, dtype=np.bool_)
    on_edge[table.vertices[singular]] = True
    first = np.unique(fans, return_index=True)[1]
    split = np.bincount(apart.reshape(-1)[first], minlength=2 * count) > 1
    return Parted(
        new,
        np.concatenate([np.arange(count), owner]),
        int(singular.sum()),
        int((split & ~on_edge).sum()),
        np.asarray((split[apart]).any(axis=1)),
    )


def _numbered(faces: IntArray, fans: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Return faces over a vertex for each fan, and the old vertex of each that is new.

    The fans of a vertex are numbered by their first corner; the first of all keeps the vertex.
    """
    first = np.unique(fans, return_index=True)[1]
    owner = faces.reshape(-1)[first]
    order = np.lexsort((first, owner))
    keeps = np.ones(len(first), dtype=np.bool_)
    keeps[order[1:]] = owner[order[1:]] != owner[order[:-1]]
    number = np.empty(len(first), dtype=np.int64)
    number[keeps] = owner[keeps]
    fresh = np.flatnonzero(~keeps)
    fresh = fresh[np.argsort(first[fresh], kind="stable")]
    number[fresh] = count + np.arange(len(fresh))
    return number[fans].reshape(-1, 3), owner[fresh]


def _cuts(faces: IntArray, partner: IntArray) -> IntArray:
    """Return half-edges to cut because their fan comes back to an edge that it has passed already.

    Such a fan winds up like a spiral stair: a cut along the singular edge alone leaves its faces on the same two
    vertices. All but one pair of them get a vertex of their own at one end of the edge.
    """
    table = edge_table(faces)
    order = np.argsort(table.of_half_edge, kind="stable")
    start = np.concatenate([[0], np.cumsum(table.face_count)])
    at, cuts = faces.reshape(-1), []
    for edge in np.flatnonzero(table.face_count > 2).tolist():
        half = order[start[edge] : start[edge + 1]]
        joined = half[np.isin(partner[half], half)]
        stays = [joined[0], partner[joined[0]]] if len(joined) else [half[0]]
        for leaves in half[~np.isin(half, stays)].tolist():
            here = at[leaves] == table.vertices[edge, 0]
            other = 3 * (leaves // 3) + (leaves + (2 if here else 1)) % 3
            if partner[other] >= 0:
                cuts.append(other)
    return np.array(cuts, dtype=np.int64)


def _partners(vertices: FloatArray, faces: IntArray, apart: IntArray, table: EdgeTable) -> IntArray:
    """Return the half-edge across each half-edge, -1 where the surface ends or was cut."""
    partner = np.full(3 * len(faces), -1, dtype=np.int64)
    one, two = edge_sides(table).T
    partner[one], partner[two] = two, one
    order = np.argsort(table.of_half_edge, kind="stable")
    start = np.concatenate([[0], np.cumsum(table.face_count)])
    normal = face_normals(vertices, faces)
    for edge in np.flatnonzero(table.face_count > 2).tolist():
        for a, b in _pairs(vertices, faces, normal, order[start[edge] : start[edge + 1]]):
            partner[a], partner[b] = b, a
    return partner


def _pairs(vertices: FloatArray, faces: IntArray, normal: FloatArray, half: IntArray) -> list[tuple[int, int]]:
    """Pair the half-edges of one singular edge."""
    at = faces.reshape(-1)
    tail, head = at[half], at[3 * (half // 3) + (half + 1) % 3]
    low, high = int(min(tail[0], head[0])), int(max(tail[0], head[0]))
    forward = tail == low
    axis = vertices[high] - vertices[low]
    axis = axis / (float(np.linalg.norm(axis)) or 1.0)
    out = vertices[at[3 * (half // 3) + (half + 2) % 3]] - vertices[low]
    out = out - (out @ axis)[:, None] * axis
    x = out[0] / (float(np.linalg.norm(out[0])) or 1.0)
    angle = np.mod(np.arctan2(out @ np.cross(axis, x), out @ x), 2.0 * np.pi)
    turn = np.argsort(angle, kind="stable")
    after = np.roll(turn, -1)
    # A forward face has its inner side towards smaller angles: material lies between a backward face and the next,
    # forward one.
    material = ~forward[turn] & forward[after]
    if len(half) % 2 == 0 and int(material.sum()) == len(half) // 2:
        return [(int(half[a]), int(half[b])) for a, b in zip(turn[material], after[material], strict=True)]
    smooth = [
        (-float(normal[half[a] // 3] @ normal[half[b] // 3]), a, b)
        for a in range(len(half))
        for b in range(a + 1, len(half))
        if forward[a] != forward[b]
    ]
    taken: set[int] = set()
    pairs = []
    for _, a, b in sorted(smooth):
        if a not in taken and b not in taken:
            taken |= {a, b}
            pairs.append((int(half[a]), int(half[b])))
    return pairs


def _fans(faces: IntArray, partner: IntArray) -> IntArray:
    """Return the number of the fan that each corner belongs to, shape (3m,)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    here = np.flatnonzero(partner >= 0)
    across = partner[here]
    corner = faces.reshape(-1)
    after, across_after = _next(here), _next(across)
    alike = corner[here] == corner[across]  # wound against each other: their tails meet
    rows = np.concatenate([here, after])
    columns = np.concatenate([np.where(alike, across, across_after), np.where(alike, across_after, across)])
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(len(corner),) * 2)
    _, label = connected_components(graph, directed=False)
    return np.unique(label, return_inverse=True)[1].reshape(-1)


def _next(half: IntArray) -> IntArray:
    return 3 * (half // 3) + (half + 1) % 3


def drawn_apart(vertices: FloatArray, done: Parted, tolerance: float) -> FloatArray:
    """Return positions of the parted vertices, each copy drawn a little away from the others, towards its own faces.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions before [mm].
    done : Parted
        What was cut.
    tolerance : float
        Weld tolerance [mm]; copies move by four of them, or by a fifth of their shortest edge if that is less.

    Returns
    -------
    (n', 3) float array
        New positions [mm].
    """
    out = vertices[done.old_vertex]
    copies = np.bincount(done.old_vertex, minlength=len(vertices))[done.old_vertex] > 1
    if not copies.any():
        return out
    corner, middle = done.faces.reshape(-1), np.repeat(out[done.faces].mean(axis=1), 3, axis=0)
    fan = np.bincount(corner, minlength=len(out))
    sums = [np.bincount(corner, weights=middle[:, axis], minlength=len(out)) for axis in range(3)]
    way: FloatArray = np.stack(sums, axis=1).astype(np.float64) / np.maximum(fan, 1)[:, None] - out
    # Away from the other copies: less the mean way of all of one vertex, or two on one side would keep together.
    for axis in range(3):
        total = np.bincount(done.old_vertex, weights=way[:, axis], minlength=len(vertices))
        way[:, axis] -= (total / np.maximum(np.bincount(done.old_vertex, minlength=len(vertices)), 1))[done.old_vertex]
    length = np.linalg.norm(way, axis=1)
    shortest = np.full(len(out), np.inf)
    for k in range(3):
        side = np.linalg.norm(out[done.faces[:, k]] - out[done.faces[:, (k + 1) % 3]], axis=1)
        np.minimum.at(shortest, done.faces[:, k], side)
        np.minimum.at(shortest, done.faces[:, (k + 1) % 3], side)
    step = np.minimum(_APART * tolerance, _SHORT * np.where(np.isfinite(shortest), shortest, 0.0))
    # Two sides of a sheet have the same middle: no way leads apart, and rounding must not choose one.
    move = copies & (fan > 0) & (length > 1e-3 * np.where(np.isfinite(shortest), shortest, np.inf))
    out[move] += way[move] * (step[move] / length[move])[:, None]
    return out


def is_manifold(faces: IntArray, vertex_count: int) -> bool:
    """Return whether no edge has more than two faces and no vertex more than one fan."""
    from meshflow.mesh.rims import corner_fans, fans_at

    table = edge_table(faces)
    if int(table.face_count.max(initial=0)) > 2:
        return False
    return int(fans_at(faces, corner_fans(faces, table), vertex_count).max(initial=0)) <= 1
