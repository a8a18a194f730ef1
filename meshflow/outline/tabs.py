"""Where a small part is held in the sheet: tab points on its outline, and the outline with real gaps there.

Terms: a *tab point* marks where the shop may leave the contour uncut for a hair's breadth (a holding tab, micro-joint);
a *real gap* is such a stretch left out of the contour itself.

Convention: points by default, on the layer TAB_POINT, because most shops set tabs themselves; gaps only when asked for,
because an open contour is refused by many. Tabs lie evenly round the outline by arc length and as far as they can from
corners, notches and the ends of other marks, because each leaves a burr to be filed (common practice).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.curves import bounds, distance_to, length, point_at
from meshflow.geometry.pieces import piece_lengths, pieces
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part
from meshflow.model.stock import Process
from meshflow.stock.cutting import Tabs, tabs_of

__all__ = ["clear_of_corners", "tab_places", "with_tabs"]

_STARTS = 96  # turns of the even spacing that are tried
_KINK = np.radians(10.0)
_ENOUGH = 3.0  # tab widths from a corner or a mark


def with_tabs(part: Part, process: Process, *, gaps: bool = False) -> Part:
    """Return a part with its tab points, where its process holds small parts.

    Parameters
    ----------
    part : Part
        The part.
    process : Process
        How it shall be cut.
    gaps : bool
        Whether the drawing shall leave the outline out there, so that it is open.

    Returns
    -------
    Part
        With Dots on TAB_POINT and the note D136; the part itself where it needs none.
    """
    tabs = tabs_of(process)
    left, low, right, high = bounds(part.outline)
    if tabs is None or min(right - left, high - low) >= tabs.below_mm:
        return part
    places = tab_places(part, tabs)
    dots = tuple(Mark(Layer.TAB_POINT, Dot((x, y)), "tab") for x, y in places.tolist())
    kept = tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in places.tolist())
    what = "gaps are left in the outline" if gaps else "points are marked on TAB_POINT"
    text = (
        f"{len(dots)} {what} for holding tabs of about {tabs.width_mm:g} mm: the part is under {tabs.below_mm:g} mm "
        f"wide and may tip or drop ({tabs.words})."
    )
    note = Finding("D136", Severity.NOTE, text, "", len(dots), where=part.name, at_mm=(*kept[0], 0.0), places_mm=kept)
    width = tabs.width_mm if gaps else 0.0
    return replace(part, marks=(*part.marks, *dots), notes=(*part.notes, note), tab_gap_mm=width)


def tab_places(part: Part, tabs: Tabs) -> FloatArray:
    """Return where tabs sit on the outline, shape (k, 2) [mm].

    Parameters
    ----------
    part : Part
        Outline, holes and marks.
    tabs : Tabs
        How many, how wide.
    """
    total = length(part.outline)
    count = int(np.clip(round(total / tabs.pitch_mm), tabs.least, tabs.most))
    start = np.arange(_STARTS) * (total / count / _STARTS)
    along = (start[:, None] + np.arange(count) * (total / count)).ravel()
    places = point_at(part.outline, along)
    clear = np.minimum(clear_of_corners(part.outline, along, total), _from_marks(part, places))
    # Beyond a few widths more distance is no better, so the first such start is taken.
    worst = np.minimum(clear.reshape(_STARTS, count), _ENOUGH * tabs.width_mm).min(axis=1)
    best = int(np.argmax(np.round(worst, 6)))
    return np.asarray(places.reshape(_STARTS, count, 2)[best])


def clear_of_corners(outline: Polycurve | Circle, along: FloatArray, total: float) -> FloatArray:
    """Return how far along a closed contour places are from its nearest corner [mm]; infinite without corners."""
    if isinstance(outline, Circle):
        return np.full(len(along), np.inf)
    table, lengths = pieces(outline), piece_lengths(outline)
    entry, leave = table.heading - 0.5 * table.sweep, table.heading + 0.5 * table.sweep
    turn = np.abs((entry - np.roll(leave, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    corners = (np.cumsum(lengths) - lengths)[turn > _KINK]
    if len(corners) == 0:
        return np.full(len(along), np.inf)
    apart = np.abs(along[:, None] - corners)
    return np.asarray(np.minimum(apart, total - apart).min(axis=1))


def _from_marks(part: Part, places: FloatArray) -> FloatArray:
    marks = [mark.curve for mark in part.marks if mark.layer is not Layer.MARK_TEXT]
    return distance_to(marks, places) if marks else np.full(len(places), np.inf)
