"""The independent check of a nest, on the parts as drawn. Nothing leaves nesting without it.

It shares no code with the search: its own chords for arcs, its own mirror, turn and move, its own distances (shapely).
It knows nothing of grids, grown outlines or no-fit polygons, and asks what the shop would measure on the cut sheet.

Tolerance: distances may be short by `TOLERANCE_MM`. The chords lie within `CHORD_MM` of the arcs, and the check is
stricter by that much on either side, so what passes is true of the arcs themselves.

Codes: N111 parts too close or overlapping, N112 margin, N113 turn, N114 turned over, N115 copies, N116 sheets,
N117 material, N118 a figure of the nest is not true, N119 a part that was not given, N120 an outline of no use,
N121 a part on or too near a flaw, N122 a part, or a zone of it, on stuff of too low a grade, N126 a locked copy that
lies elsewhere, N127 a part whose turns all lay its grain across that of the sheet, N131 a part in a hole of another
that was not asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from meshflow.model.finding import Finding
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Flaw
from meshflow.nest.verify_claims import (
    TURN_TOLERANCE_DEG,
    check_copies,
    check_figures,
    check_grain,
    check_locked,
    check_stock,
)
from meshflow.nest.verify_shapes import (
    CHORD_MM,
    TOLERANCE_MM,
    chords,
    depth_inside,
    edge_of,
    fault,
    laid,
    name_of,
    overlap_deeper_than,
    shape_of,
)

__all__ = ["CHORD_MM", "TOLERANCE_MM", "verify_nest"]


def verify_nest(nest: Nest, parts: Sequence[Part]) -> tuple[Finding, ...]:
    """Return everything that is wrong with a nest; empty when it may be cut.

    Parameters
    ----------
    nest : Nest
        The nest, with its margin and spacing.
    parts : sequence of Part
        The parts with their quantities, turns and leave to be turned over.

    Returns
    -------
    tuple of Finding
        One for each fault: every pair of parts at least its spacing apart (less `TOLERANCE_MM`) and not overlapping,
        every part inside its sheet by the margin (less `TOLERANCE_MM`), only turns that the part allows, turned over
        only where it may be, every copy placed or named as unplaced exactly once, no more sheets than in stock, one
        material and thickness a sheet, every locked copy where it was asked for, and true figures of length used,
        utilisation and least number of sheets.
    """
    known = {part.name: part for part in parts}
    found: list[Finding] = []
    for number, layout in enumerate(nest.sheets, start=1):
        where = f"sheet {number} ({layout.sheet.id})"
        placed = [placement for placement in layout.placements if placement.part in known and _is_somewhere(placement)]
        found += [
            fault("N119", where, f"{placement.part} is placed, but was not given.")
            for placement in layout.placements
            if placement.part not in known
        ]
        found += [
            fault("N112", where, f"{name_of(placement)} has no place: {placement.x_mm:g}, {placement.y_mm:g} mm.")
            for placement in layout.placements
            if not _is_somewhere(placement)
        ]
        found += _check_poses(placed, known, where)
        found += _check_materials(layout, placed, known, where)
        shapes = [shape_of(known[placement.part], placement) for placement in placed]
        found += _check_margin(layout, placed, shapes, nest.margin_mm, where)
        found += _check_flaws(layout, placed, shapes, known, where)
        found += _check_distances(placed, shapes, nest, where)
        found += [] if nest.in_holes else _check_holes(placed, shapes, where)
        found += check_figures(layout, placed, shapes, known, nest.margin_mm, where)
    found += check_grain(parts)
    found += check_copies(nest, parts)
    found += check_stock(nest)
    found += check_locked(nest)
    return tuple(found)


def _is_somewhere(placement: Placement) -> bool:
    return all(math.isfinite(value) for value in (placement.x_mm, placement.y_mm, placement.angle_deg))


def _check_poses(placed: Sequence[Placement], known: dict[str, Part], where: str) -> list[Finding]:
    found = []
    for placement in placed:
        part = known[placement.part]
        allowed = part.turns_deg or (0.0, 90.0, 180.0, 270.0)
        off = min(abs(math.remainder(placement.angle_deg - turn, 360.0)) for turn in allowed)
        if not off <= part.turn_play_deg + TURN_TOLERANCE_DEG:
            found.append(fault("N113", where, f"{name_of(placement)} is turned by {placement.angle_deg:g} degrees."))
        if placement.mirrored and not part.may_mirror:
            found.append(fault("N114", where, f"{name_of(placement)} is turned over and may not be."))
    return found


def _check_materials(
    layout: SheetLayout, placed: Sequence[Placement], known: dict[str, Part], where: str
) -> list[Finding]:
    materials = {known[placement.part].material for placement in placed} | {layout.sheet.material}
    thicknesses = {known[placement.part].thickness_mm for placement in placed} | {layout.sheet.thickness_mm}
    found = []
    if len(materials - {""}) > 1:
        found.append(fault("N117", where, f"materials are mixed: {', '.join(sorted(materials - {''}))}."))
    if len(thicknesses - {0.0}) > 1:
        text = ", ".join(f"{value:g} mm" for value in sorted(thicknesses - {0.0}))
        found.append(fault("N117", where, f"thicknesses are mixed: {text}."))
    return found


def _check_margin(
    layout: SheetLayout, placed: Sequence[Placement], shapes: Sequence[Any], margin_mm: float, where: str
) -> list[Finding]:
    found = []
    least = margin_mm - TOLERANCE_MM + CHORD_MM
    edge = edge_of(layout)
    for placement, shape in zip(placed, shapes, strict=True):
        low_x, low_y, high_x, high_y = shape.bounds
        clear = min(low_x, low_y, layout.sheet.length_mm - high_x, layout.sheet.width_mm - high_y)
        if edge is not None:
            # Twice the chord: the edge and the part may both lie that far from where they are drawn.
            clear = min(clear, depth_inside(edge, shape) - CHORD_MM)
        if not clear >= least:
            found.append(fault("N112", where, f"{name_of(placement)} lies {clear:.3f} mm from the edge of the sheet."))
    return found


def _check_flaws(
    layout: SheetLayout, placed: Sequence[Placement], shapes: Sequence[Any], known: dict[str, Part], where: str
) -> list[Finding]:
    import shapely

    found = []
    for number, flaw in enumerate(layout.sheet.flaws, start=1):
        area = shapely.Polygon(chords(flaw.outline))
        for placement, shape in zip(placed, shapes, strict=True):
            if flaw.grade:
                found += _check_grade(number, flaw, area, placement, shape, known[placement.part], where)
            elif (gap := _too_near(shape, area, flaw.clearance_mm)) is not None:
                text = f"{name_of(placement)} lies {gap:.3f} mm from flaw {number}, not {flaw.clearance_mm:g} mm."
                found.append(fault("N121", where, text))
    return found


def _check_grade(
    number: int, flaw: Flaw, area: Any, placement: Placement, shape: Any, part: Part, where: str
) -> list[Finding]:
    """Return where a part, or a zone of it as it was drawn, lies on stuff of too low a grade."""
    import shapely

    found = []
    meets = f"meets zone {number} of the sheet, of grade {flaw.grade}."
    if 0 < part.least_grade < flaw.grade and _too_near(shape, area, flaw.clearance_mm) is not None:
        text = f"{name_of(placement)} asks for grade {part.least_grade} and {meets}"
        found.append(fault("N122", where, text))
    for count, zone in enumerate(part.zones, start=1):
        if not 0 < zone.least_grade < flaw.grade:
            continue
        if _too_near(shapely.Polygon(laid(chords(zone.outline), placement)), area, flaw.clearance_mm) is not None:
            text = f"zone {count} of {name_of(placement)} asks for grade {zone.least_grade} and {meets}"
            found.append(fault("N122", where, text))
    return found


def _too_near(shape: Any, area: Any, clearance_mm: float) -> float | None:
    """Return the distance of what overlaps an area or comes nearer to it than a clearance; else None."""
    gap = float(shape.distance(area))
    over = gap == 0.0 and overlap_deeper_than(shape, area, TOLERANCE_MM - 2.0 * CHORD_MM)
    near = clearance_mm > 0.0 and gap < clearance_mm - TOLERANCE_MM + 2.0 * CHORD_MM
    return gap if over or near else None


def _check_distances(placed: Sequence[Placement], shapes: Sequence[Any], nest: Nest, where: str) -> list[Finding]:
    import shapely

    own = {frozenset((one.part, one.other)): one.spacing_mm for one in nest.apart}
    widest = max([nest.spacing_mm, *own.values()])

    found = [
        fault("N120", where, f"the outline of {name_of(placement)} is not a simple closed curve.")
        for placement, shape in zip(placed, shapes, strict=True)
        if not shape.is_valid
    ]
    if found or len(shapes) < 2:
        return found
    tree = shapely.STRtree(shapes)
    one, two = tree.query(shapes, predicate="dwithin", distance=widest)
    pairs = sorted((i, j) for i, j in zip(one.tolist(), two.tolist(), strict=True) if i < j)
    for i, j in pairs:
        wanted = own.get(frozenset((placed[i].part, placed[j].part)), nest.spacing_mm)
        least = wanted - TOLERANCE_MM + 2.0 * CHORD_MM
        gap = shapes[i].distance(shapes[j])
        names = f"{name_of(placed[i])} and {name_of(placed[j])}"
        if gap == 0.0 and overlap_deeper_than(shapes[i], shapes[j], TOLERANCE_MM - 2.0 * CHORD_MM):
            found.append(fault("N111", where, f"{names} overlap."))
        elif gap < least:
            found.append(fault("N111", where, f"{names} are {gap:.3f} mm apart, not {wanted:g} mm."))
    return found


def _check_holes(placed: Sequence[Placement], shapes: Sequence[Any], where: str) -> list[Finding]:
    """Refuse parts in holes of others: what is cut first there is another question, to be asked for."""
    import shapely

    rims = [(host, rim) for host, shape in enumerate(shapes) if shape.is_valid for rim in shape.interiors]
    if not rims:
        return []
    tree = shapely.STRtree([shape.representative_point() if shape.is_valid else shapely.Point() for shape in shapes])
    holes, guests = tree.query([shapely.Polygon(rim) for _, rim in rims], predicate="contains")
    pairs = sorted({(guest, rims[hole][0]) for hole, guest in zip(holes.tolist(), guests.tolist(), strict=True)})
    return [
        fault(
            "N131",
            where,
            f"{name_of(placed[guest])} lies in a hole of {name_of(placed[host])}, which was not asked for.",
        )
        for guest, host in pairs
    ]
