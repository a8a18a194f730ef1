"""Drawing ways into a piece as edges, and opening it along them.

Terms: a *way* is a chain of vertices from a tip to where it ends: at the rim, or at another way; a *run* is the part of
a way between two places where ways meet; its *pairs* are the two copies of each of its vertices once it is open.

Convention: ways are drawn into the closed piece, so that one drawing serves to try any of them open, at any depth.
Opening leaves faces and their order as they are. A run goes from its outer end inwards, towards the tip; its first
column lies on the left. Drawing divides faces at the sides a way crosses, so no area is lost (`carve`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import boundary_loops, corner_fans, edge_table, half_edges
from meshflow.model.arrays import BoolArray, IntArray
from meshflow.regions.carve import Carver
from meshflow.regions.disc import with_neighbours
from meshflow.regions.piece import Piece, implanted, index_in_whole
from meshflow.regions.straight import Leg, Roads

__all__ = ["Opened", "Run", "drawn", "open_along", "rim_vertices", "with_point"]

_SNAP = 1e-6  # share of a side within which a crossing is its end


@dataclass(frozen=True, eq=False)
class Run:
    """A part of a way, opened.

    Parameters
    ----------
    way : int
        The way it belongs to.
    pairs : (k, 2) int array
        Left and right vertex of each place, from the outer end inwards; the same vertex twice at a tip.
    """

    way: int
    pairs: IntArray


@dataclass(frozen=True, eq=False)
class Opened:
    """A piece opened along ways.

    Parameters
    ----------
    piece : Piece
        With the copies of vertices added at the end; faces as before.
    closed_vertex : (n,) int array
        Vertex of the closed piece that each vertex is.
    runs : tuple of Run
        By way, from the outer end inwards.
    """

    piece: Piece
    closed_vertex: IntArray
    runs: tuple[Run, ...]


def drawn(piece: Piece, legs: Sequence[Leg]) -> tuple[Piece, IntArray]:
    """Draw a straight way into a piece.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    legs : sequence of Leg
        The way, in vertices and half-edges of the closed piece; it crosses no side twice.

    Returns
    -------
    piece : Piece
        Its own vertices first, then those on the sides that the way crosses.
    way : (k,) int array
        Vertices of the way.
    """
    roads = Roads(piece.vertices, piece.faces)
    crossed = np.array([side for leg in legs for side in leg.crossed], dtype=np.int64)
    along = np.array([side for leg in legs if not leg.crossed for side in roads.sides_of(leg)], dtype=np.int64)
    touched = np.unique(np.concatenate([crossed // 3, roads.across(crossed) // 3, along // 3])).astype(np.int64)
    carver = Carver(piece, touched)
    nodes = [node for leg in legs for node in _nodes(leg, roads, carver)]
    way = [carver.local[legs[0].start]]
    for vertex, face in nodes:
        if vertex != way[-1]:
            way += carver.join(way[-1], vertex, int(piece.face_parent[face]))[1:]
    part, old, origin = carver.close()
    return implanted(piece, part, old, origin)[0], index_in_whole(piece, part, old)[way]


def _nodes(leg: Leg, roads: Roads, carver: Carver) -> list[tuple[int, int]]:
    """Return the vertices of the carver that a leg meets after its start, each with the face that leads to it."""
    end = carver.local[leg.end]
    if not leg.crossed:
        return [(end, roads.sides_of(leg)[0] // 3)]
    nodes = []
    for side, share in zip(leg.crossed, leg.shares, strict=True):
        low, high = (carver.local[vertex] for vertex in roads.ends(side))
        if share < _SNAP or share > 1.0 - _SNAP:
            nodes.append((low if share < _SNAP else high, side // 3))
        else:
            nodes.append((carver.split_side(low, high, share), side // 3))
    return [*nodes, (end, int(roads.across(np.array(leg.crossed[-1:]))[0]) // 3)]


def with_point(piece: Piece, face: int, weights: Sequence[float]) -> tuple[Piece, int]:
    """Make a point of a face a vertex, or find the vertex that is there.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    face : int
        Its face.
    weights : sequence of float
        Weights on the corners of that face; next to nothing counts as nothing.

    Returns
    -------
    piece : Piece
        Its own vertices first.
    vertex : int
        The vertex.
    """
    share = np.where(np.asarray(weights) < _SNAP, 0.0, weights)
    parent = int(piece.face_parent[face])
    place = share / share.sum() @ piece.weights_in(piece.faces[face], np.full(3, parent))
    point = {int(corner): float(w) for corner, w in zip(piece.surface.faces[parent], place, strict=True) if w != 0.0}
    carver = Carver(piece, with_neighbours(piece, np.array([face])))
    vertex = carver.put(point, parent)
    part, old, origin = carver.close()
    return implanted(piece, part, old, origin)[0], int(index_in_whole(piece, part, old)[vertex])


def open_along(piece: Piece, ways: Sequence[IntArray]) -> Opened:
    """Open a piece along ways.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    ways : sequence of (k,) int array
        Each from its tip to its end, along edges; they meet in their ends only. An empty one stays shut.

    Returns
    -------
    Opened
        Faces in the same order.
    """
    table = edge_table(piece.faces)
    steps = np.concatenate([np.empty((0, 2), dtype=np.int64), *(np.stack([w[:-1], w[1:]], axis=1) for w in ways)])
    cut = np.isin(_keys(table.vertices, len(piece.vertices)), _keys(np.sort(steps, axis=1), len(piece.vertices)))
    corner, closed_vertex = _parted(piece.faces, cut, np.unique(steps), len(piece.vertices))
    grown = replace(
        piece,
        vertices=piece.vertices[closed_vertex],
        faces=corner.reshape(-1, 3),
        vertex_parent=piece.vertex_parent[closed_vertex],
        barycentric=piece.barycentric[closed_vertex],
    )
    nodes = _meeting_places(ways)
    runs = [
        Run(number, _pairs(piece.faces, grown.faces, run))
        for number, way in enumerate(ways)
        for run in _split(way[::-1], nodes)
    ]
    return Opened(grown.settled() if len(steps) else grown, closed_vertex, tuple(runs))


def _keys(pairs: IntArray, width: int) -> IntArray:
    return np.asarray(pairs[:, 0] * width + pairs[:, 1])


def _parted(faces: IntArray, cut: BoolArray, on_way: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Give each fan of faces round a vertex of a way a vertex of its own; the fan of the first face keeps the old."""
    fan = corner_fans(faces, cut)
    corner = faces.reshape(-1).copy()
    on = np.zeros(count, dtype=bool)
    on[on_way] = True
    met = np.flatnonzero(on[corner])
    _, first, inverse = np.unique(fan[met], return_index=True, return_inverse=True)
    vertex_of_fan, first_corner = corner[met[first]], met[first]
    order = np.lexsort((first_corner, vertex_of_fan))
    again = np.zeros(len(order), dtype=bool)
    again[1:] = vertex_of_fan[order[1:]] == vertex_of_fan[order[:-1]]
    number = vertex_of_fan.copy()
    copies = order[again]
    number[copies] = count + np.arange(len(copies))
    corner[met] = number[inverse.reshape(-1)]
    return corner, np.concatenate([np.arange(count), vertex_of_fan[copies]])


def _meeting_places(ways: Sequence[IntArray]) -> IntArray:
    """Return the vertices where more than one way passes or ends."""
    vertices, count = np.unique(np.concatenate([np.empty(0, np.int64), *map(np.unique, ways)]), return_counts=True)
    return np.asarray(vertices[count > 1])


def _split(way: IntArray, nodes: IntArray) -> list[IntArray]:
    if len(way) < 2:
        return []
    inner = np.flatnonzero(np.isin(way[1:-1], nodes)) + 1
    bounds = [0, *inner.tolist(), len(way) - 1]
    return [way[start : end + 1] for start, end in pairwise(bounds)]


def _pairs(closed: IntArray, opened: IntArray, run: IntArray) -> IntArray:
    """Return the left and the right vertex of each place of a run."""
    width = int(closed.max()) + 1
    keys = _keys(half_edges(closed), width)
    order = np.argsort(keys, kind="stable")
    corner = opened.reshape(-1)

    def side(start: IntArray, end: IntArray) -> tuple[IntArray, IntArray]:
        half = order[np.searchsorted(keys[order], start * width + end)]
        return corner[half], corner[3 * (half // 3) + (half + 1) % 3]

    left_start, left_end = side(run[:-1], run[1:])
    right_end, right_start = side(run[1:], run[:-1])
    left, right = np.append(left_start, left_end[-1]), np.append(right_start, right_end[-1])
    return np.stack([left, right], axis=1)


def rim_vertices(faces: IntArray) -> IntArray:
    """Return the vertices of all boundary loops, sorted."""
    return np.unique(np.concatenate([np.empty(0, dtype=np.int64), *boundary_loops(faces)]))
