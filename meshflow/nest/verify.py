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

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Locked, Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Flaw

__all__ = ["CHORD_MM", "TOLERANCE_MM", "verify_nest"]

TOLERANCE_MM = 0.001
CHORD_MM = 0.0001
TURN_TOLERANCE_DEG = 1e-6
GRAIN_TOLERANCE_DEG = 0.01
LOCKED_TOLERANCE_MM = 1e-6
USABLE_TOLERANCE = 1e-4
_MOST_CHORDS = 20_000
_QUARTER = 64  # chords to a quarter circle


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
            _fault("N119", where, f"{placement.part} is placed, but was not given.")
            for placement in layout.placements
            if placement.part not in known
        ]
        found += [
            _fault("N112", where, f"{_name(placement)} has no place: {placement.x_mm:g}, {placement.y_mm:g} mm.")
            for placement in layout.placements
            if not _is_somewhere(placement)
        ]
        found += _check_poses(placed, known, where)
        found += _check_materials(layout, placed, known, where)
        shapes = [_shape(known[placement.part], placement) for placement in placed]
        found += _check_margin(layout, placed, shapes, nest.margin_mm, where)
        found += _check_flaws(layout, placed, shapes, known, where)
        found += _check_distances(placed, shapes, nest, where)
        found += [] if nest.in_holes else _check_holes(placed, shapes, where)
        found += _check_figures(layout, placed, shapes, known, nest.margin_mm, where)
    found += _check_grain(parts)
    found += _check_copies(nest, parts)
    found += _check_stock(nest)
    found += _check_locked(nest)
    return tuple(found)


def _fault(code: str, where: str, text: str) -> Finding:
    return Finding(code, Severity.REFUSE, text, "Do not cut this nest; nest again and report the case.", where=where)


def _name(placement: Placement) -> str:
    return f"{placement.part} copy {placement.copy}"


def _is_somewhere(placement: Placement) -> bool:
    return all(math.isfinite(value) for value in (placement.x_mm, placement.y_mm, placement.angle_deg))


def _check_poses(placed: Sequence[Placement], known: dict[str, Part], where: str) -> list[Finding]:
    found = []
    for placement in placed:
        part = known[placement.part]
        allowed = part.turns_deg or (0.0, 90.0, 180.0, 270.0)
        off = min(abs(math.remainder(placement.angle_deg - turn, 360.0)) for turn in allowed)
        if not off <= part.turn_play_deg + TURN_TOLERANCE_DEG:
            found.append(_fault("N113", where, f"{_name(placement)} is turned by {placement.angle_deg:g} degrees."))
        if placement.mirrored and not part.may_mirror:
            found.append(_fault("N114", where, f"{_name(placement)} is turned over and may not be."))
    return found


def _check_materials(
    layout: SheetLayout, placed: Sequence[Placement], known: dict[str, Part], where: str
) -> list[Finding]:
    materials = {known[placement.part].material for placement in placed} | {layout.sheet.material}
    thicknesses = {known[placement.part].thickness_mm for placement in placed} | {layout.sheet.thickness_mm}
    found = []
    if len(materials - {""}) > 1:
        found.append(_fault("N117", where, f"materials are mixed: {', '.join(sorted(materials - {''}))}."))
    if len(thicknesses - {0.0}) > 1:
        text = ", ".join(f"{value:g} mm" for value in sorted(thicknesses - {0.0}))
        found.append(_fault("N117", where, f"thicknesses are mixed: {text}."))
    return found


def _shape(part: Part, placement: Placement) -> Any:
    """Return the part as a shapely polygon where it lies on the sheet."""
    import shapely

    rings = [_laid(_chords(curve), placement) for curve in (part.outline, *part.holes)]
    return shapely.Polygon(rings[0], rings[1:])


def _laid(points: FloatArray, placement: Placement) -> FloatArray:
    angle = math.radians(placement.angle_deg)
    x = -points[:, 0] if placement.mirrored else points[:, 0]
    y = points[:, 1]
    return np.stack(
        [
            math.cos(angle) * x - math.sin(angle) * y + placement.x_mm,
            math.sin(angle) * x + math.cos(angle) * y + placement.y_mm,
        ],
        axis=1,
    )


def _chords(curve: Polycurve | Circle) -> FloatArray:
    """Return points on the curve, its chords within `CHORD_MM` of it."""
    if isinstance(curve, Circle):
        angle = np.linspace(0.0, 2.0 * math.pi, _chord_count(curve.radius, 2.0 * math.pi), endpoint=False)
        return np.asarray(curve.centre + curve.radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    runs = []
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    for start, end, bulge in zip(curve.points, np.roll(curve.points, -1, axis=0), bulges.tolist(), strict=True):
        sweep = 4.0 * math.atan(bulge)
        chord = float(np.hypot(*(end - start)))
        if chord == 0.0 or abs(sweep) * chord < 1e-9:
            runs.append(start[None])
            continue
        radius = chord / (2.0 * math.sin(0.5 * abs(sweep)))
        share = np.arange(_chord_count(radius, abs(sweep))) / _chord_count(radius, abs(sweep))
        # Height above the chord and way along it, in the chord's own frame: exact for flat arcs of huge radius, too.
        half = 0.5 * sweep
        along = 0.5 * (1.0 + np.sin(half * (2.0 * share - 1.0)) / math.sin(half))
        above = np.sin(half * share) * np.sin(half * (1.0 - share)) / math.sin(half)
        forward = end - start
        right = np.array([forward[1], -forward[0]])
        runs.append(start + along[:, None] * forward + above[:, None] * right)
    return np.concatenate(runs)


def _chord_count(radius: float, sweep: float) -> int:
    step = 2.0 * math.acos(max(1.0 - CHORD_MM / radius, -1.0))
    return min(max(2, math.ceil(sweep / step)), _MOST_CHORDS)


def _check_margin(
    layout: SheetLayout, placed: Sequence[Placement], shapes: Sequence[Any], margin_mm: float, where: str
) -> list[Finding]:
    found = []
    least = margin_mm - TOLERANCE_MM + CHORD_MM
    edge = _edge(layout)
    for placement, shape in zip(placed, shapes, strict=True):
        low_x, low_y, high_x, high_y = shape.bounds
        clear = min(low_x, low_y, layout.sheet.length_mm - high_x, layout.sheet.width_mm - high_y)
        if edge is not None:
            # Twice the chord: the edge and the part may both lie that far from where they are drawn.
            clear = min(clear, _depth_inside(edge, shape) - CHORD_MM)
        if not clear >= least:
            found.append(_fault("N112", where, f"{_name(placement)} lies {clear:.3f} mm from the edge of the sheet."))
    return found


def _edge(layout: SheetLayout) -> Any:
    """Return the sheet as a shapely polygon, where it is no rectangle."""
    import shapely

    return None if layout.sheet.outline is None else shapely.Polygon(_chords(layout.sheet.outline))


def _depth_inside(edge: Any, shape: Any) -> float:
    """Return how far a part lies inside an edge; below 0 where it reaches over it."""
    import shapely

    beyond = shape.difference(edge)
    if beyond.is_empty:
        return float(edge.exterior.distance(shape))
    return -float(shapely.distance(edge, shapely.points(shapely.get_coordinates(beyond))).max())


def _check_flaws(
    layout: SheetLayout, placed: Sequence[Placement], shapes: Sequence[Any], known: dict[str, Part], where: str
) -> list[Finding]:
    import shapely

    found = []
    for number, flaw in enumerate(layout.sheet.flaws, start=1):
        area = shapely.Polygon(_chords(flaw.outline))
        for placement, shape in zip(placed, shapes, strict=True):
            if flaw.grade:
                found += _check_grade(number, flaw, area, placement, shape, known[placement.part], where)
            elif (gap := _too_near(shape, area, flaw.clearance_mm)) is not None:
                text = f"{_name(placement)} lies {gap:.3f} mm from flaw {number}, not {flaw.clearance_mm:g} mm."
                found.append(_fault("N121", where, text))
    return found


def _check_grade(
    number: int, flaw: Flaw, area: Any, placement: Placement, shape: Any, part: Part, where: str
) -> list[Finding]:
    """Return where a part, or a zone of it as it was drawn, lies on stuff of too low a grade."""
    import shapely

    found = []
    meets = f"meets zone {number} of the sheet, of grade {flaw.grade}."
    if 0 < part.least_grade < flaw.grade and _too_near(shape, area, flaw.clearance_mm) is not None:
        text = f"{_name(placement)} asks for grade {part.least_grade} and {meets}"
        found.append(_fault("N122", where, text))
    for count, zone in enumerate(part.zones, start=1):
        if not 0 < zone.least_grade < flaw.grade:
            continue
        if _too_near(shapely.Polygon(_laid(_chords(zone.outline), placement)), area, flaw.clearance_mm) is not None:
            text = f"zone {count} of {_name(placement)} asks for grade {zone.least_grade} and {meets}"
            found.append(_fault("N122", where, text))
    return found


def _too_near(shape: Any, area: Any, clearance_mm: float) -> float | None:
    """Return the distance of what overlaps an area or comes nearer to it than a clearance; else None."""
    gap = float(shape.distance(area))
    over = gap == 0.0 and _overlap_deeper_than(shape, area, TOLERANCE_MM - 2.0 * CHORD_MM)
    near = clearance_mm > 0.0 and gap < clearance_mm - TOLERANCE_MM + 2.0 * CHORD_MM
    return gap if over or near else None


def _check_distances(placed: Sequence[Placement], shapes: Sequence[Any], nest: Nest, where: str) -> list[Finding]:
    import shapely

    own = {frozenset((one.part, one.other)): one.spacing_mm for one in nest.apart}
    widest = max([nest.spacing_mm, *own.values()])

    found = [
        _fault("N120", where, f"the outline of {_name(placement)} is not a simple closed curve.")
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
        names = f"{_name(placed[i])} and {_name(placed[j])}"
        if gap == 0.0 and _overlap_deeper_than(shapes[i], shapes[j], TOLERANCE_MM - 2.0 * CHORD_MM):
            found.append(_fault("N111", where, f"{names} overlap."))
        elif gap < least:
            found.append(_fault("N111", where, f"{names} are {gap:.3f} mm apart, not {wanted:g} mm."))
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
        _fault(
            "N131", where, f"{_name(placed[guest])} lies in a hole of {_name(placed[host])}, which was not asked for."
        )
        for guest, host in pairs
    ]


def _overlap_deeper_than(one: Any, two: Any, depth: float) -> bool:
    """Return whether the common area is anywhere wider than `depth`: parts that only touch share a line or slivers."""
    common = one.intersection(two)
    return not common.buffer(-0.5 * depth).is_empty


def _check_figures(
    layout: SheetLayout,
    placed: Sequence[Placement],
    shapes: Sequence[Any],
    known: dict[str, Part],
    margin_mm: float,
    where: str,
) -> list[Finding]:
    if not placed:
        return [_fault("N116", where, "the sheet is taken, but nothing lies on it.")]
    found = []
    used = min(max(shape.bounds[2] for shape in shapes) + margin_mm, layout.sheet.length_mm)
    if not abs(used - layout.used_length_mm) <= TOLERANCE_MM:
        found.append(_fault("N118", where, f"{layout.used_length_mm:g} mm are said to be used; it is {used:.3f} mm."))
    area = _area_up_to_used(layout)
    share = sum(_net_area(known[placement.part]) for placement in placed) / area if area > 0.0 else math.inf
    if not abs(share - layout.utilisation) <= 1e-4:
        found.append(_fault("N118", where, f"the utilisation is said to be {layout.utilisation:g}; it is {share:.5f}."))
    return found + _check_usable(
        layout, sum(_net_area(known[placement.part]) for placement in placed), margin_mm, where
    )


def _check_usable(layout: SheetLayout, covered: float, margin_mm: float, where: str) -> list[Finding]:
    """Return what is not true of the usable area, of what is covered of it, and of its bound."""
    import shapely

    said = layout.usable
    if said is None:
        return []
    sheet, edge = layout.sheet, _edge(layout)
    whole = edge if edge is not None else shapely.box(0.0, 0.0, sheet.length_mm, sheet.width_mm)
    flaws = [
        shapely.Polygon(_chords(flaw.outline)).buffer(flaw.clearance_mm, quad_segs=_QUARTER)
        for flaw in sheet.flaws
        if not flaw.grade
    ]
    area = float(whole.buffer(-margin_mm, quad_segs=_QUARTER).difference(shapely.union_all(flaws)).area)
    # Both sides draw arcs by chords of their own.
    off = USABLE_TOLERANCE * area + CHORD_MM * whole.length
    if not abs(area - said.area_mm2) <= off:
        text = f"{said.area_mm2:g} mm2 are said to be usable; it is {area:.1f}."
        return [_fault("N118", where, text)]
    if not abs(covered / area - said.covered) <= 2.0 * off / area:
        text = f"{said.covered:g} of the usable area are said to be covered; it is {covered / area:.5f}."
        return [_fault("N118", where, text)]
    if not said.covered <= said.upper_bound + USABLE_TOLERANCE:
        text = f"more than {said.upper_bound:g} of the usable area are said to be impossible; {said.covered:g} are."
        return [_fault("N118", where, text)]
    return []


def _area_up_to_used(layout: SheetLayout) -> float:
    import shapely

    edge = _edge(layout)
    if edge is None:
        return layout.used_length_mm * layout.sheet.width_mm
    return float(edge.intersection(shapely.box(-1.0, -1.0, layout.used_length_mm, layout.sheet.width_mm + 1.0)).area)


def _net_area(part: Part) -> float:
    outer, *holes = (_area_within(curve) for curve in (part.outline, *part.holes))
    return outer - sum(holes)


def _area_within(curve: Polycurve | Circle) -> float:
    """Return the area a contour encloses, by closed form: for the smallest arcs chords are not fine enough."""
    if isinstance(curve, Circle):
        return math.pi * curve.radius**2
    x, y = (curve.points - curve.points[0]).T
    ahead = np.roll(curve.points, -1, axis=0) - curve.points
    between = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    curved = np.abs(bulges) > 1e-12
    sweep = 4.0 * np.arctan(bulges[curved])
    chord = np.hypot(*ahead[curved].T)
    radius = chord / (2.0 * np.sin(0.5 * np.abs(sweep)))
    segments = 0.5 * radius**2 * np.where(np.abs(sweep) > 1e-3, sweep - np.sin(sweep), sweep**3 / 6.0)
    return abs(between + float(segments.sum()))


def _check_copies(nest: Nest, parts: Sequence[Part]) -> list[Finding]:
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
            found.append(_fault("N119", name, "it is named as unplaced, but was not given."))
    for part in parts:
        copies = sorted(placed[part.name])
        short = len(copies) + missing[part.name]
        enough = short == part.quantity or (missing[part.name] == 0 and part.quantity < short <= part.most)
        if not enough or missing[part.name] < 0:
            text = f"{len(copies)} placed and {missing[part.name]} unplaced do not make {part.quantity} copies."
            found.append(_fault("N115", part.name, text))
        if len(set(copies)) != len(copies):
            found.append(_fault("N115", part.name, f"a copy is placed twice: {copies}."))
        elif any(not 1 <= copy <= max(part.quantity, part.most) for copy in copies):
            found.append(_fault("N115", part.name, f"a copy that was not asked for is placed: {copies}."))
    return found


def _check_grain(parts: Sequence[Part]) -> list[Finding]:
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
            found.append(_fault("N127", part.name, text))
    return found


def _check_locked(nest: Nest) -> list[Finding]:
    """Return the locked copies that are not where they were asked for; each takes a placement of its own."""
    free = [(number, place) for number, layout in enumerate(nest.sheets, start=1) for place in layout.placements]
    found = []
    for one in nest.locked:
        match = next((entry for entry in free if _is_there(entry[0], entry[1], one)), None)
        if match is None:
            text = (
                f"{one.part} was locked at {one.x_mm:g}, {one.y_mm:g} mm, turned {one.angle_deg:g} degrees, and is not."
            )
            found.append(_fault("N126", f"sheet {one.sheet}", text))
        else:
            free.remove(match)
            on = nest.sheets[one.sheet - 1].sheet.id
            if one.on not in ("", on):
                found.append(_fault("N126", f"sheet {one.sheet}", f"{one.part} was locked on {one.on}, not on {on}."))
    return found


def _is_there(number: int, place: Placement, one: Locked) -> bool:
    off = max(abs(place.x_mm - one.x_mm), abs(place.y_mm - one.y_mm))
    turn = abs(math.remainder(place.angle_deg - one.angle_deg, 360.0))
    same = (number, place.part, place.mirrored) == (one.sheet, one.part, one.mirrored)
    return same and off <= LOCKED_TOLERANCE_MM and turn <= TURN_TOLERANCE_DEG


def _check_stock(nest: Nest) -> list[Finding]:
    found = []
    sheets = [layout.sheet for layout in nest.sheets]
    for index, sheet in enumerate(sheets):
        taken = sum(other == sheet for other in sheets)
        if sheet not in sheets[:index] and 0 < sheet.count < taken:
            found.append(_fault("N116", f"sheet {sheet.id}", f"{taken} are taken and {sheet.count} in stock."))
    if nest.sheets_lower_bound > len(sheets):
        text = f"fewer than {nest.sheets_lower_bound} sheets are said to be impossible, and {len(sheets)} are taken."
        found.append(_fault("N118", "nest", text))
    return found
