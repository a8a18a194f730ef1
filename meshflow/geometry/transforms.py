"""Rigid motions of the plane: turn over, turn, move.

Convention, the same as for placements on a sheet: mirror ``x -> -x`` first, then turn counter-clockwise about the
origin, then move. Turns by whole quarters are exact: a part turned by 90 degrees four times is the part, bit for bit.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Motion
from meshflow.model.layout import Placement

__all__ = ["composed", "inverse", "motion_of", "move_points", "turn_matrix", "turned_direction"]

_QUARTER = math.pi / 2


def turn_matrix(angle_rad: float) -> FloatArray:
    """Return the 2 x 2 matrix that turns counter-clockwise; exact for whole quarter turns.

    Parameters
    ----------
    angle_rad : float
        Angle [rad].

    Returns
    -------
    (2, 2) float array
        Acts on column vectors.

    Examples
    --------
    >>> turn_matrix(np.pi / 2).tolist()
    [[0.0, -1.0], [1.0, 0.0]]
    """
    quarters = angle_rad / _QUARTER
    if abs(quarters - round(quarters)) < 1e-12:
        cosine, sine = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarters) % 4]
    else:
        cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[cosine, 0.0 - sine], [sine, cosine]])  # 0.0 - 0.0, so that no minus zero appears


def move_points(points: ArrayLike, motion: Motion) -> FloatArray:
    """Return `points` mirrored, turned and moved.

    Parameters
    ----------
    points : (n, 2) array_like
        Positions [mm].
    motion : Motion
        What to do with them.

    Returns
    -------
    (n, 2) float array
        New positions [mm].
    """
    turned = np.asarray(points, dtype=np.float64) @ _linear(motion).T
    return np.asarray(turned + np.array([motion.dx_mm, motion.dy_mm]))


def _linear(motion: Motion) -> FloatArray:
    matrix = turn_matrix(motion.angle_rad)
    if motion.mirrored:
        matrix = matrix * np.array([-1.0, 1.0])
    return np.asarray(matrix)


def turned_direction(angle_rad: float, motion: Motion) -> float:
    """Return where a direction points after `motion` [rad, in (-pi, pi]]."""
    own = math.pi - angle_rad if motion.mirrored else angle_rad
    return math.remainder(own + motion.angle_rad, 2.0 * math.pi)


def composed(first: Motion, second: Motion) -> Motion:
    """Return the one motion that does `first`, then `second`.

    Examples
    --------
    >>> composed(Motion(angle_rad=0.5), Motion(mirrored=True)).angle_rad
    -0.5
    """
    angle = second.angle_rad + (-first.angle_rad if second.mirrored else first.angle_rad)
    shift = move_points([[first.dx_mm, first.dy_mm]], second)[0]
    return Motion(first.mirrored != second.mirrored, angle, float(shift[0]), float(shift[1]))


def inverse(motion: Motion) -> Motion:
    """Return the motion that undoes `motion`."""
    angle = motion.angle_rad if motion.mirrored else -motion.angle_rad
    back = Motion(motion.mirrored, angle)
    shift = move_points([[motion.dx_mm, motion.dy_mm]], back)[0]
    return Motion(motion.mirrored, angle, 0.0 - float(shift[0]), 0.0 - float(shift[1]))


def motion_of(placement: Placement) -> Motion:
    """Return the motion that lays a part where `placement` says."""
    return Motion(placement.mirrored, math.radians(placement.angle_deg), placement.x_mm, placement.y_mm)
