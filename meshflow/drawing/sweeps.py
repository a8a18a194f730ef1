"""Parts of circles and ellipses on their way to a `Polycurve`, the same for DXF and SVG.

Convention: points are complex numbers x + iy [mm]; a sweep is ``centre + u cos t + v sin t``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, TypeAlias

import numpy as np

from meshflow.geometry.pieces import pieces
from meshflow.model.curve import Circle, Polycurve

__all__ = ["SAME_MM", "Piece", "is_round", "polycurve_of", "sweep_pieces", "true_circle"]

SAME_MM: Final = 1e-7  # under the grid of the files
_ROUND: Final = 1e-9
_ONE_CIRCLE_MM: Final = 1e-4  # half a step of a file with four decimals, and then some

Piece: TypeAlias = tuple[complex, float]  # where it ends, and its bulge


def is_round(u: complex, v: complex) -> bool:
    """Whether two conjugate radii are those of a circle: of one length and square to each other."""
    size = abs(u) + abs(v)
    return abs(abs(u) - abs(v)) <= _ROUND * size and abs((u.conjugate() * v).real) <= _ROUND * size * size


def sweep_pieces(centre: complex, u: complex, v: complex, first: float, turn: float, end: complex) -> list[Piece]:
    """Return the arc of a circle ``centre + u cos t + v sin t`` as one piece, or two where it is over a half turn.

    Parameters
    ----------
    centre, u, v : complex
        Centre and two radii square to each other [mm].
    first, turn : float
        Where it starts and how far it goes [rad].
    end : complex
        Where it ends, without the rounding of a cosine [mm].

    Returns
    -------
    list of (complex, float)
        Where each piece ends, and its bulge.
    """
    way = math.copysign(1.0, (u.conjugate() * v).imag)
    steps = 1 if abs(turn) <= math.pi * (1 + 1e-12) else 2
    bulge = math.tan(way * turn / steps / 4.0)
    angles = (first + turn * k / steps for k in range(1, steps))
    return [*((centre + u * math.cos(t) + v * math.sin(t), bulge) for t in angles), (end, bulge)]


def polycurve_of(start: complex, pieces: Sequence[Piece], closed: bool) -> Polycurve:
    """Return pieces as one curve.

    Parameters
    ----------
    start : complex
        Where the first piece starts [mm].
    pieces : sequence of (complex, float)
        Where each piece ends, and its bulge.
    closed : bool
        Whether the last point joins the first, by a line where they differ.

    Returns
    -------
    Polycurve
        The curve.
    """
    corners = np.array([start, *(end for end, _ in pieces)])
    bulges = np.array([*(bulge for _, bulge in pieces), 0.0])
    if closed and abs(corners[-1] - corners[0]) <= SAME_MM and len(corners) > 2:
        corners, bulges = corners[:-1], bulges[:-1]
    return Polycurve(np.stack([corners.real, corners.imag], axis=1), bulges, closed)


def true_circle(contour: Polycurve | Circle) -> Polycurve | Circle:
    """Return a contour as a circle where all of its pieces are arcs of one, once round.

    Programs draw circles as two or four arcs; a shop wants the circle, because it pierces and measures it as one.

    Parameters
    ----------
    contour : Polycurve or Circle
        Closed [mm].

    Returns
    -------
    Polycurve or Circle
        The circle, or the contour as it was.
    """
    if isinstance(contour, Circle) or not contour.closed:
        return contour
    bulges = np.asarray(contour.bulges)
    table = pieces(contour)
    if not bulges.all() or abs(abs(float(table.sweep.sum())) - 2.0 * math.pi) > 1e-6:
        return contour
    across, middle = table.end - table.start, 0.5 * (table.start + table.end)
    rise = ((1.0 - bulges**2) / (4.0 * bulges))[:, None]  # from the chord to the centre, in chords
    centres = middle + rise * np.stack([-across[:, 1], across[:, 0]], axis=1)
    radii = table.chord * (1.0 + bulges**2) / (4.0 * np.abs(bulges))
    if max(float(np.ptp(centres, axis=0).max()), float(np.ptp(radii))) > _ONE_CIRCLE_MM:
        return contour
    x, y = centres.mean(axis=0).tolist()
    return Circle((x, y), float(radii.mean()))
