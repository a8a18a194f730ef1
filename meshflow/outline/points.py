"""Points and lines of a part, all together: the one hook of `dress`.

Order: bends have shortened the pattern already (`bends`); here holes come first, since stitches keep clear of them,
then stitches, then what is only drawn: bend and fold lines, notches, register crosses, lines of the surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import point_at
from meshflow.geometry.polygons import Area, curves_inside, gap_between, inside, material, pieces_inside, shrunk
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.asked import Marking, NotchesAsked
from meshflow.model.curve import Circle, Curve, Dot, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.outline.bends import BentPattern, bend_marks, folds_in
from meshflow.outline.fences import cleared
from meshflow.outline.holes import holes_of
from meshflow.outline.notches import APART_MM, EDGE_GAP_MM, LENGTHS_MM, ticks_at
from meshflow.outline.runs import Contours, edges_along, feet, formed_lengths, inward_at
from meshflow.outline.stitches import stitches
from meshflow.stock.joining import PointRules

__all__ = ["PointsAndLines", "points_and_lines"]

CROSS_MM = 6.0
_LEAST_LINE_MM = 1.0
_HAIR_MM = 0.01


@dataclass(frozen=True, eq=False)
class PointsAndLines:
    """What is added to a part.

    Parameters
    ----------
    cut : tuple of Circle
        Holes to be cut.
    marks : tuple of Mark
        All else.
    notes : tuple of Finding
        D140 to D149.
    """

    cut: tuple[Circle, ...] = ()
    marks: tuple[Mark, ...] = ()
    notes: tuple[Finding, ...] = ()

    @property
    def solid(self) -> list[Curve]:
        """Curves that no lettering may run over: all but the lines of the surface."""
        return [*self.cut, *(mark.curve for mark in self.marks if mark.layer is not Layer.RELIEF_LINE)]

    @property
    def curves(self) -> list[Curve]:
        """All curves."""
        return [*self.cut, *(mark.curve for mark in self.marks)]


def points_and_lines(
    bent: BentPattern, contours: Contours, motion: Motion, rules: PointRules, *, hair: float, blank: bool
) -> PointsAndLines:
    """Return the points and lines of a part.

    Parameters
    ----------
    bent : BentPattern
        The pattern, shortened across its bends, and what is asked for.
    contours : mapping of int to Polycurve or Circle
        Drawn net contour of each loop [mm].
    motion : Motion
        From the pattern to the drawing.
    rules : PointRules
        What they are held against.
    hair : float
        How far marks keep from a cut [mm].
    blank : bool
        Whether the part is formed before it is pierced.

    Returns
    -------
    PointsAndLines
        Circles, marks, findings.

    Raises
    ------
    OptionError
        If an edge is not known.
    """
    pattern, marking = bent.pattern, bent.marking
    asked = marking.asked
    whole = material(contours[0], [contour for number, contour in contours.items() if number != 0])
    room = shrunk(whole, hair)
    holes = holes_of(pattern, asked.holes, marking.holes, contours, motion, rules, blank=blank)
    openings: list[Curve] = [*holes.cut, *(mark.curve for mark in holes.marks)]
    sewn, said = stitches(pattern, asked.stitches, contours, motion, openings=openings)
    marks, notes = [*holes.marks, *sewn], [*bent.notes, *marking.notes, *holes.notes, *said]
    marks += bend_marks(bent.lines, room, motion)
    for found, told in (
        folds_in(pattern, marking, room, motion),
        _crosses(marking, room, motion),
        _notches(pattern, marking, contours, room, motion, marks),
        _surface_lines(marking, room, motion),
    ):
        marks, notes = marks + found, notes + told
    return PointsAndLines(holes.cut, tuple(marks), tuple(notes))


def _crosses(marking: Marking, room: Area, motion: Motion) -> tuple[list[Mark], list[Finding]]:
    """Return register crosses and centre marks; D143 for those off the part."""
    marks: list[Mark] = []
    lost = 0
    for row, spots in zip(marking.asked.marks, marking.marks, strict=True):
        flat = np.array(row.flat, dtype=np.float64).reshape(-1, 2)
        points = np.concatenate([move_points(spots.reshape(-1, 2), motion), flat])
        there = np.isfinite(points).all(axis=1)
        there[there] = inside(room, points[there])
        lost += int((~there).sum())
        for point in points[there]:
            marks += _cross(point) if row.kind == "register" else [_centre(point)]
    if not lost:
        return marks, []
    text = f"{lost} register or centre mark{'s' * (lost > 1)} lie off the part and are left out."
    return marks, [Finding("D143", Severity.WARNING, text, "Give points on this part.", count=lost)]


def _cross(point: FloatArray) -> list[Mark]:
    arms = 0.5 * CROSS_MM * np.array([[[-1.0, 0.0], [1.0, 0.0]], [[0.0, -1.0], [0.0, 1.0]]])
    return [Mark(Layer.ALIGN_MARK, Polycurve(point + arm, closed=False), "register") for arm in arms]


def _centre(point: FloatArray) -> Mark:
    return Mark(Layer.HOLE_POINT, Dot((float(point[0]), float(point[1]))), "centre")


def _notches(
    pattern: FlatPattern, marking: Marking, contours: Contours, room: Area, motion: Motion, standing: list[Mark]
) -> tuple[list[Mark], list[Finding]]:
    marks: list[Mark] = []
    notes: list[Finding] = []
    free = cleared(room, [mark.curve for mark in standing], clearance=2.0 * APART_MM) if standing else room
    for row in marking.asked.notches:
        for edge in edges_along(pattern, row.along):
            shares = _shares(pattern, edge, row)
            missing = 0
            along = feet(pattern, edge, contours[edge.loop], motion, shares)
            sides = [
                inward_at(contours[edge.loop], along + step, hole=edge.loop != 0) for step in (-_HAIR_MM, _HAIR_MM)
            ]
            inward = sides[0] + sides[1]  # on a corner half way between both sides
            half = np.maximum(0.5 * np.hypot(*inward.T), 0.3)  # cosine of half the turn
            inward /= 2.0 * half[:, None]
            feet_in = point_at(contours[edge.loop], along) + (EDGE_GAP_MM * (1.0 / half - 1.0))[:, None] * inward
            for foot, way in zip(feet_in, inward, strict=True):
                tick = _tick(foot, way, free, [mark.curve for mark in marks])
                marks += [Mark(Layer.MARK_LINE, curve, "notch") for curve in tick]
                missing += not tick
            if missing:
                text = f'{missing} of {len(shares)} notches on "{edge.name}" have no room.'
                notes.append(Finding("D106", Severity.NOTE, text, "Mark these points by hand.", count=missing))
    return marks, notes


def _shares(pattern: FlatPattern, edge: Edge, row: NotchesAsked) -> FloatArray:
    if row.pitch_mm is None:
        return np.array(row.shares, dtype=np.float64)
    run = np.append(edge.vertices, edge.vertices[:1]) if edge.closed else edge.vertices
    formed = float(formed_lengths(pattern.region.vertices, run)[-1])
    count = max(1, round(formed / row.pitch_mm))
    return np.arange(count) / count if edge.closed else np.arange(1, count) / count


def _tick(foot: FloatArray, inward: FloatArray, room: Area, standing: list[Curve]) -> list[Polycurve]:
    for tick_length in LENGTHS_MM:
        tick = ticks_at(foot, inward, tick_length, False)
        if curves_inside(room, tick) and gap_between(tick, standing) > 2.0 * APART_MM:
            return tick
    return []


def _surface_lines(marking: Marking, room: Area, motion: Motion) -> tuple[list[Mark], list[Finding]]:
    """Return the lines of the surface as far as they lie on the part."""
    marks: list[Mark] = []
    for line in marking.lines:
        points = move_points(line.points, motion)
        ring = np.concatenate([points, points[:1]]) if line.closed else points
        for piece in pieces_inside(room, ring):
            whole = line.closed and bool(np.array_equal(piece[0], piece[-1]))
            run = piece[:-1] if whole else piece
            if float(np.hypot(*np.diff(piece, axis=0).T).sum()) >= _LEAST_LINE_MM:
                marks.append(Mark(line.layer, Polycurve(run, closed=whole), line.purpose))
    return marks, []
