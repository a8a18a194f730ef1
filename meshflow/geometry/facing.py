"""Where two sides of a part face each other closely, and where its contours turn into the material.

Terms: a *web* is material between two sides that face each other; a *slot* is emptiness between two such sides; an
*inside corner* is where the contour turns towards the material, so that a round tool cannot follow it.

Convention: whichever way the contours run, the first is the outline and the others are holes.

Method: points are set along all contours, closer than a quarter of the width looked for, each with its direction into
the material. Two of them face each other across material when those directions are opposed to within 30 degrees and the
line between them runs along both; across a slot when it runs against both. What is left out so: the two sides of a
corner wider than 30 degrees, which are near each other at any corner. The nearest pair is then moved along both curves
to where they are nearest, which is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import length, point_at, signed_area, tangent_at
from meshflow.geometry.parted import stretch
from meshflow.geometry.pieces import pieces, project
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Circle, Polycurve

__all__ = ["Narrow", "inside_corners", "narrows"]

_OPPOSED = -np.cos(np.radians(30.0))
_ALONG = np.cos(np.radians(25.0))
_FINEST_MM, _COARSEST_MM = 0.02, 1.0
_MOST_POINTS = 400_000
_ROUNDS, _TRIES = 6, 33
_MOST_TRIES = 20
_CORNER = np.radians(20.0)  # a turn under this is a kink of the fit, not a corner
_TIGHT = np.radians(30.0)  # sweep from which an arc counts as a rounded corner


@dataclass(frozen=True, slots=True)
class Narrow:
    """A place where two sides lie closer than asked.

    Parameters
    ----------
    width_mm : float
        Their distance where it is least [mm].
    place : (float, float)
        Middle between them [mm].
    contours : (int, int)
        Numbers of the contours, the lower first; 0 is the outline.
    """

    width_mm: float
    place: tuple[float, float]
    contours: tuple[int, int]


@dataclass(frozen=True, eq=False)
class _Points:
    """Points along all contours, about `step` apart, with the direction into the material."""

    place: FloatArray
    inward: FloatArray
    along: FloatArray
    contour: IntArray
    step: float


def narrows(contours: Sequence[Polycurve | Circle], width: float, *, across: str) -> list[Narrow]:
    """Return where two sides face each other with less than `width` between them.

    Parameters
    ----------
    contours : sequence of Polycurve or Circle
        Outline, then holes, closed [mm].
    width : float
        Width looked for [mm].
    across : {"web", "slot"}
        Whether there is material between the sides, or nothing.

    Returns
    -------
    list of Narrow
        The narrowest first, one for each stretch of a narrow place.

    Examples
    --------
    >>> washer = [Circle((0.0, 0.0), 10.0), Circle((0.0, 0.0), 9.5)]
    >>> [round(found.width_mm, 3) for found in narrows(washer, 1.0, across="web")][:1]
    [0.5]
    """
    from scipy.spatial import cKDTree

    if width <= 0.0:
        return []
    points = _points(contours, width)
    pairs = cKDTree(points.place).query_pairs(width + points.step, output_type="ndarray")
    pairs = pairs[_may_face(points, pairs, 1.0 if across == "web" else -1.0)]
    apart = np.hypot(*(points.place[pairs[:, 0]] - points.place[pairs[:, 1]]).T)
    return _gathered(contours, points, pairs[np.argsort(apart, kind="stable")], width)


def _points(contours: Sequence[Polycurve | Circle], width: float) -> _Points:
    total = sum(length(contour) for contour in contours)
    step = max(min(max(0.2 * width, _FINEST_MM), _COARSEST_MM), total / _MOST_POINTS)
    parts = [_along(contour, number, step) for number, contour in enumerate(contours)]
    places, inward, alongs, numbers = (np.concatenate(column) for column in zip(*parts, strict=True))
    return _Points(places, inward, alongs, numbers.astype(np.int64), step)


def _along(
    contour: Polycurve | Circle, number: int, step: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    long = length(contour)
    count = max(int(np.ceil(long / step)), 16)
    along = np.asarray((np.arange(count) + 0.5) * (long / count), dtype=np.float64)
    return point_at(contour, along), _inward(contour, number, along), along, np.full(count, float(number))


def _inward(contour: Polycurve | Circle, number: int, along: FloatArray) -> FloatArray:
    tangent = tangent_at(contour, along)
    left = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    # Material lies left of an outline that runs counter-clockwise and of a hole that runs clockwise.
    return left if (signed_area(contour) > 0.0) == (number == 0) else -left


def _may_face(points: _Points, pairs: IntArray, sign: float) -> BoolArray:
    """Return which pairs look at each other; of pairs nearer than the points are set, how far aside cannot be told."""
    a, b = pairs[:, 0], pairs[:, 1]
    across = points.place[b] - points.place[a]
    apart = np.hypot(*across.T)
    unit = sign * across / np.where(apart > 0.0, apart, 1.0)[:, None]
    opposed = np.einsum("ki,ki->k", points.inward[a], points.inward[b]) < _OPPOSED
    least = np.where(apart < 2.0 * points.step, 0.0, _ALONG)
    along_a = np.einsum("ki,ki->k", unit, points.inward[a]) > least
    along_b = np.einsum("ki,ki->k", unit, points.inward[b]) < -least
    return np.asarray((apart > 0.0) & opposed & along_a & along_b)


def _gathered(contours: Sequence[Polycurve | Circle], points: _Points, pairs: IntArray, width: float) -> list[Narrow]:
    """Return the narrowest place of each narrow stretch: pairs that hang together belong to one."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if len(pairs) == 0:
        return []
    middle = 0.5 * (points.place[pairs[:, 0]] + points.place[pairs[:, 1]])
    near = cKDTree(middle).query_pairs(2.0 * points.step, output_type="ndarray")
    links = coo_matrix((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(pairs), len(pairs)))
    _, label = connected_components(links, directed=False)
    found: dict[int, Narrow] = {}
    tried = dict.fromkeys(label.tolist(), 0)
    for pair, group in zip(pairs, label.tolist(), strict=True):
        if group in found or tried[group] >= _MOST_TRIES:
            continue
        tried[group] += 1
        exact = _measured(contours, points, pair)
        if exact is not None and exact.width_mm < width:
            found[group] = exact
    return sorted(found.values(), key=lambda narrow: (narrow.width_mm, narrow.place))


def _measured(contours: Sequence[Polycurve | Circle], points: _Points, pair: IntArray) -> Narrow | None:
    """Return the nearest two points near a pair, each moved along its curve; None if they do not face each other."""
    numbers = points.contour[pair].tolist()
    sides = [contours[number] for number in numbers]
    room = [min(3.0 * points.step, 0.4 * length(side)) for side in sides]
    begin = [float(at) - far for at, far in zip(points.along[pair], room, strict=True)]
    runs = [stretch(side, at, at + 2.0 * far) for side, at, far in zip(sides, begin, room, strict=True)]
    low, high = 0.0, length(runs[0])
    for _ in range(_ROUNDS):  # the distance from one side is searched ever finer along the other
        tries = np.linspace(low, high, _TRIES)
        places = point_at(runs[0], tries)
        feet, apart = project(runs[1], places)
        best = int(np.argmin(apart))
        low, high = tries[max(best - 1, 0)], tries[min(best + 1, _TRIES - 1)]
    along = [begin[0] + float(tries[best]), begin[1] + float(feet[best])]
    one, two = places[best], point_at(runs[1], feet[best : best + 1])[0]
    inward = [_inward(side, number, np.array([at]))[0] for side, number, at in zip(sides, numbers, along, strict=True)]
    if float(inward[0] @ inward[1]) >= _OPPOSED:
        return None
    x, y = (0.5 * (one + two)).tolist()
    first, second = sorted(numbers)
    return Narrow(float(apart[best]), (x, y), (first, second))


def inside_corners(contours: Sequence[Polycurve | Circle], radius: float) -> list[tuple[float, float, float]]:
    """Return the inside corners with less than a radius.

    Parameters
    ----------
    contours : sequence of Polycurve or Circle
        Outline, then holes, closed [mm].
    radius : float
        Radius that can still be cut [mm].

    Returns
    -------
    list of (float, float, float)
        Radius, 0 for a sharp corner, and place [mm]; the sharpest first. Round holes are not among them.
    """
    found: list[tuple[float, float, float]] = []
    for number, contour in enumerate(contours):
        if isinstance(contour, Circle):
            continue
        sign = 1.0 if (signed_area(contour) > 0.0) == (number == 0) else -1.0
        table = pieces(contour)
        sweep = sign * table.sweep
        entry, leave = table.heading - 0.5 * table.sweep, table.heading + 0.5 * table.sweep
        turn = sign * _wrapped(entry - np.roll(leave, 1))
        found += [(0.0, x, y) for x, y in table.start[turn < -_CORNER].tolist()]
        bent = np.where(table.bulge == 0.0, 1.0, table.bulge)
        radii = table.chord * (1.0 + bent**2) / (4.0 * np.abs(bent))
        tight = np.flatnonzero((sweep < -_TIGHT) & (radii < radius))
        middles = table.points(tight, np.full(len(tight), 0.5))
        found += [(r, x, y) for r, (x, y) in zip(radii[tight].tolist(), middles.tolist(), strict=True)]
    return sorted(found)


def _wrapped(angle: FloatArray) -> FloatArray:
    return np.asarray((angle + np.pi) % (2.0 * np.pi) - np.pi)
