"""How many sheets are needed at least: a number no layout can beat, for the maker to hold the answer against.

Two bounds, the larger counts. Both hold for every layout that the independent check would pass, so they reckon with
its tolerance: spacing and margin are each taken 0.01 mm less.

Area. Grow every part by half the spacing r. Parts at least the spacing apart do not overlap when so grown, and a part
inside the margin m stays, grown, inside the sheet less m and plus r on each side. So the grown areas add up to no
more than that rectangle, and their sum over the largest such rectangle, rounded up, is a bound. A convex part of
area A and perimeter P grows to A + P r + pi r^2 (Steiner); any other, also with holes, to at least
(sqrt(A) + sqrt(pi) r)^2 (Brunn and Minkowski).

Pairs. Two parts cannot share a sheet if it is too small for what they hold inside; U x V is the sheet less margins:

*disks*       of radii R and q: their centres are at most U - R - q apart along x and V - R - q along y. If the
              diagonal of that is less than R + q + spacing, the parts are too close wherever they lie.
*rectangles*  axis-parallel a x b and c x d inside the parts as turned: the gap between them is at most U - a - c along
              x and V - b - d along y. If both are negative they overlap; if the diagonal of what is not negative is
              less than the spacing, they are too close. The parts conflict if that holds for all turns that both may
              take. (For parts that are such rectangles nothing is lost.)

Parts that conflict in pairs need a sheet each. A set of them is collected greedily: any such set is a bound.

Parts of different materials or thicknesses never share a sheet, so their bounds add up; parts that do not say theirs
could lie on any sheet, so they only count in the bounds of everything together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Literal

import numpy as np

from meshflow.geometry.curves import bounds, reversed_curve, signed_area, tessellate, transformed
from meshflow.geometry.polygons import Area, material, pole_of_inaccessibility
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.prepare import DEFAULT_TURNS_DEG

__all__ = ["sheets_lower_bound"]

TOLERANCE_MM = 0.01
_CHORD_MM = 0.01
_ROUNDING = 1e-7  # sheets: what sums of floats may exceed the true sum by, with room to spare
_ASPECTS = 9
_BISECTIONS = 20

Rectangle = tuple[float, float]


def sheets_lower_bound(
    counts: Sequence[tuple[Part, int]], sheets: Sequence[Sheet], *, margin_mm: float, spacing_mm: float
) -> int:
    """Return a number of sheets that no layout of these copies can go below.

    Parameters
    ----------
    counts : sequence of (Part, int)
        Parts and how many copies of each are to be placed.
    sheets : sequence of Sheet
        Sheet sizes that may be used, in any number.
    margin_mm, spacing_mm : float
        Clear edge and clear distance [mm].

    Returns
    -------
    int
        The bound; 0 when there is nothing to place.

    Examples
    --------
    >>> square = Part("tile", Polycurve([[0, 0], [60, 0], [60, 60], [0, 60]]))
    >>> sheets_lower_bound([(square, 3)], [Sheet("100x100", 100, 100)], margin_mm=0, spacing_mm=0)
    3
    """
    wanted = sorted((pair for pair in counts if pair[1] > 0), key=lambda pair: pair[0].name)
    if not wanted or not sheets:
        return 0
    margin, spacing = margin_mm - TOLERANCE_MM, max(spacing_mm - TOLERANCE_MM, 0.0)
    cores = [_Core(part, count) for part, count in wanted]
    said: dict[tuple[str, float], list[_Core]] = {}
    for core in cores:
        if core.part.material and core.part.thickness_mm > 0.0:
            said.setdefault((core.part.material, core.part.thickness_mm), []).append(core)
    apart = 0
    for key, group in sorted(said.items()):
        own = _matching(key, sheets)
        apart += max(_by_area(group, own, margin, spacing), _by_conflict(group, own, margin, spacing))
    together = _by_area(cores, sheets, margin, spacing)
    if len(said) <= 1:
        together = max(together, _by_conflict(cores, sheets, margin, spacing))
    return max(apart, together)


def _matching(key: tuple[str, float], sheets: Sequence[Sheet]) -> list[Sheet]:
    material, thickness = key
    return [s for s in sheets if s.material in ("", material) and s.thickness_mm in (0.0, thickness)]


def _by_area(cores: Sequence[_Core], sheets: Sequence[Sheet], margin: float, spacing: float) -> int:
    room = max((_room(sheet, spacing - 2.0 * margin) for sheet in sheets), default=math.inf)
    total = math.fsum(core.count * core.grown_area(0.5 * spacing) for core in cores)
    return max(math.ceil(total / room - _ROUNDING), 1)


def _room(sheet: Sheet, grow: float) -> float:
    """Return an area no smaller than what grown parts can take of a sheet [mm2]; flaws count as if they were none."""
    box = (sheet.length_mm + grow) * (sheet.width_mm + grow)
    if sheet.outline is None:
        return box
    join: Literal["mitre", "round"] = "mitre" if grow > 0.0 else "round"  # whichever errs to the larger side
    edge = material(sheet.outline, tolerance=_CHORD_MM).buffer(2.0 * _CHORD_MM)
    return min(box, float(edge.buffer(0.5 * grow, join_style=join).area))


def _by_conflict(cores: Sequence[_Core], sheets: Sequence[Sheet], margin: float, spacing: float) -> int:
    """Return the size of a set of copies that conflict in pairs, collected from the largest part down."""
    rooms = [(sheet.length_mm - 2.0 * margin, sheet.width_mm - 2.0 * margin) for sheet in sheets]
    chosen: list[_Core] = []
    number = 0
    # Turns that have play are too many to ask; their parts are left out.
    for core in sorted((core for core in cores if not core.part.turn_play_deg), key=lambda core: -core.area):
        if rooms and all(_conflict(core, other, rooms, spacing) for other in chosen):
            chosen.append(core)
            number += core.count if core.count > 1 and _conflict(core, core, rooms, spacing) else 1
    return number


def _conflict(one: _Core, two: _Core, rooms: Sequence[Rectangle], spacing: float) -> bool:
    """Return whether two parts provably cannot share any of the sheets."""
    # Where the boxes have room beside each other nothing can conflict: this settles nearly all pairs at once.
    if not all(_boxes_conflict(one.boxes, two.boxes, room, spacing) for room in rooms):
        return False
    return all(
        _disks_conflict(one.disk[0], two.disk[0], room, spacing)
        or _boxes_conflict(one.rectangles, two.rectangles, room, spacing)
        for room in rooms
    )


def _disks_conflict(radius: float, other: float, room: Rectangle, spacing: float) -> bool:
    apart = radius + other
    return math.hypot(*(max(side - apart, 0.0) for side in room)) < apart + spacing


def _boxes_conflict(
    one: Sequence[Sequence[Rectangle]], two: Sequence[Sequence[Rectangle]], room: Rectangle, spacing: float
) -> bool:
    """Return whether, in all turns of both, some rectangle of one has no room beside some rectangle of the other."""
    return all(
        any(_too_close(room[0] - a - c, room[1] - b - d, spacing) for (a, b), (c, d) in product(first, second))
        for first, second in product(one, two)
    )


def _too_close(gap_x: float, gap_y: float, spacing: float) -> bool:
    if gap_x < 0.0 and gap_y < 0.0:
        return True
    return math.hypot(max(gap_x, 0.0), max(gap_y, 0.0)) < spacing


@dataclass(frozen=True, eq=False)
class _Core:
    """A part, how many copies of it, and what it surely holds; reckoned when asked for."""

    part: Part
    count: int

    @cached_property
    def motions(self) -> tuple[Motion, ...]:
        """All ways it may lie."""
        mirrors = (False, True) if self.part.may_mirror else (False,)
        turns = self.part.turns_deg or DEFAULT_TURNS_DEG
        return tuple(Motion(mirrored, math.radians(angle)) for mirrored in mirrors for angle in turns)

    @cached_property
    def body(self) -> Area:
        """A shapely polygon that never reaches outside the part."""
        import shapely

        outer = shapely.Polygon(_inner(self.part.outline, hole=False))
        holes = [shapely.Polygon(_inner(hole, hole=True)) for hole in self.part.holes]
        return outer.difference(shapely.union_all(holes)) if holes else outer

    @cached_property
    def area(self) -> float:
        """Its area, holes removed [mm2]."""
        return float(self.body.area)

    def grown_area(self, distance: float) -> float:
        """Return a number no larger than its area when grown on all sides [mm2]."""
        disk = math.pi * distance**2
        if not self.part.holes and _is_convex(_inner(self.part.outline, hole=False)):
            return self.area + float(self.body.length) * distance + disk
        return (math.sqrt(self.area) + math.sqrt(disk)) ** 2

    @cached_property
    def boxes(self) -> tuple[tuple[Rectangle, ...], ...]:
        """The size of its bounding box in each turn."""
        found = []
        for motion in self.motions:
            low_x, low_y, high_x, high_y = bounds(transformed(self.part.outline, motion))
            found.append(((high_x - low_x, high_y - low_y),))
        return tuple(found)

    @cached_property
    def disk(self) -> tuple[float, tuple[float, float]]:
        """Radius and centre of a disk inside it, nearly the largest."""
        centre, radius = pole_of_inaccessibility(self.body, tolerance=0.01 * math.sqrt(self.area))
        return radius, centre

    @cached_property
    def rectangles(self) -> tuple[tuple[Rectangle, ...], ...]:
        """Sizes of some axis-parallel rectangles inside it, for each turn."""
        return tuple(self._rectangles_in(motion) for motion in self.motions)

    def _rectangles_in(self, motion: Motion) -> tuple[Rectangle, ...]:
        import shapely

        turned = shapely.transform(self.body, lambda points: move_points(points, motion))
        low_x, low_y, high_x, high_y = turned.bounds
        length, width = high_x - low_x, high_y - low_y
        if turned.area >= length * width * (1.0 - 1e-12):
            return ((length, width),)
        shapely.prepare(turned)
        x, y = move_points([self.disk[1]], motion)[0].tolist()
        found = []
        for step in range(_ASPECTS):
            angle = (step + 0.5) / _ASPECTS * 0.5 * math.pi  # from flat to upright
            half_x, half_y = 0.5 * length * math.cos(angle), 0.5 * width * math.sin(angle)
            scale = _largest_scale(turned, x, y, half_x, half_y)
            found.append((2.0 * scale * half_x, 2.0 * scale * half_y))
        return tuple(found)


def _largest_scale(body: Area, x: float, y: float, half_x: float, half_y: float) -> float:
    """Return how far a rectangle about (x, y) can be blown up inside the body, from below."""
    import shapely

    inside, outside = 0.0, 2.0
    for _ in range(_BISECTIONS):
        scale = 0.5 * (inside + outside)
        box = shapely.box(x - scale * half_x, y - scale * half_y, x + scale * half_x, y + scale * half_y)
        inside, outside = (scale, outside) if body.contains(box) else (inside, scale)
    return inside


def _inner(curve: Polycurve | Circle, *, hole: bool) -> FloatArray:
    """Return corners of a polygon that lies inside the outline, or that encloses the hole."""
    if isinstance(curve, Circle):
        return tessellate(curve, tolerance=_CHORD_MM, outside=hole)
    # `outside` encloses what lies left of the curve: run an outline clockwise, so that the waste is what is enclosed.
    counter_clockwise = signed_area(curve) > 0.0
    enclosing = curve if counter_clockwise == hole else reversed_curve(curve)
    return tessellate(enclosing, tolerance=_CHORD_MM, outside=True)


def _is_convex(points: FloatArray) -> bool:
    into, out = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    turn = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    return bool(np.all(turn <= 0.0) or np.all(turn >= 0.0))
