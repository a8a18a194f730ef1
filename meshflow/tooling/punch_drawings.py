"""Drawings of a punch and die: plans, profiles of the closed pair, contours of the die, scribing template, blank.

Layers: outlines on ``CUT_OUTSIDE``, dowels and bolts on ``CUT_INSIDE``, rim of the ornament on ``MARK_LINE``, land on
``ALIGN_MARK``, lettering on ``MARK_TEXT``, listed places and words on ``NOTE``, contours on ``RELIEF_LINE``.

Convention: the plan of the punch, the template and the blank are in the relief's coordinates; plan and contours of the
die show its face as it is looked at, turned over about the upright middle of the block.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from meshflow.geometry.curves import bounds
from meshflow.geometry.lettering import strokes as letters
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.tooling.block import Block
from meshflow.tooling.faces import Faces
from meshflow.tooling.gap import Place
from meshflow.tooling.punch_lines import Profile, Rim

__all__ = ["blank_drawing", "contour_drawing", "plan_drawing", "profile_drawing", "template_drawing"]

_CAP = 2.5
_SMALL_CAP = 1.2
_MOST_RINGED = 200
_RING = 0.8
_BETWEEN = 12.0


def plan_drawing(
    name: str, block: Block, rim: Rim, *, over_x: float | None = None, places: Sequence[Place] = ()
) -> Drawing:
    """Return the plan of a block, seen on its face.

    Parameters
    ----------
    name : str
        Title.
    block : Block
        Outline, holes, land, lettering.
    rim : Rim
        The ornament's rim.
    over_x : float, optional
        Turned over about this x: the plan of the die [mm].
    places : sequence of Place
        Ringed and numbered in their order.
    """
    strokes = [Stroke(Layer.CUT_OUTSIDE, _box(block.low, block.high))]
    strokes += [Stroke(Layer.ALIGN_MARK, _box(block.land_low, block.land_high))]
    for hole in block.holes:
        strokes.append(Stroke(Layer.CUT_INSIDE, Circle((_x(hole.x_mm, over_x), hole.y_mm), 0.5 * hole.diameter_mm)))
    strokes += [Stroke(Layer.MARK_LINE, Polycurve(_turned(ring, over_x))) for ring in rim.rings]
    if block.lettering is not None:
        strokes += [Stroke(Layer.MARK_TEXT, Polycurve(run, closed=False)) for run in block.lettering.runs]
    strokes += _ringed(places, over_x)
    dowels = [hole for hole in block.holes if hole.kind == "dowel"]
    bolts = [hole for hole in block.holes if hole.kind == "bolt"]
    said = (
        f"Block {block.bar}; milled to {block.height_mm:g} mm.",
        f"{len(dowels)} dowel holes {dowels[0].diameter_mm:g} mm, reamed.",
        f"{len(bolts)} holes {bolts[0].diameter_mm:g} mm to tap from the back.",
        *(("Turned over: this is the face of the die as it is looked at.",) if over_x is not None else ()),
    )
    return _drawing(name, strokes, said)


def profile_drawing(faces: Faces, block: Block, sections: Iterable[Profile]) -> Drawing:
    """Return profiles of the closed pair, one over the other: die, middle of the sheet, punch."""
    strokes: list[Stroke] = []
    back = 6.0
    rise = float(faces.outer.max() - faces.inner.min()) + 2.0 * back + _BETWEEN
    said = []
    for number, cut in enumerate(sections):
        up = np.array([0.0, number * rise])
        top, bottom = float(faces.outer.max()) + back, float(faces.inner.min()) - back
        for line, edge in ((cut.die, top), (cut.punch, bottom)):
            ring = np.vstack([line, [[block.high[0], line[-1, 1]], [block.high[0], edge]]])
            ring = np.vstack([ring, [[block.low[0], edge], [block.low[0], line[0, 1]]]])
            strokes.append(Stroke(Layer.MARK_LINE, Polycurve(ring + up)))
        strokes.append(Stroke(Layer.ALIGN_MARK, Polycurve(cut.sheet + up, closed=False)))
        strokes += _words(f"Y {cut.y_mm:.1f}", (block.low[0], float(up[1]) + top + 2.0))
        said.append(f"Profile {number + 1} at y = {cut.y_mm:.2f} mm.")
    words = ("Closed on the sheet: die above, punch below, dash-dotted the middle of the sheet. Backs are cut short.",)
    return _drawing("profiles", strokes, (*words, *said))


def contour_drawing(
    faces: Faces, block: Block, lines: Sequence[tuple[float, Sequence[Polycurve]]], step_mm: float
) -> Drawing:
    """Return the contours of the die's face, as it is looked at, each group with its depth under the land."""
    strokes = [Stroke(Layer.CUT_OUTSIDE, _box(block.low, block.high))]
    for number, (level, curves) in enumerate(lines):
        for curve in curves:
            points = _turned(np.asarray(curve.points), block.middle_x_mm)
            strokes.append(Stroke(Layer.RELIEF_LINE, Polycurve(points, closed=curve.closed)))
        longest = max(curves, key=lambda curve: len(curve.points), default=None)
        if longest is not None:
            at = _turned(np.asarray(longest.points), block.middle_x_mm)
            # Round the piece in turn, so that they do not stand on each other.
            turn = 0.9 * number
            place = at[int(np.argmax(at @ [np.cos(turn), np.sin(turn)]))]
            strokes += _words(f"{-level:g}", (float(place[0]) + 0.2, float(place[1]) + 0.2), cap=_SMALL_CAP)
    said = (f"Contours of the die every {step_mm:g} mm; numbers are heights over the land, under it negative.",)
    return _drawing("die-contours", strokes, said)


def template_drawing(block: Block, rim: Rim) -> Drawing:
    """Return the scribing template: a plate on the dowels with the trim line as its opening."""
    strokes = [Stroke(Layer.CUT_OUTSIDE, _box(block.low, block.high))]
    dowels = [hole for hole in block.holes if hole.kind == "dowel"]
    strokes += [Stroke(Layer.CUT_INSIDE, Circle((pin.x_mm, pin.y_mm), 0.5 * pin.diameter_mm)) for pin in dowels]
    strokes.append(Stroke(Layer.CUT_INSIDE, Polycurve(rim.rings[0])))
    strokes += [Stroke(Layer.MARK_LINE, Polycurve(ring)) for ring in rim.rings[1:]]
    low, high = rim.height_mm
    said = (
        "Lay it over the struck sheet on the punch, dowels in their holes, and scribe along the opening.",
        f"Trim line on the formed panel: {rim.formed_mm:.1f} mm long, {low:.2f} to {high:.2f} mm over the land.",
    )
    return _drawing("scribe-template", strokes, said)


def blank_drawing(rim: Rim, oversize_mm: float) -> Drawing:
    """Return the blank: net outline with its oversize, the trim line marked."""
    strokes = [Stroke(Layer.MARK_LINE, Polycurve(ring)) for ring in rim.rings]
    strokes.append(Stroke(Layer.CUT_OUTSIDE, Polycurve(rim.blank)))
    said = (f"Blank: the net outline on the flat and {oversize_mm:g} mm all round, trimmed off after the blow.",)
    return _drawing("blank", strokes, said)


def _ringed(places: Sequence[Place], over_x: float | None) -> list[Stroke]:
    """Return a ring about each place, and the numbers of those that leave room for one."""
    strokes: list[Stroke] = []
    lettered: list[tuple[float, float]] = []
    for number, place in enumerate(places[:_MOST_RINGED], start=1):
        middle = (_x(place.x_mm, over_x), place.y_mm)
        strokes.append(Stroke(Layer.NOTE, Circle(middle, _RING)))
        if all(np.hypot(middle[0] - x, middle[1] - y) > 4.0 * _SMALL_CAP for x, y in lettered):
            lettered.append(middle)
            strokes += _words(str(number), (middle[0] + _RING + 0.2, middle[1] + 0.2), cap=_SMALL_CAP)
    return strokes


def _x(x: float, over_x: float | None) -> float:
    return x if over_x is None else 2.0 * over_x - x


def _turned(ring: FloatArray, over_x: float | None) -> FloatArray:
    if over_x is None:
        return ring
    return np.asarray(np.column_stack([2.0 * over_x - ring[:, 0], ring[:, 1]])[::-1])


def _box(low: tuple[float, float], high: tuple[float, float]) -> Polycurve:
    return Polycurve(np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]]))


def _words(text: str, at: tuple[float, float], *, cap: float = _CAP) -> list[Stroke]:
    return [Stroke(Layer.NOTE, run) for run in letters(text, cap_height=cap, origin=at)]


def _drawing(name: str, strokes: Sequence[Stroke], said: Sequence[str]) -> Drawing:
    ordered = [stroke for layer in LAYERS for stroke in strokes if stroke.layer is layer]
    curves: list[Curve] = [stroke.curve for stroke in ordered]
    return Drawing(name, tuple(ordered), bounds(*curves), ("Units: mm.", *said), {"name": name, "units": "mm"})
