"""Look at every part and sheet before it is written: whether it is clean, and fit for the way it is cut.

Findings: D120 to D128 of `meshflow.drawing.clean`, D130 to D138 of `meshflow.outline.fit` and its neighbours; D139
parts of a sheet that lie nearer to each other than the process can leave standing, D135 a sheet larger than the bed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from meshflow.errors import VerificationError
from meshflow.geometry.curves import tessellate, transformed
from meshflow.geometry.polygons import near_pairs
from meshflow.geometry.transforms import motion_of
from meshflow.job.plan import PartPlan
from meshflow.job.results import NestGroup
from meshflow.model.drawing import Drawing
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Process
from meshflow.stock.cutting import Bed, cut_rule, pierce_width

__all__ = ["checked_drawing", "cutting_options", "fitted", "fitted_part", "with_sheet_findings"]

_RULES = ("least_", "micro_joint", "pierce_width", "kerf")
_CHORD_MM = 0.01


def fitted(part: Part, plan: PartPlan) -> Part:
    """Return a part of a job with tabs, lead-ins where asked for, and what there is to say on cutting it."""
    return fitted_part(
        part, plan.process, bed=plan.bed, tabs=plan.tabs, lead_mm=plan.lead_in_mm, kerf_in_mm=plan.kerf_in_mm
    )


def fitted_part(
    part: Part,
    process: Process,
    *,
    bed: Bed | None = None,
    tabs: str = "points",
    lead_mm: float = 0.0,
    kerf_in_mm: float = 0.0,
) -> Part:
    """Return a part with tabs, lead-ins where asked for, and what there is to say on cutting it.

    Parameters
    ----------
    part : Part
        The part, dressed.
    process : Process
        How it shall be cut; one without rules asks nothing.
    bed : Bed, optional
        What the sheet lies on.
    tabs : {"points", "gaps", "none"}
        How a small part is held.
    lead_mm : float
        Length of lead-ins [mm]; 0 for none.
    kerf_in_mm : float
        Width of the cut that is put into the contours [mm]; 0 leaves them net. The rules are held against net sizes.

    Returns
    -------
    Part
        A part that must not be cut anyway comes back as it is.
    """
    from meshflow.drawing import compose_part
    from meshflow.drawing.clean import drawing_faults
    from meshflow.outline.fit import fit_findings
    from meshflow.outline.kerf import compensated
    from meshflow.outline.leads import with_leads
    from meshflow.outline.tabs import with_tabs

    if any(note.severity is Severity.REFUSE for note in part.notes):
        return part
    found = fit_findings(part, process, bed=bed)
    part = compensated(part, kerf_in_mm) if kerf_in_mm else part
    part = part if tabs == "none" else with_tabs(part, process, gaps=tabs == "gaps")
    pierce = pierce_width(process)
    part = with_leads(part, lead_mm, pierce_mm=pierce.value_mm if pierce else 0.0) if lead_mm else part
    found += drawing_faults(compose_part(part))
    return replace(part, notes=(*part.notes, *(replace(note, where=part.name) for note in found)))


def cutting_options(plan: PartPlan) -> dict[str, Any]:
    """Return what `fitted` depends on, as plain data, for the cache."""
    facts = plan.process.facts
    return {
        "rules": {key: repr(facts[key]) for key in sorted(facts) if key.startswith(_RULES)},
        "name": plan.process.name,
        "bed": repr(plan.bed),
        "tabs": plan.tabs,
        "lead": plan.lead_in_mm,
        **({"kerf_in": plan.kerf_in_mm} if plan.kerf_in_mm else {}),
    }


def checked_drawing(drawing: Drawing) -> Drawing:
    """Return a drawing that is clean; VerificationError names what is not, so that it is never written."""
    from meshflow.drawing.clean import drawing_faults

    for fault in drawing_faults(drawing):
        if fault.severity is Severity.REFUSE:
            raise VerificationError(f"{fault.code}: {fault.text}", where=drawing.name, remedy=fault.remedy)
    return drawing


def with_sheet_findings(group: NestGroup) -> NestGroup:
    """Return a nested group with what there is to say on cutting its sheets."""
    plan = group.parts[0].plan
    parts = {made.part.name: made.part for made in group.parts}
    found: list[Finding] = []
    for number, layout in enumerate(group.nest.sheets, start=1):
        where = f"{group.name}, sheet {number}"
        found += _crowded(layout, parts, plan.process, plan.thickness_mm, where)
        found += _over_the_bed(layout, plan.bed, where)
    return replace(group, nest=replace(group.nest, notes=(*group.nest.notes, *found)))


def _crowded(
    layout: SheetLayout, parts: dict[str, Part], process: Process, thickness_mm: float, where: str
) -> list[Finding]:
    rule = cut_rule(process, "web", thickness_mm)
    if rule is None or len(layout.placements) < 2:
        return []
    lines = []
    for placement in layout.placements:
        ring = tessellate(transformed(parts[placement.part].outline, motion_of(placement)), tolerance=_CHORD_MM)
        lines.append(np.concatenate([ring, ring[:1]]))
    near = sorted((apart, place, i, j) for i, j, apart, place in near_pairs(lines, rule.value_mm - 2.0 * _CHORD_MM))
    if not near:
        return []
    apart, (x, y), i, j = near[0]
    one, two = (layout.placements[k].part for k in (i, j))
    text = (
        f"{_count(len(near), 'pair')} of parts nearer than can be cut, {one} and {two} {apart:.3g} mm apart at "
        f"x {x:.1f}, y {y:.1f} mm: {process.name} wants {rule.value_mm:.3g} mm between cuts ({rule.words})."
    )
    places = tuple((round(px, 3) + 0.0, round(py, 3) + 0.0) for _, (px, py), _, _ in near)
    remedy = "Nest again with a wider spacing."
    return [Finding("D139", Severity.WARNING, text, remedy, len(near), (), where, (*places[0], 0.0), places_mm=places)]


def _count(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _over_the_bed(layout: SheetLayout, bed: Bed | None, where: str) -> list[Finding]:
    if bed is None:
        return []
    sides = sorted((layout.sheet.length_mm, layout.sheet.width_mm), reverse=True)
    if sides[0] <= bed.length_mm and sides[1] <= bed.width_mm:
        return []
    whose = " (an example: name your own machine in a stock file)" if bed.example else ""
    text = (
        f"the sheet is {sides[0]:.0f} x {sides[1]:.0f} mm, the bed of the {bed.name} {bed.length_mm:.0f} x "
        f"{bed.width_mm:.0f} mm{whose}."
    )
    remedy = "Cut the sheet down and nest on what fits, or find a larger machine."
    return [Finding("D135", Severity.WARNING, text, remedy, where=where)]
