"""The one circle that a closed polyline stands for, if there is one.

A round hole must be drawn as a true circle: shops charge for every start and stop of a hole made of short sides.
The test is exact: all vertices and the nearest point of every side lie within the tolerance of the circle, and the
polyline goes round it once.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle

__all__ = ["fit_circle"]


def fit_circle(points: ArrayLike, *, tolerance: float = 0.05) -> Circle | None:
    """Return the one circle that a closed polyline is within `tolerance`, or None.

    Parameters
    ----------
    points : (n, 2) array_like
        Closed polyline, the first point not repeated [mm].
    tolerance : float
        Greatest distance between polyline (vertices and sides) and circle, both ways [mm].

    Returns
    -------
    Circle or None
        The circle through the vertices by least squares where it fits (centre by Kasa's linear form, weighted by
        the lengths of the sides), else the one midway between the farthest vertex and the nearest side. None when
        neither fits or the polyline does not go round it exactly once.

    References
    ----------
    I. Kasa, "A circle fitting procedure and its error analysis", IEEE Trans. Instrum. Meas. 25, 1976.

    Examples
    --------
    >>> turn = np.arange(64) * (2 * np.pi / 64)
    >>> fit_circle(np.stack([5.0 * np.cos(turn), 5.0 * np.sin(turn)], axis=1)).radius.__round__(6)
    5.0
    """
    ring = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if len(ring) < 3 or not np.isfinite(ring).all():
        return None
    side = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    weight = side + np.roll(side, 1)
    found = _least_squares_circle(ring, weight)
    if found is None:
        return None
    centre, radius = found
    x, y = (ring - centre).T
    angle = np.arctan2(y, x)
    turn = np.remainder(np.roll(angle, -1) - angle + np.pi, 2.0 * np.pi) - np.pi
    if abs(abs(float(turn.sum())) - 2.0 * np.pi) > 1e-6:
        return None
    far, near = float(np.hypot(x, y).max()), _nearest_side(x, y)
    for candidate in (radius, 0.5 * (far + near)):
        if max(far - candidate, candidate - near) <= tolerance:
            return Circle((float(centre[0]), float(centre[1])), candidate)
    return None


def _least_squares_circle(ring: FloatArray, weight: FloatArray) -> tuple[FloatArray, float] | None:
    middle = np.average(ring, axis=0, weights=weight)
    local = ring - middle
    square = np.sum(local**2, axis=1)
    root = np.sqrt(weight)
    system = np.column_stack([2.0 * local, np.ones(len(ring))]) * root[:, None]
    solution: Any = np.linalg.lstsq(system, square * root, rcond=None)[0]
    radius_squared = float(solution[2] + solution[0] ** 2 + solution[1] ** 2)
    if radius_squared <= 0.0:
        return None
    return middle + solution[:2], float(np.sqrt(radius_squared))


def _nearest_side(x: FloatArray, y: FloatArray) -> float:
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    square = dx * dx + dy * dy
    share = np.clip(-(x * dx + y * dy) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
    return float(np.hypot(x + share * dx, y + share * dy).min())
