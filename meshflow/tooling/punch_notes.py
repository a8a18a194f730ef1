"""What a punch and die has to say: findings, figures and record.

Findings
--------
T100 the gap opens in hollows of the nominal face that are tighter than it; T101 draft opens it; T102 an undercut was
filled; T103 walls were laid back; T104 the cutter cannot enter; T105 the relief is deeper than the cutter reaches;
T106 no bar is large enough; T107 no room for the lettering; T108 the rim cuts through the ornament; T109 the grid is
coarse for the gap; T110 the gap is less than asked; T111 the scan's noise is in the faces; T112 the blocks do not fit
the mill.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.tool import Figure, Solid
from meshflow.tooling.block import Block
from meshflow.tooling.faces import FINE_ENOUGH, Faces
from meshflow.tooling.gap import GAP_TOLERANCE_MM, Gap, Place
from meshflow.tooling.punch_lines import Rim
from meshflow.tooling.punch_options import Chosen

__all__ = ["punch_notes", "punch_record", "punch_sheet"]

_MOST_LISTED = 200
_FILLED = 1e-3  # mm
_NOISY_SHARE = 0.1  # of the ornament; sound creases and corners take less
_WIDER = {
    "tight": (
        "T100",
        "the face curves tighter than the sheet is thick",
        "The sheet does not fill these places in the die: take thinner sheet, or soften the relief there.",
    ),
    "draft": (
        "T101",
        "walls were laid back for draft",
        "Take less draft if the tool allows it, or accept a softer foot there.",
    ),
}


def punch_notes(
    relief: Relief,
    faces: Faces,
    gap: Gap,
    bites: Sequence[Place],
    block: Block,
    chosen: Chosen,
    rim: Rim,
    mill: Machine | None,
) -> tuple[Finding, ...]:
    """Return the findings of a punch and die, in the order of their codes."""
    notes = [
        *_gap_notes(gap, faces),
        *_wall_notes(faces, chosen),
        *_cutter_notes(faces, bites, chosen),
        *_block_notes(block, mill),
        *_relief_notes(relief, faces, gap, rim),
    ]
    return tuple(sorted(notes, key=lambda note: note.code))


def _gap_notes(gap: Gap, faces: Faces) -> list[Finding]:
    notes = []
    for why, (code, cause, remedy) in _WIDER.items():
        places = [place for place in gap.listed if place.why == why]
        if places:
            text = f"the gap opens to {places[0].value_mm:.2f} mm instead of {faces.gap_mm:g} mm where {cause}."
            notes.append(_finding(code, Severity.NOTE, text, remedy, places, faces))
    if gap.least_mm < faces.gap_mm - GAP_TOLERANCE_MM:
        text = f"the closed gap is only {gap.least_mm:.3f} mm in places, {faces.gap_mm:g} mm were asked for."
        notes.append(Finding("T110", Severity.WARNING, text, "Make the relief with a finer pitch, or add clearance."))
    return notes


def _wall_notes(faces: Faces, chosen: Chosen) -> list[Finding]:
    from meshflow.tooling.gap import places_where

    notes = []
    undercut = places_where(faces.overhang, faces.filled + 1.0, faces, within_mm=faces.gap_mm)
    if undercut:
        area = float(faces.overhang.sum()) * faces.pitch_mm**2
        text = f"the scan leans back over {area:.1f} mm2: the undercut was filled straight down and laid back."
        remedy = "No tool that opens in one direction can make it: chase it by hand, or make a split die."
        notes.append(_finding("T102", Severity.WARNING, text, remedy, undercut, faces))
    laid = places_where(faces.filled > _FILLED, faces.filled, faces, within_mm=faces.gap_mm)
    if laid:
        volume = float(faces.filled.sum()) * faces.pitch_mm**2
        text = (
            f"walls steeper than {chosen.draft_deg:g} degrees of draft were laid back: {volume:.1f} mm3 were added at "
            f"their foot, up to {laid[0].value_mm:.2f} mm high; tops keep their place."
        )
        notes.append(_finding("T103", Severity.NOTE, text, "", laid, faces))
    return notes


def _cutter_notes(faces: Faces, bites: Sequence[Place], chosen: Chosen) -> list[Finding]:
    notes = []
    if bites:
        text = (
            f"a ball of radius {chosen.cutter_radius_mm:g} mm does not enter everywhere: up to "
            f"{bites[0].value_mm:.2f} mm are left standing, and both faces were made so."
        )
        remedy = "Take a smaller cutter, finish these places with a graver, or accept rounder edges."
        notes.append(_finding("T104", Severity.NOTE, text, remedy, bites, faces))
    depth = max(float(np.ptp(faces.outer)), float(np.ptp(faces.inner)))
    if chosen.cutter_radius_mm > 0.0 and depth > chosen.cutter_reach_mm:
        text = f"the relief is {depth:.1f} mm deep, the cutter reaches {chosen.cutter_reach_mm:g} mm."
        notes.append(
            Finding("T105", Severity.WARNING, text, "Take a longer or a tapered cutter, or a larger one first.")
        )
    return notes


def _block_notes(block: Block, mill: Machine | None) -> list[Finding]:
    notes = []
    if not block.from_bar:
        text = f"no flat bar of the stock is large enough: the block is {block.bar}."
        notes.append(Finding("T106", Severity.NOTE, text, "Saw it from plate, or list your bars in the stock file."))
    if block.dropped_letters:
        text = "there is no room for the lettering on the strip below the land."
        notes.append(
            Finding("T107", Severity.NOTE, text, "Say a shorter line, a wider land, or stamp the blocks by hand.")
        )
    if mill is not None and {"travel_x", "travel_y"} <= set(mill.facts):
        bed = sorted((mill.facts["travel_x"].span[0], mill.facts["travel_y"].span[0]))
        if any(side > room for side, room in zip(sorted(block.size_mm), bed, strict=True)):
            size = " x ".join(f"{side:g}" for side in block.size_mm)
            text = f"the block of {size} mm is larger than the travel of the {mill.name}, {bed[1]:g} x {bed[0]:g} mm."
            notes.append(Finding("T112", Severity.WARNING, text, "Have it milled outside, or divide the panel."))
    return notes


def _relief_notes(relief: Relief, faces: Faces, gap: Gap, rim: Rim) -> list[Finding]:
    notes = []
    high = max(rim.height_mm, key=abs)
    if abs(high) > faces.gap_mm:
        text = f"the rim cuts through the ornament, up to {high:.2f} mm over the land; the sheet comes down beyond it."
        notes.append(
            Finding("T108", Severity.NOTE, text, "Draw the region's rim on the ground, or give a wider blend.")
        )
    if faces.pitch_mm > faces.gap_mm / FINE_ENOUGH * 1.001:
        text = f"a grid of {faces.pitch_mm:g} mm is coarse for a gap of {faces.gap_mm:g} mm on steep walls."
        better = faces.gap_mm / FINE_ENOUGH
        remedy = f"Everything beyond {GAP_TOLERANCE_MM:g} mm is listed; a pitch of {better:.2g} mm is better."
        notes.append(Finding("T109", Severity.NOTE, text, remedy))
    uneven = (gap.over > GAP_TOLERANCE_MM) | (np.abs(faces.bite) > GAP_TOLERANCE_MM)
    share = float(uneven[faces.inside].mean())
    if relief.noise_mm > GAP_TOLERANCE_MM and share > _NOISY_SHARE:
        text = f"the scan's noise of {relief.noise_mm:.3f} mm is in the faces: {100.0 * share:.0f} % of them is uneven."
        notes.append(Finding("T111", Severity.WARNING, text, "Smooth the relief before the tool is made."))
    return notes


def _finding(code: str, severity: Severity, text: str, remedy: str, places: Sequence[Place], faces: Faces) -> Finding:
    worst = places[0]
    row = int(np.clip(np.rint((worst.y_mm - faces.y[0]) / faces.pitch_mm), 0, len(faces.y) - 1))
    column = int(np.clip(np.rint((worst.x_mm - faces.x[0]) / faces.pitch_mm), 0, len(faces.x) - 1))
    at = (worst.x_mm, worst.y_mm, float(faces.face[row, column]))
    listed = tuple((place.x_mm, place.y_mm) for place in places[:_MOST_LISTED])
    return Finding(code, severity, text, remedy, count=len(places), at_mm=at, places_mm=listed)


def punch_record(
    faces: Faces, gap: Gap, bites: Sequence[Place], block: Block, chosen: Chosen, rim: Rim,
    levels: tuple[float, float], solids: Sequence[Solid], density_kg_m3: float,
) -> dict[str, Any]:  # fmt: skip
    """Return the plain data of ``tool.json`` that belong to the pair; lengths in mm."""
    steep = [90.0 - float(np.degrees(np.arctan(slope))) for slope in faces.steepest]
    shut = faces.gap_mm + sum(levels)
    return {
        "nominal": faces.nominal,
        "gap_mm": faces.gap_mm,
        "gap_min_mm": gap.least_mm,
        "gap_max_mm": gap.most_mm,
        "gap_listed": {
            "n": len(gap.listed),
            "tolerance_mm": GAP_TOLERANCE_MM,
            "places": [place.to_json() for place in gap.listed[:_MOST_LISTED]],
        },
        "draft_deg": chosen.draft_deg,
        "least_draft_deg": {"die": steep[0], "punch": steep[1]},
        "draft_filled_mm3": float(faces.filled.sum()) * faces.pitch_mm**2,
        "undercut_mm2": float(faces.overhang.sum()) * faces.pitch_mm**2,
        "cutter_radius_mm": chosen.cutter_radius_mm,
        "cutter_bites": {"n": len(bites), "places": [place.to_json() for place in bites[:_MOST_LISTED]]},
        "relief_depth_mm": float(np.ptp(faces.outer)),
        "grid_mm": faces.pitch_mm,
        "block_mm": [*block.size_mm, block.height_mm],
        "bar": block.bar,
        "holes": [
            {"kind": hole.kind, "at_mm": [hole.x_mm, hole.y_mm], "diameter_mm": hole.diameter_mm}
            for hole in block.holes
        ],
        "mass_kg": {solid.name: solid.volume_mm3 * density_kg_m3 * 1e-9 for solid in solids},
        "land_height_mm": {"punch": levels[0], "die": levels[1]},
        "closed_height_mm": shut,
        # The die's own coordinates to those of the punch, the pair closed on the sheet: a half turn about the upright.
        "die_onto_punch": [
            [-1.0, 0.0, 0.0, 2.0 * block.middle_x_mm],
            [0.0, 1.0, 0.0, 0.0],
            [0.0, 0.0, -1.0, shut],
            [0.0, 0.0, 0.0, 1.0],
        ],
        "trim_line_mm": {"formed_length": rim.formed_mm, "heights": list(rim.height_mm)},
        "oversize_mm": chosen.oversize_mm,
    }


def punch_sheet(
    faces: Faces, gap: Gap, bites: Sequence[Place], block: Block, chosen: Chosen, rim: Rim, solids: Sequence[Solid]
) -> tuple[Figure, ...]:
    """Return the lines of the tool sheet that belong to the pair."""

    def how(name: str) -> str:
        rule = chosen.rules[name].words
        return "as asked" if rule == "given" else rule

    size = " x ".join(f"{side:g}" for side in (*block.size_mm, block.height_mm))
    dowel = next(hole.diameter_mm for hole in block.holes if hole.kind == "dowel")
    measured = f"{gap.least_mm:.3f} to {gap.most_mm:.3f} mm"
    wider = f"by more than {GAP_TOLERANCE_MM:g} mm; numbered on the plan"
    drill = f"{chosen.tapping_drill_mm:g} mm for M{chosen.bolt_mm:g}"
    volumes = ", ".join(f"{solid.name} {solid.volume_mm3 / 1000.0:.0f} cm3" for solid in solids)
    return (
        Figure("Nominal face", f"{faces.nominal} face of the panel"),
        Figure("Gap, closed", f"{faces.gap_mm:g} mm", "thickness and clearance, along the normal"),
        Figure("Gap as measured", measured, "nearest distance between the triangles of the two faces"),
        Figure("Places where the gap is wider", str(len(gap.listed)), wider),
        Figure("Least draft", f"{chosen.draft_deg:g} degrees each side", how("draft_deg")),
        Figure("Cutter", f"ball nose, radius {chosen.cutter_radius_mm:g} mm", how("cutter_radius_mm")),
        Figure("Places the cutter cannot enter", str(len(bites))),
        Figure("Depth of the relief", f"{np.ptp(faces.outer):.2f} mm"),
        Figure(
            "Block, each of two",
            f"{size} mm",
            f"{'from flat bar' if block.from_bar else 'sawn from plate'} {block.bar}",
        ),
        Figure("Dowel holes", f"{dowel:g} mm, reamed", how("dowel_mm")),
        Figure("Tapping holes", drill, "CALC: diameter less pitch of the coarse thread"),
        Figure("Land", f"{chosen.land_mm:g} mm", how("land_mm")),
        Figure("Blank beyond the trim line", f"{chosen.oversize_mm:g} mm", how("oversize_mm")),
        Figure("Trim line, formed", f"{rim.formed_mm:.1f} mm"),
        Figure("Volume of metal", volumes),
    )
