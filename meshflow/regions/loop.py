"""A line of straight ways, closed or open, cut into a surface so that every bit of it is an edge.

Method: the points become vertices, the faces they lie in being divided. Neighbouring points are joined by straight ways
(`straight`); all the sides that ways cross are divided first, then each face from crossing to crossing (`carve`), so no
area is lost. A loop that meets itself has a vertex twice or an edge that is divided: that is looked for and refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.carve import CLOSE, Carver
from meshflow.regions.disc import with_neighbours
from meshflow.regions.piece import Piece, implanted, index_in_whole
from meshflow.regions.straight import Leg, Roads

__all__ = ["Loop", "cut_along"]

_SNAP = 1e-7  # share of a side within which a crossing is its end
_BESIDE = 1e-5  # share within which a point lies on the side or corner of its face: scans are rounded to that


@dataclass(frozen=True, eq=False)
class Loop:
    """A surface cut along a closed line.

    Parameters
    ----------
    piece : Piece
        The whole surface, divided.
    vertices : (k,) int array
        The line, vertex by vertex; where it is closed the last joins the first.
    number : (k,) int array
        The point of the line, from 0, that each comes at or after.
    closed : bool
        Whether the last vertex joins the first.
    """

    piece: Piece
    vertices: IntArray
    number: IntArray
    closed: bool = True

    @property
    def steps(self) -> IntArray:
        """The edges of the line, from vertex to vertex, (k, 2) or (k - 1, 2)."""
        steps = np.stack([self.vertices, np.roll(self.vertices, -1)], axis=1)
        return steps if self.closed else steps[:-1]

    @property
    def length_mm(self) -> float:
        """Length of the line on the surface [mm]."""
        one, two = self.piece.vertices[self.steps].transpose(1, 0, 2)
        return float(np.linalg.norm(one - two, axis=1).sum())


def cut_along(
    piece: Piece, faces: IntArray, weights: FloatArray, number: IntArray, *, text: str = "line", closed: bool = True
) -> Loop:
    """Cut a surface along the line of straight ways between points.

    Parameters
    ----------
    piece : Piece
        All faces of a surface, not divided.
    faces : (k,) int array
        Face of each point.
    weights : (k, 3) float array
        Its place in it.
    number : (k,) int array
        Number of each point for messages, from 0.
    text : str
        What the line is called in messages.
    closed : bool
        Whether the last point joins the first.

    Returns
    -------
    Loop
        The divided surface and the line on it.

    Raises
    ------
    SelectionError
        If the line touches itself, leads over separate shells, or its points coincide on the surface.
    """
    piece, stops = _with_points(piece, faces, weights)
    moves = stops != np.roll(stops, 1)
    moves[0] |= not closed
    stops, number = stops[moves], number[moves]
    if len(stops) < (3 if closed else 2):
        raise SelectionError(
            f'all points of "{text}" land on the same spot.', remedy="Check unit and frame of the line."
        )
    roads = Roads(piece.vertices, piece.faces)
    ways: list[list[Leg]] = []
    for index, (start, end) in enumerate(pairwise([*stops.tolist(), *stops[:1].tolist()][: None if closed else -1])):
        ways.append(roads.way(start, end))
        if not ways[-1]:
            raise SelectionError(
                f'no way over the surface leads from point {number[index] + 1} of "{text}" to the next.',
                remedy="They lie on separate pieces, or a hole is between them: mend the scan or move the line.",
            )
    carved, loop, of = _carved(piece, roads, ways)
    if not closed:  # the last way ends on a vertex of its own
        loop, of = np.append(loop, stops[-1]), np.append(of, len(stops) - 1)
    result = Loop(carved, loop, number[of], closed)
    _refuse_touching(result, text)
    return result


def _with_points(piece: Piece, faces: IntArray, weights: FloatArray) -> tuple[Piece, IntArray]:
    """Make the points vertices; return the piece and the vertex of each point."""
    weights = np.where(weights < _BESIDE, 0.0, weights)
    weights /= weights.sum(axis=1, keepdims=True)
    taken = with_neighbours(piece, np.unique(faces))
    carver = Carver(piece, taken)
    corners = piece.surface.faces[piece.face_parent[faces]].tolist()
    rows, local = weights.tolist(), np.empty(len(faces), dtype=np.int64)
    # In no order, so that the faces that many points fall into are divided evenly.
    for index in np.random.default_rng(0).permutation(len(faces)).tolist():
        point = {corner: share for corner, share in zip(corners[index], rows[index], strict=True) if share != 0.0}
        local[index] = carver.put(point, int(piece.face_parent[faces[index]]))
    part, old, origin = carver.close()
    return implanted(piece, part, old, origin)[0], index_in_whole(piece, part, old)[local]


def _carved(piece: Piece, roads: Roads, ways: list[list[Leg]]) -> tuple[Piece, IntArray, IntArray]:
    """Cut along all ways; return the piece, the loop's vertices, and the way each belongs to."""
    crossed = np.array([side for way in ways for leg in way for side in leg.crossed], dtype=np.int64)
    along = [side for way in ways for leg in way if not leg.crossed for side in roads.sides_of(leg)]
    carver = Carver(
        piece,
        np.unique(np.concatenate([crossed // 3, roads.across(crossed) // 3, np.array(along) // 3])).astype(np.int64),
    )
    knots = _Knots(carver)
    # All crossings first, so that ways through one face meet each other's ends before they are joined.
    nodes = [[_nodes(leg, piece, roads, knots) for leg in way] for way in ways]
    loop: list[int] = []
    of: list[int] = []
    for index, way in enumerate(nodes):
        for leg in way:
            for (start, _), (end, face) in pairwise(leg):
                steps = carver.join(start, end, int(piece.face_parent[face]))[:-1]
                loop += steps
                of += [index] * len(steps)
    part, old, origin = carver.close()
    vertices = index_in_whole(piece, part, old)[loop]
    return implanted(piece, part, old, origin)[0], vertices, np.array(of, dtype=np.int64)


class _Knots:
    """Vertices that ways put on the sides they cross."""

    def __init__(self, carver: Carver) -> None:
        self.carver = carver
        self._on: dict[tuple[int, int], list[tuple[float, int]]] = {}

    def on(self, start: int, end: int, share: float) -> int:
        """Return the vertex on the side between two vertices of the piece, `share` of the way."""
        if start > end:
            start, end, share = end, start, 1.0 - share
        low, high = self.carver.local[start], self.carver.local[end]
        knots = self._on.setdefault((low, high), [(0.0, low), (1.0, high)])
        after = next(index for index, (place, _) in enumerate(knots) if place >= share)
        before = max(after - 1, 0)
        for place, vertex in (knots[before], knots[after]):
            if abs(place - share) <= CLOSE:
                return vertex
        (one, first), (two, second) = knots[before], knots[after]
        vertex = self.carver.split_side(first, second, (share - one) / (two - one))
        knots.insert(after, (share, vertex))
        return vertex


def _nodes(leg: Leg, piece: Piece, roads: Roads, knots: _Knots) -> list[tuple[int, int]]:
    """Return the vertices of the carver that a leg meets, each with the face that leads to it."""
    local = knots.carver.local
    if not leg.crossed:
        return [(local[leg.start], -1), (local[leg.end], roads.sides_of(leg)[0] // 3)]
    nodes = [(local[leg.start], -1)]
    for side, share in zip(leg.crossed, leg.shares, strict=True):
        start, end = (int(vertex) for vertex in roads.ends(side))
        if share < _SNAP or share > 1.0 - _SNAP:
            vertex = local[start if share < _SNAP else end]
        else:
            vertex = knots.on(start, end, share)
        if vertex != nodes[-1][0]:
            nodes.append((vertex, side // 3))
    last = int(roads.across(np.array(leg.crossed[-1:]))[0]) // 3
    if local[leg.end] != nodes[-1][0]:
        nodes.append((local[leg.end], last))
    return nodes


def _refuse_touching(loop: Loop, text: str) -> None:
    """Raise SelectionError where the loop meets itself: a vertex twice, or an edge that another part of it divided."""
    _, first, count = np.unique(loop.vertices, return_index=True, return_counts=True)
    twice = first[count > 1]
    width = len(loop.piece.vertices)
    ends = np.sort(loop.steps, axis=1)
    edges = edge_table(loop.piece.faces).vertices
    missing = np.flatnonzero(~np.isin(ends[:, 0] * width + ends[:, 1], edges[:, 0] * width + edges[:, 1]))
    places = [*twice.tolist(), *missing.tolist()]
    if not places:
        return
    at = min(places)
    again = np.flatnonzero(loop.vertices == loop.vertices[at])
    if len(again) == 1:  # crossed: the part of the line that divided this edge has a vertex on it
        again = np.array([_on_segment(loop.piece.vertices[loop.vertices], at)])
    numbers = sorted({int(loop.number[index]) + 1 for index in (at, *again.tolist())})
    where = "{:.1f}, {:.1f}, {:.1f}".format(*loop.piece.vertices[loop.vertices[at]])
    raise SelectionError(
        f'the line "{text}" touches itself near {where} (after its point {" and ".join(map(str, numbers))}).',
        remedy="Draw it so that it keeps clear of itself; in a narrow place give more points.",
        faces=(int(loop.piece.vertex_parent[loop.vertices[at]]),),
    )


def _on_segment(points: FloatArray, at: int) -> int:
    """Return the point of a loop that lies nearest to the segment from one of its points to the next."""
    start, along = points[at], points[(at + 1) % len(points)] - points[at]
    share = np.clip((points - start) @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
    off = np.linalg.norm(points - start - share[:, None] * along, axis=1)
    off[[at, (at + 1) % len(points)]] = np.inf
    return int(np.argmin(off))
