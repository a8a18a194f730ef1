"""What a rule die has to say: bends and corners, rules too near each other, tubes, board, force."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meshflow.geometry.facing import narrows
from meshflow.model.finding import Finding, Severity
from meshflow.stock import Stock
from meshflow.stock.cutting import Bed

if TYPE_CHECKING:
    from meshflow.tooling.ruledie import RulePlan

__all__ = ["rule_notes"]

_SLACK = 1e-6
_NEAR_MM = 0.05  # a tube within this of the hole asked for needs no word


def rule_notes(plan: RulePlan, stock: Stock, bed: Bed | None) -> tuple[Finding, ...]:
    """Return what is to be said of a rule die."""
    found = [
        *_bends(plan, stock),
        *_near(plan, stock),
        *_tubes(plan),
        *_board(plan, bed),
        *_force(plan),
        *_height(plan),
    ]
    return tuple(replace(note, where=plan.part.name) for note in found)


def _bends(plan: RulePlan, stock: Stock) -> list[Finding]:
    row = stock.process("clicker_press").facts["least_inside_radius"]
    asked = plan.options.least_bend_mm
    least = asked or row.span[0]
    rule = "as asked" if asked else f"{row.mark}: {row.source}"
    tight = sorted(bend for line in plan.lines for bend in line.tight)
    joints = [place for line in plan.lines for place in line.joints]
    found = []
    if tight:
        text = f"bend of radius {tight[0][0]:.3g} mm, tighter than the rule takes ({least:g} mm; {rule})."
        places = tuple((x, y) for _, x, y in tight[:1000])
        found.append(
            Finding(
                "T211",
                Severity.WARNING,
                text,
                "Open the bend, or make it a corner with a joint.",
                len(tight),
                places_mm=places,
            )
        )
    if joints:
        text = f"{len(joints)} corner{'s' if len(joints) > 1 else ''} too sharp to bend: a joint in the rule at each."
        remedy = "Mitre both ends, or run one past the other outside the piece; round the corner where you can."
        found.append(Finding("T216", Severity.NOTE, text, remedy, len(joints), places_mm=tuple(joints[:1000])))
    return found


def _near(plan: RulePlan, stock: Stock) -> list[Finding]:
    row = stock.process("clicker_press").facts["rule_apart"]
    clear = row.span[0] + plan.rule_mm - _SLACK
    middles = [line.middle for line in plan.lines]
    found = sorted(
        (one for across in ("web", "slot") for one in narrows(middles, clear, across=across)),
        key=lambda one: (one.width_mm, one.place),
    )
    if not found:
        return []
    apart = max(found[0].width_mm - plan.rule_mm, 0.0)
    text = f"rules only {apart:.3g} mm apart; {row.span[0]:g} mm is the least ({row.mark})."
    remedy = "Cut one of the lines by hand, or with a second die."
    return [
        Finding("T212", Severity.WARNING, text, remedy, len(found), places_mm=tuple(one.place for one in found[:1000]))
    ]


def _tubes(plan: RulePlan) -> list[Finding]:
    off = [tube for tube in plan.tubes if abs(tube.bought_mm - tube.asked_mm) > _NEAR_MM]
    if not off:
        return []
    worst = max(off, key=lambda tube: (abs(tube.bought_mm - tube.asked_mm), tube.x_mm, tube.y_mm))
    text = f"no tube punch of {worst.asked_mm:.3g} mm on sale; {worst.bought_mm:g} mm is taken."
    places = tuple((tube.x_mm, tube.y_mm) for tube in off)
    return [Finding("T213", Severity.NOTE, text, "Change the hole, or order the tube.", len(off), places_mm=places)]


def _board(plan: RulePlan, bed: Bed | None) -> list[Finding]:
    size = (plan.high[0] - plan.low[0], plan.high[1] - plan.low[1])
    if bed is None or (max(size) <= bed.length_mm and min(size) <= bed.width_mm):
        return []
    text = (
        f"the board of {size[0]:g} x {size[1]:g} mm is larger than {bed.name}, {bed.length_mm:g} x {bed.width_mm:g} mm."
    )
    return [Finding("T215", Severity.WARNING, text, "Have it cut, or lessen the margin.")]


def _force(plan: RulePlan) -> list[Finding]:
    if plan.options.force_N_per_mm is not None:
        return []
    text = "the force of the press is not worked out: no figure for each millimetre of rule has a source we trust."
    return [Finding("T214", Severity.NOTE, text, "Ask the rule's maker or try a straight length; then say it.")]


def _height(plan: RulePlan) -> list[Finding]:
    out = plan.height_mm - plan.board_mm
    if out > plan.options.thickness_mm + 1.0:
        return []
    text = f"rule of {plan.height_mm:g} mm stands only {max(out, 0.0):.3g} mm out of a board of {plan.board_mm:g} mm."
    return [
        Finding("T217", Severity.WARNING, text, "Take a higher rule or a thinner board: leather and 1 mm at least.")
    ]
