"""The strip of surface along a rim, fine enough to draw a new rim in it.

Terms: the *border* is where what is meant meets what is not; the *scan edge* is where the meant part ends because the
scan does; the *band* is all within a reach of the rim, its sides halved to a given length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.topology import edge_table, face_adjacency
from meshflow.geometry.triangles import edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.cut import insert_on_edges
from meshflow.regions.disc import with_neighbours
from meshflow.regions.division import Division
from meshflow.regions.piece import Piece, implanted, index_in_whole

__all__ = ["Band", "band_along", "border_edges", "scan_edges"]

_MOST_SIDES = 2000.0


@dataclass(frozen=True, eq=False)
class Band:
    """A division with the surface near a rim made fine.

    Parameters
    ----------
    piece : Piece
        The whole surface.
    inside : (m,) bool array
        Faces that are meant.
    near : (m,) bool array
        Faces of the band.
    rim : (n,) bool array
        Vertices on the rim.
    """

    piece: Piece
    inside: BoolArray
    near: BoolArray
    rim: BoolArray

    def corners_of(self, faces: BoolArray) -> BoolArray:
        """Return which vertices some faces use."""
        used = np.zeros(len(self.piece.vertices), dtype=bool)
        used[self.piece.faces[faces]] = True
        return used

    def distance(self, faces: BoolArray, cap: float) -> FloatArray:
        """Return the distance of each vertex from the rim along some faces of the band, `cap` where it is more [mm]."""
        part, old = self.piece.take(np.flatnonzero(faces & self.near))
        distance = np.full(len(self.piece.vertices), cap)
        sources = np.flatnonzero(self.rim[old])
        if len(sources):
            distance[old] = np.minimum(_distance_from_line(part, sources, cap), cap)
        return distance


def _distance_from_line(part: Piece, sources: IntArray, limit: float) -> FloatArray:
    from meshflow.regions.front import spread

    faces = np.ascontiguousarray(part.faces)
    distance = np.full(len(part.vertices), np.inf)
    distance[sources] = 0.0
    corner = np.argsort(faces.reshape(-1), kind="stable")
    first = np.concatenate([[0], np.cumsum(np.bincount(faces.reshape(-1), minlength=len(distance)))])
    spread(faces, edge_lengths(part.vertices, faces), first, corner, distance, limit)
    return distance


def border_edges(division: Division) -> IntArray:
    """Return the vertex pairs where what is meant meets what is not, shape (k, 2)."""
    table = edge_table(division.piece.faces)
    pairs, edges = face_adjacency(division.piece.faces, table)
    return np.asarray(table.vertices[edges[division.inside[pairs[:, 0]] != division.inside[pairs[:, 1]]]])


def scan_edges(division: Division) -> IntArray:
    """Return the vertex pairs where what is meant ends at the edge of the scan, shape (k, 2)."""
    table = edge_table(division.piece.faces)
    edges = table.of_half_edge.reshape(-1, 3)[division.inside].reshape(-1)
    return np.asarray(table.vertices[np.unique(edges[table.boundary[edges]])])


def band_along(
    division: Division, edges: IntArray, reach: float, side: float, text: str, *, only: bool | None = None
) -> Band:
    """Return the surface with the sides near a rim halved.

    Parameters
    ----------
    division : Division
        What is meant.
    edges : (k, 2) int array
        The rim, as vertex pairs.
    reach : float
        How far from the rim the band reaches [mm].
    side : float
        Longest side wanted in it [mm]; longer on a rim of over 2000 such sides.
    text : str
        What the maker wrote, for the message.
    only : bool, optional
        Only faces inside (true) or outside (false) count as near.

    Returns
    -------
    Band
        With the rim in it.

    Raises
    ------
    SelectionError
        If the rim is over 2000 times as long as the amount that `text` names (the reach at most).
    """
    whole = division.piece
    ends = whole.vertices[edges]
    length = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)
    side = max(side, float(length.sum()) / _MOST_SIDES)
    if side > reach:
        raise SelectionError(
            f'"{text}" is too little for a rim of {length.sum():.0f} mm: less than one part in {_MOST_SIDES:.0f}.',
            remedy="Amounts are in millimetres. Leave it out, or say more.",
        )
    near = _Near(_samples(ends, length, side), reach + side)
    wanted = division.inside == only if only is not None else np.ones(len(division.inside), dtype=bool)
    taken = with_neighbours(whole, np.flatnonzero(near.of(whole, wanted)))
    part, old = whole.take(taken)
    table = edge_table(part.faces)
    width = [len(whole.vertices), 1]
    on_rim = table.vertices[np.isin(np.sort(old[table.vertices], axis=1) @ width, edges @ width)]
    part, origin, close, on_rim = _halved_near(part, near, near.of(part, wanted[taken]), on_rim, side)
    index = index_in_whole(whole, part, old)
    piece, back = implanted(whole, part, old, taken[origin])
    mark = np.zeros(len(piece.faces), dtype=bool)
    mark[np.isin(back, taken)] = close
    rim = np.zeros(len(piece.vertices), dtype=bool)
    rim[index[on_rim]] = True
    return Band(piece, division.inside[back], mark, rim)


class _Near:
    """Tells which faces come within a reach of a rim that is given by points on it."""

    def __init__(self, samples: FloatArray, reach: float) -> None:
        from scipy.spatial import cKDTree

        self._tree, self._reach = cKDTree(samples), reach

    def of(self, piece: Piece, among: BoolArray) -> BoolArray:
        """Return which of some faces have a point of the rim within reach of the circle round them."""
        close = among.copy()
        corners = piece.vertices[piece.faces[among]]
        centres = corners.mean(axis=1)
        radius = np.linalg.norm(corners - centres[:, None], axis=2).max(axis=1)
        away = self._tree.query(centres, distance_upper_bound=self._reach + radius.max(initial=0.0))[0]
        close[among] = away <= self._reach + radius
        return close


def _halved_near(
    part: Piece, near: _Near, close: BoolArray, rim: IntArray, side: float
) -> tuple[Piece, IntArray, BoolArray, IntArray]:
    """Halve the sides of close faces until none is longer than `side`.

    Returns the part, the face before that each face lies in, which faces are close, and the rim's vertex pairs.
    """
    origin = np.arange(len(part.faces))
    while True:
        table = edge_table(part.faces)
        of_close = np.zeros(len(table.vertices), dtype=bool)
        of_close[table.of_half_edge.reshape(-1, 3)[close]] = True
        run = part.vertices[table.vertices]
        long = np.flatnonzero(of_close & (np.linalg.norm(run[:, 0] - run[:, 1], axis=1) > side))
        if len(long) == 0:
            return part, origin, close, rim
        rim = _halved(rim, table.vertices[long], len(part.vertices))
        part, came = insert_on_edges(part, table, long, np.full(len(long), 0.5))
        origin, close = origin[came], near.of(part, close[came])


def _samples(ends: FloatArray, length: FloatArray, side: float) -> FloatArray:
    """Return points along some segments, not farther apart than `side`."""
    count = np.maximum(np.ceil(length / side).astype(np.int64), 1)
    which = np.repeat(np.arange(len(ends)), count)
    share = ((np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)) / count[which])[:, None]
    points = (1.0 - share) * ends[which, 0] + share * ends[which, 1]
    return np.concatenate([points, ends.reshape(-1, 3)])


def _halved(edges: IntArray, divided: IntArray, count: int) -> IntArray:
    """Return some vertex pairs, those halved by a new vertex as two; new vertices are numbered from `count`."""
    low, high = np.sort(edges, axis=1).T
    width = int(max(divided.max(initial=0), edges.max(initial=0))) + 1
    keys = divided[:, 0] * width + divided[:, 1]
    at = np.minimum(np.searchsorted(keys, low * width + high), len(keys) - 1)
    split = keys[at] == low * width + high
    middle = count + at[split]
    return np.concatenate(
        [edges[~split], np.stack([edges[split, 0], middle], axis=1), np.stack([middle, edges[split, 1]], axis=1)]
    )
