"""A closed body cut in two by a plane, both halves closed again, with pins, sockets or dowel holes in the joint.

Terms: the *joint* is the flat where the halves meet; a *pin* stands on one half and goes into a *socket* of the other;
a *dowel hole* is a blind hole in both.

Method: the plane is moved by up to a hundredth of a millimetre so that no vertex lies in it; every face it runs through
is then parted into a triangle and a quadrangle, and each half is closed by the triangulated section, which uses the
section's own points alone. Circles for pins and holes are openings of that triangulation, with walls and a bottom of
their own, so no body ever has to be joined with another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import InputError
from meshflow.geometry.curves import signed_area
from meshflow.geometry.plan_mesh import circle
from meshflow.geometry.polygons import containments, triangulated
from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import FloatArray, IntArray, frozen
from meshflow.model.curve import Polycurve

__all__ = ["Joint", "Round", "cut_solid", "plane_axes", "section_of"]

_NUDGES = 41
_REACH = 0.01  # mm
_LEAST_SIDE = 1e-5  # mm: shorter sides of a section are one point


@dataclass(frozen=True, slots=True)
class Round:
    """A pin or hole in a joint.

    Parameters
    ----------
    x_mm, y_mm : float
        Middle, in the axes of the joint [mm].
    below_mm, above_mm : float
        Diameter in the half below the plane and in that above [mm].
    below_depth_mm, above_depth_mm : float
        How far it goes into that half; negative where it stands out of it [mm].
    """

    x_mm: float
    y_mm: float
    below_mm: float
    above_mm: float
    below_depth_mm: float
    above_depth_mm: float


@dataclass(frozen=True, eq=False)
class Joint:
    """Where a plane cuts a body.

    Parameters
    ----------
    axes : (3, 3) float array
        Rows: x and y in the plane, its normal.
    distance_mm : float
        Distance of the plane along the normal, as moved off the vertices [mm].
    rings : tuple of tuple of (k, 2) float array
        Each piece of the section: outline counter-clockwise, then its openings [mm].
    """

    axes: FloatArray
    distance_mm: float
    rings: tuple[tuple[FloatArray, ...], ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "axes", frozen(self.axes, np.float64, columns=3))

    def in_space(self, points: FloatArray) -> FloatArray:
        """Return points of the joint as points of space."""
        flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        return np.asarray(flat @ self.axes[:2] + self.distance_mm * self.axes[2])


def plane_axes(normal: FloatArray) -> FloatArray:
    """Return right-handed axes in rows, the last one the unit normal; x lies level where that is possible."""
    w = np.asarray(normal, dtype=np.float64) / np.linalg.norm(normal)
    aside = np.array([1.0, 0.0, 0.0]) if abs(w[2]) > 0.999 else np.array([-w[1], w[0], 0.0])
    u = aside - (aside @ w) * w
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(w, u), w])


def section_of(vertices: FloatArray, faces: IntArray, normal: FloatArray, distance: float) -> Joint:
    """Return where a plane cuts a closed body; no rings where it does not meet it."""
    axes, level = plane_axes(normal), _clear_level(vertices @ plane_axes(normal)[2], distance)
    return Joint(
        axes, level, tuple(tuple(ring for ring, _ in piece) for piece in _Parted(vertices, faces, axes, level).pieces)
    )


def cut_solid(
    vertices: FloatArray,
    faces: IntArray,
    normal: FloatArray,
    distance: float,
    rounds: Sequence[Round] = (),
) -> tuple[tuple[FloatArray, IntArray], tuple[FloatArray, IntArray]]:
    """Return the two halves of a closed body.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Closed.
    normal : (3,) float array
        Of the plane.
    distance : float
        Of the plane from the origin along it [mm].
    rounds : sequence of Round
        Pins, sockets, dowel holes; in the axes of `section_of`, well inside one piece of the section.

    Returns
    -------
    below, above : (vertices, faces)
        Closed; empty where the plane misses the body.

    Examples
    --------
    >>> from meshflow.geometry.solid import closed_between, volume
    >>> low = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])
    >>> body = closed_between(low + [0, 0, 6], low, np.array([[0, 1, 2]]))
    >>> below, above = cut_solid(*body, np.array([0, 0, 1.0]), 2.0)
    >>> round(volume(*below), 6), round(volume(*above), 6)
    (16.0, 32.0)
    """
    axes = plane_axes(normal)
    parted = _Parted(vertices, faces, axes, _clear_level(vertices @ axes[2], distance))
    return parted.half(rounds, above=False), parted.half(rounds, above=True)


def _clear_level(heights: FloatArray, distance: float) -> float:
    """Return the level nearest to the one asked for that keeps clear of every vertex, so far as there is one."""
    tries = distance + _REACH * np.linspace(-1.0, 1.0, _NUDGES)
    near = np.sort(heights[np.abs(heights - distance) < 2.0 * _REACH])
    if len(near) == 0:
        return distance
    away = np.abs(tries[:, None] - near[None]).min(axis=1)
    return float(tries[int(np.argmax(np.minimum(away, 1e-3) - 1e-6 * np.abs(tries - distance)))])


class _Parted:
    """The faces of a body parted along a plane, and the pieces of the section."""

    def __init__(self, vertices: FloatArray, faces: IntArray, axes: FloatArray, level: float) -> None:
        self.axes, self.level = axes, level
        height = vertices @ axes[2] - level
        self._above = height > 0.0
        sides = self._above[faces].sum(axis=1)
        self._whole = {False: faces[sides == 0], True: faces[sides == 3]}
        self._own = vertices
        cut = faces[(sides == 1) | (sides == 2)]
        self.points, self._low, self._high = self._crossed(vertices, height, cut)
        self.pieces = self._pieces()

    def _crossed(
        self, vertices: FloatArray, height: FloatArray, cut: IntArray
    ) -> tuple[FloatArray, IntArray, IntArray]:
        """Return the vertices with the crossings, and the parts of the cut faces below and above."""
        alone_above = self._above[cut].sum(axis=1) == 1
        lone = np.argmax(self._above[cut] == alone_above[:, None], axis=1)
        turned = np.take_along_axis(cut, (lone[:, None] + np.arange(3)) % 3, axis=1)
        a, b, c = turned.T
        pairs = np.sort(np.concatenate([np.stack([a, b], 1), np.stack([c, a], 1)]), axis=1)
        edges, number = np.unique(pairs, axis=0, return_inverse=True)
        number = number.reshape(-1)
        share = height[edges[:, 0]] / (height[edges[:, 0]] - height[edges[:, 1]])
        at = vertices[edges[:, 0]] + share[:, None] * (vertices[edges[:, 1]] - vertices[edges[:, 0]])
        count = len(vertices)
        p, q = count + number[: len(cut)], count + number[len(cut) :]
        tip = np.stack([a, p, q], axis=1)
        rest = np.stack([p, b, c, q], axis=1)
        quads = np.concatenate([rest[:, [0, 1, 2]], rest[:, [0, 2, 3]]])
        twice = np.tile(alone_above, 2)
        low = np.concatenate([tip[~alone_above], quads[twice]])
        high = np.concatenate([tip[alone_above], quads[~twice]])
        return np.concatenate([vertices, at]), low, high

    def _pieces(self) -> list[list[tuple[FloatArray, IntArray]]]:
        """Return each piece of the section: its rings in the plane with the numbers of their points."""
        faces = np.concatenate([self._whole[False], self._low])
        if len(self._low) == 0:
            return []
        flat = self.points @ self.axes[:2].T
        # The rim of the half below runs clockwise seen against the normal; turned round it bounds the section.
        loops = [np.asarray(loop)[::-1] for loop in boundary_loops(faces)]
        loops = [loop for loop in loops if (loop >= len(self._own)).all()]
        rings = [flat[loop] for loop in loops]
        outer = [k for k in range(len(rings)) if signed_area(Polycurve(rings[k])) > 0.0]
        size = [abs(signed_area(Polycurve(ring))) for ring in rings]
        around: dict[int, int] = {}
        for inner, out in containments(rings):
            if out in outer and inner not in outer and (inner not in around or size[out] < size[around[inner]]):
                around[inner] = out
        return [
            [(rings[k], loops[k]), *((rings[i], loops[i]) for i in sorted(around) if around[i] == k)] for k in outer
        ]

    def half(self, rounds: Sequence[Round], *, above: bool) -> tuple[FloatArray, IntArray]:
        """Return one half, closed."""
        points, faces = [self.points], [self._whole[above], self._high if above else self._low]
        taken: list[Round] = []
        count = len(self.points)
        for piece in self.pieces:
            own = [one for one in rounds if _within((one.x_mm, one.y_mm), piece[0][0])]
            taken += own
            rings, numbers = [ring for ring, _ in piece], [number for _, number in piece]
            for one in own:
                ring, pieces = self._round(one, above)
                flats = len(ring)
                points.append(pieces)
                new = count + np.arange(2 * flats).reshape(2, flats)
                rings.append(ring)
                numbers.append(new[0])
                faces.append(_cup(new, ring, above))
                count += 2 * flats
            cap = np.concatenate(numbers)[triangulated(rings)]
            faces.append(cap[:, ::-1] if above else cap)
        if len(taken) != len(rounds):
            raise InputError("a pin lies outside the section.", remedy="Report it, with what was asked for.")
        return _used(np.concatenate(points), np.concatenate(faces))

    def _round(self, one: Round, above: bool) -> tuple[FloatArray, FloatArray]:
        """Return the ring of a pin or hole in the plane, and its points: at the joint, then at its bottom."""
        diameter = one.above_mm if above else one.below_mm
        depth = one.above_depth_mm if above else -one.below_depth_mm
        ring = circle(one.x_mm, one.y_mm, diameter)
        base = ring @ self.axes[:2] + self.level * self.axes[2]
        return ring, np.concatenate([base, base + depth * self.axes[2]])


def _cup(numbers: IntArray, ring: FloatArray, above: bool) -> IntArray:
    """Return the wall and the bottom of a pin or hole; `numbers` are its points at the joint, then at its end."""
    top, end = numbers
    after, below = np.roll(top, -1), np.roll(end, -1)
    wall = np.concatenate([np.stack([top, after, below], axis=1), np.stack([top, below, end], axis=1)])
    bottom = end[triangulated([ring])]
    # The joint of the half below looks up: its cap leaves the ring's half-edges running backward.
    both = np.concatenate([wall, bottom])
    return both[:, ::-1] if above else both


def _within(place: tuple[float, float], ring: FloatArray) -> bool:
    from meshflow.geometry.polygons import inside, material

    return bool(inside(material(Polycurve(ring)), np.array([place]))[0])


def _used(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    used = np.unique(faces)
    return points[used], np.searchsorted(used, faces).reshape(-1, 3)
