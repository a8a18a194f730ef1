"""Rivet and lacing holes and eyelets: where they lie, whether they may lie there, how they are drawn.

Convention: a hole that the process can cut is a circle on CUT_INSIDE; one that it cannot, and every hole of a blank
that is formed first, is a centre mark on HOLE_POINT. Distances are from the middle of a hole to the nearest cut edge
and to the middle of the next hole.

Source of the rules: `meshflow.stock.joining`, with their marks. What a joint must bear is for a qualified engineer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import distance_to
from meshflow.geometry.polygons import inside, material
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.asked import HolesAsked
from meshflow.model.curve import Circle, Dot, Motion
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import FlatPattern
from meshflow.outline.rows import rows_beside
from meshflow.outline.runs import Contours, drawn_run, edges_along
from meshflow.stock.joining import HoleRule, PointRules

__all__ = ["PlacedHoles", "holes_of"]

_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class PlacedHoles:
    """Holes of a part.

    Parameters
    ----------
    cut : tuple of Circle
        To be cut.
    marks : tuple of Mark
        Centre marks of those that are drilled or punched by hand.
    notes : tuple of Finding
        D140 to D144.
    """

    cut: tuple[Circle, ...] = ()
    marks: tuple[Mark, ...] = ()
    notes: tuple[Finding, ...] = ()


@dataclass(frozen=True, eq=False)
class _Group:
    """Holes of one row of the job that lie on the part."""

    asked: HolesAsked
    rule: HoleRule
    points: FloatArray


def holes_of(
    pattern: FlatPattern,
    asked: Sequence[HolesAsked],
    found: Sequence[FloatArray],
    contours: Contours,
    motion: Motion,
    rules: PointRules,
    *,
    blank: bool,
) -> PlacedHoles:
    """Return the holes of a part.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    asked : sequence of HolesAsked
        Holes, row by row.
    found : sequence of (k, 2) float array
        Where their `at` points lie on the pattern; NaN off it [mm].
    contours : mapping of int to Polycurve or Circle
        Drawn net contour of each loop [mm].
    motion : Motion
        From the pattern to the drawing.
    rules : PointRules
        What they are held against.
    blank : bool
        Whether the part is formed before it is pierced.

    Returns
    -------
    PlacedHoles
        Circles, centre marks and findings.

    Raises
    ------
    OptionError
        If an edge is not known.
    """
    notes: list[Finding] = []
    groups = []
    for row, spots in zip(asked, found, strict=True):
        points = _points_of(pattern, row, spots, contours, motion, rules.hole(row.kind))
        fits = _fits(points, row, contours)
        notes += _off(row, points, fits)
        groups.append(_Group(row, rules.hole(row.kind), points[fits]))
    groups, twice = _once(groups)
    notes += twice
    for number, group in enumerate(groups):
        notes += _edge_distance(group, contours) + _spacing(groups, number) + _suits(group, pattern.region.thickness)
    cut, marks = [], []
    for group in groups:
        by_hand = blank or group.asked.diameter_mm < rules.least_hole_mm - _ROUNDING
        notes += _by_hand(group, rules, blank=blank) if by_hand and len(group.points) else []
        for x, y in group.points.tolist():
            if by_hand:
                marks.append(Mark(Layer.HOLE_POINT, Dot((x, y)), group.asked.kind))
            else:
                cut.append(Circle((x, y), 0.5 * group.asked.diameter_mm))
    return PlacedHoles(tuple(cut), tuple(marks), tuple(notes))


def _points_of(
    pattern: FlatPattern, row: HolesAsked, spots: FloatArray, contours: Contours, motion: Motion, rule: HoleRule
) -> FloatArray:
    """Return the middles of one row of the job in the drawing: by points of the scan, of the drawing, along an edge."""
    places = [move_points(spots.reshape(-1, 2), motion), np.array(row.flat, dtype=np.float64).reshape(-1, 2)]
    if row.along == "seams":
        raise OptionError(
            'holes cannot run along "seams".', where=pattern.region.name, remedy="Name one edge, or ask for stitches."
        )
    for edge in edges_along(pattern, row.along) if row.along else ():
        points, closed = drawn_run(pattern, edge, contours, motion)
        inset = row.edge_mm or (rule.edge_countersunk if row.countersunk else rule.edge) * row.diameter_mm
        pitch = row.pitch_mm or rule.usual_pitch * row.diameter_mm
        lines = rows_beside(
            points, closed=closed, inset=inset, pitch=pitch, first=row.first_mm, last=row.last_mm, count=row.count
        )
        places += [line.points for line in lines]
    return np.concatenate(places)


def _fits(points: FloatArray, row: HolesAsked, contours: Contours) -> BoolArray:
    """Say which holes lie wholly on the part."""
    fits: BoolArray = np.asarray(np.isfinite(points).all(axis=1))
    area = material(contours[0], [contour for number, contour in contours.items() if number != 0])
    held = np.where(fits[:, None], points, 0.0)
    clear = distance_to(list(contours.values()), held) > 0.5 * row.diameter_mm + _ROUNDING
    return np.asarray(fits & inside(area, held) & clear)


def _off(row: HolesAsked, points: FloatArray, fits: BoolArray) -> list[Finding]:
    lost = int((~fits).sum())
    if lost == 0 and len(points):
        return []
    numbers = ", ".join(str(number + 1) for number in np.flatnonzero(~fits)[:6].tolist())
    text = (
        f"{lost} of {len(points)} {row.kind} holes lie off the part or break its edge, and are left out: "
        f"number {numbers}."
        if len(points)
        else f'there is no room for a row of {row.kind} holes along "{row.along}".'
    )
    remedy = "Give points on this part, farther from its edges."
    return [Finding("D143", Severity.WARNING, text, remedy, count=max(lost, 1))]


def _once(groups: Sequence[_Group]) -> tuple[list[_Group], list[Finding]]:
    """Drop holes that would cut into one that is there already."""
    kept: list[_Group] = []
    lost = 0
    for group in groups:
        keep, count = np.empty_like(group.points), 0
        for point in group.points.tolist():
            others = [(other.points, other.asked.diameter_mm) for other in kept]
            others.append((keep[:count], group.asked.diameter_mm))
            least = (_nearest(point, spots) - 0.5 * (size + group.asked.diameter_mm) for spots, size in others)
            if all(gap > _ROUNDING for gap in least):
                keep[count] = point
                count += 1
            else:
                lost += 1
        kept.append(_Group(group.asked, group.rule, keep[:count]))
    if not lost:
        return kept, []
    text = f"{lost} hole{'s' * (lost > 1)} would cut into another and {'are' if lost > 1 else 'is'} left out."
    return kept, [
        Finding("D141", Severity.WARNING, text, "Say each hole once, and set them farther apart.", count=lost)
    ]


def _nearest(point: list[float], spots: FloatArray) -> float:
    return float(np.hypot(*(spots - point).T).min()) if len(spots) else np.inf


def _edge_distance(group: _Group, contours: Contours) -> list[Finding]:
    wanted = (group.rule.edge_countersunk if group.asked.countersunk else group.rule.edge) * group.asked.diameter_mm
    far = distance_to(list(contours.values()), group.points)
    near = np.flatnonzero(far < wanted - 0.005)
    if len(near) == 0:
        return []
    worst = int(near[np.argmin(far[near])])
    x, y = group.points[worst].tolist()
    text = (
        f"{len(near)} {group.asked.kind} holes lie nearer to an edge than {wanted:.2f} mm; "
        f"the nearest {far[worst]:.2f} mm, at x {x:.1f}, y {y:.1f} mm."
    )
    remedy = f"Move them in, or take a smaller size ({group.rule.source})."
    return [Finding("D140", Severity.WARNING, text, remedy, count=len(near))]


def _spacing(groups: Sequence[_Group], number: int) -> list[Finding]:
    """Return D141 for holes of a row too near to one another, or to those of an earlier row."""
    group = groups[number]
    near, least = 0, np.inf
    wanted = group.rule.pitch * group.asked.diameter_mm
    for place, point in enumerate(group.points.tolist()):
        rest = [other.points for other in groups[:number]] + [np.delete(group.points, place, axis=0)]
        gap = _nearest(point, np.concatenate(rest))
        near += gap < wanted - 0.005
        least = min(least, gap)
    if not near:
        return []
    text = f"{near} {group.asked.kind} holes lie nearer to the next than {wanted:.2f} mm; the nearest {least:.2f} mm."
    remedy = f"Set them farther apart, or take a smaller size ({group.rule.source})."
    return [Finding("D141", Severity.WARNING, text, remedy, count=near)]


def _suits(group: _Group, thickness: float) -> list[Finding]:
    low, high = (factor * thickness for factor in group.rule.thickness)
    size = group.asked.diameter_mm
    if thickness == 0.0 or low - 0.005 <= size <= high + 0.005:
        return []
    text = f"a {group.asked.kind} of {size:g} mm does not suit {thickness:g} mm sheet: {low:g} to {high:g} mm is usual."
    remedy = "Check against the thickest sheet of the joint; a joint that must bear is for an engineer to size."
    return [Finding("D142", Severity.WARNING, text, remedy)]


def _by_hand(group: _Group, rules: PointRules, *, blank: bool) -> list[Finding]:
    count, size = len(group.points), group.asked.diameter_mm
    reason = (
        "forming would pull it out of shape"
        if blank
        else f"this process cuts none under {rules.least_hole_mm:g} mm at this thickness"
    )
    text = f"{count} {group.asked.kind} hole{'s' * (count > 1)} of {size:g} mm marked by the middle, not cut: {reason}."
    remedy = "Punch or drill after forming." if blank else "Drill them by hand."
    return [Finding("D144", Severity.NOTE, text, remedy, count=count)]
