"""From the flat to the formed piece and back: points and lines by their face and their weights in it.

Terms: a *place* is a face of the piece with three weights on its corners (barycentric); it is one and the same place
on the flat, on the formed piece and on the scan. A *run* is a stretch of a line without a gap; a line drawn across the
edge of the pattern falls into several.

Each face of the piece lies in one face of the scan and each of its vertices knows where, so a place maps on to the scan
without any search. On the flat, faces are found through a grid of square cells. Weights are never rounded or clipped:
mapping there and back changes a point by rounding only (1e-9 of the size of the piece in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from meshflow.geometry.facegrid import FaceGrid, deepest
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import FlatPattern

__all__ = ["PatternMap", "Places", "SurfaceRun"]


@dataclass(frozen=True, eq=False)
class Places:
    """Places of a piece, and where they are.

    Parameters
    ----------
    face : (k,) int array
        Face of the piece; -1 for a point that is not on it.
    barycentric : (k, 3) float array
        Weights on the corners of that face; NaN where there is none.
    flat : (k, 2) float array
        Position on the flat [mm].
    formed : (k, 3) float array
        Position on the formed piece: carrier surface, neutral layer [mm].
    scan_face : (k,) int array
        Face of the scan; -1 where there is none.
    scan_barycentric : (k, 3) float array
        Weights on the corners of that face.
    """

    face: IntArray
    barycentric: FloatArray
    flat: FloatArray
    formed: FloatArray
    scan_face: IntArray
    scan_barycentric: FloatArray

    @property
    def inside(self) -> BoolArray:
        """Which points lie on the piece, (k,)."""
        return np.asarray(self.face >= 0)


@dataclass(frozen=True, eq=False)
class SurfaceRun:
    """A stretch of a line on the piece, cut at every border between faces.

    Parameters
    ----------
    face : (s,) int array
        Face of each straight step.
    ends : (s, 2, 3) float array
        Weights of the start and the end of each step.
    share : (s + 1,) float array
        How far along the whole line each point lies: segment number plus the share of it.
    flat : (s + 1, 2) float array
        Points on the flat [mm].
    formed : (s + 1, 3) float array
        Points on the formed piece [mm].
    """

    face: IntArray
    ends: FloatArray
    share: FloatArray
    flat: FloatArray
    formed: FloatArray

    @property
    def length_formed_mm(self) -> float:
        """Length on the formed piece [mm]."""
        return float(np.linalg.norm(np.diff(self.formed, axis=0), axis=1).sum())


@dataclass(frozen=True, eq=False)
class PatternMap:
    """Maps between the flat, the formed piece and the scan; keeps its search grid for the next question.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.

    Examples
    --------
    >>> there = PatternMap(pattern).to_surface([[10.0, 5.0]])  # doctest: +SKIP
    >>> there.formed, there.scan_face  # doctest: +SKIP
    """

    pattern: FlatPattern
    _grid: FaceGrid = field(init=False, repr=False)
    _scan_weights: FloatArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_grid", FaceGrid(self.pattern.vertices, self.pattern.faces))
        object.__setattr__(self, "_scan_weights", _weights_in_scan(self.pattern))

    def to_surface(self, points: ArrayLike) -> Places:
        """Return where points of the flat lie on the piece.

        Parameters
        ----------
        points : (k, 2) array_like
            Positions on the flat [mm].

        Returns
        -------
        Places
            A point outside the pattern, or in a hole of it, has face -1 and NaN positions.
        """
        wanted = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        face, weights = self._grid.locate(wanted)
        return self._places(face, weights)

    def to_flat(self, face: ArrayLike, barycentric: ArrayLike) -> FloatArray:
        """Return the flat positions of places given by faces of the piece and weights, shape (k, 2) [mm]."""
        ids = np.asarray(face, dtype=np.int64).reshape(-1)
        weights = np.asarray(barycentric, dtype=np.float64).reshape(-1, 3)
        return _blend(self.pattern.vertices, self.pattern.faces, ids, weights)

    def from_scan(self, scan_face: ArrayLike, barycentric: ArrayLike) -> Places:
        """Return where places of the scan lie on the piece.

        Parameters
        ----------
        scan_face : (k,) array_like of int
            Faces of the scan.
        barycentric : (k, 3) array_like
            Weights on their corners.

        Returns
        -------
        Places
            A place that was not picked, or was cut off, has face -1.
        """
        ids = np.asarray(scan_face, dtype=np.int64).reshape(-1)
        weights = np.asarray(barycentric, dtype=np.float64).reshape(-1, 3)
        parent = self.pattern.region.face_parent
        order = np.argsort(parent, kind="stable")
        first = np.searchsorted(parent[order], ids, side="left")
        count = np.searchsorted(parent[order], ids, side="right") - first
        place = np.repeat(np.arange(len(ids)), count)
        step = np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
        candidate = order[first[place] + step]
        # The scan face seen in the weights of the piece's face: invert the three rows of corner weights.
        inverse = np.linalg.pinv(self._scan_weights[candidate])
        inner = np.einsum("ki,kij->kj", weights[place], inverse)
        face, best = deepest(place, candidate, inner, len(ids))
        return self._places(face, best)

    def line_to_surface(self, points: ArrayLike, *, closed: bool = False) -> list[SurfaceRun]:
        """Return a line of the flat as it runs over the piece.

        Parameters
        ----------
        points : (k, 2) array_like
            Polyline on the flat [mm].
        closed : bool
            Whether the last point joins the first.

        Returns
        -------
        list of SurfaceRun
            In the direction of the line; empty where no part of it lies on the pattern.
        """
        line = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        if closed:
            line = np.concatenate([line, line[:1]])
        face, start, end = self._grid.cut(line)
        breaks = np.flatnonzero(start[1:] - end[:-1] > _GAP) + 1
        runs = zip(np.split(face, breaks), np.split(start, breaks), np.split(end, breaks), strict=True)
        return [self._run(line, *run) for run in runs if len(run[0])]

    def line_to_flat(self, face: ArrayLike, ends: ArrayLike) -> FloatArray:
        """Return a run of the piece as a polyline on the flat, shape (s + 1, 2) [mm].

        Parameters
        ----------
        face : (s,) array_like of int
            Face of each straight step.
        ends : (s, 2, 3) array_like
            Weights of the start and the end of each step; a step starts where the one before ends.
        """
        ids, weights = np.asarray(face, dtype=np.int64), np.asarray(ends, dtype=np.float64)
        start, end = self.to_flat(ids, weights[:, 0]), self.to_flat(ids, weights[:, 1])
        return np.concatenate([start[:1], end])

    def _run(self, line: FloatArray, face: IntArray, start: FloatArray, end: FloatArray) -> SurfaceRun:
        share = np.concatenate([start[:1], end])
        segment = np.minimum(share.astype(np.int64), len(line) - 2)
        flat = line[segment] + (share - segment)[:, None] * (line[segment + 1] - line[segment])
        ends = np.stack([self._grid.weights(flat[:-1], face), self._grid.weights(flat[1:], face)], axis=1)
        region = self.pattern.region
        first = _blend(region.vertices, region.faces, face[:1], ends[:1, 0])
        return SurfaceRun(
            face=face,
            ends=ends,
            share=share,
            flat=flat,
            formed=np.concatenate([first, _blend(region.vertices, region.faces, face, ends[:, 1])]),
        )

    def _places(self, face: IntArray, weights: FloatArray) -> Places:
        region = self.pattern.region
        held = np.where(face >= 0, face, 0)
        scan = np.einsum("ki,kij->kj", weights, self._scan_weights[held])
        return Places(
            face=face,
            barycentric=weights,
            flat=_blend(self.pattern.vertices, self.pattern.faces, held, weights),
            formed=_blend(region.vertices, region.faces, held, weights),
            scan_face=np.where(face >= 0, region.face_parent[held], -1),
            scan_barycentric=scan,
        )


_GAP = 1e-9  # of a segment: wider gaps between two faces are off the pattern


def _blend(positions: FloatArray, faces: IntArray, face: IntArray, weights: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ki,kid->kd", weights, positions[faces[face]]))


def _weights_in_scan(pattern: FlatPattern) -> FloatArray:
    """Weights of the corners of each face of the piece in the scan's face it lies in, shape (m, 3, 3)."""
    region = pattern.region
    home = region.surface.faces[region.face_parent]
    own = region.surface.faces[region.vertex_parent[region.faces]]
    weights = region.barycentric[region.faces]
    # A vertex on a border may name another face of the scan: carry its weights over by the corners they share.
    same = own[:, :, :, None] == home[:, None, None, :]
    carried = np.einsum("mvi,mvij->mvj", weights, same)
    lost = np.abs(carried.sum(axis=2) - 1.0) > 1e-9
    for face, corner in np.argwhere(lost).tolist():
        carried[face, corner] = _weights_by_position(
            region.surface.vertices, home[face], own[face, corner], weights[face, corner]
        )
    return np.asarray(carried)


def _weights_by_position(vertices: FloatArray, home: IntArray, own: IntArray, weights: FloatArray) -> FloatArray:
    """Weights in another face of the scan, by the position: for vertices joined where the scan's own corners differ."""
    origin, u, v = vertices[home[0]], vertices[home[1]] - vertices[home[0]], vertices[home[2]] - vertices[home[0]]
    along, *_ = np.linalg.lstsq(np.stack([u, v], axis=1), weights @ vertices[own] - origin, rcond=None)
    return np.array([1.0 - along.sum(), *along])
