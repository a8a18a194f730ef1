"""Seam notches: short ticks that tell which point of one edge is sewn or soldered to which of the other.

The ticks stand at equal shares of the seam's length on the formed piece, so they meet when the seam is closed even
where the two flat edges differ in length. The first is single and the last is double, so an edge cannot be joined the
wrong way round. They lie inside the part and begin a hair from the edge: a mark must not touch a cut.

Source: matching notches, single against double, are the habit of pattern makers (COMMON_PRACTICE); tick length,
pitch and clearance are our own choice.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.curves import point_at, tangent_at
from meshflow.geometry.pieces import project
from meshflow.geometry.polygons import Area, curves_inside, gap_between
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import Edge, FlatPattern, Seam

__all__ = ["APART_MM", "EDGE_GAP_MM", "LENGTHS_MM", "seam_notches", "ticks_at"]

EDGE_GAP_MM = 0.3
DOUBLE_MM = 2.0
LENGTHS_MM = (4.0, 3.0, 2.0)
LEAST_SEAM_MM = 15.0
APART_MM = 0.5


def seam_notches(
    pattern: FlatPattern,
    contours: dict[int, Polycurve | Circle],
    room: Area,
    motion: Motion,
    *,
    pitch: float,
) -> tuple[list[Mark], list[Finding]]:
    """Return the ticks of all seams, and a note (D106) for each place that has none.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern, with its edges and seams.
    contours : dict of int to Polycurve or Circle
        Drawn contour of each loop of the pattern, material on the left.
    room : shapely geometry
        Where ticks may lie: the part, less a hair along its rim.
    motion : Motion
        From the pattern to the drawing.
    pitch : float
        Wanted distance between notches [mm].

    Returns
    -------
    marks : list of Mark
        Lines on MARK_LINE, purpose ``notch``; at each share the ticks of edge a, then those of edge b.
    notes : list of Finding
        What was left out.
    """
    ticks: list[Polycurve] = []
    notes: list[Finding] = []
    for seam in pattern.seams:
        drawn, left_out = _notches_of(pattern, seam, contours, room, motion, pitch, ticks)
        ticks += drawn
        notes += [Finding("D106", Severity.NOTE, text, "Mark the matching points by hand.") for text in left_out]
    return [Mark(Layer.MARK_LINE, tick, "notch") for tick in ticks], notes


def _notches_of(
    pattern: FlatPattern,
    seam: Seam,
    contours: dict[int, Polycurve | Circle],
    room: Area,
    motion: Motion,
    pitch: float,
    standing: Sequence[Polycurve],
) -> tuple[list[Polycurve], list[str]]:
    edges = pattern.edge(seam.edge_a), pattern.edge(seam.edge_b)
    formed = float(_lengths(pattern.region.vertices, edges[0].vertices)[-1])
    title = f"the seam of {seam.edge_a} and {seam.edge_b}"
    if formed < LEAST_SEAM_MM:
        return [], [f"{title} is {formed:.1f} mm long, too short for notches."]
    count = max(2, round(formed / pitch))
    shares = np.arange(1, count + 1) / (count + 1)
    other = shares if _same_way(pattern, *edges) else 1.0 - shares
    feet = [
        _feet(pattern, edge, contours[edge.loop], motion, part)
        for edge, part in zip(edges, (shares, other), strict=True)
    ]
    drawn: list[Polycurve] = []
    missing = 0
    for number in range(count):
        near = _near([points[number] for points, _ in feet], [*standing, *drawn])
        ticks = _pair(feet, number, number == count - 1, room, near)
        drawn += ticks
        missing += not ticks
    return drawn, [f"{title} has no room for {missing} of its {count} notches."] if missing else []


def _lengths(vertices: FloatArray, run: IntArray) -> FloatArray:
    step = np.linalg.norm(np.diff(vertices[run], axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(step)])


def _same_way(pattern: FlatPattern, one: Edge, other: Edge) -> bool:
    """Whether both edges run the same way along the closed seam; on one piece they run against each other."""
    formed = pattern.region.vertices
    a, b = formed[one.vertices[[0, -1]]], formed[other.vertices[[0, -1]]]
    along = np.linalg.norm(a - b, axis=1).sum()
    against = np.linalg.norm(a - b[::-1], axis=1).sum()
    return bool(along < against * (1.0 - 1e-9))


def _feet(
    pattern: FlatPattern, edge: Edge, contour: Polycurve | Circle, motion: Motion, shares: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Points of the drawn contour at shares of the formed length of an edge, and the directions into the part."""
    place = _lengths(pattern.region.vertices, edge.vertices)
    flat = pattern.vertices[edge.vertices]
    points = np.stack([np.interp(shares * place[-1], place, flat[:, axis]) for axis in (0, 1)], axis=1)
    along = project(contour, move_points(points, motion))[0]
    tangent = tangent_at(contour, along)
    inward = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    is_hole = isinstance(contour, Circle) and edge.loop != 0
    return point_at(contour, along), -inward if is_hole else inward


def _near(feet: Sequence[FloatArray], standing: Sequence[Polycurve]) -> list[Polycurve]:
    """Return the ticks that a tick at one of the feet could touch: of a long seam's thousands only a few."""
    if not standing:
        return []
    starts = np.array([tick.points[0] for tick in standing])
    reach = 2.0 * (EDGE_GAP_MM + max(LENGTHS_MM) + DOUBLE_MM) + APART_MM
    close = np.any([np.abs(starts - foot).max(axis=1) < reach for foot in feet], axis=0)
    return [standing[place] for place in np.flatnonzero(close).tolist()]


def _pair(
    feet: Sequence[tuple[FloatArray, FloatArray]], number: int, double: bool, room: Area, standing: Sequence[Polycurve]
) -> list[Polycurve]:
    """Ticks of both edges at one share, as long as both have room for; none where one of them has not."""
    for tick_length in LENGTHS_MM:
        sides = [ticks_at(points[number], inward[number], tick_length, double) for points, inward in feet]
        ticks = [tick for side in sides for tick in side]
        apart = min(gap_between(sides[0], sides[1]), gap_between(ticks, standing))
        if apart > APART_MM and curves_inside(room, ticks):
            return ticks
    return []


def ticks_at(foot: FloatArray, inward: FloatArray, tick_length: float, double: bool) -> list[Polycurve]:
    """Return a tick that begins a hair from a point of the contour, or two side by side."""
    along = np.array([inward[1], -inward[0]])
    offsets = (-0.5 * DOUBLE_MM, 0.5 * DOUBLE_MM) if double else (0.0,)
    ends = np.stack([EDGE_GAP_MM * inward, (EDGE_GAP_MM + tick_length) * inward])
    return [Polycurve(foot + offset * along + ends, closed=False) for offset in offsets]
