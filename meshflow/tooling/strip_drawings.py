"""Drawings of a strip tool: plan of the die with its guides, sections of the closed pair, the strip from blow to blow.

Layers: outlines on ``CUT_OUTSIDE``, holes on ``CUT_INSIDE``, joints and zones on ``MARK_LINE``, contours of the
ornament on ``RELIEF_LINE``, guides and channel on ``ALIGN_MARK``, words on ``NOTE``.

Convention: the plan shows the die face up, as it is milled; the strip comes in from the right. Sections show die below
and punch above, as they stand under the ram. On the strip y is turned likewise: its seen face is down.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from meshflow.geometry.curves import bounds
from meshflow.geometry.lettering import strokes as letters
from meshflow.geometry.lettering import text_width
from meshflow.geometry.simplify import simplified
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.tooling.block import Hole
from meshflow.tooling.feed import Run, strike
from meshflow.tooling.punch_lines import contour_lines
from meshflow.tooling.strip_faces import StripFaces
from meshflow.tooling.strip_plan import StripPlan

__all__ = ["plan_drawing", "section_drawing", "strip_drawing"]

_CAP: Final = 2.5
_SMALL: Final = 1.5
_SHOWN: Final = 3  # blows drawn on the strip
_LINE_MM: Final = 0.01
_CONTOURS: Final = 3
_BACK: Final = 6.0


def plan_drawing(faces: StripFaces, plan: StripPlan, *, pilots: Sequence[Hole] = ()) -> Drawing:
    """Return the plan of the die, face up: outline, holes, guides, channel, joints and zones, contours, pilots."""
    length, half = plan.length_mm, plan.half_width_mm
    strokes = [Stroke(Layer.CUT_OUTSIDE, _box(0.0, -half, length, half))]
    strokes += [
        Stroke(Layer.CUT_INSIDE, Circle((hole.x_mm, -hole.y_mm), 0.5 * hole.diameter_mm))
        for hole in (*plan.holes, *pilots)
    ]
    inner, outer = 0.5 * plan.channel_mm, 0.5 * plan.channel_mm + plan.guide_mm[0]
    strokes += [Stroke(Layer.ALIGN_MARK, _box(0.0, side * inner, length, side * outer)) for side in (-1.0, 1.0)]
    edge = 0.5 * plan.strip_width_mm
    strokes += [Stroke(Layer.ALIGN_MARK, _line(0.0, side * edge, length, side * edge)) for side in (-1.0, 1.0)]
    strokes += _contours(faces, 0)
    for start, end, name in _zones(faces):
        strokes.append(Stroke(Layer.MARK_LINE, _line(end, -edge, end, edge)))
        strokes += _zone_name(name, (start, end), half + 2.0, above=True)
    strokes += _words("IN FROM HERE", (length + 3.0, -0.5 * _CAP))
    strokes.append(
        Stroke(Layer.NOTE, Polycurve(np.array([[length + 9.0, -5.0], [length + 3.0, -6.5], [length + 9.0, -8.0]])))
    )
    said = (
        f"Die {length:.2f} x {2 * half:.2f} mm, {plan.land_mm[0]:g} mm to the land. Punch alike, turned over about x.",
        f"Channel {plan.channel_mm:.2f} mm for a strip of {plan.strip_width_mm:.2f} mm; guides {plan.guide_mm[0]:g} x "
        f"{plan.guide_mm[1]:g} mm.",
        *(
            (f"{len(pilots)} pilots of {pilots[0].diameter_mm:g} mm, drilled once the face is milled.",)
            if pilots
            else ()
        ),
    )
    return _drawing("plan", strokes, said)


def section_drawing(faces: StripFaces, plan: StripPlan) -> Drawing:
    """Return the closed pair cut along the feed through its highest place, and across the strip above it."""
    pair = faces.pair
    row, column = np.unravel_index(int(np.argmax(np.abs(pair.face))), pair.face.shape)
    strokes = _cut(pair.x, -pair.outer[row], -faces.punch[row], _BACK)
    for start, end, name in _zones(faces):
        low = -float(pair.outer.max()) - _BACK
        strokes.append(Stroke(Layer.MARK_LINE, _line(end, low - 3.0, end, low)))
        strokes += _zone_name(name, (start, end), low - 4.5, above=False)
    span = float(np.ptp(pair.outer)) + float(np.ptp(faces.punch)) + 3.0 * _BACK + plan.step_mm + 16.0
    middle = 0.5 * plan.length_mm
    strokes += [_moved(stroke, middle, span) for stroke in _across(faces, plan, int(column))]
    strokes += _words("ALONG THE FEED, STRIP FROM THE RIGHT", (0.0, -float(pair.inner.min()) + _BACK + 2.0))
    top = span - float(pair.inner.min()) + plan.step_mm + _BACK + 2.0
    strokes += _words("ACROSS THE STRIP, GUIDES ON THE DIE", (middle - plan.half_width_mm, top))
    said = (
        f"Along: y = {float(pair.y[row]):.2f} mm from the middle. Across: x = {float(pair.x[column]):.2f} mm.",
        "Closed on the strip, die below, punch above; its ends stand back. Backs are cut short.",
    )
    return _drawing("section", strokes, said)


def strip_drawing(
    faces: StripFaces, plan: StripPlan, run: Run, *, ornament_mm: float, pitch_mm: float, pilots: Sequence[Hole] = ()
) -> Drawing:
    """Return the strip after the first blows: joints, trim lines, what each blow covers, pilots."""
    lengths = faces.lengths
    blows = min(_SHOWN, run.blows_each)
    edge, half = 0.5 * plan.strip_width_mm, 0.5 * ornament_mm
    end = faces.place_mm(lengths.total + (blows - 1) * lengths.new)
    strokes = [Stroke(Layer.SHEET_EDGE, Polycurve(_broken(end + 12.0, edge), closed=True))]
    strokes += [Stroke(Layer.CUT_OUTSIDE, _line(0.0, side * half, end, side * half)) for side in (-1.0, 1.0)]
    strokes += _contours(faces, blows)
    joints = [
        faces.place_mm(lengths.way_out),
        *(faces.place_mm(lengths.joints[0]) + pitch_mm * k for k in range(blows + 1)),
    ]
    for x in dict.fromkeys(joints):
        strokes.append(Stroke(Layer.MARK_LINE, _line(x, -edge, x, edge)))
    for hole in pilots[::2]:
        for k in range(blows + 1):
            strokes.append(
                Stroke(Layer.CUT_INSIDE, Circle((hole.x_mm + k * pitch_mm, hole.y_mm), 0.5 * hole.diameter_mm))
            )
    for blow in range(blows):
        strokes += _blow(faces, blow, edge + 5.0 + 9.0 * blow)
    text = f"PITCH {pitch_mm:.3f}"
    strokes += _centred(text, joints[1] + 0.5 * pitch_mm, -edge - 4.5)
    strokes.append(Stroke(Layer.NOTE, _line(joints[1], -edge - 1.5, joints[1] + pitch_mm, -edge - 1.5)))
    rest = f"AND SO ON, {run.blows_each} BLOWS" if run.blows_each > blows else f"{run.blows_each} BLOWS"
    strokes += _words(rest, (end + 15.0, -0.5 * _CAP))
    said = (
        f"Strip {plan.strip_width_mm:.2f} mm wide, {run.each_mm:.1f} mm long; ornament {ornament_mm:.2f} mm, the edges "
        "are trimmed off.",
        f"{run.strips} strip(s), {run.blows} blows in all, pitch {pitch_mm:.4f} mm as struck.",
        "Seen as it lies in the die, back up. Heavy bars: what a blow strikes anew; thin: what it strikes again.",
    )
    return _drawing("strip", strokes, said)


def _zones(faces: StripFaces) -> list[tuple[float, float, str]]:
    lengths = faces.lengths
    names = (
        ("OUT", lengths.way_out),
        ("REGISTER", lengths.register),
        ("NEW", lengths.new),
        ("IN", lengths.way_in),
        ("FLAT", lengths.flat),
    )
    found, at = [], 0
    for name, columns in names:
        found.append((faces.place_mm(at), min(faces.place_mm(at + columns), faces.length_mm), name))
        at += columns
    return [zone for zone in found if zone[1] > zone[0]]


def _contours(faces: StripFaces, blows: int) -> list[Stroke]:
    """Return contours of the face, or of a strip after some blows, as they lie in the die."""
    pair = faces.pair
    field = strike(pair.outer, step=faces.lengths.new, blows=blows) if blows else pair.outer
    x = np.asarray(pair.pitch_mm * np.arange(field.shape[1]), dtype=np.float64)
    shown = replace(pair, x=x, outer=field)
    step = max(float(np.ptp(pair.outer)) / (_CONTOURS + 1), 1e-3)
    over_y = np.array([1.0, -1.0])
    return [
        Stroke(Layer.RELIEF_LINE, Polycurve(np.asarray(curve.points) * over_y, closed=curve.closed))
        for _, curves in contour_lines(shown, step)
        for curve in curves
    ]


def _blow(faces: StripFaces, blow: int, y: float) -> list[Stroke]:
    """Return the bar of one blow above the strip: thin over all of it, heavy over what it strikes anew."""
    lengths = faces.lengths
    start = faces.place_mm(blow * lengths.new)
    first = lengths.way_out if blow == 0 else lengths.joints[0]
    new = [start + faces.place_mm(column) for column in (first, lengths.full)]
    strokes = [Stroke(Layer.NOTE, _line(start, y, start + faces.length_mm, y))]
    strokes.append(Stroke(Layer.NOTE, _box(new[0], y - 0.8, new[1], y + 0.8)))
    return strokes + _words(f"BLOW {blow + 1}", (start, y + 2.2))


def _cut(x: FloatArray, die: FloatArray, punch: FloatArray, back: float) -> list[Stroke]:
    low, high = float(die.min()) - back, float(punch.max()) + back
    strokes = []
    for line, edge in ((die, low), (punch, high)):
        kept = simplified(np.column_stack([x, line]), _LINE_MM)
        ring = np.vstack([kept, [[x[-1], edge], [x[0], edge]]])
        strokes.append(Stroke(Layer.MARK_LINE, Polycurve(ring)))
    return strokes


def _across(faces: StripFaces, plan: StripPlan, column: int) -> list[Stroke]:
    """Return the pair cut across the strip: blocks with the step of the punch, guides, middle lines of the holes."""
    pair, half = faces.pair, plan.half_width_mm
    side = -pair.y[::-1]
    die, punch = -pair.outer[::-1, column], -faces.punch[::-1, column]
    shelf = -float(pair.inner[0, 0]) + plan.step_mm
    low, high = float(die.min()) - _BACK, shelf + _BACK
    lower = np.vstack([[[-half, die[0]]], np.column_stack([side, die]), [[half, die[-1]], [half, low], [-half, low]]])
    upper = np.vstack([
        [[-half, shelf], [side[0], shelf]], np.column_stack([side, punch]),
        [[side[-1], shelf], [half, shelf], [half, high], [-half, high]],
    ])  # fmt: skip
    strokes = [Stroke(Layer.MARK_LINE, Polycurve(simplified(ring, 1e-3))) for ring in (lower, upper)]
    near, far = 0.5 * plan.channel_mm, 0.5 * plan.channel_mm + plan.guide_mm[0]
    strokes += [Stroke(Layer.MARK_LINE, _box(sign * near, 0.0, sign * far, plan.guide_mm[1])) for sign in (-1.0, 1.0)]
    places = dict.fromkeys(-hole.y_mm for hole in plan.holes)
    strokes += [Stroke(Layer.ALIGN_MARK, _line(y, low - 2.0, y, high + 2.0)) for y in places]
    return strokes


def _broken(end: float, edge: float) -> FloatArray:
    """Return the outline of a strip that is broken off on the right."""
    torn = [[end, -edge], [end - 2.0, -0.4 * edge], [end + 2.0, 0.2 * edge], [end, edge]]
    return np.array([[0.0, edge], [0.0, -edge], *torn])


def _box(x0: float, y0: float, x1: float, y1: float) -> Polycurve:
    low, high = min(y0, y1), max(y0, y1)
    left, right = min(x0, x1), max(x0, x1)
    return Polycurve(np.array([[left, low], [right, low], [right, high], [left, high]]))


def _line(x0: float, y0: float, x1: float, y1: float) -> Polycurve:
    return Polycurve(np.array([[x0, y0], [x1, y1]]), closed=False)


def _moved(stroke: Stroke, x: float, y: float) -> Stroke:
    curve = stroke.curve
    if not isinstance(curve, Polycurve):
        return stroke
    return Stroke(stroke.layer, Polycurve(curve.points + np.array([x, y]), curve.bulges, curve.closed))


def _zone_name(text: str, zone: tuple[float, float], y: float, *, above: bool) -> list[Stroke]:
    """Return the name of a zone at its middle, upright where it is narrow; before it, where it is the first."""
    start, end = zone
    width = text_width(text, cap_height=_SMALL)
    if width <= end - start - 1.0:
        return _words(text, (0.5 * (start + end - width), y if above else y - _SMALL), cap=_SMALL)
    if start <= 0.0:
        return _words(text, (min(0.0, end) - width - 1.0, y if above else y - _SMALL), cap=_SMALL)
    at = (0.5 * (start + end + _SMALL), y if above else y - width)
    return _words(text, at, cap=_SMALL, angle=0.5 * np.pi)


def _centred(text: str, x: float, y: float) -> list[Stroke]:
    return _words(text, (x - 0.5 * text_width(text, cap_height=_SMALL), y), cap=_SMALL)


def _words(text: str, at: tuple[float, float], *, cap: float = _CAP, angle: float = 0.0) -> list[Stroke]:
    return [Stroke(Layer.NOTE, run) for run in letters(text, cap_height=cap, origin=at, angle=angle)]


def _drawing(name: str, strokes: Iterable[Stroke], said: Sequence[str]) -> Drawing:
    given = list(strokes)
    ordered = [stroke for layer in LAYERS for stroke in given if stroke.layer is layer]
    curves: list[Curve] = [stroke.curve for stroke in ordered]
    return Drawing(name, tuple(ordered), bounds(*curves), ("Units: mm.", *said), {"name": name, "units": "mm"})
