"""Stitch holes: beside a free edge, and the same number on both sides of what is sewn.

Terms: a *seam* joins two edges; its holes stand at equal shares of its length on the formed piece, so the first meets
the first and the last the last even where the two flat edges differ in length. A *slit* slants across the row, as a
pricking iron makes it.

Convention: the row runs `inset` inside the cut edge and starts as far from the ends of the edge, so the rows of two
edges that meet square share one hole on the corner; holes that fall together are made once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import distance_to, length, point_at, tangent_at
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.asked import StitchesAsked
from meshflow.model.curve import Circle, Curve, Dot, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import Edge, FlatPattern, Seam
from meshflow.outline.rows import CORNER_RAD, divided, rows_beside
from meshflow.outline.runs import Contours, drawn_run, edges_along, feet, formed_lengths, inward_at, same_way

__all__ = ["Stitch", "stitch_marks", "stitches"]

SLANT_RAD = np.radians(45.0)
_TOGETHER = 0.25  # of the pitch: holes nearer than this are one
_CROWDED = 0.5  # of the pitch
_NEAR_EDGE = 0.9  # of the inset: nearer to some edge, the hole would tear out


@dataclass(frozen=True, eq=False)
class Stitch:
    """Holes of one row or one side of a seam.

    Parameters
    ----------
    points, tangents : (k, 2) float array
        Middles, and the direction of the row there.
    """

    points: FloatArray
    tangents: FloatArray


def stitches(
    pattern: FlatPattern,
    asked: Sequence[StitchesAsked],
    contours: Contours,
    motion: Motion,
    *,
    openings: Sequence[Curve] = (),
) -> tuple[list[Mark], list[Finding]]:
    """Return the stitch holes of a part.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern, with its edges and seams.
    asked : sequence of StitchesAsked
        Rows, in the order asked for; seams are set out first, since both their sides must agree.
    contours : mapping of int to Polycurve or Circle
        Drawn contour of each loop [mm].
    motion : Motion
        From the pattern to the drawing.
    openings : sequence of Curve
        Other holes of the part, which stitches keep clear of.

    Returns
    -------
    marks : list of Mark
        On STITCH_POINT, purpose ``stitch``.
    notes : list of Finding
        D145 what had no room, D149 how many holes there are and at which pitch.

    Raises
    ------
    OptionError
        If an edge is not known.
    """
    marks: list[Mark] = []
    notes: list[Finding] = []
    taken = np.empty((0, 2))
    for row in sorted(asked, key=lambda row: row.along != "seams"):
        rows, pitches, lost = _set_out(pattern, row, contours, motion, openings)
        count = 0
        for stitch in rows:
            apart = _apart(stitch.points, taken)
            new = apart > _TOGETHER * row.pitch_mm
            marks += stitch_marks(Stitch(stitch.points[new], stitch.tangents[new]), row)
            taken = np.concatenate([taken, stitch.points[new]])
            count += len(stitch.points)
        notes += _said(row, len(rows), count, pitches, lost)
    return marks, notes


def stitch_marks(stitch: Stitch, row: StitchesAsked) -> list[Mark]:
    """Return the marks of a row: points, circles or slanted slits."""
    return [
        Mark(Layer.STITCH_POINT, _shape(point, tangent, row), "stitch")
        for point, tangent in zip(stitch.points, stitch.tangents, strict=True)
    ]


def _shape(point: FloatArray, tangent: FloatArray, row: StitchesAsked) -> Curve:
    x, y = point.tolist()
    if row.hole == "point":
        return Dot((x, y))
    if row.hole == "round":
        return Circle((x, y), 0.5 * row.size_mm)
    cosine, sine = np.cos(SLANT_RAD), np.sin(SLANT_RAD)
    way = np.array([cosine * tangent[0] - sine * tangent[1], sine * tangent[0] + cosine * tangent[1]])
    return Polycurve(point + np.array([[-0.5], [0.5]]) * row.size_mm * way, closed=False)


def _set_out(
    pattern: FlatPattern, row: StitchesAsked, contours: Contours, motion: Motion, openings: Sequence[Curve]
) -> tuple[list[Stitch], list[float], int]:
    """Return the holes of what one row of the job names, the pitches that came out, and how many had no room."""
    found: list[Stitch] = []
    pitches: list[float] = []
    lost = 0
    if row.along == "seams":
        for seam in pattern.seams:
            sides, pitch, out = _seam(pattern, seam, row, contours, motion, openings)
            found, pitches, lost = found + sides, pitches + pitch, lost + out
        return found, pitches, lost
    for edge in edges_along(pattern, row.along):
        points, closed = drawn_run(pattern, edge, contours, motion)
        rows = rows_beside(
            points,
            closed=closed,
            inset=row.inset_mm,
            pitch=row.pitch_mm,
            first=row.first_mm,
            last=row.last_mm,
            count=row.count,
        )
        for line in rows:
            clear = _clear(line.points, row, contours, openings)
            found.append(Stitch(line.points[clear], line.tangents[clear]))
            pitches += line.pitches
            lost += int((~clear).sum())
        lost += not rows
    return found, pitches, lost


def _clear(points: FloatArray, row: StitchesAsked, contours: Contours, openings: Sequence[Curve]) -> BoolArray:
    """Say which holes keep their inset from every edge, and their own pitch from other holes."""
    edges: BoolArray = np.asarray(distance_to(list(contours.values()), points) > _NEAR_EDGE * row.inset_mm)
    if not openings:
        return edges
    return np.asarray(edges & (distance_to(list(openings), points) > _CROWDED * row.pitch_mm))


def _seam(
    pattern: FlatPattern,
    seam: Seam,
    row: StitchesAsked,
    contours: Contours,
    motion: Motion,
    openings: Sequence[Curve],
) -> tuple[list[Stitch], list[float], int]:
    """Return the holes of both sides of a seam; a place that has no room on one side has no hole on the other."""
    one, other = pattern.edge(seam.edge_a), pattern.edge(seam.edge_b)
    turned = not same_way(pattern, one, other)
    formed = float(formed_lengths(pattern.region.vertices, one.vertices)[-1])
    begin = row.inset_mm if row.first_mm is None else row.first_mm
    end = formed - (row.inset_mm if row.last_mm is None else row.last_mm)
    if end <= begin:
        return [], [], 1
    corners = [_corner_shares(pattern, edge, contours[edge.loop], motion) for edge in (one, other)]
    inner = formed * np.concatenate([corners[0], 1.0 - corners[1] if turned else corners[1]])
    nodes = _apart_by(np.concatenate([[begin], np.sort(inner), [end]]), 0.25 * row.pitch_mm)
    lengths = np.diff(nodes)
    steps = divided(lengths, row.pitch_mm, None if row.count is None else max(row.count - 1, 1))
    at = [np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(nodes[:-1], nodes[1:], steps, strict=True)]
    shares = np.concatenate([*at, nodes[-1:]]) / formed
    sides = [_side(pattern, one, row, contours, motion, shares)]
    sides.append(_side(pattern, other, row, contours, motion, 1.0 - shares if turned else shares))
    clear = np.logical_and(*(_clear(side.points, row, contours, openings) for side in sides))
    kept = [Stitch(side.points[clear], side.tangents[clear]) for side in sides]
    return kept, [float(a / n) for a, n in zip(lengths, steps, strict=True)], int((~clear).sum())


def _apart_by(nodes: FloatArray, least: float) -> FloatArray:
    """Return places along an edge without those that lie next to the one before; both ends stay."""
    inner = nodes[1:-1]
    inner = inner[(inner > nodes[0] + least) & (inner < nodes[-1] - least)]
    inner = inner[np.diff(inner, prepend=-np.inf) > least]
    return np.concatenate([nodes[:1], inner, nodes[-1:]])


def _side(
    pattern: FlatPattern, edge: Edge, row: StitchesAsked, contours: Contours, motion: Motion, shares: FloatArray
) -> Stitch:
    contour = contours[edge.loop]
    along = feet(pattern, edge, contour, motion, shares)
    hair = min(0.05, 1e-3 * length(contour))
    before, after = (inward_at(contour, along + step, hole=edge.loop != 0) for step in (-hair, hair))
    middle = before + after
    # On a corner the hole stands where the parallels of both sides meet: the inset over the cosine of half the turn.
    inward = middle / np.maximum(0.5 * np.sum(middle**2, axis=1, keepdims=True), 0.5)
    return Stitch(point_at(contour, along) + row.inset_mm * inward, tangent_at(contour, along))


def _corner_shares(pattern: FlatPattern, edge: Edge, contour: Polycurve | Circle, motion: Motion) -> FloatArray:
    """Return where the drawn edge turns sharply, as shares of its formed length, its own ends left out."""
    if isinstance(contour, Circle):
        return np.zeros(0)
    shares = np.linspace(0.0, 1.0, 2 + 8 * len(edge.vertices))[1:-1]
    place = formed_lengths(pattern.region.vertices, edge.vertices)
    shares = np.unique(np.concatenate([shares, place[1:-1] / place[-1]]))
    along = feet(pattern, edge, contour, motion, shares)
    hair = 0.1
    before, after = (tangent_at(contour, along + step) for step in (-hair, hair))
    turn = np.arccos(np.clip(np.sum(before * after, axis=1), -1.0, 1.0))
    sharp = np.flatnonzero(turn >= CORNER_RAD)
    if len(sharp) == 0:
        return np.zeros(0)
    groups = np.split(sharp, np.flatnonzero(np.diff(sharp) > 2) + 1)
    return np.array([float(shares[group].mean()) for group in groups])


def _apart(points: FloatArray, others: FloatArray) -> FloatArray:
    if len(others) == 0 or len(points) == 0:
        return np.full(len(points), np.inf)
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(others).query(points)[0])


def _said(row: StitchesAsked, rows: int, count: int, pitches: Sequence[float], lost: int) -> list[Finding]:
    notes = []
    if count:
        low, high = min(pitches, default=row.pitch_mm), max(pitches, default=row.pitch_mm)
        pitch = f"{low:.2f} mm" if high - low < 0.005 else f"{low:.2f} to {high:.2f} mm"
        asked = f"{row.count} holes" if row.count else f"{row.pitch_mm:g} mm"
        text = (
            f'{count} stitch holes along "{row.along}" in {rows} row{"s" * (rows != 1)}, pitch {pitch} (asked {asked}).'
        )
        notes.append(Finding("D149", Severity.NOTE, text, count=count))
    if lost or not count:
        text = (
            f'{lost} stitch holes along "{row.along}" have no room {row.inset_mm:g} mm inside the edge, '
            "and are left out."
            if count
            else f'no stitch hole has room along "{row.along}".'
        )
        remedy = "Take a smaller inset, or move the hole that is in the way."
        notes.append(Finding("D145", Severity.WARNING, text, remedy, count=max(lost, 1)))
    return notes
