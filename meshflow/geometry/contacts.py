"""Where closed lines in the plane meet, decided exactly.

Terms: each line has its material on the left. Two lines *cross* where they pass through each other; they *cover* each
other where they meet at a corner or run along each other with material on one and the same side; else they only
*touch*: a slit whose sides lie on each other touches itself. Crossing and covering mean that material lies on material,
touching does not.

Method: a sweep over the segments in a slanting direction (so that neither upright nor level sides pile up) finds the
pairs whose boxes meet. What they do to each other follows from the signs of triangles alone. A sign is taken from
doubles where their error bound allows it, else from exact fractions (Shewchuk's filter), so no tolerance enters.

References
----------
M. I. Shamos and D. Hoey, "Geometric intersection problems", FOCS 1976 (sweep).
J. R. Shewchuk, "Adaptive precision floating-point arithmetic and fast robust geometric predicates", Discrete &
Computational Geometry 18, 1997 (error bound of the sign).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Contact", "loop_contacts", "triangle_signs"]

ContactKind = Literal["cross", "cover", "touch"]

SIGN_ERROR = 3.3306690738754716e-16  # of the sum of both products: Shewchuk's bound A for the sign of a triangle
SLANT = 0.61  # rad: direction of the sweep
CHUNK = 1_000_000  # pairs looked at together


@dataclass(frozen=True, slots=True)
class Contact:
    """Two segments that meet.

    Parameters
    ----------
    kind : {"cross", "cover", "touch"}
        What they do to each other.
    first, second : int
        Numbers of the segments, counted through all lines; segment k starts at point k.
    point : (float, float)
        Where they meet.
    """

    kind: ContactKind
    first: int
    second: int
    point: tuple[float, float]


def loop_contacts(loops: Sequence[ArrayLike]) -> list[Contact]:
    """Return where closed lines meet themselves or each other.

    Parameters
    ----------
    loops : sequence of (n, 2) array_like
        Points of each line, material on the left; the first point is not repeated.

    Returns
    -------
    list of Contact
        In the order of the segments. Neighbours that share their corner count only where one runs back along the
        other. A corner is reported once for each place that it meets.

    Examples
    --------
    >>> [(c.kind, c.point) for c in loop_contacts([[[0, 0], [2, 2], [2, 0], [0, 2]]])]
    [('cross', (1.0, 1.0))]
    """
    points, before, after = _joined(loops)
    if len(points) == 0:
        return []
    found: dict[tuple[int, int], Contact] = {}
    for first, second in _pairs_of_boxes(points, after):
        apart = (after[first] != second) & (after[second] != first)
        _meet(points, before, after, first[apart], second[apart], found)
    _turned_back(points, before, after, found)
    return [found[key] for key in sorted(found)]


def _joined(loops: Sequence[ArrayLike]) -> tuple[FloatArray, IntArray, IntArray]:
    """All points in one table, and the index before and after each of them on its line."""
    arrays = [np.asarray(loop, dtype=np.float64).reshape(-1, 2) for loop in loops]
    points = np.concatenate(arrays) if arrays else np.empty((0, 2))
    index = np.arange(len(points))
    starts = np.cumsum([0] + [len(array) for array in arrays])
    runs = [index[start:end] for start, end in pairwise(starts)]
    before = np.concatenate([np.roll(run, 1) for run in runs]) if runs else index
    after = np.concatenate([np.roll(run, -1) for run in runs]) if runs else index
    return points, before, after


def _pairs_of_boxes(points: FloatArray, after: IntArray) -> list[tuple[IntArray, IntArray]]:
    """Pairs of segments whose boxes meet, first < second, in chunks."""
    start, end = points, points[after]
    along = points @ np.array([np.cos(SLANT), np.sin(SLANT)])
    room = 1e-12 * np.abs(along).max(initial=0.0)
    low, high = np.minimum(along, along[after]) - room, np.maximum(along, along[after]) + room
    order = np.argsort(low, kind="stable")
    until = np.searchsorted(low[order], high[order], side="right")
    count = until - np.arange(len(order)) - 1
    box_low, box_high = np.minimum(start, end), np.maximum(start, end)
    chunks = []
    reached = np.cumsum(count)
    begin = 0
    while begin < len(order):
        done = reached[begin - 1] if begin else 0
        stop = max(int(np.searchsorted(reached, done + CHUNK)), begin + 1)
        rank = np.repeat(np.arange(begin, stop), count[begin:stop])
        step = np.arange(len(rank)) - np.repeat(np.cumsum(count[begin:stop]) - count[begin:stop], count[begin:stop])
        one, two = order[rank], order[rank + step + 1]
        meet = ((box_low[one] <= box_high[two]) & (box_low[two] <= box_high[one])).all(axis=1)
        one, two = one[meet], two[meet]
        chunks.append((np.minimum(one, two), np.maximum(one, two)))
        begin = stop
    return chunks


def _meet(
    points: FloatArray,
    before: IntArray,
    after: IntArray,
    first: IntArray,
    second: IntArray,
    found: dict[tuple[int, int], Contact],
) -> None:
    a, b, c, d = first, after[first], second, after[second]
    sign_c, sign_d = triangle_signs(points, a, b, c), triangle_signs(points, a, b, d)
    sign_a, sign_b = triangle_signs(points, c, d, a), triangle_signs(points, c, d, b)
    crossing = (sign_c * sign_d < 0) & (sign_a * sign_b < 0)
    for i, j in zip(first[crossing].tolist(), second[crossing].tolist(), strict=True):
        found[i, j] = Contact("cross", i, j, _crossing_point(*points[[i, after[i], j, after[j]]]))
    for end, sign, one, two in ((c, sign_c, a, b), (d, sign_d, a, b), (a, sign_a, c, d), (b, sign_b, c, d)):
        for k in np.flatnonzero((sign == 0) & _in_box(points[end], points[one], points[two])).tolist():
            _add_corner(points, before, after, int(end[k]), int(one[k]), found)


def _in_box(point: FloatArray, one: FloatArray, two: FloatArray) -> BoolArray:
    return np.asarray(((np.minimum(one, two) <= point) & (point <= np.maximum(one, two))).all(axis=1))


def _add_corner(
    points: FloatArray,
    before: IntArray,
    after: IntArray,
    corner: int,
    segment: int,
    found: dict[tuple[int, int], Contact],
) -> None:
    """Note a corner that lies on a segment: inside it, or on one of its ends."""
    at = points[corner]
    ends = [segment, int(after[segment])]
    same = [end for end in ends if bool((points[end] == at).all())]
    other = same[0] if same else segment
    if other == corner:
        return
    key = (min(corner, other), max(corner, other))
    if key in found and found[key].kind != "touch":
        return
    own = (points[after[corner]], points[before[corner]])
    its = (points[after[other]], points[before[other]]) if same else (points[ends[1]], points[ends[0]])
    kind: ContactKind = "cover" if _sectors_overlap(at, own, its) else "touch"
    found[key] = Contact(kind, *key, (float(at[0]), float(at[1])))


def _turned_back(points: FloatArray, before: IntArray, after: IntArray, found: dict[tuple[int, int], Contact]) -> None:
    """Corners whose two sides run along each other: the end of a slit, or a spike without width."""
    index = np.arange(len(points))
    flat = triangle_signs(points, before, index, after) == 0
    for corner in np.flatnonzero(flat).tolist():
        if _same_way(points[corner], points[before[corner]], points[after[corner]]):
            key = (min(int(before[corner]), corner), max(int(before[corner]), corner))
            found.setdefault(key, Contact("touch", *key, (float(points[corner, 0]), float(points[corner, 1]))))


def triangle_signs(points: FloatArray, a: IntArray, b: IntArray, c: IntArray) -> IntArray:
    """Return the exact sign of the area of triangles a, b, c: 1 counter-clockwise, 0 on one line, -1 clockwise.

    Parameters
    ----------
    points : (n, 2) float array
        Positions.
    a, b, c : (k,) int array
        Indices of the corners.

    Returns
    -------
    (k,) int array
        Signs.
    """
    p, q, r = points[a], points[b], points[c]
    left = (p[:, 0] - r[:, 0]) * (q[:, 1] - r[:, 1])
    right = (p[:, 1] - r[:, 1]) * (q[:, 0] - r[:, 0])
    twice = left - right
    sign = np.sign(twice).astype(np.int64)
    for k in np.flatnonzero(np.abs(twice) <= SIGN_ERROR * (np.abs(left) + np.abs(right))).tolist():
        sign[k] = _exact_sign(p[k], q[k], r[k])
    return sign


def _sign(p: FloatArray, q: FloatArray, r: FloatArray) -> int:
    return int(triangle_signs(np.stack([p, q, r]), np.array([0]), np.array([1]), np.array([2]))[0])


def _exact_sign(p: FloatArray, q: FloatArray, r: FloatArray) -> int:
    px, py, qx, qy, rx, ry = (Fraction(float(value)) for value in (*p, *q, *r))
    twice = (px - rx) * (qy - ry) - (py - ry) * (qx - rx)
    return (twice > 0) - (twice < 0)


def _sectors_overlap(at: FloatArray, one: tuple[FloatArray, FloatArray], two: tuple[FloatArray, FloatArray]) -> bool:
    """Whether two sectors round a point, each counter-clockwise from its first arm to its second, share an angle."""
    if _same_way(at, one[0], two[0]) or _same_way(at, one[1], two[1]):
        return True
    return any(_strictly_between(at, arm, *sector) for arms, sector in ((one, two), (two, one)) for arm in arms)


def _same_way(at: FloatArray, p: FloatArray, q: FloatArray) -> bool:
    """Whether p and q lie in one direction from a point."""
    if _sign(at, p, q) != 0:
        return False
    return bool((np.sign(p - at) == np.sign(q - at)).all())


def _strictly_between(at: FloatArray, arm: FloatArray, start: FloatArray, end: FloatArray) -> bool:
    """Whether an arm lies strictly inside the sector counter-clockwise from start to end (equal: a full turn)."""
    if _same_way(at, arm, start) or _same_way(at, arm, end):
        return False
    if _same_way(at, start, end):
        return True
    after_start, before_end = _sign(at, start, arm), _sign(at, arm, end)
    opening = _sign(at, start, end)
    if opening > 0:
        return after_start > 0 and before_end > 0
    if opening < 0:
        return after_start > 0 or before_end > 0
    return after_start > 0  # a straight angle


def _crossing_point(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> tuple[float, float]:
    along, other, gap = b - a, d - c, c - a
    share = (gap[0] * other[1] - gap[1] * other[0]) / (along[0] * other[1] - along[1] * other[0])
    x, y = a + min(max(float(share), 0.0), 1.0) * along
    return float(x), float(y)
