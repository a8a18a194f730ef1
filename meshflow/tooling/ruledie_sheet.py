"""Drawings and figures of a rule die.

Layers of the board: its edge on ``CUT_OUTSIDE``; slots and seats of tubes on ``CUT_INSIDE``; the cut line on
``ALIGN_MARK``; lettering on ``MARK_TEXT``; joints on ``NOTE`` as small circles, bridges as short strokes across.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from meshflow.geometry.curves import bounds, length, point_at, tangent_at
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.stock import Fact
from meshflow.model.tool import Figure
from meshflow.stock import Stock
from meshflow.tooling.plates import drawing_of, letters_in, rectangle
from meshflow.tooling.rule_bridges import slot_outlines

if TYPE_CHECKING:
    from meshflow.tooling.rule_bridges import RuleLine
    from meshflow.tooling.ruledie import RulePlan

__all__ = ["rule_drawings", "rule_record", "rule_sheet"]

_JOINT_MM = 1.5


def rule_drawings(plan: RulePlan) -> tuple[Drawing, ...]:
    """Return the board for the laser, and the lines of rule at true size to bend against."""
    return _board(plan), _template(plan)


def _seen(plan: RulePlan) -> tuple[str, ...]:
    side = "back, the side the press strikes" if plan.options.side == "back" else "side the edges stand out of"
    lies = "up" if plan.options.leather == "face_up" else "down"
    image = "mirror image of the part as drawn" if plan.mirrored else "as the part is drawn"
    return (f"Seen on the {side}; the leather lies face {lies} under the die: {image}.",)


def _board(plan: RulePlan) -> Drawing:
    drawn = [Stroke(Layer.CUT_OUTSIDE, rectangle(plan.low, plan.high))]
    width = max(plan.rule_mm - plan.kerf_mm, 0.0)
    for line in plan.lines:
        drawn += [Stroke(Layer.CUT_INSIDE, slot) for slot in slot_outlines(line, width)]
        drawn.append(Stroke(Layer.ALIGN_MARK, line.middle))
        drawn += [Stroke(Layer.NOTE, Circle(place, _JOINT_MM)) for place in line.joints]
    for tube in plan.tubes:
        seat = 0.5 * (tube.seat_mm - plan.kerf_mm)
        drawn.append(Stroke(Layer.CUT_INSIDE, Circle((tube.x_mm, tube.y_mm), max(seat, 0.05))))
    text = plan.part.name if plan.options.lettering is None else plan.options.lettering
    below = bounds(*(line.middle for line in plan.lines))[1]
    room = (plan.high[0] - 5.0, below - 5.0)
    back = "BACK" if plan.options.side == "back" else "EDGES"
    face = "FACE UP" if plan.options.leather == "face_up" else "FACE DOWN"
    words = f"{text} {back} LEATHER {face}" if text else ""
    drawn += letters_in(words, (plan.low[0] + 5.0, plan.low[1] + 5.0), room)
    slot = f"{width:.3g} mm" if width >= 0.02 else "one pass of the laser along the middle"
    said = (
        *_seen(plan),
        f"Board: plywood {plan.board_mm:g} mm; rule {plan.rule_mm:g} x {plan.height_mm:g} mm.",
        f"Slots are drawn {slot}: {plan.rule_mm:g} mm less the laser's cut of {plan.kerf_mm:g} mm, which is in them.",
        "Try the fit on an offcut first: the rule is driven in with a mallet and holds by itself.",
        "Dash-dotted: middle of the rule. Circles: joints of the rule.",
    )
    return drawing_of("board", drawn, said)


def _template(plan: RulePlan) -> Drawing:
    drawn: list[Stroke] = []
    for line in plan.lines:
        drawn.append(Stroke(Layer.MARK_LINE, line.middle))
        drawn += [Stroke(Layer.NOTE, Circle(place, _JOINT_MM)) for place in line.joints]
        drawn += [Stroke(Layer.NOTE, tick) for ends in line.bridges for tick in _ticks(line, ends)]
    said = (*_seen(plan), "Middle of the rule at true size; strokes across: ends of the notches over the bridges.")
    return drawing_of("rule", drawn, said)


def _ticks(line: RuleLine, ends: Any) -> list[Polycurve]:
    total = length(line.middle)
    along = np.remainder(np.asarray(ends, dtype=np.float64), total)
    at, way = point_at(line.middle, along), tangent_at(line.middle, along)
    across = 1.5 * np.stack([-way[:, 1], way[:, 0]], axis=1)
    return [Polycurve(np.array([p - q, p + q]), closed=False) for p, q in zip(at, across, strict=True)]


def rule_record(plan: RulePlan) -> dict[str, Any]:
    """Return the plain data of the die."""
    per_mm = plan.options.force_N_per_mm
    return {
        "material": plan.material.id,
        "thickness_mm": plan.options.thickness_mm,
        "force_kN": None if per_mm is None else [per_mm * plan.cut_mm / 1000.0] * 2,
        "press_ok": None,
        "rule_length_mm": plan.rule_length_mm,
        "cut_length_mm": plan.cut_mm,
        "rule_mm": [plan.rule_mm, plan.height_mm],
        "board_mm": [plan.high[0] - plan.low[0], plan.high[1] - plan.low[1], plan.board_mm],
        "kerf_mm": plan.kerf_mm,
        "mirrored": plan.mirrored,
        "lines": [
            {
                "length_mm": length(line.middle),
                "bridges_mm": [[float(a), float(b)] for a, b in line.bridges],
                "joints": [list(place) for place in line.joints],
            }
            for line in plan.lines
        ],
        "tubes": [
            {
                "at": [tube.x_mm, tube.y_mm],
                "asked_mm": tube.asked_mm,
                "diameter_mm": tube.bought_mm,
                "seat_mm": tube.seat_mm,
            }
            for tube in plan.tubes
        ],
    }


def rule_sheet(plan: RulePlan, stock: Stock) -> tuple[Figure, ...]:
    """Return the lines of the tool sheet."""
    rows, options = stock.process("clicker_press").facts, plan.options
    joints = sum(len(line.joints) for line in plan.lines)
    bridges = sum(len(line.bridges) for line in plan.lines)
    width = {round(float(b - a), 2) for line in plan.lines for a, b in line.bridges}
    wide = " and ".join(f"{value:g}" for value in sorted(width))
    per_mm = options.force_N_per_mm
    force = "ask" if per_mm is None else f"{per_mm * plan.cut_mm / 1000.0:.1f} kN"
    how = "no figure with a source we trust" if per_mm is None else f"{per_mm:g} N/mm as said x {plan.cut_mm:.0f} mm"
    size = f"{plan.high[0] - plan.low[0]:g} x {plan.high[1] - plan.low[1]:g}"
    low, high = rows["rubber_over_rule"].span
    stands = plan.height_mm - plan.board_mm
    lines = [
        Figure("Leather", f"{plan.material.name}, {options.thickness_mm:g} mm"),
        Figure("Rule", f"{plan.rule_mm:g} x {plan.height_mm:g} mm, ground {_ground(options.bevel)}",
               _mark(rows["rule_thickness"])),
        Figure("Length of rule", f"{plan.rule_length_mm:.0f} mm in {len(plan.lines)} closed lines, {joints} joints",
               "add 2 mm for each mitred end"),
        Figure("Bridges", f"{bridges}, {wide} mm wide", _mark(rows["rule_bridge_width"])),
        Figure("Board", f"plywood {size} x {plan.board_mm:g} mm", _mark(rows["rule_board"])),
        Figure("Rule stands out", f"{stands:.3g} mm"),
        Figure("Rubber", f"{stands + low:.3g} to {stands + high:.3g} mm high", _mark(rows["rubber_over_rule"])),
        Figure("Force of the press", force, how),
    ]  # fmt: skip
    for size_mm in sorted({tube.bought_mm for tube in plan.tubes}):
        many = sum(tube.bought_mm == size_mm for tube in plan.tubes)
        lines.append(Figure(f"Tube punches {size_mm:g} mm", str(many), _mark(rows["tube_punches"])))
    return tuple(lines)


def _ground(bevel: str) -> str:
    return "on both sides" if bevel == "both" else "outside only"


def _mark(row: Fact) -> str:
    return f"{row.mark}: {row.source}" + (f"; {row.note}" if row.note else "")
