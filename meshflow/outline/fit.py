"""Whether a part can be cut the way it shall be: least hole, web, slot, inside radius and size, the pierce, the bed.

Terms and sources of the numbers: see `meshflow.stock.cutting`. They go by process and thickness, and each finding says
its rule with its mark; where no rule is known, nothing is said.

Findings, all with the places in the drawing: D130 hole too small, D131 web too narrow, D132 slot too narrow, D133
inside corner too sharp, D134 part too small, D135 part larger than the bed, D136 where holding tabs are marked, D137 no
room for the pierce, D138 no thickness is known.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.curves import bounds
from meshflow.geometry.facing import Narrow, inside_corners, narrows
from meshflow.geometry.polygons import material, pole_of_inaccessibility
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Part
from meshflow.model.stock import Process
from meshflow.stock.cutting import Bed, CutRule, cut_rule, pierce_width

__all__ = ["fit_findings"]

_SLACK = 1e-6  # mm, of rounding: what is drawn as 1 mm is not under 1 mm
_MOST_PLACES = 1000
Place = tuple[float, float]


def fit_findings(part: Part, process: Process, *, bed: Bed | None = None) -> tuple[Finding, ...]:
    """Return where a part is not fit for a way of cutting.

    Parameters
    ----------
    part : Part
        The part, with its thickness.
    process : Process
        How it shall be cut.
    bed : Bed, optional
        What the sheet lies on.

    Returns
    -------
    tuple of Finding
        Warnings D130 to D135 and D137, in that order; empty for a part that is fit, and for a process without rules.
    """
    contours = [part.outline, *part.holes]
    thick = part.thickness_mm
    rules = {feature: cut_rule(process, feature, thick) for feature in ("hole", "web", "slot", "inside_radius", "part")}
    found = [
        *_holes(part.holes, rules["hole"], process),
        *_narrow(contours, rules["web"], process, "web"),
        *_narrow(contours, rules["slot"], process, "slot"),
        *_corners(contours, rules["inside_radius"], process),
        *_small(part, rules["part"], process),
        *_large(part, bed),
        *_pierces(part.holes, pierce_width(process), process),
    ]
    if thick <= 0.0 and any(key.startswith("least_") and key.endswith("_per_thickness") for key in process.facts):
        text = f"no thickness is known: rules of {process.name} that go by thickness were left out."
        found.append(Finding("D138", Severity.NOTE, text, "Say the thickness.", where=part.name))
    return tuple(found)


def _warning(code: str, text: str, remedy: str, places: Sequence[Place], where: str = "") -> Finding:
    kept = tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in places[:_MOST_PLACES])
    at = (*kept[0], 0.0) if kept else None
    return Finding(code, Severity.WARNING, text, remedy, max(len(places), 1), where=where, at_mm=at, places_mm=kept)


def _at(place: Place) -> str:
    return f"at x {place[0]:.1f}, y {place[1]:.1f} mm"


def _rule(rule: CutRule, process: Process) -> str:
    return f"{process.name} wants {rule.value_mm:.3g} mm ({rule.words})"


def _holes(holes: Sequence[Polycurve | Circle], rule: CutRule | None, process: Process) -> list[Finding]:
    if rule is None:
        return []
    small = sorted(
        (2.0 * hole.radius, hole.centre)
        for hole in holes
        if isinstance(hole, Circle) and 2.0 * hole.radius < rule.value_mm - _SLACK
    )
    if not small:
        return []
    many = f"{len(small)} holes are too small, the least" if len(small) > 1 else "a hole is too small,"
    text = f"{many} {small[0][0]:.3g} mm across {_at(small[0][1])}: {_rule(rule, process)}."
    return [_warning("D130", text, "Drill or punch it, or draw it larger.", [place for _, place in small])]


def _narrow(
    contours: Sequence[Polycurve | Circle], rule: CutRule | None, process: Process, across: str
) -> list[Finding]:
    if rule is None:
        return []
    found = [narrow for narrow in narrows(contours, rule.value_mm - _SLACK, across=across) if _counts(narrow, contours)]
    if not found:
        return []
    worst, several = found[0], len(found) > 1
    what, code, remedy = {
        "web": ("material", "D131", "Move the cuts apart, or cut one of them by other means."),
        "slot": ("slot", "D132", "Widen it, or saw it as a single cut."),
    }[across]
    text = (
        f"{what} too narrow{f' in {len(found)} places' if several else ''}: {worst.width_mm:.3g} mm "
        f"{_between(worst) if across == 'web' else 'wide'} {_at(worst.place)}; {_rule(rule, process)}."
    )
    return [_warning(code, text, remedy, [narrow.place for narrow in found])]


def _counts(narrow: Narrow, contours: Sequence[Polycurve | Circle]) -> bool:
    """Return whether a place counts: a round hole is looked at as a hole, not as a slot."""
    one, two = narrow.contours
    return one != two or not isinstance(contours[one], Circle)


def _between(narrow: Narrow) -> str:
    one, two = ("the outline" if number == 0 else f"hole {number}" for number in narrow.contours)
    return f"between {one} and {two}" if one != two else f"between two sides of {one}"


def _corners(contours: Sequence[Polycurve | Circle], rule: CutRule | None, process: Process) -> list[Finding]:
    if rule is None:
        return []
    sharp = [corner for corner in inside_corners(contours, rule.value_mm) if corner[0] < rule.value_mm - _SLACK]
    if not sharp:
        return []
    radius, *place = sharp[0]
    at = _at((place[0], place[1]))
    least = "sharp" if radius == 0.0 else f"of radius {radius:.3g} mm"
    several = f"{len(sharp)} inside corners are too sharp, one" if len(sharp) > 1 else "an inside corner is too sharp,"
    text = f"{several} {least} {at}: {_rule(rule, process)} of radius."
    remedy = "Round it in the drawing, expect it rounded by the cut, or end it in a drilled hole."
    return [_warning("D133", text, remedy, [(x, y) for _, x, y in sharp])]


def _small(part: Part, rule: CutRule | None, process: Process) -> list[Finding]:
    left, low, right, high = bounds(part.outline)
    side = min(right - left, high - low)
    if rule is None or side >= rule.value_mm - _SLACK:
        return []
    text = f"the part is only {side:.3g} mm wide: {_rule(rule, process)} either way."
    return [
        _warning("D134", text, "Ask whoever cuts, or hold it by tabs.", [(0.5 * (left + right), 0.5 * (low + high))])
    ]


def _large(part: Part, bed: Bed | None) -> list[Finding]:
    if bed is None:
        return []
    left, low, right, high = bounds(part.outline)
    sides = sorted((right - left, high - low), reverse=True)
    if sides[0] <= bed.length_mm + _SLACK and sides[1] <= bed.width_mm + _SLACK:
        return []
    whose = " (an example: name your own machine in a stock file)" if bed.example else ""
    text = (
        f"the part is {sides[0]:.0f} x {sides[1]:.0f} mm, the bed of the {bed.name} "
        f"{bed.length_mm:.0f} x {bed.width_mm:.0f} mm{whose}."
    )
    return [
        _warning(
            "D135", text, "Divide the part, or find a larger machine.", [(0.5 * (left + right), 0.5 * (low + high))]
        )
    ]


def _pierces(holes: Sequence[Polycurve | Circle], rule: CutRule | None, process: Process) -> list[Finding]:
    """Return the holes whose slug has no room for the spot at which the cut starts."""
    if rule is None:
        return []
    tight = []
    for hole in holes:
        centre, room = _widest(hole)
        if 2.0 * room < rule.value_mm - _SLACK:
            tight.append((2.0 * room, centre))
    if not tight:
        return []
    room, place = min(tight)
    text = (
        f"{len(tight)} hole{'s have' if len(tight) > 1 else ' has'} no room to pierce clear of the edge, "
        f"the least {room:.3g} mm {_at(place)}: the pierce of {process.name} is about {rule.value_mm:.3g} mm wide "
        f"({rule.words})."
    )
    return [_warning("D137", text, "Drill a start hole, or draw the hole wider.", [at for _, at in sorted(tight)])]


def _widest(hole: Polycurve | Circle) -> tuple[Place, float]:
    if isinstance(hole, Circle):
        return hole.centre, hole.radius
    centre, radius = pole_of_inaccessibility(material(hole), tolerance=0.01)
    x, y = np.asarray(centre, dtype=np.float64).tolist()
    return (x, y), radius
