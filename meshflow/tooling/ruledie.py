"""A steel-rule die: a strip of sharpened steel bent to the outline and driven into a slotted board, to cut leather.

Terms: the *rule* is the steel strip; its slot is cut right through the *board*; *bridges* are stretches that are not
slotted, so that the board holds together, where the rule is notched to pass over; a *joint* is where one rule ends
and the next begins, at a corner too sharp to bend; *rubber* beside the rule pushes the piece out.

Convention: the drawing shows the board's back, the side that the press strikes, and the leather lies face up under it:
the part is then seen as it is drawn. Seen from the edges' side, or with the leather face down, it is the mirror image;
`RuleDieOptions.side` and `leather` say which. The cut line is the net outline: the slot is centred on it for a rule
ground on both sides, half a rule outside for one ground outside only.

Rows of ``clicker_press`` in the stock, all common practice or recalled, each shown with its mark.

Findings: T211 bend tighter than the rule takes, T212 rules too near each other, T213 hole too small or of no tube on
sale, T214 force not worked out, T215 board larger than the laser's bed, T216 corners that need a joint, T217 rule not
as high as board and leather need.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, length, reversed_curve, signed_area, transformed
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Material
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.stock.cutting import bed_of
from meshflow.stock.fit import refusal
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.parallel_line import parallel_line
from meshflow.tooling.rule_bridges import RuleLine, rule_line
from meshflow.tooling.ruledie_notes import rule_notes
from meshflow.tooling.ruledie_options import RuleDieOptions
from meshflow.tooling.ruledie_sheet import rule_drawings, rule_record, rule_sheet

__all__ = ["RulePlan", "TubePunch", "rule_die"]

_PRESS: Final = "clicker_press"
_ROUND_UP = 5.0
Contour = Polycurve | Circle


@dataclass(frozen=True, slots=True)
class TubePunch:
    """A round tube punch set in the board.

    Parameters
    ----------
    x_mm, y_mm : float
        Middle [mm].
    asked_mm, bought_mm : float
        Diameter drawn, and of the nearest tube on sale [mm].
    seat_mm : float
        Diameter of its hole in the board [mm].
    """

    x_mm: float
    y_mm: float
    asked_mm: float
    bought_mm: float
    seat_mm: float


@dataclass(frozen=True, eq=False)
class RulePlan:
    """Everything worked out for a rule die."""

    part: Part
    material: Material
    options: RuleDieOptions
    rule_mm: float
    height_mm: float
    board_mm: float
    kerf_mm: float
    mirrored: bool
    lines: tuple[RuleLine, ...]
    tubes: tuple[TubePunch, ...]
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def rule_length_mm(self) -> float:
        """Length of all rule, without the ends that a joint needs [mm]."""
        return sum(length(line.middle) for line in self.lines)

    @property
    def cut_mm(self) -> float:
        """Length of all cuts in the leather, tubes with it [mm]."""
        return self.rule_length_mm + sum(np.pi * tube.bought_mm for tube in self.tubes)


def rule_die(part: Part, options: RuleDieOptions, *, stock: Stock | None = None) -> Tool:
    """Return the die that cuts a part out of leather, card or cloth.

    Parameters
    ----------
    part : Part
        Net outline and holes [mm].
    options : RuleDieOptions
        Material, rule, bridges, board.
    stock : Stock, optional
        Our own tables when left out.

    Returns
    -------
    Tool
        Drawing of the board for the laser, template of the rule, lengths, joints, tubes, notes, cautions.

    Raises
    ------
    OptionError
        If the material is not cut so, the contours hold a kerf, or a hole leaves no room for its rule.
    StockError
        If the material is unknown.
    """
    known = load_stock() if stock is None else stock
    plan = _plan(part, options, known)
    bed = bed_of(known.process("laser_nonmetal"), known.machines.values())
    return Tool(
        part.name,
        "ruledie",
        (),
        rule_drawings(plan),
        rule_record(plan),
        rule_sheet(plan, known),
        rule_notes(plan, known, bed),
        caution_for("clicker", "laser", "edges", stock=known),
    )


def _plan(part: Part, options: RuleDieOptions, stock: Stock) -> RulePlan:
    process, laser = stock.process(_PRESS), stock.process("laser_nonmetal")
    material = stock.material(options.material)
    why_not = refusal(process, material)
    if why_not:
        raise OptionError(
            why_not, where=part.name, remedy="Choose leather, card or cloth, or a blanking tool for metal."
        )
    if part.kerf_compensated_mm:
        raise OptionError(
            "the contours hold a kerf, so they are not the size of the part.",
            where=part.name,
            remedy="Give the net outline.",
        )
    rows = process.facts
    rule = options.rule_mm or rows["rule_thickness"].numbers[0 if options.thickness_mm <= 3.0 else 1]
    tall = options.thickness_mm > 4.0
    height = options.rule_height_mm or rows["rule_height"].span[1 if tall else 0]
    board = options.board_mm or rows["rule_board"].span[1 if height > 25.0 else 0]
    mirrored = (options.side == "edges") != (options.leather == "face_down")
    outline, *holes = (_turned(curve, mirrored) for curve in (part.outline, *part.holes))
    sizes = rows["tube_punches"].numbers
    round_ones = [hole for hole in holes if isinstance(hole, Circle) and 2.0 * hole.radius <= max(sizes) + 1e-9]
    bent = [hole for hole in holes if not any(hole is one for one in round_ones)]
    width, pitch = (
        options.bridge_mm or rows["rule_bridge_width"].span[0],
        options.bridge_pitch_mm or rows["rule_bridge_pitch"].span[0],
    )
    least_bend = options.least_bend_mm or rows["least_inside_radius"].span[0]
    middles = [
        _middle(outline, options, rule, +1.0, part.name),
        *(_middle(h, options, rule, -1.0, part.name) for h in bent),
    ]
    lines = tuple(rule_line(curve, bridge_mm=width, pitch_mm=pitch, least_bend_mm=least_bend) for curve in middles)
    margin = options.margin_mm or rows["rule_board_margin"].span[0]
    low, high = _board(outline, margin)
    kerf = laser.kerf_mm if options.kerf_mm is None else options.kerf_mm
    wall = rows["tube_wall"].span[0]
    tubes = tuple(_tube(hole, sizes, wall) for hole in round_ones)
    return RulePlan(part, material, options, rule, height, board, kerf, mirrored, lines, tubes, low, high)


def _turned(curve: Contour, over: bool) -> Contour:
    moved = transformed(curve, Motion(mirrored=True)) if over else curve
    return moved if isinstance(moved, Circle) or signed_area(moved) > 0.0 else reversed_curve(moved)


def _middle(curve: Contour, options: RuleDieOptions, rule: float, outward: float, where: str) -> Contour:
    """Return the middle line of the rule: on the cut line, or with its straight face on it."""
    if options.bevel == "both":
        return curve
    moved = parallel_line(curve, 0.5 * rule * outward, tolerance=0.005)
    if moved is None:
        raise OptionError(
            "a hole leaves no room for its rule.", where=where, remedy="Punch it with a tube, or by hand."
        )
    return moved


def _board(outline: Contour, margin: float) -> tuple[tuple[float, float], tuple[float, float]]:
    left, low, right, high = bounds(outline)
    size = [_ROUND_UP * np.ceil((span + 2.0 * margin) / _ROUND_UP - 1e-9) for span in (right - left, high - low)]
    middle = (0.5 * (left + right), 0.5 * (low + high))
    corner = (float(middle[0] - 0.5 * size[0]), float(middle[1] - 0.5 * size[1]))
    return corner, (float(corner[0] + size[0]), float(corner[1] + size[1]))


def _tube(hole: Circle, sizes: tuple[float, ...], wall: float) -> TubePunch:
    asked = 2.0 * hole.radius
    bought = min(sizes, key=lambda size: (abs(size - asked), size))
    return TubePunch(hole.centre[0], hole.centre[1], asked, bought, bought + 2.0 * wall)
