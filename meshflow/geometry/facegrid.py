"""Which face of a flat mesh a point lies in, and which faces a line crosses.

Terms: *weights* are barycentric: they sum to 1 and are all positive inside a face. The mesh is strewn over a grid of
square cells, about one face a cell; a point looks only at the faces whose box meets its cell.

Lines are clipped against each face they may meet (M. Cyrus and J. Beck, "Generalized two- and three-dimensional
clipping", Computers & Graphics 3, 1978), so no walk from face to face can lose its way at a corner.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["FaceGrid", "deepest"]

BORDER = 1e-9  # weight by which a point may lie outside a face and still count as on its border
MOST_CELLS = 4_000_000
SEAMLESS = 1e-9  # of a segment: nearer ends of two steps are one point
SLIVER = 1e-12  # of a segment: shorter steps are left out


class FaceGrid:
    """A flat mesh, ready to be searched.

    Parameters
    ----------
    flat : (n, 2) float array
        Positions.
    faces : (m, 3) int array
        Vertex indices; faces without area hold nothing.
    """

    def __init__(self, flat: FloatArray, faces: IntArray) -> None:
        self.flat, self.faces = flat, faces
        corner = flat[faces]
        low, high = corner.min(axis=1), corner.max(axis=1)
        self.origin = low.min(axis=0)
        extent = np.maximum(high.max(axis=0) - self.origin, 1e-300)
        count = min(max(len(faces), 1), MOST_CELLS)
        self.cell = float(max(np.sqrt(extent[0] * extent[1] / count), extent.max() / count))
        self.shape = np.floor(extent / self.cell).astype(np.int64) + 1
        # Boxes grow a little, so that a point on a border finds both faces whatever rounding does.
        room = 1e-9 * self.cell
        first, last = self._cell_of(low - room), self._cell_of(high + room)
        span = last - first + 1
        entries = span.prod(axis=1)
        face = np.repeat(np.arange(len(faces)), entries)
        step = np.arange(len(face)) - np.repeat(np.cumsum(entries) - entries, entries)
        x = first[face, 0] + step // span[face, 1]
        y = first[face, 1] + step % span[face, 1]
        key = x * self.shape[1] + y
        order = np.argsort(key, kind="stable")
        self._face = face[order]
        self._first = np.concatenate([[0], np.cumsum(np.bincount(key, minlength=int(self.shape.prod())))])

    def _cell_of(self, points: FloatArray) -> IntArray:
        cell = np.floor((points - self.origin) / self.cell).astype(np.int64)
        return np.asarray(np.clip(cell, 0, self.shape - 1))

    def locate(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """Return the face that each point lies in, and its weights there.

        Parameters
        ----------
        points : (k, 2) float array
            Positions.

        Returns
        -------
        face : (k,) int array
            The face the point lies deepest in, of equal ones the first; -1 where there is none.
        weights : (k, 3) float array
            NaN where there is none.
        """
        sound = np.asarray(np.isfinite(points).all(axis=1))
        place, face = self._candidates(np.where(sound[:, None], points, self.origin))
        kept = sound[place]
        place, face = place[kept], face[kept]
        return deepest(place, face, self.weights(points[place], face), len(points))

    def _candidates(self, points: FloatArray) -> tuple[IntArray, IntArray]:
        cell = self._cell_of(points)
        key = cell[:, 0] * self.shape[1] + cell[:, 1]
        count = self._first[key + 1] - self._first[key]
        place = np.repeat(np.arange(len(points)), count)
        step = np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
        return place, self._face[self._first[key][place] + step]

    def weights(self, points: FloatArray, face: IntArray) -> FloatArray:
        """Return the weights of each point on the corners of its face, shape (k, 3); NaN in a face without area."""
        a, b, c = (self.flat[self.faces[face, corner]] for corner in range(3))
        twice = _cross(b - a, c - a)
        twice = np.where(twice == 0.0, np.nan, twice)
        second, third = _cross(points - a, c - a) / twice, _cross(b - a, points - a) / twice
        return np.stack([1.0 - second - third, second, third], axis=1)

    def cut(self, line: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return the faces that a polyline crosses, in its order.

        Parameters
        ----------
        line : (k, 2) float array
            Points.

        Returns
        -------
        face : (s,) int array
            One entry for each straight step within one face.
        start, end : (s,) float array
            Where the step starts and ends: segment number plus the share of it. Along a border shared by two faces
            only one of them is named; parts off the mesh are left out.
        """
        segment, low, high = _short_pieces(line, self.cell)
        start = line[segment] + low[:, None] * (line[segment + 1] - line[segment])
        end = line[segment] + high[:, None] * (line[segment + 1] - line[segment])
        piece, face = self._candidates_of_boxes(np.minimum(start, end), np.maximum(start, end))
        inner, outer = self._clipped(start[piece], end[piece], face)
        kept = outer > inner
        piece, face, inner, outer = piece[kept], face[kept], inner[kept], outer[kept]
        width = (high - low)[piece]
        begin, stop = segment[piece] + low[piece] + inner * width, segment[piece] + low[piece] + outer * width
        return _chained(face, begin, stop)

    def _candidates_of_boxes(self, low: FloatArray, high: FloatArray) -> tuple[IntArray, IntArray]:
        first, last = self._cell_of(low), self._cell_of(high)
        span = last - first + 1
        entries = span.prod(axis=1)
        piece = np.repeat(np.arange(len(low)), entries)
        step = np.arange(len(piece)) - np.repeat(np.cumsum(entries) - entries, entries)
        key = (first[piece, 0] + step // span[piece, 1]) * self.shape[1] + first[piece, 1] + step % span[piece, 1]
        count = self._first[key + 1] - self._first[key]
        owner = np.repeat(piece, count)
        inside = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count)
        face = self._face[np.repeat(self._first[key], count) + inside]
        pairs = np.unique(owner * np.int64(len(self.faces)) + face)
        return pairs // len(self.faces), pairs % len(self.faces)

    def _clipped(self, start: FloatArray, end: FloatArray, face: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the part of each piece inside its face, as shares of the piece; empty parts have end <= start."""
        first, last = self.weights(start, face), self.weights(end, face)
        inner, outer = np.zeros(len(face)), np.ones(len(face))
        for corner in range(3):
            # The weight changes linearly along the piece and must not be negative.
            from_, to = first[:, corner], last[:, corner]
            with np.errstate(divide="ignore", invalid="ignore"):
                root = from_ / (from_ - to)
            inner = np.where((from_ < 0.0) & (to >= 0.0), np.maximum(inner, root), inner)
            outer = np.where((to < 0.0) & (from_ >= 0.0), np.minimum(outer, root), outer)
            missed = (
                ((from_ < -BORDER) & (to < 0.0)) | ((to < -BORDER) & (from_ < 0.0)) | np.isnan(from_) | np.isnan(to)
            )
            outer = np.where(missed, -1.0, outer)
        return inner, outer


def deepest(place: IntArray, face: IntArray, weights: FloatArray, count: int) -> tuple[IntArray, FloatArray]:
    """Return for each place the candidate face that it lies deepest in.

    Parameters
    ----------
    place : (c,) int array
        The place each candidate belongs to.
    face : (c,) int array
        Candidates.
    weights : (c, 3) float array
        Weights of the place in the candidate.
    count : int
        How many places there are.

    Returns
    -------
    face : (count,) int array
        Of equally deep ones the lowest number; -1 where none holds the place.
    weights : (count, 3) float array
        NaN where none does.
    """
    least = weights.min(axis=1)
    held = np.flatnonzero(least >= -BORDER)
    order = held[np.lexsort((face[held], -least[held], place[held]))]
    first = np.unique(place[order], return_index=True)[1]
    chosen = order[first]
    found, at = np.full(count, -1, dtype=np.int64), np.full((count, 3), np.nan)
    found[place[chosen]], at[place[chosen]] = face[chosen], weights[chosen]
    return found, at


def _cross(u: FloatArray, v: FloatArray) -> FloatArray:
    return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def _short_pieces(line: FloatArray, longest: float) -> tuple[IntArray, FloatArray, FloatArray]:
    """Segments cut into pieces about as long as a cell: segment number, share at the start and at the end."""
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    pieces = np.maximum(np.ceil(length / longest), 1.0).astype(np.int64)
    segment = np.repeat(np.arange(len(length)), pieces)
    step = np.arange(len(segment)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    return segment, step / pieces[segment], (step + 1) / pieces[segment]


def _chained(face: IntArray, begin: FloatArray, stop: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Order the parts along the line, drop what another face covers already, join parts of one face."""
    order = np.lexsort((face, -stop, begin))
    faces: list[int] = []
    starts: list[float] = []
    ends: list[float] = []
    for k in order.tolist():
        at, until = float(begin[k]), float(stop[k])
        if until - at <= SLIVER or (ends and until <= ends[-1] + SLIVER):
            continue
        # A hair's breadth between two faces, or shared by them, is rounding.
        at = ends[-1] if ends and at < ends[-1] + SEAMLESS else at
        if ends and faces[-1] == face[k] and at == ends[-1] and at != int(at):
            ends[-1] = until
        else:
            faces.append(int(face[k]))
            starts.append(at)
            ends.append(until)
    return np.array(faces, dtype=np.int64), np.array(starts), np.array(ends)
