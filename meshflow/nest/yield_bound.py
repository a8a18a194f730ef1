"""How much of a hide or an offcut is covered, and how much any layout of the same parts could cover at most.

Terms: the *usable* area is the sheet inside its margin, less flaws with their clearance; stuff of a low grade is
usable, for whoever takes it. The *yield* is the net area of the parts laid over it. The bound is rigorous: no layout
that the independent check passes exceeds it, whatever its turns. It says how much room is left to search for, no aim.

Bound. Let a layout hold n_p copies of part p, at most N_p. For each grade that is asked for, the strictest first, and
for all stuff together, what asks for it lies in the stuff that is good enough, apart from one another:

    sum of n_p a_p <= area that these parts reach              (`reach`: disks in the parts, disks about them)
    sum of n_p g_p <= that area, grown by half the spacing     (pieces grown by half the spacing do not overlap)

where a_p is the area of p, or of its zones, that asks for this grade or a better one, and g_p the same grown by half
the spacing. The largest sum of n_p A_p under all of these is a linear programme. What is handed out is the value of its
dual at the multipliers found, worked out anew: by weak duality that is a bound for any multipliers from 0 up, so it
does not lean on the solver.

References
----------
Chvatal, "Linear Programming", 1983 (weak duality).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from meshflow.geometry.polygons import material
from meshflow.model.arrays import FloatArray
from meshflow.model.layout import UsableArea
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.bounds import TOLERANCE_MM
from meshflow.nest.inputs import net_area
from meshflow.nest.length_bounds import grown_body, inner_body
from meshflow.nest.reach import SHORT, reached_by, usable_shape

__all__ = ["covered_at_most", "usable_area_of"]

_FINE_MM = 1e-4
_CHORD_MM = 0.01  # of `material` by default
_ROUND = 32
_PLACES = 4  # of shares; the bound is rounded up


def usable_area_of(
    sheet: Sheet,
    laid: Sequence[tuple[Part, int]],
    counts: Sequence[tuple[Part, int]],
    *,
    margin_mm: float,
    spacing_mm: float,
) -> UsableArea | None:
    """Return usable area, yield and its bound of a sheet that is no plain rectangle.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    laid : sequence of (Part, int)
        Parts and how many copies lie on it.
    counts : sequence of (Part, int)
        Parts that might lie on it and how many copies there are at most, fillers included.
    margin_mm, spacing_mm : float
        Clear edge and clear distance [mm].

    Returns
    -------
    UsableArea or None
        None for a rectangle without flaws, where utilisation and used length say it all.
    """
    if sheet.outline is None and not sheet.flaws:
        return None
    area = _usable_area(sheet, margin_mm)
    covered = math.fsum(count * net_area(part) for part, count in laid)
    most = covered_at_most(sheet, counts, margin_mm=margin_mm, spacing_mm=spacing_mm)
    if area <= 0.0:
        return None
    bound = math.ceil(most / area * 10**_PLACES - 1e-6) / 10**_PLACES
    return UsableArea(round(area, 4), round(covered / area, 6), min(bound, 1.0))


def _usable_area(sheet: Sheet, margin_mm: float) -> float:
    import shapely

    edge: Any = shapely.box(0.0, 0.0, sheet.length_mm, sheet.width_mm)
    if sheet.outline is not None:
        edge = material(sheet.outline, tolerance=_FINE_MM)
    flaws = [flaw for flaw in sheet.flaws if not flaw.grade]
    taken = [material(f.outline, tolerance=_FINE_MM).buffer(f.clearance_mm, quad_segs=_ROUND) for f in flaws]
    return float(edge.buffer(-margin_mm, quad_segs=_ROUND).difference(shapely.union_all(taken)).area)


def covered_at_most(sheet: Sheet, counts: Sequence[tuple[Part, int]], *, margin_mm: float, spacing_mm: float) -> float:
    """Return an area that no layout of these copies on the sheet can exceed [mm2].

    Parameters
    ----------
    sheet : Sheet
        The sheet, offcut or hide.
    counts : sequence of (Part, int)
        Parts and how many copies of each there are at most.
    margin_mm, spacing_mm : float
        Clear edge and clear distance [mm].

    Returns
    -------
    float
        Net area [mm2], of holes nothing.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> disk = Part("disk", Circle((0.0, 0.0), 10.0))
    >>> round(covered_at_most(Sheet("s", 1000.0, 500.0), [(disk, 10**6)], margin_mm=0.0, spacing_mm=5.0) / 5e5, 2)
    0.65
    >>> round(covered_at_most(Sheet("s", 1000.0, 500.0), [(disk, 3)], margin_mm=0.0, spacing_mm=5.0) / math.pi, 1)
    300.0
    """
    wanted = [(part, count) for part, count in counts if count > 0]
    if not wanted:
        return 0.0
    half = 0.5 * max(spacing_mm - TOLERANCE_MM, 0.0)
    parts = [part for part, _ in wanted]
    bodies = [inner_body(part) for part in parts]
    shapes = _Shapes(sheet, margin_mm - TOLERANCE_MM)
    rows: list[FloatArray] = []
    limits: list[float] = []
    for grade in _levels(sheet, parts):
        asking = [_asking(part, body, grade) for part, body in zip(parts, bodies, strict=True)]
        room = shapes.reached(parts, asking, bodies, grade)
        rows += [
            np.array([area.area for area in asking]),
            np.array([grown_body(area, half).area for area in asking]),
        ]
        limits += [room.area, room.buffer(half * (1.0 + 2.0 * SHORT), quad_segs=_ROUND).area]
    areas = np.array([net_area(part) for part in parts])
    most = np.array([count for _, count in wanted], dtype=np.float64)
    return _bounded(areas, most, np.array(rows), np.array(limits))


def _levels(sheet: Sheet, parts: Sequence[Part]) -> list[int]:
    """Return the grades that are asked for and that not all of the sheet has, and 0 for all stuff."""
    asked = {part.least_grade for part in parts} | {zone.least_grade for part in parts for zone in part.zones}
    worst = max((flaw.grade for flaw in sheet.flaws), default=0)
    return [*sorted(grade for grade in asked if 0 < grade < worst), 0]


def _asking(part: Part, body: Any, grade: int) -> Any:
    """Return what of a part asks for a grade or a better one; all of it for grade 0."""
    import shapely

    if grade == 0 or 0 < part.least_grade <= grade:
        return body
    zones = [material(zone.outline) for zone in part.zones if zone.least_grade <= grade]
    # Shrunk by a hair, because the chords of a zone may lie outside its arcs.
    return shapely.union_all(zones).buffer(-2.0 * _CHORD_MM).intersection(body) if zones else shapely.Polygon()


class _Shapes:
    """What of a sheet is usable for a grade and reached by parts, worked out once for each grade."""

    def __init__(self, sheet: Sheet, margin_mm: float) -> None:
        self._sheet, self._margin = sheet, margin_mm
        self._usable: dict[int, Any] = {}

    def _of(self, grade: int) -> Any:
        if grade not in self._usable:
            self._usable[grade] = usable_shape(self._sheet, self._margin, grade)
        return self._usable[grade]

    def reached(self, parts: Sequence[Part], asking: Sequence[Any], bodies: Sequence[Any], grade: int) -> Any:
        """Return where what asks for a grade can lie."""
        import shapely

        if any(not area.is_empty and area is not body for area, body in zip(asking, bodies, strict=True)):
            return self._of(grade)  # zones: no disk of theirs is sought
        own: dict[int, list[Part]] = {}
        for part, area in zip(parts, asking, strict=True):
            if not area.is_empty:
                own.setdefault(part.least_grade, []).append(part)
        return shapely.union_all([reached_by(self._of(least), group) for least, group in sorted(own.items())])


def _bounded(areas: FloatArray, most: FloatArray, rows: FloatArray, limits: FloatArray) -> float:
    """Return an upper bound of the sum of n A where rows n <= limits and 0 <= n <= most."""
    from scipy.optimize import linprog

    scale = max(float(limits.max()), 1.0)
    found = linprog(-areas, A_ub=rows / scale, b_ub=limits / scale, bounds=[(0.0, count) for count in most.tolist()])
    tried = [np.zeros(len(limits))]
    if found.success:
        tried.append(np.maximum(-found.ineqlin.marginals / scale, 0.0))
    values = [float(y @ limits + most @ np.maximum(areas - y @ rows, 0.0)) for y in tried]
    return min(values) * (1.0 + 1e-9)
