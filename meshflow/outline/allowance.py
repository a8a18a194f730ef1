"""Allowances edge by edge: what a maker adds to the net pattern, and the lines that remind of the net.

Terms: see `meshflow.model.allowance`. A *side* is a run of the outer contour between two of its corners.

Convention: where two rows name one edge, the later one holds, save that a skive stands beside the others. Both sides
of a seam get the same allowance, whichever of them is named; a lap is added to one side alone.

Sources: folding, skiving and clipping are the habit of leather work and pattern making (COMMON_PRACTICE).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.curves import distance_to, tessellate, transformed
from meshflow.geometry.pieces import pieces
from meshflow.geometry.polygons import material, parallels, pieces_inside, shrunk
from meshflow.geometry.transforms import move_points
from meshflow.model.allowance import Allowance
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import FlatPattern
from meshflow.outline.blank import net_lines
from meshflow.outline.contour import contour_of
from meshflow.outline.notches import EDGE_GAP_MM
from meshflow.outline.runs import edges_along
from meshflow.outline.strips import SHARP, Strip, with_strips

__all__ = ["Grown", "grown", "sides_of"]

Contours = Mapping[int, Polycurve | Circle]
_FINE = 0.02
_KINDS = {"seam": "seam allowance", "turned": "turned edge", "lap": "lap", "trim": "allowance to trim"}
_CLIPPED = ("seam", "turned")
_LEAST_MARK_MM = 1.0


@dataclass(frozen=True, eq=False)
class Grown:
    """A part with its allowances, in the frame of its net contours.

    Parameters
    ----------
    outline : Polycurve or Circle
        What is cut outside.
    holes : tuple of Polycurve or Circle
        What is cut inside.
    marks : tuple of Mark
        Net lines, fold lines, skive lines, clips.
    notes : tuple of Finding
        D113 to D118.
    reach_mm : float
        How far the contours lie outside the net line at most [mm].
    """

    outline: Polycurve | Circle
    holes: tuple[Polycurve | Circle, ...]
    marks: tuple[Mark, ...]
    notes: tuple[Finding, ...]
    reach_mm: float = 0.0

    @property
    def within(self) -> tuple[Mark, ...]:
        """The marks that run within the net line: where leather is skived to."""
        return tuple(mark for mark in self.marks if mark.purpose == "skive")

    def moved(self, motion: Motion) -> Grown:
        """Return it moved [mm]."""
        return replace(
            self,
            outline=transformed(self.outline, motion),
            holes=tuple(transformed(hole, motion) for hole in self.holes),
            marks=tuple(replace(mark, curve=transformed(mark.curve, motion)) for mark in self.marks),
        )


def grown(
    pattern: FlatPattern,
    contours: Contours,
    motion: Motion,
    allowances: Sequence[Allowance],
    *,
    tolerance: float,
    holes_cut: bool = True,
) -> Grown:
    """Return a part with its allowances.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern, with its edges and seams.
    contours : mapping of int to Polycurve or Circle
        Drawn net contour of each loop.
    motion : Motion
        From the pattern to the drawing.
    allowances : sequence of Allowance
        What each edge gets, the later row over the earlier.
    tolerance : float
        Greatest distance between the result and what is described here [mm].
    holes_cut : bool
        Whether openings are cut; of a piece that is formed they are marked.

    Returns
    -------
    Grown
        Outline, holes, marks and notes.

    Raises
    ------
    OptionError
        If a row names no edge, a width cannot be, or nothing is left of an opening's surroundings.
    """
    _check(allowances, pattern.region.name)
    walked = {number: _walked(contour, hole=number != 0) for number, contour in contours.items()}
    rows = _rows(pattern, walked, motion, allowances)
    strips = {number: _strips(rows[number], allowances) for number in walked}
    kept = [number for number in walked if number == 0 or holes_cut]
    marks, notes = _net_marks(walked, rows, allowances), _said(pattern, walked, rows, allowances)
    outline, holes = contours[0], [contours[number] for number in kept if number]
    if any(strip.width for own in strips.values() for strip in own):
        outer, inner, bays = with_strips([walked[n] for n in kept], [strips[n] for n in kept], fine=_FINE * tolerance)
        outline = contour_of(outer, np.zeros(0, np.int64), tolerance=tolerance, hole=False)
        touched = [n for n in kept if n and any(strip.width for strip in strips[n])]
        holes = [contours[n] for n in kept if n and n not in touched]
        narrowed = [ring for ring in inner if not _is_one_of(ring, [walked[n] for n in kept if n not in touched])]
        holes += [contour_of(ring, np.zeros(0, np.int64), tolerance=tolerance, hole=True) for ring in narrowed]
        notes += _said_of_gaps(bays, len(touched) - len(narrowed))
    if not holes_cut:
        marks += [Mark(Layer.MARK_LINE, contours[n], "opening") for n in contours if n]
    room = shrunk(material(outline, holes), 0.5 * EDGE_GAP_MM)
    marks += _clips(walked, rows, allowances)
    marks += _skives(walked, rows, strips, allowances, room, tolerance)
    reach = max(float(distance_to(list(contours.values()), _corners(curve)).max()) for curve in (outline, *holes))
    return Grown(outline, tuple(holes), tuple(marks), tuple(notes), reach)


def _corners(curve: Polycurve | Circle) -> FloatArray:
    """Return points of a contour that is cut, among them those farthest from any net line."""
    return tessellate(curve, tolerance=0.01)


def _check(allowances: Sequence[Allowance], name: str) -> None:
    for row in allowances:
        if not (np.isfinite(row.width_mm) and 0.0 <= row.width_mm <= 1000.0):
            raise OptionError(
                f"an allowance of {row.width_mm} mm along {row.along} is not between 0 and 1000 mm.",
                where=name,
                remedy="Correct its width.",
            )


def _walked(contour: Polycurve | Circle, *, hole: bool) -> Polycurve:
    """Return a contour as lines and arcs with the material on the left."""
    if isinstance(contour, Polycurve):
        return contour
    (x, y), r = contour.centre, contour.radius
    return Polycurve(np.array([[x + r, y], [x - r, y]]), np.full(2, -1.0 if hole else 1.0))


def sides_of(outline: Polycurve | Circle) -> IntArray:
    """Return the number of the side that each piece of the outer contour belongs to, from 1; 0 without corners.

    Sides run counter-clockwise from corner to corner (turns of 15 degrees or more), the first from the corner nearest
    the lower left of the bounding box.
    """
    walked = _walked(outline, hole=False)
    corners = np.flatnonzero(np.abs(_turns(walked)) >= SHARP)
    count = len(walked.points)
    if len(corners) == 0:
        return np.zeros(count, dtype=np.int64)
    away = walked.points[corners] - walked.points.min(axis=0)
    first = int(corners[np.lexsort((away[:, 1].round(6), np.hypot(*away.T).round(6)))[0]])
    order = (np.arange(count) + first) % count
    numbers = np.zeros(count, dtype=np.int64)
    numbers[order] = np.cumsum(np.isin(order, corners))
    return numbers


def _turns(curve: Polycurve) -> FloatArray:
    """Return how far the contour turns at the start of each piece [rad]."""
    table = pieces(curve)
    into, out = np.roll(table.heading + 0.5 * table.sweep, 1), table.heading - 0.5 * table.sweep
    return np.asarray(np.remainder(out - into + np.pi, 2.0 * np.pi) - np.pi)


def _rows(
    pattern: FlatPattern, walked: Mapping[int, Polycurve], motion: Motion, allowances: Sequence[Allowance]
) -> dict[int, list[set[int]]]:
    """Return which rows hold for each piece of each contour: at most one that adds material, and skives."""
    edges = {number: _edges_of(pattern, number, curve, motion) for number, curve in walked.items()}
    sides = sides_of(walked[0])
    rows: dict[int, list[set[int]]] = {number: [set() for _ in curve.points] for number, curve in walked.items()}
    for index, allowance in enumerate(allowances):
        names = _named(pattern, allowance)
        side = _side_number(allowance.along)
        if side is not None and side not in sides:
            known = f"side-1 to side-{sides.max()}" if sides.max() else "none: the outline has no corner"
            raise OptionError(
                f'there is no "{allowance.along}" on this part.',
                where=pattern.region.name,
                remedy=f"Its sides: {known}.",
            )
        for number, own in rows.items():
            for k, found in enumerate(own):
                if edges[number][k] in names or (side is not None and number == 0 and sides[k] == side):
                    found.difference_update(
                        i for i in list(found) if (allowances[i].kind == "skive") == (allowance.kind == "skive")
                    )
                    found.add(index)
    return rows


def _side_number(along: str) -> int | None:
    word, _, number = along.partition("-")
    return int(number) if word == "side" and number.isascii() and number.isdigit() else None


def _named(pattern: FlatPattern, allowance: Allowance) -> set[str]:
    """Return the edges that a row means: with both sides of a seam, unless it is a lap."""
    if _side_number(allowance.along) is not None:
        return set()
    if allowance.along == "seams":
        if not pattern.seams:
            raise OptionError(
                "nothing is sewn on this part.", where=pattern.region.name, remedy="Name an edge, or leave this out."
            )
        return {name for seam in pattern.seams for name in (seam.edge_a, seam.edge_b)}
    names = {edge.name for edge in edges_along(pattern, allowance.along)}
    if allowance.kind != "lap":
        for seam in pattern.seams:
            if names & {seam.edge_a, seam.edge_b}:
                names |= {seam.edge_a, seam.edge_b}
    return names


def _edges_of(pattern: FlatPattern, number: int, curve: Polycurve, motion: Motion) -> list[str]:
    """Return the name of the pattern's edge under each piece of a contour."""
    edges = [edge for edge in pattern.edges if edge.loop == number]
    table, count = pieces(curve), len(curve.points)
    middle = table.points(np.arange(count), np.full(count, 0.5))
    apart = [
        distance_to(Polycurve(move_points(pattern.vertices[edge.vertices], motion), closed=edge.closed), middle)
        for edge in edges
    ]
    return [edges[k].name for k in np.argmin(np.array(apart), axis=0).tolist()]


def _adding(found: set[int], allowances: Sequence[Allowance]) -> int | None:
    """Return the row of a piece that adds material."""
    return next((i for i in sorted(found) if allowances[i].kind != "skive" and allowances[i].width_mm > 0.0), None)


def _strips(rows: list[set[int]], allowances: Sequence[Allowance]) -> list[Strip]:
    strips = []
    for found in rows:
        index = _adding(found, allowances)
        if index is None:
            strips.append(Strip())
        else:
            row = allowances[index]
            strips.append(Strip(row.width_mm, row.kind == "turned", row.corner, index))
    return strips


def _is_one_of(ring: FloatArray, curves: Sequence[Polycurve]) -> bool:
    """Whether a ring is one of these contours, untouched."""
    return any(float(distance_to(curve, ring).max()) < 1e-6 for curve in curves)


def _net_marks(
    walked: Mapping[int, Polycurve], rows: Mapping[int, list[set[int]]], allowances: Sequence[Allowance]
) -> list[Mark]:
    """Return the net line beside each allowance, as a fold line where it is folded, broken where it would be cut."""
    marks = []
    for number, curve in walked.items():
        for index, row in enumerate(allowances):
            own = np.array([_adding(found, allowances) == index for found in rows[number]])
            if not own.any():
                continue
            folded = row.kind == "turned"
            layer, purpose = (Layer.FOLD_LINE, "fold") if folded else (Layer.MARK_LINE, "net")
            broken = row.kind == "turned" or row.corner == "stepped"
            corner = (_turns(curve) >= SHARP) & np.full(len(own), broken)
            marks += [Mark(layer, line, purpose) for line in _runs(curve, own, corner)]
    return marks


def _runs(curve: Polycurve, own: np.ndarray, broken: np.ndarray) -> list[Polycurve | Circle]:
    """Return the runs of chosen pieces, a hair short of their ends; also broken at the start of some pieces."""
    starts = np.flatnonzero(own & (broken | ~np.roll(own, 1)))
    if len(starts) == 0:
        return net_lines(curve, ~own) if own.any() else []
    lines: list[Polycurve | Circle] = []
    count = len(own)
    for start in starts.tolist():
        chosen = np.zeros(count, dtype=bool)
        k = start
        while own[k] and not chosen[k] and not (broken[k] and k != start):
            chosen[k] = True
            k = (k + 1) % count
        if chosen.all():
            rolled = Polycurve(np.roll(curve.points, -start, axis=0), np.roll(np.asarray(curve.bulges), -start))
            lines += _open(rolled)
        else:
            lines += net_lines(curve, ~chosen)
    return lines


def _open(curve: Polycurve) -> list[Polycurve | Circle]:
    """Return a closed curve as an open run, a hair short at its start."""
    doubled = Polycurve(
        np.concatenate([curve.points, curve.points[:1]]), np.append(np.asarray(curve.bulges), 0.0), closed=True
    )
    return net_lines(doubled, np.arange(len(doubled.points)) == len(doubled.points) - 1)


def _clips(
    walked: Mapping[int, Polycurve], rows: Mapping[int, list[set[int]]], allowances: Sequence[Allowance]
) -> list[Mark]:
    """Return a line to snip at each hollow corner, so that the allowance can spread or turn."""
    marks = []
    for number, curve in walked.items():
        turns, table = _turns(curve), pieces(curve)
        for k in np.flatnonzero(turns < -SHARP).tolist():
            ends = [_adding(rows[number][k - 1], allowances), _adding(rows[number][k], allowances)]
            if None in ends or not all(allowances[i].kind in _CLIPPED for i in ends if i is not None):
                continue
            width = min(allowances[i].width_mm for i in ends if i is not None)
            middle = float(table.heading[k] - 0.5 * table.sweep[k] - 0.5 * turns[k])
            out = np.array([np.sin(middle), -np.cos(middle)])
            far = width / max(np.cos(0.5 * turns[k]), 0.3) - EDGE_GAP_MM
            if far - EDGE_GAP_MM >= _LEAST_MARK_MM:
                ends_at = curve.points[k] + np.array([EDGE_GAP_MM, far])[:, None] * out
                marks.append(Mark(Layer.MARK_LINE, Polycurve(ends_at, closed=False), "clip"))
    return marks


def _skives(
    walked: Mapping[int, Polycurve],
    rows: Mapping[int, list[set[int]]],
    strips: Mapping[int, list[Strip]],
    allowances: Sequence[Allowance],
    room: object,
    tolerance: float,
) -> list[Mark]:
    """Return the line where the full thickness begins, beside each run of pieces that are skived alike."""
    marks = []
    for number, curve in walked.items():
        wide = [
            next(
                (allowances[i].width_mm - strips[number][k].width for i in found if allowances[i].kind == "skive"), None
            )
            for k, found in enumerate(rows[number])
        ]
        for depth in dict.fromkeys(value for value in wide if value is not None):
            own = np.array([value == depth for value in wide])
            for line in _runs(curve, own, np.zeros(len(own), dtype=bool)):
                marks += _skived(line, depth, room, tolerance)
    return marks


def _skived(line: Polycurve | Circle, depth: float, room: object, tolerance: float) -> list[Mark]:
    points = tessellate(line, tolerance=_FINE * tolerance)
    closed = isinstance(line, Circle) or line.closed
    if depth == 0.0:
        runs = [points]
    elif depth > 0.0:
        runs = parallels(points, depth, closed=closed)
    else:
        runs = [run[::-1] for run in parallels(points[::-1], -depth, closed=closed)]
    marks = []
    for run in runs:
        ring = np.concatenate([run, run[:1]]) if closed else run
        for part in pieces_inside(room, ring):
            whole = closed and len(part) > 3 and bool(np.all(part[0] == part[-1]))
            shape = fit_arcs(part[:-1] if whole else part, tolerance=tolerance, closed=whole)
            marks.append(Mark(Layer.SKIVE_LINE, shape, "skive"))
    return marks


def _said(
    pattern: FlatPattern,
    walked: Mapping[int, Polycurve],
    rows: Mapping[int, list[set[int]]],
    allowances: Sequence[Allowance],
) -> list[Finding]:
    """Return what was added where (D114), rows that hold nowhere (D115), what to snip (D117), cautions (D118)."""
    notes = []
    used = {i for own in rows.values() for found in own for i in found}
    for index, row in enumerate(allowances):
        if index not in used:
            text = f"the {row.kind} allowance along {row.along} holds nowhere: later ones name the same edges."
            notes.append(Finding("D115", Severity.WARNING, text, "Leave it out, or put it last."))
        elif row.kind == "skive":
            text = f"skive {row.along} over {row.width_mm:g} mm from the cut edge{_why(row)}."
            notes.append(Finding("D114", Severity.NOTE, text, "Thin the flesh side as far as the line on SKIVE_LINE."))
        elif row.width_mm > 0.0:
            text = f"{_KINDS[row.kind]} of {row.width_mm:g} mm along {row.along}{_why(row)}."
            notes.append(Finding("D114", Severity.NOTE, text, _how(row)))
        if row.caution and index in used and row.width_mm > 0.0:
            text = f"{_KINDS.get(row.kind, row.kind)} along {row.along}: {row.caution}."
            remedy = "Paint or burnish the edge, or take softer leather." if row.kind == "turned" else "Try an offcut."
            notes.append(Finding("D118", Severity.WARNING, text, remedy))
    hollow = sum(mark.purpose == "clip" for mark in _clips(walked, rows, allowances))
    if hollow:
        text = (
            f"the allowance cannot spread or turn in {hollow} hollow corner{'s' * (hollow > 1)} unless it is snipped."
        )
        remedy = "Snip along the marked line, and stop short of the net line."
        notes.append(Finding("D117", Severity.NOTE, text, remedy, count=hollow))
    return notes


def _why(row: Allowance) -> str:
    return f" ({row.source}: a default to check)" if row.source else ""


def _how(row: Allowance) -> str:
    return {
        "seam": "Join along the net line that is marked.",
        "turned": "Fold along the line on FOLD_LINE; a turned edge in leather is skived first.",
        "lap": "Lay the other piece up to the net line that is marked.",
        "trim": "Cut back to the net line once the piece has its shape.",
    }[row.kind]


def _said_of_gaps(bays: int, closed: int) -> list[Finding]:
    notes = []
    if bays:
        text = f"{bays} narrow bay{'s' if bays > 1 else ''} of the net line closed under the allowance."
        notes.append(Finding("D113", Severity.WARNING, text, "Saw them open along the net line.", count=bays))
    if closed > 0:
        text = f"{closed} opening{'s' if closed > 1 else ''} closed under {'their' if closed > 1 else 'its'} allowance."
        notes.append(Finding("D116", Severity.WARNING, text, "Take a narrower allowance there.", count=closed))
    return notes
