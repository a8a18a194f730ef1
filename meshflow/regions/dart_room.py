"""Fingers: what is left standing between a dart and another one, a seam, or the rim.

Terms: the *finger* of a place on a dart is the way along the piece from there to the nearest other dart, seam or rim;
the *reach* of a place is its distance from the outer end of its dart, along the dart.

Rule: no finger is narrower than asked for. A dart comes in from the rim, so towards its outer end its own finger
narrows by itself: there half the reach is asked for, which keeps it from running along the rim (under 30 degrees). From
another dart the full width is asked for everywhere, but for the one whose leg it starts on.

Why a width: thin fingers tear, burn through, or curl out of the plane when they are bent. Workshops leave a few
thicknesses between cuts (COMMON_PRACTICE); `usual_finger` takes four, and 3 mm at least.

Method: the geodesic distance from all vertices of the others; near them the straight distance between the lines counts,
so that long sides of a coarse mesh hide nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.piece import Piece

__all__ = ["finger_widths", "first_with_room", "narrowest", "usual_finger"]

_THICKNESSES, _LEAST_MM = 4.0, 3.0
_SPREAD = 0.5  # of the reach: a dart that leaves the rim by 30 degrees


def usual_finger(thickness_mm: float) -> float:
    """Return the least finger width for a thickness [mm].

    Examples
    --------
    >>> usual_finger(0.5), usual_finger(2.0)
    (3.0, 8.0)
    """
    return max(_LEAST_MM, _THICKNESSES * thickness_mm)


def rim_steps(faces: IntArray) -> IntArray:
    """Return the edges of the rim of a piece, (k, 2)."""
    table = edge_table(faces)
    return np.asarray(table.vertices[table.boundary])


def steps_of(way: IntArray) -> IntArray:
    """Return the edges of a way, (k - 1, 2)."""
    return np.stack([way[:-1], way[1:]], axis=1)


def finger_widths(piece: Piece, way: IntArray, steps: IntArray, *, meets: bool = False) -> FloatArray:
    """Return the width left between each place of a way and some edges.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    way : (k,) int array
        Vertices of the way.
    steps : (s, 2) int array
        The edges it should keep clear of.
    meets : bool
        Whether the way ends on them, so that its own sides say nothing.

    Returns
    -------
    (k,) float array
        Width at each vertex, that of the sides beside it included [mm]; infinite without edges.
    """
    if len(steps) == 0:
        return np.full(len(way), np.inf)
    points = piece.vertices
    far = geodesic_distance(points, piece.faces, np.unique(steps))[way]
    longest = float(np.linalg.norm(points[steps[:, 0]] - points[steps[:, 1]], axis=1).max())
    near = _to_segments(points[way], points[steps[:, 0]], points[steps[:, 1]]).min(axis=1)
    if not meets:
        # The same seen from the others: between two straight lines the least distance is at an end of one of them.
        back = _to_segments(points[np.unique(steps)], points[way[:-1]], points[way[1:]]).min(axis=0)
        near = np.minimum(near, np.minimum(np.append(back, np.inf), np.append(np.inf, back)))
    return np.where(far <= near + 2.0 * longest, near, far)


def _to_segments(points: FloatArray, one: FloatArray, two: FloatArray) -> FloatArray:
    """Return the distance of each point from each segment, shape (points, segments)."""
    along = two - one
    square = np.maximum(np.einsum("sd,sd->s", along, along), 1e-300)
    share = np.clip((points @ along.T - np.einsum("sd,sd->s", one, along)) / square, 0.0, 1.0)
    foot = one[None] + share[:, :, None] * along[None]
    return np.asarray(np.linalg.norm(points[:, None] - foot, axis=2))


def first_with_room(piece: Piece, way: IntArray, others: Sequence[IntArray], width: float) -> int:
    """Return from where on, tip to rim, a way leaves fingers of a width.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    way : (k,) int array
        Vertices of the way from its tip to its end.
    others : sequence of (k,) int array
        Darts and seams it should keep clear of, as they are cut.
    width : float
        Least width [mm].

    Returns
    -------
    int
        Place in the way; its last place where no part of it has room.
    """
    if width <= 0.0:
        return 0
    growing = np.minimum(width, _SPREAD * _reach(piece, way))
    hung_on = [steps_of(other) for other in others if len(other) and way[-1] in other]
    clear_of = [steps_of(other) for other in others if len(other) and way[-1] not in other]
    none = np.empty((0, 2), dtype=np.int64)
    narrow = finger_widths(piece, way, np.concatenate([none, *clear_of])) < width * (1.0 - 1e-9)
    own = finger_widths(piece, way, np.concatenate([rim_steps(piece.faces), *hung_on]), meets=True)
    narrow |= own < growing * (1.0 - 1e-9)
    last = np.flatnonzero(narrow)
    return min(int(last[-1]) + 1, len(way) - 1) if len(last) else 0


def _reach(piece: Piece, way: IntArray) -> FloatArray:
    step = np.linalg.norm(np.diff(piece.vertices[way[::-1]], axis=0), axis=1)
    return np.asarray(np.concatenate([[0.0], np.cumsum(step)])[::-1])


def narrowest(piece: Piece, darts: Sequence[IntArray], seams: Sequence[IntArray]) -> float:
    """Return the least width left between two darts, or a dart and a seam or rim that it runs beside [mm].

    Parameters
    ----------
    piece : Piece
        The closed piece.
    darts, seams : sequence of (k,) int array
        As they are cut, from the tip to the end.

    Returns
    -------
    float
        Infinite where a dart has neither beside it.
    """
    widths = [np.inf]
    for number, way in enumerate(darts):
        others = [steps_of(o) for place, o in enumerate([*darts, *seams]) if place != number and way[-1] not in o]
        others = [steps for steps in others if not np.isin(steps, way).any()]  # nor one that starts on this
        widths.append(float(finger_widths(piece, way, np.concatenate([*others, np.empty((0, 2), np.int64)])).min()))
        own = finger_widths(piece, way, rim_steps(piece.faces), meets=True)
        widths.append(float(np.where(own < _SPREAD * _reach(piece, way), own, np.inf).min()))
    return min(widths)
