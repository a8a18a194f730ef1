"""Sharp corners of a polyline, by how far it turns within a window.

Terms: the *window* is an arc length; a vertex *turns* by the angle between the straight line that leads to it from
one window before and the straight line from it to one window after. An arc of radius r turns by about window / r, so
scan noise much smaller than the window does not look like a corner, and neither does a curve of larger radius.
"""

from __future__ import annotations

import math

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["CORNER_ANGLE", "find_corners", "turning_angles"]

CORNER_ANGLE = math.radians(25.0)


def turning_angles(points: FloatArray, *, window: float, closed: bool = True) -> FloatArray:
    """Return the signed turn at each vertex, measured over `window` on both sides.

    Parameters
    ----------
    points : (n, 2) float array
        Polyline, neighbours distinct [mm].
    window : float
        Arc length to look each way [mm]; cut to an eighth of the whole.
    closed : bool
        Whether the last point joins the first.

    Returns
    -------
    (n,) float array
        Turns, positive to the left [rad]; 0 at the ends of an open polyline.
    """
    count = len(points)
    ring = np.concatenate([points, points, points, points[:1]]) if closed else points
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    total = along[count] if closed else along[-1]
    reach = min(window, total / 8.0)
    first = count if closed else 0
    here = slice(first, first + count)
    before, after = (
        np.stack([np.interp(along[here] + step, along, ring[:, axis]) for axis in (0, 1)], axis=1)
        for step in (-reach, reach)
    )
    into, out = ring[here] - before, after - ring[here]
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    turns = np.arctan2(cross, np.sum(into * out, axis=1))
    if not closed:
        turns[0] = turns[-1] = 0.0
    return np.asarray(turns)


def find_corners(points: FloatArray, *, window: float, angle: float = CORNER_ANGLE, closed: bool = True) -> IntArray:
    """Return the vertices where a polyline turns sharply.

    Parameters
    ----------
    points : (n, 2) float array
        Polyline, neighbours distinct [mm].
    window : float
        Arc length over which the turn is measured [mm].
    angle : float
        Least turn of a corner [rad].
    closed : bool
        Whether the last point joins the first.

    Returns
    -------
    (k,) int array
        Vertex indices, sorted. Within one window only the sharpest counts (the first of equals).

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    >>> find_corners(square, window=1.0).tolist()
    [0, 2, 3, 4]
    """
    turns = np.abs(turning_angles(points, window=window, closed=closed))
    side = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    along = np.concatenate([[0.0], np.cumsum(side)])
    total = along[-1]
    found = np.flatnonzero(turns >= angle)
    kept: list[int] = []
    for vertex in found[np.argsort(-turns[found].round(9), kind="stable")].tolist():
        apart = np.abs(along[kept] - along[vertex])
        if closed:
            apart = np.minimum(apart, total - apart)
        if not np.any(apart < window * (1.0 - 1e-9)):
            kept.append(vertex)
    return np.array(sorted(kept), dtype=np.int64)
