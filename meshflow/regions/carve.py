"""The knife: puts points into faces and joins them by straight cuts, one at a time, always conforming.

Terms: a *point* is given by its weights on corners of the scan, so that it means the same in every face it lies in; a
*way* is the chain of edges that a cut follows.

Method: a side is divided by splitting all faces on it, a face by joining the new point to its corners. A straight cut
from one vertex to another within one face of the scan divides the side it crosses first, which joins the start to the
crossing, and goes on from there. All decisions are taken in the plane of the scan's face, in two of its three weights,
where straight stays straight and left stays left whatever its shape. A crossing within `CLOSE` of an end of its side is
that end, so no triangle is thinner than that share of its neighbours' sides.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import SelectionError
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.locate import least_shares
from meshflow.regions.piece import Piece

__all__ = ["CLOSE", "Carver", "Weights", "weights_of"]

CLOSE = 1e-8

Weights = dict[int, float]
Flat = tuple[float, float]
Shares = tuple[float, float, float]


class Carver:
    """Some faces of a piece under the knife.

    Parameters
    ----------
    piece : Piece
        The piece.
    faces : (k,) int array
        Faces to be cut, with all faces on any side that will be divided.
    """

    def __init__(self, piece: Piece, faces: IntArray) -> None:
        part, self._old = piece.take(faces)
        self._piece, self._taken = piece, faces
        self._corners = piece.surface.faces
        self.weights = [weights_of(part, vertex) for vertex in range(len(part.vertices))]
        self._root_corners: list[list[int]] = part.faces.tolist()
        self._root_parent = part.face_parent
        self._taken_of: dict[int, tuple[IntArray, FloatArray]] = {}
        self.faces: list[list[int]] = part.faces.tolist()
        self.parent: list[int] = part.face_parent.tolist()
        self.origin: list[int] = list(range(len(self.faces)))
        # What each face was cut into, step by step, so that a point is found by going down from the face as taken.
        self._past: list[list[int]] = part.faces.tolist()
        self._became: list[list[int]] = [[] for _ in self.faces]
        self._now: list[int] = list(self.origin)  # the past of each face as it is now, and the other way round
        self._face_of: list[int] = list(self.origin)
        self.at: list[list[int]] = [[] for _ in self.weights]
        for face, corners in enumerate(self.faces):
            for corner in corners:
                self.at[corner].append(face)
        self.local = {int(vertex): index for index, vertex in enumerate(self._old)}

    def place(self, vertex: int, parent: int) -> Flat:
        """Return where a vertex lies in a face of the scan: its weights on the second and the third corner."""
        _, second, third = self._corners[parent].tolist()
        weights = self.weights[vertex]
        return weights.get(second, 0.0), weights.get(third, 0.0)

    def split_side(self, start: int, end: int, share: float) -> int:
        """Put a vertex on a side, `share` of the way from `start` to `end`, and return it."""
        one, two = self.weights[start], self.weights[end]
        mixed = {key: (1.0 - share) * one.get(key, 0.0) + share * two.get(key, 0.0) for key in {**one, **two}}
        vertex = self._new(mixed)
        for face in [face for face in self.at[start] if end in self.faces[face]]:
            corners = self.faces[face]
            near, far = ([vertex if corner == gone else corner for corner in corners] for gone in (end, start))
            self._divide(face, near, far)
        return vertex

    def split_face(self, face: int, weights: Weights) -> int:
        """Put a vertex into a face and return it."""
        vertex = self._new(weights)
        a, b, c = self.faces[face]
        self._divide(face, [a, b, vertex], [b, c, vertex], [c, a, vertex])
        return vertex

    def _new(self, weights: Weights) -> int:
        self.weights.append(weights)
        self.at.append([])
        return len(self.weights) - 1

    def _divide(self, face: int, *triangles: list[int]) -> None:
        """Put triangles in the place of a face; the first takes its number."""
        past = self._now[face]
        for corner in self.faces[face]:
            self.at[corner].remove(face)
        for number, corners in enumerate(triangles):
            if number == 0:
                self.faces[face], child = corners, face
            else:
                child = len(self.faces)
                self.faces.append(corners)
                self.parent.append(self.parent[face])
                self.origin.append(self.origin[face])
                self._now.append(-1)
            for corner in corners:
                self.at[corner].append(child)
            self._now[child] = len(self._past)
            self._became[past].append(len(self._past))
            self._past.append(corners)
            self._became.append([])
            self._face_of.append(child)

    def put(self, weights: Weights, parent: int) -> int:
        """Put a point into one face of the scan, or find the vertex that is there, and return it.

        Parameters
        ----------
        weights : dict of int to float
            The point, on corners of the scan.
        parent : int
            Face of the scan; all that was taken of it and what it has been cut into since is searched.
        """
        _, second, third = self._corners[parent].tolist()
        point = (weights.get(second, 0.0), weights.get(third, 0.0))
        shares, where = max((self._found(point, root, parent) for root in self._holding(point, parent)), key=_least)
        corners = self.faces[where]
        large = max(range(3), key=lambda corner: shares[corner])
        if shares[large] > 1.0 - 2.0 * CLOSE:
            return corners[large]
        small = min(range(3), key=lambda corner: shares[corner])
        if shares[small] < CLOSE:
            start, end = corners[(small + 1) % 3], corners[(small + 2) % 3]
            along = shares[(small + 2) % 3] / (shares[(small + 1) % 3] + shares[(small + 2) % 3])
            return self.split_side(start, end, along)
        return self.split_face(where, weights)

    def _found(self, point: Flat, root: int, parent: int) -> tuple[Shares, int]:
        """Return the face that holds a point now, of those that a face as taken was cut into, and its shares there."""
        past = root
        shares = self._shares_in(past, point, parent)
        while self._became[past]:
            parts = self._became[past]
            shares, past = max(((self._shares_in(part, point, parent), part) for part in parts), key=_least)
        return shares, self._face_of[past]

    def _shares_in(self, past: int, point: Flat, parent: int) -> Shares:
        return _shares(point, *(self.place(corner, parent) for corner in self._past[past]))

    def _holding(self, point: Flat, parent: int) -> list[int]:
        """Return the faces, as they were taken, that hold a point or have it close by."""
        if parent not in self._taken_of:
            roots = np.flatnonzero(self._root_parent == parent)
            corners = [[self.place(corner, parent) for corner in self._root_corners[root]] for root in roots.tolist()]
            self._taken_of[parent] = roots, np.array(corners).reshape(-1, 3, 2)
        roots, triangles = self._taken_of[parent]
        least = least_shares(np.array([point]), triangles)[0]
        found: list[int] = roots[least >= min(-1e-6, float(least.max()))].tolist()
        return found

    def join(self, start: int, end: int, parent: int) -> list[int]:
        """Cut straight from one vertex to another through one face of the scan.

        Returns
        -------
        list of int
            The way: every two neighbours in it share an edge now.

        Raises
        ------
        SelectionError
            If the cut gets lost in faces too thin to tell left from right.
        """
        way = [start]
        while way[-1] != end:
            step = self._step(way[-1], end, parent)
            if step < 0 or step in way:
                raise SelectionError(
                    f"a cut cannot be followed through face {parent}, which is too thin.",
                    remedy="Mend the scan (needles and slivers), or move the border a little.",
                    faces=(parent,),
                )
            way.append(step)
        return way

    def _step(self, start: int, end: int, parent: int) -> int:
        here, goal = self.place(start, parent), self.place(end, parent)
        best, across = -CLOSE, (-1, -1, 0.0)
        for face in self.at[start]:
            corners = self.faces[face]
            if end in corners:
                return end
            if self.parent[face] != parent:
                continue
            k = corners.index(start)
            right, left = corners[(k + 1) % 3], corners[(k + 2) % 3]
            one, two = self.place(right, parent), self.place(left, parent)
            on_right, on_left = -_turn(here, goal, one), _turn(here, goal, two)
            width = on_right + on_left
            # The side must lie ahead, not behind.
            if width <= 0.0 or _turn(here, one, two) <= 0.0:
                continue
            room = min(on_right, on_left) / width
            if room > best:
                best, across = room, (right, left, on_right / width)
        right, left, share = across
        if right < 0:
            return -1
        if share <= CLOSE:
            return right
        if share >= 1.0 - CLOSE:
            return left
        return self.split_side(right, left, share)

    def close(self) -> tuple[Piece, IntArray, IntArray]:
        """Return the piece with the cuts in it.

        Returns
        -------
        faces_piece : Piece
            Only the faces taken, divided; its first vertices are those taken, the others were added.
        old : (k,) int array
            Vertex of the piece that each of the first vertices is.
        origin : (m,) int array
            Face of the piece that each face lies in.
        """
        order = np.argsort(np.array(self.origin, dtype=np.int64), kind="stable")
        faces = np.array(self.faces, dtype=np.int64).reshape(-1, 3)[order]
        parent = np.array(self.parent, dtype=np.int64)[order]
        home = np.empty(len(self.weights), dtype=np.int64)
        home[faces.reshape(-1)[::-1]] = np.repeat(parent, 3)[::-1]
        barycentric = self._barycentric(home)
        positions = np.einsum("ik,ikd->id", barycentric, self._piece.surface.vertices[self._corners[home]])
        positions[: len(self._old)] = self._piece.vertices[self._old]
        part = replace(
            self._piece,
            vertices=positions,
            faces=faces,
            face_parent=parent,
            vertex_parent=home,
            barycentric=barycentric,
        )
        return part, self._old, self._taken[np.array(self.origin, dtype=np.int64)[order]]

    def _barycentric(self, home: IntArray) -> FloatArray:
        corners = self._corners[home].tolist()
        return np.array(
            [[weights.get(corner, 0.0) for corner in ids] for weights, ids in zip(self.weights, corners, strict=True)]
        ).reshape(-1, 3)


def weights_of(piece: Piece, vertex: int) -> Weights:
    """Return the place of a vertex of a piece as a point for the knife."""
    corners = piece.surface.faces[piece.vertex_parent[vertex]].tolist()
    shares = piece.barycentric[vertex].tolist()
    return {corner: share for corner, share in zip(corners, shares, strict=True) if share != 0.0}


def _turn(a: Flat, b: Flat, c: Flat) -> float:
    """Twice the signed area of a triangle, over that of the face of the scan: positive where c lies left of a to b."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _least(found: tuple[Shares, int]) -> float:
    return min(found[0])


def _shares(point: Flat, a: Flat, b: Flat, c: Flat) -> Shares:
    whole = _turn(a, b, c)
    if whole <= 0.0:
        return (-np.inf, -np.inf, -np.inf)
    return (_turn(point, b, c) / whole, _turn(a, point, c) / whole, _turn(a, b, point) / whole)
