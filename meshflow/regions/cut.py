"""Cutting through triangles: along the level line of any value given at the vertices, or to shorten long sides.

Terms: the *level line* is where the value, taken between the vertices, has the level asked for; a *crossing* is where
it meets an edge.

Convention: cutting keeps the whole piece and says which faces lie inside (value under the level), so nothing is lost
and the areas add up. A crossing within a small share of an edge from its end (`SNAP`, 1 %, where not said otherwise) is
moved into that vertex: the rim is off by less than a hundredth of an edge there, and no slivers arise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.piece import Piece, implanted

__all__ = ["SNAP", "LevelCut", "along_a_straight_line", "cut_along_level", "in_proportion", "insert_on_edges"]

SNAP = 0.01

Crossing: TypeAlias = Callable[[FloatArray, FloatArray, FloatArray, float], FloatArray]


@dataclass(frozen=True, eq=False)
class LevelCut:
    """A piece divided along a level line.

    Parameters
    ----------
    piece : Piece
        All faces, those on the line divided.
    inside : (m,) bool array
        Faces where the value is under the level.
    on_line : (n,) bool array
        Vertices on the level line.
    origin : (m,) int array
        Face of the piece before that each face lies in.
    """

    piece: Piece
    inside: BoolArray
    on_line: BoolArray
    origin: IntArray


def in_proportion(under: FloatArray, over: FloatArray, length: FloatArray, level: float) -> FloatArray:
    """Return the crossing of a value that changes evenly along the edge, as a share from its lower end."""
    del length
    return np.asarray((level - under) / (over - under))


def along_a_straight_line(under: FloatArray, over: FloatArray, length: FloatArray, level: float) -> FloatArray:
    """Return the crossing of a distance from one source, as a share from the nearer end.

    On a straight edge the squared distance from a point is ``L2 t2 + (over2 - under2 - L2) t + under2``: solved for
    the squared level this is exact where a linear guess is off by up to an eighth of the edge.
    """
    square = length * length
    linear = (over - under) * (over + under) - square
    constant = (under - level) * (under + level)
    root = np.sqrt(np.maximum(linear * linear - 4.0 * square * constant, 0.0))
    # The form without cancellation, by the sign of the linear term.
    small = np.where(linear >= 0, linear + root, 2.0 * square)
    large = np.where(linear >= 0, -2.0 * constant, root - linear)
    return np.asarray(np.clip(large / np.where(small > 0, small, 1.0), 0.0, 1.0))


def cut_along_level(
    piece: Piece, values: FloatArray, level: float, crossing: Crossing = in_proportion, *, snap: float = SNAP
) -> LevelCut:
    """Divide the faces of a piece along a level line.

    Parameters
    ----------
    piece : Piece
        The piece.
    values : (n,) float array
        The value at each vertex; finite.
    level : float
        The level of the line.
    crossing : callable
        Where on an edge the level is met: `in_proportion` or `along_a_straight_line`.
    snap : float
        Share of an edge within which a crossing is moved into its end.

    Returns
    -------
    LevelCut
        The divided piece, which faces lie inside, which vertices lie on the line.
    """
    sign = np.sign(values - level).astype(np.int64)
    of_corner = sign[piece.faces]
    met = np.flatnonzero((of_corner.min(axis=1) < 0) & (of_corner.max(axis=1) > 0))
    part, old = piece.take(met)
    table = edge_table(part.faces)
    crossed, share = _crossings(part, table, values[old], level, sign[old], crossing)
    ends = table.vertices[crossed]
    sign[old[ends[share < snap, 0]]] = 0
    sign[old[ends[share > 1.0 - snap, 1]]] = 0
    still = (sign[old[ends]] != 0).all(axis=1)
    part, origin = insert_on_edges(part, table, crossed[still], share[still])
    divided, origin = implanted(piece, part, old, met[origin])
    added = len(divided.vertices) - len(piece.vertices)
    sign = np.concatenate([sign, np.zeros(added, dtype=np.int64)])
    of_face = sign[divided.faces]
    # A face with all its corners on the line lies on the side that its own values say.
    flat = (of_face == 0).all(axis=1)
    inside = np.where(flat, values[piece.faces[origin]].mean(axis=1) < level, (of_face < 0).any(axis=1))
    return LevelCut(divided, inside, sign == 0, origin)


def _crossings(
    piece: Piece, table: EdgeTable, values: FloatArray, level: float, sign: IntArray, crossing: Crossing
) -> tuple[IntArray, FloatArray]:
    """Return the edges that the line crosses, and where, as a share from their first vertex."""
    first, second = table.vertices.T
    crossed = np.flatnonzero(sign[first] * sign[second] < 0)
    first, second = first[crossed], second[crossed]
    length = np.linalg.norm(piece.vertices[first] - piece.vertices[second], axis=1)
    rising = values[first] < values[second]
    under = np.where(rising, values[first], values[second])
    over = np.where(rising, values[second], values[first])
    share = crossing(under, over, length, level)
    return crossed, np.asarray(np.where(rising, share, 1.0 - share))


def insert_on_edges(piece: Piece, table: EdgeTable, edges: IntArray, share: FloatArray) -> tuple[Piece, IntArray]:
    """Put one new vertex on each of some edges and divide the faces there.

    Parameters
    ----------
    piece : Piece
        The piece.
    table : EdgeTable
        Its edges.
    edges : (k,) int array
        Edges that get a vertex.
    share : (k,) float array
        Where on the edge, from its first vertex (0) to its second (1).

    Returns
    -------
    piece : Piece
        The divided piece: old vertices first, then one a chosen edge; faces in the order of those they came from.
    origin : (m',) int array
        The old face that each new face lies in.
    """
    added = np.full(len(table.vertices), -1, dtype=np.int64)
    added[edges] = len(piece.vertices) + np.arange(len(edges))
    grown = _with_vertices(piece, table, edges, share)
    faces, origin = _divide(grown.vertices, piece.faces, added[table.of_half_edge].reshape(-1, 3))
    return replace(grown, faces=faces, face_parent=piece.face_parent[origin]).settled(), origin


def _with_vertices(piece: Piece, table: EdgeTable, edges: IntArray, share: FloatArray) -> Piece:
    face_on = np.empty(len(table.vertices), dtype=np.int64)
    face_on[table.of_half_edge[::-1]] = np.arange(len(table.of_half_edge))[::-1] // 3
    parent = piece.face_parent[face_on[edges]]
    start, end = (piece.weights_in(table.vertices[edges, side], parent) for side in (0, 1))
    weights = (1.0 - share)[:, None] * start + share[:, None] * end
    positions = np.einsum("ik,ikd->id", weights, piece.surface.vertices[piece.surface.faces[parent]])
    return replace(
        piece,
        vertices=np.concatenate([piece.vertices, positions]),
        vertex_parent=np.concatenate([piece.vertex_parent, parent]),
        barycentric=np.concatenate([piece.barycentric, weights]),
    )


def _divide(vertices: FloatArray, faces: IntArray, added: IntArray) -> tuple[IntArray, IntArray]:
    """Divide each face by the vertices added on its half-edges (-1: none)."""
    count = (added >= 0).sum(axis=1)
    which = [np.flatnonzero(count == number) for number in range(4)]
    # Turn each face so that a lone added vertex comes first, or a lone plain side second.
    lead = np.zeros(len(faces), dtype=np.int64)
    lead[which[1]] = np.argmax(added[which[1]] >= 0, axis=1)
    lead[which[2]] = (np.argmin(added[which[2]] >= 0, axis=1) + 2) % 3
    turn = (lead[:, None] + np.arange(3)) % 3
    (a, b, c), (ab, bc, ca) = (np.take_along_axis(table, turn, axis=1).T for table in (faces, added))

    def rows(ids: IntArray, *columns: IntArray) -> IntArray:
        return np.stack([column[ids] for column in columns], axis=1)

    one, two, three = which[1:]
    # The four-sided rest of a face is divided along its shorter diagonal.
    first_way = _length(vertices, ab[two], c[two]) <= _length(vertices, b[two], ca[two])
    this, that = two[first_way], two[~first_way]
    parts = [
        (which[0], rows(which[0], a, b, c)),
        (one, rows(one, a, ab, c)),
        (one, rows(one, ab, b, c)),
        (two, rows(two, a, ab, ca)),
        (this, rows(this, ab, b, c)),
        (this, rows(this, ab, c, ca)),
        (that, rows(that, ab, b, ca)),
        (that, rows(that, b, c, ca)),
        (three, rows(three, a, ab, ca)),
        (three, rows(three, b, bc, ab)),
        (three, rows(three, c, ca, bc)),
        (three, rows(three, ab, bc, ca)),
    ]
    origin = np.concatenate([ids for ids, _ in parts])
    order = np.argsort(origin, kind="stable")
    return np.concatenate([triangles for _, triangles in parts])[order], origin[order]


def _length(vertices: FloatArray, start: IntArray, end: IntArray) -> FloatArray:
    return np.asarray(np.linalg.norm(vertices[start] - vertices[end], axis=1))
