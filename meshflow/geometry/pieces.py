"""The lines and arcs of a curve as one table: points on them, their lengths, the nearest of them.

Terms: a *piece* is one line or arc of a `Polycurve`; *along* is arc length from the start of the curve [mm].

Convention: a positive bulge sweeps counter-clockwise and lies to the right of its chord. Nothing here divides by a
bulge or steps from the centre of a nearly straight arc: points of an arc are found from its chord and its starting
tangent, which stays exact as the radius grows without limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Polycurve

__all__ = ["Pieces", "piece_lengths", "pieces", "project"]

_CHUNK = 1_000_000  # point-piece pairs held at once when projecting
_MANY = 200_000  # pairs from which it pays to look for near pieces first


@dataclass(frozen=True, eq=False)
class Pieces:
    """The lines and arcs of a curve, one row each.

    Parameters
    ----------
    start, end : (m, 2) float array
        End points [mm].
    bulge : (m,) float array
        Tangent of a quarter of the sweep.
    """

    start: FloatArray
    end: FloatArray
    bulge: FloatArray

    @property
    def chord(self) -> FloatArray:
        """Chord lengths, shape (m,) [mm]."""
        return np.asarray(np.hypot(*(self.end - self.start).T))

    @property
    def heading(self) -> FloatArray:
        """Directions of the chords, shape (m,) [rad]."""
        across = self.end - self.start
        return np.asarray(np.arctan2(across[:, 1], across[:, 0]))

    @property
    def sweep(self) -> FloatArray:
        """Signed sweep angles, shape (m,); 0 for a line [rad]."""
        return np.asarray(4.0 * np.arctan(self.bulge))

    def points(self, piece: IntArray, share: FloatArray) -> FloatArray:
        """Return the points at `share` (0 to 1) of the length of each given piece, shape (k, 2)."""
        half = 0.5 * self.sweep[piece]
        # From the start, the point at share u is 2 r sin(u sweep / 2) away, u sweep / 2 off the starting tangent.
        ratio = np.where(np.abs(half) < 1e-8, share, np.sin(share * half) / np.where(half == 0.0, 1.0, np.sin(half)))
        turn = half * (share - 1.0)
        across = self.end[piece] - self.start[piece]
        cosine, sine = np.cos(turn), np.sin(turn)
        turned = np.stack([cosine * across[:, 0] - sine * across[:, 1], sine * across[:, 0] + cosine * across[:, 1]], 1)
        return np.asarray(self.start[piece] + ratio[:, None] * turned)


def pieces(curve: Polycurve | Circle) -> Pieces:
    """Return the pieces of a curve; a circle is two half turns from its rightmost point, counter-clockwise."""
    if isinstance(curve, Circle):
        x, y = curve.centre
        right, left = np.array([[x + curve.radius, y]]), np.array([[x - curve.radius, y]])
        return Pieces(np.concatenate([right, left]), np.concatenate([left, right]), np.ones(2))
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    if curve.closed:
        return Pieces(curve.points, np.roll(curve.points, -1, axis=0), bulges)
    return Pieces(curve.points[:-1], curve.points[1:], bulges[:-1])


def piece_lengths(curve: Polycurve | Circle) -> FloatArray:
    """Return the length of each piece, shape (m,) [mm]."""
    table = pieces(curve)
    bent = table.bulge != 0.0
    bulge = np.where(bent, table.bulge, 1.0)
    stretch = np.where(bent, (1.0 + bulge**2) * np.arctan(bulge) / bulge, 1.0)
    return np.asarray(table.chord * stretch)


def project(curve: Polycurve | Circle, points: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return where on the curve each point is nearest, and how far it is.

    Parameters
    ----------
    curve : Polycurve or Circle
        The curve.
    points : (k, 2) array_like
        Positions [mm].

    Returns
    -------
    along : (k,) float array
        Arc length of the nearest point from the start [mm]; the first piece wins a tie.
    distance : (k,) float array
        Distance to it [mm].
    """
    table, query = pieces(curve), np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not len(query):
        return np.zeros(0), np.zeros(0)
    if len(query) * len(table.bulge) >= _MANY and np.isfinite(query).all():
        from meshflow.geometry.near_pieces import near_pieces

        blocks = [_nearest(table, query, *pairs) for pairs in near_pieces(table, query, most=_CHUNK)]
    else:
        rows = max(1, _CHUNK // max(1, len(table.bulge)))
        blocks = [_project_block(table, query[at : at + rows]) for at in range(0, len(query), rows)]
    piece, share, distance = (np.concatenate(columns) for columns in zip(*blocks, strict=True))
    lengths = piece_lengths(curve)
    return (np.cumsum(lengths) - lengths)[piece] + share * lengths[piece], distance


def _project_block(table: Pieces, query: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    count = len(table.bulge)
    return _nearest(table, query, np.repeat(np.arange(len(query)), count), np.tile(np.arange(count), len(query)))


def _nearest(
    table: Pieces, query: FloatArray, which: IntArray, piece: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return piece, share and distance of the nearest among pairs of point and piece, sorted by point, then piece."""
    share, distance = _feet(table, query[which], piece)
    first = np.flatnonzero(np.concatenate([[True], which[1:] != which[:-1]]))
    group = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(which))))
    hits = np.flatnonzero(
        ~(distance > np.minimum.reduceat(distance, first)[group])
    )  # so what is no number has a row too
    best = hits[np.concatenate([[True], group[hits][1:] != group[hits][:-1]])]  # the first piece wins a tie
    return piece[best], share[best], distance[best]


def _feet(table: Pieces, query: FloatArray, piece: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return where on each piece its point is nearest, as a share of its length, and how far."""
    chord = np.maximum(table.chord, 1e-300)
    unit = ((table.end - table.start) / chord[:, None])[piece]
    offset = query - (0.5 * (table.start + table.end))[piece]
    x = offset[:, 0] * unit[:, 0] + offset[:, 1] * unit[:, 1]
    y = offset[:, 1] * unit[:, 0] - offset[:, 0] * unit[:, 1]
    half, bulge = 0.5 * chord[piece], table.bulge[piece]
    bent = np.abs(bulge) > 1e-12
    safe = np.where(bent, bulge, 1.0)
    # The centre lies (1 - b^2) / 2b half chords to the left; angles are measured from the arc's highest point.
    from_centre = y - half * (1.0 - safe**2) / (2.0 * safe)
    turn = np.arctan2(x, -np.sign(safe) * from_centre)
    on_arc = 0.5 * (np.clip(turn / np.abs(2.0 * np.arctan(safe)), -1.0, 1.0) + 1.0)
    share = np.where(bent, on_arc, np.clip(0.5 * (x / half + 1.0), 0.0, 1.0))
    return share, np.asarray(np.hypot(*(query - table.points(piece, share)).T))
