"""What a blanking tool has to say about the shape of a part, the strength of its sheet and the clearance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from meshflow.geometry.facing import Narrow, inside_corners, narrows
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Part
from meshflow.model.stock import Material, Process
from meshflow.stock.cutting import cut_rule
from meshflow.tooling.blank_options import BlankOptions
from meshflow.tooling.clearance import Clearance, Shear

__all__ = ["shape_notes", "strength_notes"]

_SLACK = 1e-6
_THIN_MM = 1.6  # corners of thinner sheet may be sharp


def shape_notes(part: Part, thickness_mm: float, process: Process) -> list[Finding]:
    """Return what of a part cannot be punched well: small holes, narrow webs, slots, sharp outside corners."""
    contours = [part.outline, *part.holes]
    found = [
        *_holes(part, thickness_mm, process),
        *_narrow(contours, thickness_mm, process),
        *_corners(contours, thickness_mm, process),
    ]
    return [replace(note, where=part.name) for note in found]


def _holes(part: Part, thickness_mm: float, process: Process) -> list[Finding]:
    rule = cut_rule(process, "hole", thickness_mm)
    if rule is None:
        return []
    small = [
        hole for hole in part.holes if isinstance(hole, Circle) and 2.0 * hole.radius < rule.value_mm - _SLACK
    ]  # other shapes are looked at as slots
    if not small:
        return []
    least = min(2.0 * hole.radius for hole in small)
    text = f"hole of {least:.3g} mm: a punch under {rule.value_mm:.3g} mm breaks in this sheet ({rule.words})."
    places = tuple((float(hole.centre[0]), float(hole.centre[1])) for hole in small)
    return [Finding("T200", Severity.WARNING, text, "Drill it.", len(small), places_mm=places)]


def _narrow(contours: Sequence[Polycurve | Circle], thickness_mm: float, process: Process) -> list[Finding]:
    rule = cut_rule(process, "web", thickness_mm)
    if rule is None:
        return []
    webs = narrows(contours, rule.value_mm - _SLACK, across="web")
    # A slot is a tongue of the die, or a narrow punch: as wide as a web has to be.
    slots = [one for one in narrows(contours, rule.value_mm - _SLACK, across="slot") if not _round(one, contours)]
    deep = process.facts.get("slot_depth_per_width")
    more = (
        "" if deep is None else f" A slot is no deeper than {deep.span[1]:g} x its width ({deep.mark}: {deep.source})."
    )
    found = []
    for code, what, some, remedy in (
        ("T201", "material", webs, "Make it wider, or pierce and blank in separate blows."),
        ("T202", "slot", slots, f"Widen it, or saw it after blanking.{more}"),
    ):
        if some:
            text = f"{what} only {some[0].width_mm:.3g} mm wide; at least {rule.value_mm:.3g} mm ({rule.words})."
            places = tuple(one.place for one in some[:1000])
            found.append(Finding(code, Severity.WARNING, text, remedy, len(some), places_mm=places))
    return found


def _round(one: Narrow, contours: Sequence[Polycurve | Circle]) -> bool:
    first, second = one.contours
    return first == second and isinstance(contours[first], Circle)


def _corners(contours: Sequence[Polycurve | Circle], thickness_mm: float, process: Process) -> list[Finding]:
    row = process.facts.get("least_corner_radius_per_thickness")
    if row is None or thickness_mm <= _THIN_MM:
        return []
    least = row.span[0] * thickness_mm
    # An outside corner of the piece is an inside corner of the die: the outline looked at as a hole in something.
    sharp = inside_corners([Circle((0.0, 0.0), 1.0), contours[0]], least - _SLACK)
    if not sharp:
        return []
    places = tuple((x, y) for _, x, y in sharp[:1000])
    text = f"outside corners sharper than a radius of {least:.3g} mm wear and chip the die ({row.mark}: {row.source})."
    return [Finding("T203", Severity.NOTE, text, "Round them if the piece allows.", len(sharp), places_mm=places)]


def strength_notes(material: Material, options: BlankOptions, shear: Shear, clearance: Clearance) -> list[Finding]:
    """Return what is uncertain of the force and of the clearance."""
    found = []
    if options.shear_MPa is None and not options.temper and len(material.tempers) > 1:
        soft = next(iter(material.tempers))
        text = f"the temper was not said: force for the strongest known, {shear.temper}, clearance for {soft}."
        found.append(Finding("T204", Severity.NOTE, text, f"Known: {', '.join(material.tempers)}."))
    if not shear.printed:
        more = " Only a least strength is guaranteed: the sheet may be stronger." if shear.least_only else ""
        text = f"no printed shear strength of {material.name} {shear.temper}: {shear.words}.{more}"
        weight = Severity.WARNING if shear.least_only else Severity.NOTE
        found.append(Finding("T205", weight, text, "Ask the mill, or punch a trial hole and read the gauge."))
    if clearance.disagree:
        text = f"{len(clearance.others)} sources of the clearance disagree; taken is {clearance.words}."
        found.append(
            Finding(
                "T210", Severity.NOTE, text, "The sheet lists them; say your own clearance where your practice differs."
            )
        )
    return [replace(note, where=options.material) for note in found]
