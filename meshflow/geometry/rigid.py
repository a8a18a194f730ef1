"""Rigid motions of space: do them, chain them, undo them, find the one that lays points on points; mirror images.

Convention: a motion turns first and moves then (see `meshflow.model.rigid`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import InputError
from meshflow.model.arrays import FloatArray
from meshflow.model.rigid import Plane, RigidMotion

__all__ = [
    "best_motion",
    "chained",
    "frame_motion",
    "moved_points",
    "reflected_points",
    "turn_about",
    "turn_of",
    "undone",
]

_IN_LINE = 1e-9  # spread across over spread along under which points lie in one line


def moved_points(points: ArrayLike, motion: RigidMotion) -> FloatArray:
    """Return `points`, shape (n, 3), turned and moved [mm]."""
    return np.asarray(np.asarray(points, dtype=np.float64) @ np.asarray(motion.rotation).T + motion.shift)


def chained(first: RigidMotion, second: RigidMotion) -> RigidMotion:
    """Return the one motion that does `first`, then `second`.

    Examples
    --------
    >>> turn = RigidMotion([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    >>> chained(RigidMotion(shift=[1.0, 0, 0]), turn).shift.tolist()
    [0.0, 1.0, 0.0]
    """
    one, two = np.asarray(first.rotation), np.asarray(second.rotation)
    return RigidMotion(_squared_up(two @ one), two @ np.asarray(first.shift) + np.asarray(second.shift))


def undone(motion: RigidMotion) -> RigidMotion:
    """Return the motion that undoes `motion`."""
    back = np.asarray(motion.rotation).T
    return RigidMotion(back, -(back @ np.asarray(motion.shift)))


def turn_about(vector: ArrayLike) -> FloatArray:
    """Return the turn about a vector by its length.

    Parameters
    ----------
    vector : (3,) array_like
        Axis times angle [rad], right-handed.

    Returns
    -------
    (3, 3) float array
        The turn, by the formula of Rodrigues (1840).

    Examples
    --------
    >>> turn_about([0.0, 0.0, np.pi / 2]).round(12).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    x, y, z = np.asarray(vector, dtype=np.float64)
    angle = math.sqrt(x * x + y * y + z * z)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    # sin(a) / a and (1 - cos a) / a^2 by sinc, which keep their digits for small turns.
    sine, cosine = np.sinc(angle / np.pi), 0.5 * np.sinc(0.5 * angle / np.pi) ** 2
    return np.asarray(np.eye(3) + sine * cross + cosine * (cross @ cross))


def turn_of(rotation: FloatArray) -> float:
    """Return the angle of a turn, 0 to pi [rad]."""
    skew = 0.5 * np.array(
        [rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]]
    )
    return math.atan2(float(np.linalg.norm(skew)), 0.5 * (float(np.trace(rotation)) - 1.0))


def best_motion(points: ArrayLike, targets: ArrayLike, weights: ArrayLike | None = None) -> RigidMotion:
    """Return the motion that brings points nearest to their targets, by least squares; never a mirror image.

    Parameters
    ----------
    points, targets : (n, 3) array_like
        Pairs of positions; at least three, not in one line [mm].
    weights : (n,) array_like, optional
        Weight of each pair.

    Returns
    -------
    RigidMotion
        Turn and move.

    Raises
    ------
    InputError
        If the points do not fix the turn.

    References
    ----------
    S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns", IEEE TPAMI 13:4,
    1991 (singular values, with the sign that forbids a reflection).

    Examples
    --------
    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> best_motion(corner, corner + [5.0, 6.0, 7.0]).shift.round(9).tolist()
    [5.0, 6.0, 7.0]
    """
    one, two = (np.asarray(given, dtype=np.float64).reshape(-1, 3) for given in (points, targets))
    if len(one) != len(two) or not (np.isfinite(one).all() and np.isfinite(two).all()):
        raise InputError("the two rows of points do not pair up.", remedy="Give as many here as there, in order.")
    share = np.ones(len(one)) if weights is None else np.asarray(weights, dtype=np.float64)
    share = share / share.sum() if len(one) else share
    one_middle, two_middle = share @ one, share @ two
    _check_spread(one - one_middle)
    _check_spread(two - two_middle)
    left, _, right = np.linalg.svd((two - two_middle).T @ (share[:, None] * (one - one_middle)))
    sign = np.sign(np.linalg.det(left @ right))
    turn = (left * np.array([1.0, 1.0, sign])) @ right
    return RigidMotion(turn, two_middle - turn @ one_middle)


def _check_spread(points: FloatArray) -> None:
    spread = np.linalg.svd(points, compute_uv=False) if len(points) >= 3 else np.zeros(3)
    if not spread[1] > _IN_LINE * max(float(spread[0]), np.finfo(np.float64).tiny):
        raise InputError(
            "these points do not fix a turn: there are fewer than three, or they lie in one line.",
            remedy="Pick three points that span a wide triangle.",
        )


def frame_motion(origin: ArrayLike, axes: FloatArray) -> RigidMotion:
    """Return the motion that brings `origin` to zero and the rows of `axes`, shape (3, 3), onto x, y and z."""
    turn = _squared_up(np.asarray(axes, dtype=np.float64))
    return RigidMotion(turn, -(turn @ np.asarray(origin, dtype=np.float64)))


def reflected_points(points: ArrayLike, plane: Plane) -> FloatArray:
    """Return the mirror images of points, shape (n, 3) [mm]; points of the plane stay bit for bit where they are."""
    given = np.asarray(points, dtype=np.float64)
    return np.asarray(given - 2.0 * plane.heights(given)[:, None] * plane.normal)


def _squared_up(matrix: FloatArray) -> FloatArray:
    """Return the turn nearest to a matrix that rounding made a little skew."""
    left, _, right = np.linalg.svd(matrix)
    return np.asarray(left @ right)
