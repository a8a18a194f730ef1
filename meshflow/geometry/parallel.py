"""The parallel of a closed contour: every line and arc moved square to itself, lines and arcs again.

Terms: a corner of the contour that opens when its sides move apart is *mitred*: both sides run on, an arc along its
own circle, until they meet. Where that point lies farther off than `most_mitre` times the distance, or the sides never
meet, an arc about the old corner closes the gap. Corners that close are cut where their sides cross.

Pieces that vanish, and sides that run into each other elsewhere, leave the closed form; the parallel is then found by
GEOS on fine chords and fitted with lines and arcs again (`fit_arcs`).
"""

from __future__ import annotations

import cmath
import math

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.curves import signed_area, tessellate
from meshflow.geometry.pieces import Pieces, pieces
from meshflow.geometry.polygons import buffered_ring, crossing_places
from meshflow.model.curve import Circle, Polycurve

__all__ = ["MOST_MITRE", "parallel_contour"]

MOST_MITRE = 4.0
_SMOOTH = 1e-5  # rad: joints that turn less are tangent; their gap is far under the grid of a file
_HARDLY = 0.05  # rad: where sides nearly run on, their meeting point is ill defined and a small gap is halved instead
_FINE = 0.05
_SHORT_MM = 0.06


def parallel_contour(
    contour: Polycurve | Circle,
    distance: float,
    *,
    tolerance: float = 0.01,
    most_mitre: float = MOST_MITRE,
    rounded: bool = False,
    settle: bool = True,
) -> Polycurve | Circle | None:
    """Return a closed contour grown or shrunk by a distance.

    Parameters
    ----------
    contour : Polycurve or Circle
        Closed, in either direction, crossing nothing.
    distance : float
        How far its sides move out of the area it encloses; into it where negative [mm].
    tolerance : float
        Greatest distance from the true parallel where there is no closed form [mm].
    most_mitre : float
        How far a mitred corner may lie from the old one, over the distance.
    rounded : bool
        Whether corners that open are rounded about the old corner, so that all of the result keeps its distance; one
        whose arc were shorter than 0.06 mm is mitred all the same, as shops dislike short pieces.
    settle : bool
        Whether joints settle where there is no closed form, see `fit_arcs`.

    Returns
    -------
    Polycurve, Circle or None
        In the same direction; None when nothing is left of it.

    Raises
    ------
    OptionError
        If the distance is not a number.

    Examples
    --------
    >>> slot = Polycurve([[0.0, 0.0], [2.0, 0.0], [2.0, 4.0], [0.0, 4.0]])
    >>> parallel_contour(slot, 0.1).points.max(axis=0).round(9).tolist()
    [2.1, 4.1]
    """
    if not math.isfinite(distance):
        raise OptionError(f"a distance of {distance} mm is not a number.", remedy="Give millimetres.")
    if isinstance(contour, Circle):
        radius = contour.radius + distance
        return Circle(contour.centre, radius) if radius > 1e-9 else None
    if distance == 0.0:
        return contour
    area = signed_area(contour)
    exact = _closed_form(
        pieces(contour), distance if area > 0.0 else -distance, 0.0 if rounded else most_mitre, 0.1 * tolerance
    )
    fine = _FINE * tolerance
    if exact is not None and _is_sound(exact, contour, distance, fine):
        return exact
    ring = buffered_ring(tessellate(contour, tolerance=fine), distance, most_mitre=0.0 if rounded else most_mitre)
    if ring is None or len(ring) < 3:
        return None
    if (_ring_area(ring) > 0.0) != (area > 0.0):
        ring = ring[::-1]
    return fit_arcs(ring, tolerance=tolerance, settle=settle)


def _ring_area(ring: np.ndarray) -> float:
    local = ring - ring[0]
    after = np.roll(local, -1, axis=0)
    return 0.5 * float(np.sum(local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]))


def _is_sound(result: Polycurve, contour: Polycurve, distance: float, fine: float) -> bool:
    """Whether the closed form is the parallel: it keeps its distance all along, and crosses nothing."""
    from meshflow.geometry.curves import distance_to

    if (signed_area(result) > 0.0) != (signed_area(contour) > 0.0):
        return False
    fine = max(min(fine, 0.02 * abs(distance)), 1e-5)
    points = tessellate(result, tolerance=fine)
    middles = 0.5 * (points + np.roll(points, -1, axis=0))
    near = distance_to(contour, np.concatenate([points, middles]))
    return bool(near.min() >= abs(distance) - 2.0 * fine) and len(crossing_places(points)) == 0


def _closed_form(table: Pieces, right: float, most_mitre: float, gap: float) -> Polycurve | None:
    """Return the pieces moved to the right by `right` and joined again; None where one of them vanishes."""
    sweeps, headings = table.sweep.tolist(), table.heading.tolist()
    sides = [_Side(table, k, right, sweeps[k], headings[k]) for k in range(len(table.bulge))]
    if any(side.gone for side in sides):
        return None
    corners = [_corner(sides[k - 1], sides[k], right, most_mitre, gap) for k in range(len(sides))]
    points, bulges = [], []
    for k, side in enumerate(sides):
        start, end = corners[k], corners[(k + 1) % len(sides)]
        begin, finish = start[-1], end[0]
        bulge = side.bulge_between(begin, finish)
        if bulge is None:
            return None
        if len(start) == 2:  # an arc about the old corner
            points.append(start[0])
            turn = _wrapped(side.into - sides[k - 1].out)
            bulges.append(math.tan(0.25 * turn))
        points.append(begin)
        bulges.append(bulge)
    return Polycurve(np.array([[z.real, z.imag] for z in points]), np.array(bulges))


class _Side:
    """A piece moved square to itself: its new ends, the directions there, and its circle or line."""

    def __init__(self, table: Pieces, k: int, right: float, sweep: float, heading: float) -> None:
        start, end = complex(*table.start[k]), complex(*table.end[k])
        self.corner, self.bulge = start, float(table.bulge[k])
        self.into, self.out = heading - 0.5 * sweep, heading + 0.5 * sweep
        self.start = start - 1j * right * cmath.exp(1j * self.into)
        self.end = end - 1j * right * cmath.exp(1j * self.out)
        radius = abs(end - start) / (2.0 * math.sin(0.5 * abs(sweep))) if sweep else math.inf
        # Beyond a kilometre an arc is as good as a line to its neighbours, and its centre has lost its digits.
        self.is_line = radius > 1e6
        self.radius = radius + math.copysign(right, self.bulge)
        self.gone = self.radius <= 1e-6 or start == end
        self.centre = (
            start + 1j * math.copysign(radius, self.bulge) * cmath.exp(1j * self.into) if not self.is_line else 0j
        )

    def bulge_between(self, begin: complex, finish: complex) -> float | None:
        """Return the bulge of what lies between two points of its line or circle; None where it would run back."""
        if self.is_line:
            along = ((finish - begin) * (self.end - self.start).conjugate()).real
            return self.bulge if along > 0.0 else None
        sign = math.copysign(1.0, self.bulge)
        sweep = sign * cmath.phase((finish - self.centre) / (begin - self.centre))
        whole = 4.0 * math.atan(abs(self.bulge))
        sweep += 2.0 * math.pi * round((whole - sweep) / (2.0 * math.pi))
        return sign * math.tan(0.25 * sweep) if 0.0 < sweep < 1.9 * math.pi else None


def _corner(one: _Side, two: _Side, right: float, most_mitre: float, gap: float) -> list[complex]:
    """Return where two sides meet, or both ends of the arc between them."""
    turn = _wrapped(two.into - one.out)
    if abs(turn) <= _SMOOTH or (abs(turn) < _HARDLY and abs(turn * right) <= gap):
        return [0.5 * (one.end + two.start)]
    met = _nearest(_meetings(one, two), 0.5 * (one.end + two.start))
    opens = turn * right > 0.0
    most = most_mitre if most_mitre > 0.0 or abs(turn * right) >= _SHORT_MM else MOST_MITRE
    if met is None or (opens and abs(met - two.corner) > most * abs(right)):
        return [one.end, two.start]
    return [met]


def _nearest(found: list[complex], wanted: complex) -> complex | None:
    return min(found, key=lambda z: abs(z - wanted), default=None)


def _meetings(one: _Side, two: _Side) -> list[complex]:
    if one.is_line and two.is_line:
        u, v = cmath.exp(1j * one.out), cmath.exp(1j * two.into)
        cross = (u.conjugate() * v).imag
        if abs(cross) < 1e-12:
            return []
        return [one.end + u * (((two.start - one.end).conjugate() * v).imag / cross)]
    if one.is_line or two.is_line:
        line, arc = (one, two) if one.is_line else (two, one)
        foot, u = (line.end, cmath.exp(1j * line.out)) if line is one else (line.start, cmath.exp(1j * line.into))
        local = (arc.centre - foot) * u.conjugate()
        rest = arc.radius**2 - local.imag**2
        reach = math.sqrt(rest) if rest >= 0.0 else None
        return [] if reach is None else [foot + u * (local.real + side * reach) for side in (-1, 1)]
    apart = two.centre - one.centre
    d = abs(apart)
    if d < 1e-12:
        return []
    along = (d * d + one.radius**2 - two.radius**2) / (2.0 * d)
    rest = one.radius**2 - along**2
    if rest < 0.0:
        return []
    return [one.centre + apart / d * complex(along, side * math.sqrt(rest)) for side in (-1, 1)]


def _wrapped(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)
