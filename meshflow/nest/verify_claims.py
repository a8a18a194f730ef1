"""What a nest says of itself, for its independent check: figures, copies, sheets, locked copies, grain.

See `verify` for the codes and for what is shared with whom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from meshflow.model.finding import Finding
from meshflow.model.layout import Locked, Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.nest.verify_shapes import CHORD_MM, TOLERANCE_MM, chords, edge_of, fault, net_area

__all__ = ["TURN_TOLERANCE_DEG", "check_copies", "check_figures", "check_grain", "check_locked", "check_stock"]

TURN_TOLERANCE_DEG = 1e-6
GRAIN_TOLERANCE_DEG = 0.01
LOCKED_TOLERANCE_MM = 1e-6
USABLE_TOLERANCE = 1e-4
_QUARTER = 64  # chords to a quarter circle


def check_figures(
    layout: SheetLayout,
    placed: Sequence[Placement],
    shapes: Sequence[Any],
    known: dict[str, Part],
    margin_mm: float,
    where: str,
) -> list[Finding]:
    """Return what is not true of the used length and of the shares that are covered."""
    if not placed:
        return [fault("N116", where, "the sheet is taken, but nothing lies on it.")]
    found = []
    used = min(max(shape.bounds[2] for shape in shapes) + margin_mm, layout.sheet.length_mm)
    if not abs(used - layout.used_length_mm) <= TOLERANCE_MM:
        found.append(fault("N118", where, f"{layout.used_length_mm:g} mm are said to be used; it is {used:.3f} mm."))
    if layout.used_width_mm is not None:
        wide = min(max(shape.bounds[3] for shape in shapes) + margin_mm, layout.sheet.width_mm)
        if not abs(wide - layout.used_width_mm) <= TOLERANCE_MM:
            text = f"{layout.used_width_mm:g} mm of the width are said to be used; it is {wide:.3f} mm."
            found.append(fault("N118", where, text))
    area = _area_used(layout)
    share = sum(net_area(known[placement.part]) for placement in placed) / area if area > 0.0 else math.inf
    if not abs(share - layout.utilisation) <= 1e-4:
        found.append(fault("N118", where, f"the utilisation is said to be {layout.utilisation:g}; it is {share:.5f}."))
    return found + _check_usable(layout, sum(net_area(known[placement.part]) for placement in placed), margin_mm, where)


def _check_usable(layout: SheetLayout, covered: float, margin_mm: float, where: str) -> list[Finding]:
    """Return what is not true of the usable area, of what is covered of it, and of its bound."""
    import shapely

    said = layout.usable
    if said is None:
        return []
    sheet, edge = layout.sheet, edge_of(layout)
    whole = edge if edge is not None else shapely.box(0.0, 0.0, sheet.length_mm, sheet.width_mm)
    flaws = [
        shapely.Polygon(chords(flaw.outline)).buffer(flaw.clearance_mm, quad_segs=_QUARTER)
        for flaw in sheet.flaws
        if not flaw.grade
    ]
    area = float(whole.buffer(-margin_mm, quad_segs=_QUARTER).difference(shapely.union_all(flaws)).area)
    # Both sides draw arcs by chords of their own.
    off = USABLE_TOLERANCE * area + CHORD_MM * whole.length
    if not abs(area - said.area_mm2) <= off:
        text = f"{said.area_mm2:g} mm2 are said to be usable; it is {area:.1f}."
        return [fault("N118", where, text)]
    if not abs(covered / area - said.covered) <= 2.0 * off / area:
        text = f"{said.covered:g} of the usable area are said to be covered; it is {covered / area:.5f}."
        return [fault("N118", where, text)]
    if not said.covered <= said.upper_bound + USABLE_TOLERANCE:
        text = f"more than {said.upper_bound:g} of the usable area are said to be impossible; {said.covered:g} are."
        return [fault("N118", where, text)]
    return []


def _area_used(layout: SheetLayout) -> float:
    import shapely

    edge = edge_of(layout)
    width = layout.sheet.width_mm if layout.used_width_mm is None else layout.used_width_mm
    if edge is None:
        return layout.used_length_mm * width
    return float(edge.intersection(shapely.box(-1.0, -1.0, layout.used_length_mm, width)).area)


def check_copies(nest: Nest, parts: Sequence[Part]) -> list[Finding]:
    """Return the parts of which not every copy is placed or named as unplaced exactly once."""
    placed: dict[str, list[int]] = {part.name: [] for part in parts}
    missing: dict[str, int] = dict.fromkeys(placed, 0)
    found = []
    for layout in nest.sheets:
        for placement in layout.placements:
            if placement.part in placed:
                placed[placement.part].append(placement.copy)
    for name, count in nest.unplaced:
        if name in missing:
            missing[name] += count
        else:
            found.append(fault("N119", name, "it is named as unplaced, but was not given."))
    for part in parts:
        copies = sorted(placed[part.name])
        short = len(copies) + missing[part.name]
        enough = short == part.quantity or (missing[part.name] == 0 and part.quantity < short <= part.most)
        if not enough or missing[part.name] < 0:
            text = f"{len(copies)} placed and {missing[part.name]} unplaced do not make {part.quantity} copies."
            found.append(fault("N115", part.name, text))
        if len(set(copies)) != len(copies):
            found.append(fault("N115", part.name, f"a copy is placed twice: {copies}."))
        elif any(not 1 <= copy <= max(part.quantity, part.most) for copy in copies):
            found.append(fault("N115", part.name, f"a copy that was not asked for is placed: {copies}."))
    return found


def check_grain(parts: Sequence[Part]) -> list[Finding]:
    """Return the parts that could never lie along the grain of a sheet, which runs along its length."""
    found = []
    for part in parts:
        if part.grain_deg is None:
            continue
        drawn = [part.grain_deg, 180.0 - part.grain_deg] if part.may_mirror else [part.grain_deg]
        turns = part.turns_deg or (0.0, 90.0, 180.0, 270.0)
        off = min(abs(math.remainder(grain + turn, 180.0)) for grain in drawn for turn in turns)
        if not off <= part.turn_play_deg + GRAIN_TOLERANCE_DEG:
            text = f"its grain lies {off:g} degrees or more across that of the sheet in every turn it may take."
            found.append(fault("N127", part.name, text))
    return found


def check_locked(nest: Nest) -> list[Finding]:
    """Return the locked copies that are not where they were asked for; each takes a placement of its own."""
    free = [(number, place) for number, layout in enumerate(nest.sheets, start=1) for place in layout.placements]
    found = []
    for one in nest.locked:
        match = next((entry for entry in free if _is_there(entry[0], entry[1], one)), None)
        if match is None:
            text = (
                f"{one.part} was locked at {one.x_mm:g}, {one.y_mm:g} mm, turned {one.angle_deg:g} degrees, and is not."
            )
            found.append(fault("N126", f"sheet {one.sheet}", text))
        else:
            free.remove(match)
            on = nest.sheets[one.sheet - 1].sheet.id
            if one.on not in ("", on):
                found.append(fault("N126", f"sheet {one.sheet}", f"{one.part} was locked on {one.on}, not on {on}."))
    return found


def _is_there(number: int, place: Placement, one: Locked) -> bool:
    off = max(abs(place.x_mm - one.x_mm), abs(place.y_mm - one.y_mm))
    turn = abs(math.remainder(place.angle_deg - one.angle_deg, 360.0))
    same = (number, place.part, place.mirrored) == (one.sheet, one.part, one.mirrored)
    return same and off <= LOCKED_TOLERANCE_MM and turn <= TURN_TOLERANCE_DEG


def check_stock(nest: Nest) -> list[Finding]:
    """Return the sheets taken beyond the stock, and a least number of sheets that cannot be true."""
    found = []
    sheets = [layout.sheet for layout in nest.sheets]
    for index, sheet in enumerate(sheets):
        taken = sum(other == sheet for other in sheets)
        if sheet not in sheets[:index] and 0 < sheet.count < taken:
            found.append(fault("N116", f"sheet {sheet.id}", f"{taken} are taken and {sheet.count} in stock."))
    if nest.sheets_lower_bound > len(sheets):
        text = f"fewer than {nest.sheets_lower_bound} sheets are said to be impossible, and {len(sheets)} are taken."
        found.append(fault("N118", "nest", text))
    return found
