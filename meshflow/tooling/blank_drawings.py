"""Plans and solids of a blanking tool.

Layers: plates and punches on ``CUT_OUTSIDE``; openings, pockets, dowels and bolts on ``CUT_INSIDE``; the other half of
the pair on ``ALIGN_MARK``, so that the clearance can be seen and measured; lettering on ``MARK_TEXT``; words on
``NOTE``.

Convention: every plan is seen from above, from where the punch comes, in one set of coordinates, so that plans laid
over each other show the tool closed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from meshflow.geometry.curves import bounds, length, resample, reversed_curve, transformed
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.tool import Solid
from meshflow.tooling.parallel_line import parallel_line
from meshflow.tooling.plates import drawing_of, flat_body, letters_in, rectangle, words_at

if TYPE_CHECKING:
    from meshflow.tooling.blank import BlankPlan, Blow

__all__ = ["blank_drawings", "blank_solids", "centre_of_force"]

Contour = Polycurve | Circle
_CAP = 2.5
_NEST_GAP = 0.05  # each side, between the blank and the nest it is laid into to be pierced


def blank_drawings(plan: BlankPlan) -> tuple[Drawing, ...]:
    """Return die, punches, punch plate and stripper of each blow, the nest for a second one, and the closed stack."""
    found: list[Drawing] = []
    for blow in plan.blows:
        found += [_die(plan, blow), _punch(plan, blow), _punch_plate(plan, blow), _stripper(plan, blow)]
    if len(plan.blows) > 1:
        found.append(_nest(plan))
    return (*found, _stack(plan))


def blank_solids(plan: BlankPlan) -> tuple[Solid, ...]:
    """Return the die plates and the punches as bodies; the relief under the land is not in them."""
    found: list[Solid] = []
    holes = [hole.circle for hole in plan.plates.holes]
    for blow in plan.blows:
        note = (
            f"Straight for {plan.land_mm:g} mm, then relieved {plan.relief_deg:g} degrees each side: not in this body."
        )
        found.append(
            flat_body(
                f"{blow.name}-die", _plate(plan), [*blow.die, *holes], height_mm=plan.plates.thickness_mm, note=note
            )
        )
        for number, punch in enumerate(blow.punch, start=1):
            tail = f"-{number}" if len(blow.punch) > 1 else ""
            name = f"{blow.name}-punch{tail}"
            found.append(
                flat_body(name, punch, (), height_mm=plan.stack.punch_mm, note="Cutting face down in the press.")
            )
    return tuple(found)


def _plate(plan: BlankPlan) -> Polycurve:
    return rectangle(plan.plates.low, plan.plates.high)


def _base(plan: BlankPlan, blow: Blow, what: str) -> list[Stroke]:
    """Return outline, holes and lettering of a plate."""
    drawn = [Stroke(Layer.CUT_OUTSIDE, _plate(plan))]
    drawn += [Stroke(Layer.CUT_INSIDE, hole.circle) for hole in plan.plates.holes]
    text = plan.part.name if plan.options.lettering is None else plan.options.lettering
    if not text:
        return drawn
    bolts = [hole for hole in plan.plates.holes if hole.kind == "bolt"]
    clear = 0.75 * bolts[0].diameter_mm
    low = (bolts[0].x_mm + clear, plan.plates.low[1] + 1.5)
    room = bounds(*blow.die)[1] - 2.0
    job = "" if blow.name == "blank" or what == "NEST" else "HOLES "
    line = f"{text} {job}{what} {plan.options.thickness_mm:g}"
    return drawn + letters_in(line, low, (bolts[1].x_mm - clear, max(room, low[1])), most_mm=4.0)


def _sides(blow: Blow) -> str:
    return "Mirror image of the part as drawn" if blow.mirrored else "As the part is drawn"


def _lie(plan: BlankPlan, blow: Blow) -> str:
    up = "down" if blow.mirrored else "up"
    what = "sheet" if blow.name == "blank" else "blank"
    return f"{_sides(blow)}: lay the {what} face {up}, so that the burr comes on the {plan.options.burr}."


def _die(plan: BlankPlan, blow: Blow) -> Drawing:
    drawn = [*_base(plan, blow, "DIE"), *(Stroke(Layer.CUT_INSIDE, curve) for curve in blow.die)]
    drawn += [Stroke(Layer.ALIGN_MARK, curve) for curve in blow.punch]
    drawn += _cross(centre_of_force(blow))
    rule = "the size of the part" if blow.name == "blank" else "the hole and twice the clearance"
    dowel, bolt = plan.plates.holes[0], plan.plates.holes[-1]
    said = (
        f"Die plate, seen from above; {plan.plates.bar}. Hardened tool steel.",
        f"Opening: {rule}. Dash-dotted: the punch, {plan.clearance.per_side_mm:.4g} mm smaller all round.",
        f"Straight land {plan.land_mm:g} mm, then relieved {plan.relief_deg:g} degrees each side.",
        _lie(plan, blow),
        f"Dowels {dowel.diameter_mm:g} mm, reamed with all plates together; bolts {bolt.diameter_mm:g} mm.",
        "The cross is the centre of the cut: set it under the middle of the ram.",
        *_sloped(plan, blow, "blank"),
    )
    return drawing_of(f"{blow.name}-die", drawn, said)


def _cross(at: tuple[float, float], half: float = 2.0) -> list[Stroke]:
    middle = np.array(at)
    arms = (np.array([half, 0.0]), np.array([0.0, half]))
    return [Stroke(Layer.NOTE, Polycurve(np.array([middle - arm, middle + arm]), closed=False)) for arm in arms]


def _sloped(plan: BlankPlan, blow: Blow, where: str) -> tuple[str, ...]:
    if not plan.options.slope_mm or blow.name != where:
        return ()
    return (f"Grind the cutting face aslant, {plan.options.slope_mm:g} mm deep over its width.",)


def _punch(plan: BlankPlan, blow: Blow) -> Drawing:
    drawn = [Stroke(Layer.CUT_OUTSIDE, curve) for curve in blow.punch]
    drawn += [Stroke(Layer.ALIGN_MARK, curve) for curve in blow.die]
    many = f"{len(blow.punch)} punches" if len(blow.punch) > 1 else "Punch"
    said = (
        f"{many}, seen from above; {plan.stack.punch_mm:.4g} mm long, one section throughout. Hardened tool steel.",
        "Dash-dotted: the opening of the die.",
        *_sloped(plan, blow, "pierce"),
    )
    return drawing_of(f"{blow.name}-punch", drawn, said)


def _punch_plate(plan: BlankPlan, blow: Blow) -> Drawing:
    drawn = [*_base(plan, blow, "PUNCH"), *(Stroke(Layer.CUT_INSIDE, curve) for curve in blow.punch)]
    said = (
        f"Punch plate, seen from above; {plan.stack.punch_plate_mm:g} mm thick. Punches are let in from above.",
        "Pockets are the net section of the punch: fit each by hand, light press fit.",
        "A hardened backing plate stands between the punches and the ram.",
    )
    return drawing_of(f"{blow.name}-punch-plate", drawn, said)


def _stripper(plan: BlankPlan, blow: Blow) -> Drawing:
    gap = plan.options.stripper_gap_mm
    opened = [parallel_line(curve, gap, tolerance=0.005) for curve in blow.punch]
    drawn = [*_base(plan, blow, "STRIPPER")]
    drawn += [Stroke(Layer.CUT_INSIDE, curve) for curve in opened if curve is not None]
    said = (
        f"Stripper plate, seen from above; {plan.stack.stripper_mm:g} mm thick, "
        f"{plan.stack.channel_mm:.3g} mm over the die.",
        f"Openings {gap:g} mm larger than the punch all round. Spacers beside the strip make the channel.",
    )
    return drawing_of(f"{blow.name}-stripper", drawn, said)


def _nest(plan: BlankPlan) -> Drawing:
    blank, pierce = plan.blows
    outline = blank.die[0]
    if blank.mirrored != pierce.mirrored:
        turned = transformed(outline, Motion(mirrored=True))
        outline = turned if isinstance(turned, Circle) else reversed_curve(turned)
    pocket = parallel_line(outline, _NEST_GAP, tolerance=0.005)
    assert pocket is not None  # it grows
    drawn = [*_base(plan, pierce, "NEST"), Stroke(Layer.CUT_INSIDE, pocket)]
    drawn += [Stroke(Layer.ALIGN_MARK, curve) for curve in pierce.die]
    said = (
        f"Nest: a plate of the sheet's thickness on the die of the holes; opening {_NEST_GAP:g} mm clear of the blank.",
        _lie(plan, pierce),
    )
    return drawing_of("pierce-nest", drawn, said)


def _stack(plan: BlankPlan) -> Drawing:
    """Return the tool from the front with the punch just drawn up, in its heights, one plate over the other."""
    stack, (left, _), (right, _) = plan.stack, plan.plates.low, plan.plates.high
    x0, _, x1, _ = bounds(*plan.blows[0].punch)
    die, strip = stack.die_mm, stack.die_mm + stack.channel_mm
    top = strip + stack.punch_mm
    levels = (
        ("DIE", 0.0, die),
        ("STRIPPER", strip, strip + stack.stripper_mm),
        ("PUNCH PLATE", top - stack.punch_plate_mm, top),
    )
    drawn: list[Stroke] = []
    for name, low, high in levels:
        drawn.append(Stroke(Layer.MARK_LINE, rectangle((left, low), (right, high))))
        drawn += words_at(f"{name} {high - low:g}", (right + 4.0, 0.5 * (low + high) - 1.25), cap_mm=_CAP)
    drawn.append(Stroke(Layer.MARK_LINE, rectangle((x0, strip), (x1, top))))
    sheet = Polycurve(np.array([[left - 8.0, die], [right, die]]), closed=False)
    over = Polycurve(sheet.points + np.array([0.0, plan.options.thickness_mm]), closed=False)
    drawn += [Stroke(Layer.ALIGN_MARK, sheet), Stroke(Layer.ALIGN_MARK, over)]
    drawn += words_at(
        f"SHEET {plan.options.thickness_mm:g}", (right + 4.0, die - 1.25 + 0.5 * stack.channel_mm), cap_mm=2.0
    )
    said = (
        f"From the front, punch drawn up: {stack.open_mm:.4g} mm high; at the bottom of the stroke "
        f"{stack.closed_mm:.4g} mm.",
        f"The punch goes {stack.entry_mm:g} mm into the die. Shoes, guide pillars and the ram's clamp are not drawn.",
    )
    return drawing_of("stack", drawn, said)


def centre_of_force(blow: Blow) -> tuple[float, float]:
    """Return where the ram should press: the mean of the cut, weighted by length [mm]."""
    cut = blow.die if blow.name == "blank" else blow.punch
    weights = np.array([length(curve) for curve in cut])
    middles = np.array([resample(curve, 720).mean(axis=0) for curve in cut])
    x, y = (weights @ middles) / weights.sum()
    return float(x), float(y)
