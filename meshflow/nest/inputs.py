"""What nesting refuses before it starts: parts, sheets and distances that make no sense, each named with its place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from meshflow.errors import NestError
from meshflow.geometry.curves import bounds, signed_area, tessellate
from meshflow.geometry.polygons import crossing_places, inside, material, rings_cross, rings_overlap
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import GRADES
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.grain import check_grain

__all__ = ["LONGEST_MM", "check_inputs", "check_part", "net_area"]

LONGEST_MM = 50_000.0  # the grid's whole numbers leave room for exact products up to this
FARTHEST_MM = 1e9  # from the origin of a drawing: beyond it numbers no longer tell thousandths of a millimetre
MOST_TURN_DEG = 36_000.0  # beyond a hundred turns it is no turn but a slip, and its rest grows inexact
LEAST_AREA_MM2 = 1e-6
LEAST_WIDTH_MM = 1e-3
_FINE_MM = 0.01
_SAME_MM = 1e-7


def check_inputs(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    margin_mm: float,
    spacing_mm: float,
    seed: int,
    effort: int,
    seconds: float | None,
) -> None:
    """Raise NestError for the first thing that makes no sense."""
    for name, value in (("margin", margin_mm), ("spacing", spacing_mm)):
        if not 0.0 <= value <= LONGEST_MM:
            raise NestError(f"a {name} of {value:g} mm makes no sense.", remedy=f"Give 0 to {LONGEST_MM:g} mm.")
    if not _is_count(effort, least=1):
        raise NestError(f"an effort of {effort} makes no sense.", remedy="Give a whole number from 1.")
    if isinstance(seed, bool) or not isinstance(seed, int):
        raise NestError(f"a seed of {seed} makes no sense.", remedy="Give a whole number.")
    if seconds is not None and not seconds >= 0.0:
        raise NestError(f"a time cap of {seconds} s makes no sense.", remedy="Give seconds from 0, or none.")
    _check_sheets(sheets, margin_mm)
    _check_names(parts)
    for part in parts:
        check_part(part)


def _is_count(value: object, *, least: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= least


def _is_grade(value: object, *, least: int) -> bool:
    return _is_count(value, least=least) and isinstance(value, int) and value <= len(GRADES)


def _check_sheets(sheets: Sequence[Sheet], margin_mm: float) -> None:
    if not sheets:
        raise NestError("there is no sheet to nest on.", remedy="Name at least one sheet size.")
    for index, sheet in enumerate(sheets):
        where = f"sheet {sheet.id}"
        size = f"{sheet.length_mm:g} x {sheet.width_mm:g} mm"
        sides = (sheet.length_mm, sheet.width_mm)
        if not all(math.isfinite(side) and side > 0.0 for side in sides):
            raise NestError(f"a size of {size} makes no sense.", where=where, remedy="Give length and width in mm.")
        if max(sides) > LONGEST_MM:
            raise NestError(
                f"{size} is longer than the {LONGEST_MM / 1000:g} m that nesting can reckon with.",
                where=where,
                remedy="Nest on shorter lengths of it.",
            )
        if min(sides) <= 2.0 * margin_mm:
            raise NestError(
                f"{size} is no larger than its margins of {margin_mm:g} mm.",
                where=where,
                remedy="Take a larger sheet or a smaller margin.",
            )
        if not _is_count(sheet.count, least=0):
            raise NestError(
                f"a stock of {sheet.count} makes no sense.", where=where, remedy="Give a whole number; 0 is any number."
            )
        if not (math.isfinite(sheet.thickness_mm) and sheet.thickness_mm >= 0.0):
            raise NestError(f"a thickness of {sheet.thickness_mm} mm makes no sense.", where=where)
        if sheet.price is not None and not (math.isfinite(sheet.price) and sheet.price >= 0.0):
            raise NestError(f"a price of {sheet.price} makes no sense.", where=where, remedy="Give 0 or more, or none.")
        _check_shape(sheet, where, margin_mm)
        if sheet in sheets[:index]:
            raise NestError("the same sheet is listed twice.", where=where, remedy="List it once, with its count.")


def _check_shape(sheet: Sheet, where: str, margin_mm: float) -> None:
    """Refuse an edge or a flaw that cannot be cut along."""
    if sheet.outline is not None:
        _check_contour(sheet.outline, where, "its edge")
        low_x, low_y, high_x, high_y = bounds(sheet.outline)
        if min(low_x, low_y) < -_FINE_MM or high_x > sheet.length_mm + _FINE_MM or high_y > sheet.width_mm + _FINE_MM:
            raise NestError(
                f"its edge reaches from ({low_x:g}, {low_y:g}) to ({high_x:g}, {high_y:g}) mm, beyond its size of "
                f"{sheet.length_mm:g} x {sheet.width_mm:g} mm.",
                where=where,
                remedy="Move its lower left corner to 0, 0, or give its true size.",
            )
        if material(sheet.outline).buffer(-margin_mm).is_empty:
            raise NestError(
                f"nothing of it is left inside its margin of {margin_mm:g} mm.",
                where=where,
                remedy="Take a larger piece or a smaller margin.",
            )
    for number, flaw in enumerate(sheet.flaws, start=1):
        _check_contour(flaw.outline, where, f"its flaw {number}")
        if not 0.0 <= flaw.clearance_mm <= LONGEST_MM:
            raise NestError(
                f"a clearance of {flaw.clearance_mm:g} mm from its flaw {number} makes no sense.",
                where=where,
                remedy=f"Give 0 to {LONGEST_MM:g} mm.",
            )
        if not _is_grade(flaw.grade, least=0):
            raise NestError(
                f"a grade of {flaw.grade} makes no sense.",
                where=where,
                remedy=f"Give 1 for the best, to {len(GRADES)}; 0 is a flaw.",
            )


def _check_names(parts: Sequence[Part]) -> None:
    names = sorted(part.name for part in parts)
    for one, two in pairwise(names):
        if one == two:
            raise NestError("two parts have this name.", where=one, remedy="Give each its own, or raise the quantity.")


def check_part(part: Part) -> None:
    """Raise NestError for the first thing about a part that makes no sense."""
    if not _is_count(part.quantity, least=0):
        raise NestError(f"a quantity of {part.quantity} makes no sense.", where=part.name, remedy="Give 0 or more.")
    if not _is_count(part.most, least=0):
        raise NestError(f"at most {part.most} copies make no sense.", where=part.name, remedy="Give 0 or more.")
    if not _is_grade(part.least_grade, least=0):
        raise NestError(
            f"a least grade of {part.least_grade} makes no sense.",
            where=part.name,
            remedy=f"Give 1 for the best, to {len(GRADES)}; 0 where any will do.",
        )
    if not (math.isfinite(part.turn_play_deg) and 0.0 <= part.turn_play_deg <= 180.0):
        raise NestError(
            f"turns that may be off by {part.turn_play_deg} degrees make no sense.",
            where=part.name,
            remedy="Give 0 to 180 degrees.",
        )
    if not all(abs(turn) <= MOST_TURN_DEG for turn in part.turns_deg):
        raise NestError(f"the turns {part.turns_deg} make no sense.", where=part.name, remedy="Give degrees.")
    if not (math.isfinite(part.thickness_mm) and part.thickness_mm >= 0.0):
        raise NestError(f"a thickness of {part.thickness_mm} mm makes no sense.", where=part.name)
    check_grain(part)
    for number, curve in enumerate((part.outline, *part.holes)):
        _check_contour(curve, part.name, "its outline" if number == 0 else f"its hole {number}")
    _check_size(part)
    _check_holes(part)
    _check_zones(part)
    if net_area(part) < LEAST_AREA_MM2:
        raise NestError("its holes take all of its area.", where=part.name, remedy="Delete a contour drawn twice.")


def _check_size(part: Part) -> None:
    low_x, low_y, high_x, high_y = bounds(part.outline)
    diagonal = math.hypot(high_x - low_x, high_y - low_y)
    if abs(signed_area(part.outline)) < LEAST_WIDTH_MM * max(diagonal, 1.0):
        raise NestError(
            f"its outline encloses next to no area for its size of {diagonal:g} mm.",
            where=part.name,
            remedy="Check the unit and the outline of its drawing.",
        )


def _check_contour(curve: Polycurve | Circle, name: str, what: str) -> None:
    if isinstance(curve, Circle):
        numbers = [*curve.centre, curve.radius]
    else:
        if not curve.closed:
            raise NestError(f"{what} is not closed.", where=name, remedy="Join its ends in the drawing.")
        numbers = [*curve.points.ravel().tolist(), *np.asarray(curve.bulges).tolist()]
    if not all(math.isfinite(number) for number in numbers):
        raise NestError(f"{what} holds a number that is not finite.", where=name, remedy="Draw it again.")
    if isinstance(curve, Circle) and curve.radius <= 0.0:
        raise NestError(f"{what} has a radius of {curve.radius:g} mm.", where=name, remedy="Draw it again.")
    _check_extent(curve, name, what)
    ring = _ring(curve)
    places = np.empty((0, 2)) if _is_flat(ring) else crossing_places(ring)
    if len(places):
        raise NestError(
            f"{what} crosses or touches itself {_at(places)}.", where=name, remedy="Mend the drawing there."
        )
    if abs(signed_area(curve)) < LEAST_AREA_MM2:
        raise NestError(f"{what} encloses no area.", where=name, remedy="Check that it is drawn as one closed run.")


def _check_extent(curve: Polycurve | Circle, name: str, what: str) -> None:
    """Refuse what is far too large or too far off, before it is drawn with chords: of the widest arcs without end."""
    with np.errstate(over="ignore", invalid="ignore"):
        low_x, low_y, high_x, high_y = bounds(curve)
    length, width = high_x - low_x, high_y - low_y
    if not math.hypot(length, width) <= LONGEST_MM:
        raise NestError(
            f"{what} is {length:g} x {width:g} mm, more than nesting can reckon with.",
            where=name,
            remedy="Check the unit of its drawing.",
        )
    far = max(abs(low_x), abs(low_y), abs(high_x), abs(high_y))
    if far > FARTHEST_MM:
        raise NestError(
            f"{what} lies {far / 1e6:g} km from the origin of its drawing, too far to tell thousandths of a mm.",
            where=name,
            remedy="Move it to the origin, or check the unit of its drawing.",
        )


def _is_flat(ring: FloatArray) -> bool:
    """Return whether all points lie on one line."""
    return len(ring) < 3 or float(np.linalg.svd(ring - ring.mean(axis=0), compute_uv=False)[-1]) < _SAME_MM


def _ring(curve: Polycurve | Circle) -> FloatArray:
    """Return the contour as a fine polyline without repeated points."""
    points = tessellate(curve, tolerance=_FINE_MM)
    return np.asarray(points[np.abs(points - np.roll(points, 1, axis=0)).max(axis=1) > _SAME_MM])


def _check_holes(part: Part) -> None:
    outer, holes = _ring(part.outline), [_ring(hole) for hole in part.holes]
    for number, ring in enumerate(holes, start=1):
        places = rings_cross(outer, ring)
        if len(places):
            raise NestError(
                f"its hole {number} meets its outline {_at(places)}.",
                where=part.name,
                remedy="Mend the drawing there.",
            )
        if not inside(material(part.outline), ring[:1])[0]:
            raise NestError(
                f"its hole {number} lies outside its outline, {_at(ring)}.",
                where=part.name,
                remedy="Make it a part of its own, or delete it.",
            )
        for other in range(1, number):
            if rings_overlap(holes[other - 1], ring):
                raise NestError(
                    f"its holes {other} and {number} overlap, {_at(ring)}.",
                    where=part.name,
                    remedy="Join them in the drawing, or delete one.",
                )


def _check_zones(part: Part) -> None:
    """Refuse a zone that is none of this part; what is merely odd about one, `zones.zone_notes` says."""
    for number, zone in enumerate(part.zones, start=1):
        if not _is_grade(zone.least_grade, least=1):
            raise NestError(
                f"a least grade of {zone.least_grade} for its zone {number} makes no sense.",
                where=part.name,
                remedy=f"Give 1 for the best, to {len(GRADES)}.",
            )
        _check_contour(zone.outline, part.name, f"its zone {number}")
        if not rings_overlap(_ring(part.outline), _ring(zone.outline)):
            raise NestError(
                f"its zone {number} of grade {zone.least_grade} lies outside its outline, {_at(_ring(zone.outline))}.",
                where=part.name,
                remedy="Draw it where it belongs, or delete it.",
            )


def _at(places: FloatArray) -> str:
    return f"at ({places[0, 0]:.3f}, {places[0, 1]:.3f}) mm"


def net_area(part: Part) -> float:
    """Return the area of a part, its holes removed, arcs by their closed form [mm2].

    Parameters
    ----------
    part : Part
        The part.

    Returns
    -------
    float
        Area [mm2].
    """
    holes = sum(abs(signed_area(hole)) for hole in part.holes)
    return abs(signed_area(part.outline)) - holes
