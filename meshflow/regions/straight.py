"""Straight ways over a surface: the locally shortest from one vertex to another, through faces, not along edges.

Terms: a *strip* is the chain of faces a way runs through, given by the half-edges it crosses; a *leg* is a straight run
from vertex to vertex through one strip, or along an edge.

Method: the shortest way along edges is found first (A*, Hart, Nilsson and Raphael 1968). Where it bends round a vertex
and the angle on one side is under pi, the strip of both legs with the faces on that side between them is laid out flat
and the way is pulled tight in it (funnel: Lee and Preparata 1984; the step from vertex to vertex: Xin and Wang 2007).
Each step shortens the way; when no vertex is left to be cut short the way is a geodesic of the polyhedron.

References
----------
P. E. Hart, N. J. Nilsson, B. Raphael, "A formal basis for the heuristic determination of minimum cost paths", IEEE
Trans. Systems Science and Cybernetics 4:2, 1968.
D. T. Lee, F. P. Preparata, "Euclidean shortest paths in the presence of rectilinear barriers", Networks 14, 1984.
S.-Q. Xin, G.-J. Wang, "Efficiently determining a locally exact shortest path on polyhedral surfaces", Computer-Aided
Design 39:12, 2007.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import edge_sides, edge_table, half_edges
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.funnel import Flat, funnel

__all__ = ["Leg", "Roads"]

_STRAIGHT_RAD = 1e-7
_SLIGHT_RAD = 1e-15  # a leg through faces never runs along an edge, which is what an angle of 0 stands for


@dataclass(frozen=True)
class Leg:
    """A straight run from vertex to vertex.

    Parameters
    ----------
    start, end : int
        Vertices.
    crossed : tuple of int
        Half-edges it crosses, each of the face it leaves; none when it runs along an edge.
    shares : tuple of float
        Where on each, from its first vertex (0) to its second (1).
    length : float
        Length [mm].
    leaves, arrives : float
        Angle at the start in the first face, and at the end in the last face, counter-clockwise from the half-edge of
        that face that leaves the vertex [rad]; 0 along an edge.
    """

    start: int
    end: int
    crossed: tuple[int, ...]
    shares: tuple[float, ...]
    length: float
    leaves: float
    arrives: float


class Roads:
    """Finds straight ways on one mesh.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices. Sides of three or more faces are not crossed.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        table = edge_table(faces)
        one, two = edge_sides(table).T
        half = half_edges(faces)
        sound = half[one, 0] == half[two, 1]  # neighbours wound against each other are not crossed either
        self._twin = np.full(3 * len(faces), -1, dtype=np.int64)
        self._twin[one[sound]], self._twin[two[sound]] = two[sound], one[sound]
        self._points, self._faces, self._half = vertices, faces, half
        corner = np.argsort(faces.reshape(-1), kind="stable")
        self._corners = corner
        self._first = np.concatenate([[0], np.cumsum(np.bincount(faces.reshape(-1), minlength=len(vertices)))])

    def way(self, start: int, end: int) -> list[Leg]:
        """Return the locally shortest way between two vertices.

        Parameters
        ----------
        start, end : int
            Different vertices.

        Returns
        -------
        list of Leg
            From start to end; empty when no way leads there.
        """
        path = self._along_edges(start, end)
        legs = [self._edge_leg(a, b) for a, b in pairwise(path)]
        at = 1
        while at < len(legs):
            better = self._shortcut(legs[at - 1], legs[at])
            if better is None:
                at += 1
            else:
                legs[at - 1 : at + 1] = better
                at = max(at - 1, 1)
        return legs

    def across(self, sides: IntArray) -> IntArray:
        """Return the other half-edge of each side."""
        return np.asarray(self._twin[sides])

    def ends(self, side: int) -> tuple[int, int]:
        """Return the two vertices of a half-edge."""
        return int(self._half[side, 0]), int(self._half[side, 1])

    def sides_of(self, leg: Leg) -> list[int]:
        """Return the half-edges that a leg along an edge runs on, either way."""
        found = []
        for corner in self._round(leg.start):
            found += [side for side in (corner, _before(corner)) if leg.end in self._half[side]]
        return found

    def _round(self, vertex: int) -> list[int]:
        corners: list[int] = self._corners[self._first[vertex] : self._first[vertex + 1]].tolist()
        return corners

    def _along_edges(self, start: int, end: int) -> list[int]:
        points = self._points
        goal = points[end]
        reached, came = {start: 0.0}, {start: -1}
        done: set[int] = set()
        queue = [(float(np.linalg.norm(points[start] - goal)), start)]
        while queue:
            _, vertex = heapq.heappop(queue)
            if vertex == end:
                path = [end]
                while came[path[-1]] >= 0:
                    path.append(came[path[-1]])
                return path[::-1]
            if vertex in done:
                continue
            done.add(vertex)
            ring = np.unique(self._faces[np.array(self._round(vertex)) // 3])
            steps = np.linalg.norm(points[ring] - points[vertex], axis=1).tolist()
            ahead = np.linalg.norm(points[ring] - goal, axis=1).tolist()
            for other, step, left in zip(ring.tolist(), steps, ahead, strict=True):
                length = reached[vertex] + step
                if other != vertex and length < reached.get(other, math.inf):
                    reached[other], came[other] = length, vertex
                    heapq.heappush(queue, (length + left, other))
        return []

    def _edge_leg(self, start: int, end: int) -> Leg:
        return Leg(start, end, (), (), float(np.linalg.norm(self._points[start] - self._points[end])), 0.0, 0.0)

    def _shortcut(self, one: Leg, two: Leg) -> list[Leg] | None:
        """Return a shorter way for two legs that meet, or nothing where they run straight on."""
        before, after = self._direction(one, arriving=True), self._direction(two, arriving=False)
        options: list[tuple[float, tuple[int, ...]]] = []
        for first, second, backwards in ((before, after, False), (after, before, True)):
            turn = self._turn(first, second)
            if turn is not None and turn[0] < math.pi - _STRAIGHT_RAD:
                spokes = tuple(int(self._twin[side]) for side in reversed(turn[1])) if backwards else tuple(turn[1])
                options.append((turn[0], spokes))
        old = one.length + two.length
        for _, spokes in sorted(options):
            legs = self._pulled(one.start, (*one.crossed, *spokes, *two.crossed), two.end)
            if sum(leg.length for leg in legs) < old * (1.0 - 1e-12):
                return legs
        return None

    def _direction(self, leg: Leg, *, arriving: bool) -> tuple[int, float]:
        """Return the corner of the vertex where a leg starts or ends, and its angle in it."""
        vertex = leg.end if arriving else leg.start
        if leg.crossed:
            side = int(self._twin[leg.crossed[-1]]) if arriving else leg.crossed[0]
            corner = 3 * (side // 3) + (side + 2) % 3
            return corner, leg.arrives if arriving else leg.leaves
        other = leg.start if arriving else leg.end
        round_it = self._round(vertex)
        for corner in round_it:
            if self._half[corner, 1] == other:
                return corner, 0.0
        for corner in round_it:
            if self._half[_before(corner), 0] == other:
                return corner, self._angle(corner)
        raise AssertionError("a leg along an edge that is not there")

    def _angle(self, corner: int) -> float:
        face, k = corner // 3, corner % 3
        a, b, c = (self._points[self._faces[face, (k + step) % 3]] for step in range(3))
        u, v = b - a, c - a
        return math.atan2(float(np.linalg.norm(np.cross(u, v))), float(u @ v))

    def _turn(self, first: tuple[int, float], second: tuple[int, float]) -> tuple[float, list[int]] | None:
        """Return the angle from one direction counter-clockwise to another, and the half-edges crossed on the way."""
        corner, angle = first
        goal, last = second
        if corner == goal and last >= angle:
            return last - angle, []
        total = self._angle(corner) - angle
        spokes: list[int] = []
        for _ in self._round(int(self._half[corner, 0])):
            side = _before(corner)
            across = int(self._twin[side])
            if across < 0:
                return None
            corner = across
            if corner == goal and last == 0.0:
                return total, spokes
            spokes.append(side)
            if corner == goal:
                return total + last, spokes
            total += self._angle(corner)
        return None

    def _pulled(self, start: int, crossed: tuple[int, ...], end: int) -> list[Leg]:
        """Pull a way tight in a strip."""
        crossed = self._trimmed(start, crossed, end)
        if not crossed:
            return [self._edge_leg(start, end)]
        places, goal = self._laid_out(start, crossed)
        breaks = funnel(places, goal)
        legs, here, first = [], start, 0
        for index, side in [*breaks, (len(crossed) - 1, -1)]:
            vertex = end if side < 0 else int(self._half[crossed[index], side])
            run = self._trimmed(here, crossed[first : index + 1], vertex)
            legs.append(self._straight_leg(here, run, vertex) if run else self._edge_leg(here, vertex))
            here, first = vertex, index
        return legs

    def _trimmed(self, start: int, crossed: tuple[int, ...], end: int) -> tuple[int, ...]:
        """Leave out crossings of sides that start or end of the way lie on."""
        first, last = 0, len(crossed)
        while first < last and start in self._half[crossed[first]]:
            first += 1
        while last > first and end in self._half[crossed[last - 1]]:
            last -= 1
        return crossed[first:last]

    def _laid_out(self, start: int, crossed: tuple[int, ...]) -> tuple[list[tuple[Flat, Flat]], Flat]:
        """Return right and left end of each crossed side, and the corner after the last, in the plane; start at 0."""
        right, left = (int(vertex) for vertex in self._half[crossed[0]])
        base = float(np.linalg.norm(self._points[right] - self._points[start]))
        along, off = self._seen_from(start, right, left)
        one, two = (base, 0.0), (along, off)
        places = [(one, two)]
        for step, side in enumerate(crossed):
            across = int(self._twin[side])
            apex = int(self._half[_before(across), 0])
            right, left = (int(vertex) for vertex in self._half[side])
            along, off = self._seen_from(right, left, apex)
            ex, ey = two[0] - one[0], two[1] - one[1]
            scale = math.hypot(ex, ey) or 1.0
            ex, ey = ex / scale, ey / scale
            z = (one[0] + along * ex + off * ey, one[1] + along * ey - off * ex)
            if step + 1 == len(crossed):
                break
            follows = self._half[crossed[step + 1]]
            one, two = (one, z) if int(follows[0]) == right else (z, two)
            places.append((one, two))
        return places, z

    def _seen_from(self, origin: int, axis: int, point: int) -> tuple[float, float]:
        """Return how far `point` lies along the line from `origin` to `axis`, and how far off it."""
        u, v = self._points[axis] - self._points[origin], self._points[point] - self._points[origin]
        length = math.sqrt(float(u @ u)) or 1.0
        cross = np.array([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]])
        return float(u @ v) / length, math.sqrt(float(cross @ cross)) / length

    def _straight_leg(self, start: int, crossed: tuple[int, ...], end: int) -> Leg:
        places, goal = self._laid_out(start, crossed)
        shares = []
        for one, two in places:
            on_right = one[0] * goal[1] - one[1] * goal[0]
            on_left = goal[0] * two[1] - goal[1] * two[0]
            width = on_right + on_left
            shares.append(min(max(on_right / width, 0.0), 1.0) if width > 0 else 0.5)
        leaves = max(math.atan2(goal[1], goal[0]), _SLIGHT_RAD)  # the first right end lies on the x axis
        _, (lx, ly) = places[-1]
        back = math.atan2(-goal[1], -goal[0]) - math.atan2(ly - goal[1], lx - goal[0])
        arrives = max(math.remainder(back, 2.0 * math.pi), _SLIGHT_RAD)
        return Leg(start, end, crossed, tuple(shares), math.hypot(*goal), leaves, arrives)


def _before(corner: int) -> int:
    """Return the half-edge of the same face that ends where `corner` starts."""
    return 3 * (corner // 3) + (corner + 2) % 3
