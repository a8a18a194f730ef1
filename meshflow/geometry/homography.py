"""Maps between two planes seen in perspective, such as a photograph and the flat thing it shows.

Terms: a *homography* is a 3 by 3 matrix H, known up to a factor, that takes x to (H x) / w, w its third component; a
straight line stays straight. Where w has the other sign lies what is behind the camera.

Convention: points are (k, 2); the matrix is scaled so that w is positive at the points it was found from and 1 at the
origin of their middle.

Source: Hartley and Zisserman, Multiple View Geometry in Computer Vision, 2nd ed., algorithm 4.2, the normalised direct
linear transformation (p. 109), equation 4.3 (from memory; tests recover known maps to 1e-9).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray

__all__ = ["depth", "homography", "mapped", "scale_at", "similarity"]

_FLAT = 1e-3  # height of the flattest triangle over the longest side: flatter is a line, within a click of the mouse


def homography(source: ArrayLike, target: ArrayLike) -> FloatArray:
    """Return the homography that takes four or more points to others, by least squares where there are more.

    Parameters
    ----------
    source, target : (k, 2) array_like
        Points and where they go, in the same order; at least four.

    Returns
    -------
    (3, 3) float array
        See `mapped`.

    Raises
    ------
    OptionError
        If there are fewer than four, three of four lie on a line or two in one place, or the points are crossed or
        mirrored, so that no camera can have seen them so.

    Examples
    --------
    >>> square = [[0, 0], [1, 0], [1, 1], [0, 1]]
    >>> mapped(homography(square, [[0, 0], [4, 0], [4, 2], [0, 2]]), [[0.5, 0.5]]).round(9).tolist()
    [[2.0, 1.0]]
    """
    a, b = _pair(source, target, least=4)
    if len(a) == 4:
        _check_quadrangle(a, "in the picture")
        _check_quadrangle(b, "as given in millimetres")
    (to_a, x), (to_b, y) = _normalised(a), _normalised(b)
    ones, zeros = np.ones(len(x)), np.zeros((len(x), 3))
    rows = np.column_stack([x, ones])
    # Equation 4.3: each pair gives two rows of A h = 0.
    upper = np.concatenate([zeros, -rows, y[:, 1:] * rows], axis=1)
    lower = np.concatenate([rows, zeros, -y[:, :1] * rows], axis=1)
    _, values, vectors = np.linalg.svd(np.concatenate([upper, lower]), full_matrices=True)
    if values[7] < 1e-9 * values[0]:
        raise OptionError("the points lie on a line.", remedy="Take the corners of something wide and high.")
    found = np.linalg.inv(to_b) @ vectors[-1].reshape(3, 3) @ to_a
    depths = depth(found, a)
    if not (np.all(depths > 0.0) or np.all(depths < 0.0)):
        raise OptionError(
            "the points are crossed: no camera sees them so.", remedy="Give both lists in one order round the shape."
        )
    middle = float(depth(found, a.mean(axis=0)[None])[0])
    return np.asarray(found / middle)


def similarity(source: ArrayLike, target: ArrayLike) -> FloatArray:
    """Return the turn, scale and move that takes two points to two others, as a 3 by 3 matrix; y is turned over.

    A picture counts y downwards and a drawing upwards, so what is meant is the mirror of a turn: the result has a
    negative determinant.

    Parameters
    ----------
    source, target : (2, 2) array_like
        Points of the picture [pixels, y down], and where they go [mm, y up].

    Raises
    ------
    OptionError
        If the two points are in one place.
    """
    a, b = _pair(source, target, least=2)
    start, end = (complex(x, -y) for x, y in a[:2])
    to_start, to_end = (complex(x, y) for x, y in b[:2])
    if start == end or to_start == to_end:
        raise OptionError("the two points are in one place.", remedy="Take two that are far apart.")
    factor = (to_end - to_start) / (end - start)
    shift = to_start - factor * start
    c, s = factor.real, factor.imag
    return np.array([[c, s, shift.real], [s, -c, shift.imag], [0.0, 0.0, 1.0]])


def mapped(matrix: FloatArray, points: ArrayLike) -> FloatArray:
    """Return where points go, shape (k, 2); not a number for what lies behind the camera."""
    plane = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    there = np.column_stack([plane, np.ones(len(plane))]) @ matrix.T
    ahead = there[:, 2:] > 0.0
    return np.where(ahead, there[:, :2] / np.where(ahead, there[:, 2:], 1.0), np.nan)


def depth(matrix: FloatArray, points: ArrayLike) -> FloatArray:
    """Return w of points, shape (k,): what they are divided by; positive before the camera."""
    plane = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return np.asarray(np.column_stack([plane, np.ones(len(plane))]) @ matrix[2])


def scale_at(matrix: FloatArray, points: ArrayLike) -> FloatArray:
    """Return the greatest length that a step of one becomes at points, shape (k,), by the derivative of the map."""
    plane = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    there, w = mapped(matrix, plane), depth(matrix, plane)
    rows = matrix[:2, :2][None] - there[:, :, None] * matrix[2, :2][None, None]
    known = np.asarray(np.isfinite(there).all(axis=1))
    slope = np.where(known[:, None, None], rows / np.where(w == 0.0, 1.0, w)[:, None, None], 0.0)
    return np.where(known, np.linalg.svd(slope, compute_uv=False)[:, 0], np.nan)


def _pair(source: ArrayLike, target: ArrayLike, *, least: int) -> tuple[FloatArray, FloatArray]:
    a, b = (np.asarray(points, dtype=np.float64).reshape(-1, 2) for points in (source, target))
    if len(a) != len(b) or len(a) < least:
        raise OptionError(
            f"{len(a)} points in the picture and {len(b)} places for them.", remedy=f"Give {least} of each, or more."
        )
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        raise OptionError("a point is not a number.", remedy="Give finite numbers.")
    return a, b


def _normalised(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the similarity that sets points about the origin at a mean distance of sqrt 2, and the points so set."""
    middle = points.mean(axis=0)
    far = float(np.hypot(*(points - middle).T).mean())
    if far == 0.0:
        raise OptionError("all points are in one place.", remedy="Take points far apart.")
    s = np.sqrt(2.0) / far
    return np.array([[s, 0.0, -s * middle[0]], [0.0, s, -s * middle[1]], [0.0, 0.0, 1.0]]), (points - middle) * s


def _check_quadrangle(points: FloatArray, where: str) -> None:
    """Raise OptionError if three of four points lie on a line."""
    for left_out in range(4):
        a, b, c = np.delete(points, left_out, axis=0)
        sides = [np.hypot(*(b - a)), np.hypot(*(c - b)), np.hypot(*(a - c))]
        twice = abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
        if twice <= _FLAT * max(sides) ** 2:
            three = ", ".join(str(number + 1) for number in range(4) if number != left_out)
            raise OptionError(
                f"points {three} {where} lie on a line.", remedy="Take the four corners of something wide and high."
            )
