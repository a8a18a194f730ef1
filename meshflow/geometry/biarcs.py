"""Arcs along a smooth curve: an ellipse or a spline as the few arcs that a machine can cut.

Terms: a *biarc* is two arcs that meet in one direction; it takes over both end points and both end directions of a
piece of curve, so a run of biarcs has no kink that the curve has not.

Convention: points of the plane are complex numbers, x + iy [mm]; a *bulge* is the tangent of a quarter of an arc's
sweep, positive counter-clockwise.

Method: one biarc with arms of equal length for a stretch of the curve (K. M. Bolton, "Biarc curves", Computer-Aided
Design 7, 1975, from memory); where it strays, the stretch is halved. The distance is tested at `_TESTS` places of the
curve against the circle of the arc, in a form that stays exact as the arc becomes a line.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from meshflow.errors import InputError

__all__ = ["Budget", "Smooth", "bezier", "biarcs", "ellipse"]

_TESTS: Final = 7
_SHORTEST: Final = 1e-6  # [mm], the grid of the files: a shorter stretch has no direction
_DEEPEST: Final = 24
_INSIDE: Final = 1e-6  # share of a stretch: at the very end of a cusp the curve has no direction
_STRAIGHT: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Smooth:
    """A curve without corners.

    Parameters
    ----------
    at : callable
        Point for a parameter, complex [mm].
    slope : callable
        Derivative there; only its direction counts.
    first, last : float
        Range of the parameter.
    """

    at: Callable[[float], complex]
    slope: Callable[[float], complex]
    first: float = 0.0
    last: float = 1.0


@dataclass(slots=True)
class Budget:
    """How many arcs may still be made; a hostile file could ask for millions.

    Parameters
    ----------
    left : int
        Arcs left.
    """

    left: int = 200_000

    def take(self) -> None:
        """Use up one arc.

        Raises
        ------
        InputError
            If none is left.
        """
        self.left -= 1
        if self.left < 0:
            raise InputError(
                "its curves take more lines and arcs than a part can have.",
                remedy="Check the unit of the drawing, or simplify its curves.",
            )


def bezier(*control: complex) -> Smooth:
    """Return a Bezier curve of two to four control points.

    Parameters
    ----------
    *control : complex
        Control points [mm].

    Returns
    -------
    Smooth
        Over 0 to 1.

    Examples
    --------
    >>> bezier(0, 1 + 2j, 2).at(0.5)
    (1+1j)
    """
    p = [complex(point) for point in control]
    if len(p) == 2:
        return Smooth(lambda t: p[0] + t * (p[1] - p[0]), lambda t: p[1] - p[0])
    if len(p) == 3:
        a, b = p[0] - 2 * p[1] + p[2], p[1] - p[0]
        return Smooth(lambda t: (a * t + 2 * b) * t + p[0], lambda t: a * t + b)
    a, b, c = p[3] - 3 * p[2] + 3 * p[1] - p[0], p[2] - 2 * p[1] + p[0], p[1] - p[0]
    return Smooth(lambda t: ((a * t + 3 * b) * t + 3 * c) * t + p[0], lambda t: (a * t + 2 * b) * t + c)


def ellipse(centre: complex, u: complex, v: complex, first: float, turn: float) -> Smooth:
    """Return the curve ``centre + u cos t + v sin t``, an ellipse with the conjugate radii `u` and `v`.

    Parameters
    ----------
    centre, u, v : complex
        Centre and conjugate radii [mm].
    first, turn : float
        Where it starts and how far it goes [rad].

    Returns
    -------
    Smooth
        Over `first` to ``first + turn``.
    """
    return Smooth(
        lambda t: centre + u * math.cos(t) + v * math.sin(t),
        lambda t: v * math.cos(t) - u * math.sin(t) if turn >= 0 else u * math.sin(t) - v * math.cos(t),
        first,
        first + turn,
    )


def biarcs(curve: Smooth, *, tolerance: float, budget: Budget | None = None) -> list[tuple[complex, float]]:
    """Return arcs and lines within `tolerance` of a curve.

    Parameters
    ----------
    curve : Smooth
        The curve.
    tolerance : float
        Greatest distance [mm].
    budget : Budget, optional
        Arcs that may be made; a new one when left out.

    Returns
    -------
    list of (complex, float)
        For each piece the point where it ends [mm] and its bulge; the first starts at ``curve.at(curve.first)``.

    Raises
    ------
    InputError
        If the curve is not finite or takes too many arcs.

    Examples
    --------
    >>> quarter = ellipse(0, 10, 10j, 0.0, math.pi / 2)
    >>> sum(4 * math.atan(bulge) for _, bulge in biarcs(quarter, tolerance=0.01)) / math.pi
    0.5
    """
    budget = budget or Budget()
    pieces: list[tuple[complex, float]] = []
    # Two halves from the start: the whole of a closed curve has no chord, and an S-curve may pass its tests by chance.
    middle = 0.5 * (curve.first + curve.last)
    waiting = [(middle, curve.last, 1), (curve.first, middle, 1)]
    while waiting:
        low, high, depth = waiting.pop()
        found = _stretch(curve, low, high, tolerance, last=depth >= _DEEPEST)
        if found is None:
            budget.take()  # halving costs as much as drawing
            middle = 0.5 * (low + high)
            waiting += [(middle, high, depth + 1), (low, middle, depth + 1)]
            continue
        for piece in found:
            budget.take()
            pieces.append(piece)
    return pieces


def _stretch(
    curve: Smooth, low: float, high: float, tolerance: float, *, last: bool
) -> list[tuple[complex, float]] | None:
    """Return the pieces for one stretch, or None where it must be halved."""
    start, end = curve.at(low), curve.at(high)
    if not (cmath.isfinite(start) and cmath.isfinite(end)):
        raise InputError("a curve has a coordinate that is not a finite number.", remedy="Draw it anew.")
    steps = (high - low) / (_TESTS + 1)
    places = [curve.at(low + steps * k) for k in range(1, _TESTS + 1)]
    if abs(end - start) < _SHORTEST:
        # Short by itself, or a loop that comes back: the places between tell.
        far = max(abs(place - start) for place in places) > tolerance
        return None if far and not last else [(end, 0.0)]
    arcs = _biarc(start, _heading(curve, low, high, at_end=False), end, _heading(curve, low, high, at_end=True))
    if arcs is not None and _close(start, arcs, places, tolerance):
        return arcs
    return [(end, 0.0)] if last or _close(start, [(end, 0.0)], places, 1e-3 * tolerance) else None


def _heading(curve: Smooth, low: float, high: float, *, at_end: bool) -> complex:
    """Return the direction of the curve at an end of a stretch, as a unit number; 0 where it has none."""
    inside = high - _INSIDE * (high - low) if at_end else low + _INSIDE * (high - low)
    for parameter in (high if at_end else low, inside):
        slope = curve.slope(parameter)
        size = abs(slope)
        if size > 1e-9 and math.isfinite(size):
            return slope / size
    return 0j


def _biarc(start: complex, out: complex, end: complex, into: complex) -> list[tuple[complex, float]] | None:
    """Return the two arcs with arms of equal length, or None where there are none that turn less than a half turn."""
    if out == 0 or into == 0:
        return None
    across = end - start
    both, turned = _dot(across, out + into), 1.0 - _dot(out, into)
    if turned > 1e-9:
        arm = (math.sqrt(both * both + 2.0 * turned * abs(across) ** 2) - both) / (2.0 * turned)
    elif both > _STRAIGHT * abs(across):
        arm = abs(across) ** 2 / (2.0 * both)
    else:
        return None
    joint = 0.5 * (start + end + arm * (out - into))
    bulges = _half_turn(out, joint - start), _half_turn(end - joint, into)
    if max(map(abs, bulges)) > 1.0 or min(abs(joint - start), abs(end - joint)) < _SHORTEST:
        return None
    return [(joint, bulges[0]), (end, bulges[1])]


def _half_turn(one: complex, other: complex) -> float:
    """Return the tangent of half the angle from one direction to another: the bulge of an arc from tangent to chord."""
    angle = math.atan2(one.real * other.imag - one.imag * other.real, _dot(one, other))
    bulge = math.tan(0.5 * angle)
    return bulge if abs(bulge) > _STRAIGHT else 0.0


def _dot(one: complex, other: complex) -> float:
    return one.real * other.real + one.imag * other.imag


def _close(start: complex, arcs: list[tuple[complex, float]], places: list[complex], tolerance: float) -> bool:
    return all(min(_distances(start, arcs, place)) <= tolerance for place in places)


def _distances(start: complex, arcs: list[tuple[complex, float]], place: complex) -> Iterator[float]:
    for end, bulge in arcs:
        chord = abs(end - start)
        # In the frame of the chord the circle is b (x^2 + y^2 - L^2/4) = y L (1 - b^2) / 2, its gradient
        # L (1 + b^2) / 2 long: to first order this is the distance, and for b = 0 it is exactly |y|.
        local = (place - 0.5 * (start + end)) * (end - start).conjugate() / chord
        beside = abs(local.real) - 0.5 * chord  # past the end of a flat arc its circle does not count
        off = bulge * (abs(local) ** 2 - 0.25 * chord**2) - 0.5 * local.imag * chord * (1.0 - bulge**2)
        away = abs(off) / (0.5 * chord * (1.0 + bulge**2))
        yield away if beside <= 0.0 or abs(bulge) > 0.3 else math.hypot(away, beside)
        start = end
