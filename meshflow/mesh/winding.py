"""Which way the faces look: one side out, all alike.

Terms: a *patch* is a set of faces joined across edges that exactly two of them share; it is *one-sided* when no
choice of windings agrees everywhere, like a Moebius band. A closed patch is *inside out* when its signed volume is
negative, unless it lies within another closed one: then it is the wall of a cavity, which rightly looks inwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_sides
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Winding", "consistent_winding", "inside_out_shells", "turned_faces"]

_TIE = 1e-9  # relative difference of two areas that rounding alone can make
_MOST_WORK = 20_000_000  # solid angles computed at most to tell cavities from solids


@dataclass(frozen=True, eq=False)
class Winding:
    """How the faces must be turned to agree with their neighbours.

    Parameters
    ----------
    turned : (m,) bool array
        Faces to turn over: the smaller area of each patch.
    one_sided : (m,) bool array
        Faces of patches that cannot agree.
    """

    turned: BoolArray
    one_sided: BoolArray


def consistent_winding(faces: IntArray, table: EdgeTable, weight: FloatArray) -> Winding:
    """Return which faces to turn so that each patch is wound alike, the greater weight having its way.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    table : EdgeTable
        Their edges.
    weight : (m,) float array
        Weight of each face's vote, its area as a rule, 0 for a face without a say; on equal weight the greater number
        of votes wins, then the first face.

    Returns
    -------
    Winding
        Faces to turn, and faces that no turning helps.

    Notes
    -----
    Every face stands twice in a graph, as it is and turned over; an edge links the versions that agree. The two
    components a patch falls into are its two windings; a one-sided patch is one component.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(faces)
    one, two = edge_sides(table).T
    clash = faces.reshape(-1)[one] == faces.reshape(-1)[two]  # both run the edge the same way
    f, g = one // 3, two // 3
    rows = np.concatenate([f, f + count])
    columns = np.concatenate([g + count * clash, g + count * ~clash])
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(2 * count,) * 2)
    total, label = connected_components(graph, directed=False)
    kept, over = label[:count], label[count:]
    votes = np.bincount(kept, weights=weight, minlength=total)
    heads = np.bincount(kept, weights=weight > 0, minlength=total)
    first = np.full(total, count)
    np.minimum.at(first, kept, np.arange(count))
    for_it, against = votes[kept], votes[over]
    tie = np.abs(for_it - against) <= _TIE * (for_it + against)
    even = heads[kept] == heads[over]
    loses = np.where(tie, np.where(even, first[kept] > first[over], heads[kept] < heads[over]), for_it < against)
    one_sided = kept == over
    return Winding(np.asarray(loses & ~one_sided), np.asarray(one_sided))


def turned_faces(faces: IntArray, turned: BoolArray) -> IntArray:
    """Return `faces` with those marked wound the other way, first corner kept."""
    out = np.array(faces, copy=True)
    out[turned] = faces[turned][:, [0, 2, 1]]
    return out


def inside_out_shells(
    vertices: FloatArray, faces: IntArray, shell: IntArray, closed: BoolArray, asked: BoolArray | None = None
) -> IntArray:
    """Return the closed shells whose faces look inwards, walls of cavities left out.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Consistently wound faces.
    shell : (m,) int array
        Shell of each face.
    closed : (s,) bool array
        Which shells enclose a volume.
    asked : (s,) bool array, optional
        Which shells to look at; all when left out.

    Returns
    -------
    (k,) int array
        Shell numbers, ascending.
    """
    corner = vertices[faces]
    start = np.zeros((len(closed), 3))
    start[shell] = corner[:, 0]  # a point of each shell, so that far shells keep their digits
    near = corner - start[shell][:, None, :]
    volume = np.bincount(
        shell, weights=np.einsum("fi,fi->f", near[:, 0], np.cross(near[:, 1], near[:, 2])), minlength=len(closed)
    )
    negative = np.flatnonzero(closed & (volume < 0) & (True if asked is None else asked))
    if len(negative) == 0 or int(closed.sum()) < 2:
        return negative
    return negative[~_is_cavity(corner, shell, closed, negative)]


def _is_cavity(corner: FloatArray, shell: IntArray, closed: BoolArray, asked: IntArray) -> BoolArray:
    """Which of the asked shells lie within another closed one; beyond the cap of work, none does."""
    low = np.full((len(closed), 3), np.inf)
    high = -low
    np.minimum.at(low, shell, corner.min(axis=1))
    np.maximum.at(high, shell, corner.max(axis=1))
    order = np.argsort(shell, kind="stable")
    bounds = np.searchsorted(shell[order], np.arange(len(closed) + 1))
    inside = np.zeros(len(asked), dtype=np.bool_)
    left = _MOST_WORK
    for place, inner in enumerate(asked.tolist()):
        holds = closed & (low < low[inner]).all(axis=1) & (high > high[inner]).all(axis=1)
        point = corner[order[bounds[inner]], 0]
        for outer in np.flatnonzero(holds).tolist():
            members = order[bounds[outer] : bounds[outer + 1]]
            left -= len(members)
            if left < 0:
                return inside
            if abs(_turns_round(point, corner[members])) > 0.5:
                inside[place] = True
                break
    return inside


def _turns_round(point: FloatArray, corner: FloatArray) -> float:
    """How many times a closed surface winds round a point: the sum of its solid angles over 4 pi.

    A. van Oosterom, J. Strackee, "The solid angle of a plane triangle", IEEE Trans. Biomed. Eng. 30, 1983.
    """
    a, b, c = (corner[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    triple = np.einsum("fi,fi->f", a, np.cross(b, c))
    below = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
    return float(2.0 * np.arctan2(triple, below).sum() / (4.0 * np.pi))


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("fi,fi->f", a, b))
