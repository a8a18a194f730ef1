"""All of a part: contours, marks, and what there is to say about them.

See the package's text for the terms and the findings.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.geometry.curves import bounds, transformed
from meshflow.geometry.polygons import material as material_of
from meshflow.geometry.polygons import shrunk, without_curves
from meshflow.geometry.transforms import composed, move_points
from meshflow.model.allowance import Allowance
from meshflow.model.arrays import BoolArray
from meshflow.model.asked import Marking
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part
from meshflow.model.pattern import FlatPattern
from meshflow.outline.allowance import Grown, grown
from meshflow.outline.bends import BentPattern, bent
from meshflow.outline.blank import blank_of, net_lines, seam_pieces
from meshflow.outline.contour import Fit, Loop, contour_of, crossings, pattern_loops, simplification, too_small
from meshflow.outline.fences import cleared
from meshflow.outline.frame import turned_frame
from meshflow.outline.marks import CLEARANCE_MM, dressing
from meshflow.outline.notches import EDGE_GAP_MM, seam_notches
from meshflow.outline.points import PointsAndLines, points_and_lines
from meshflow.outline.zones import zones_of
from meshflow.stock.joining import PointRules

__all__ = ["outline"]

_HAIR_MM = 0.8 * EDGE_GAP_MM
_MOST_ALLOWANCE_MM = 1000.0


def outline(
    pattern: FlatPattern,
    *,
    tolerance: float = 0.05,
    label: str | None = None,
    notch_pitch: float = 60.0,
    grain: bool = False,
    material: str = "",
    process: str = "",
    quantity: int = 1,
    may_mirror: bool = False,
    turns_deg: tuple[float, ...] = (),
    allowance_mm: float | None = None,
    marking: Marking | None = None,
    rules: PointRules | None = None,
    allowances: Sequence[Allowance] = (),
    why: str = "",
    fit: Fit = "near",
) -> Part:
    """Draw a flat pattern out as a part to cut.

    The piece is turned over first if its inner face is up, turned so that its grain (else its greatest extent) lies
    along x, and moved so that its bounding box starts at the origin; `Part.placement_of_pattern` keeps that motion.

    Parameters
    ----------
    pattern : FlatPattern
        The flattened region.
    tolerance : float
        Greatest distance between the drawn contour and the flattened rim [mm].
    label : str, optional
        Name to mark on the piece; the region's name when left out, nothing when empty.
    notch_pitch : float
        Wanted distance between seam notches [mm].
    grain : bool
        Whether the material has a grain: an arrow is drawn even if the pattern names no direction.
    material, process : str
        Ids in the stock tables.
    quantity : int
        How many to cut.
    may_mirror : bool
        Whether nesting may turn the piece over.
    turns_deg : tuple of float
        Turns allowed in nesting [deg]; empty means any multiple of 90.
    allowance_mm : float, optional
        How far outside the net line the outline is drawn, to be trimmed off after forming [mm]; the allowance of
        ``pattern.forming``, else none, when left out. Less than the tolerance is none. Openings are then marked and
        not cut: pierced before, they would be pulled out of shape and tear.
    marking : Marking, optional
        Holes, stitches, bends, folds, notches, crosses and lines of the surface that are asked for, with their places
        on the pattern. Bends shorten the pattern, so `Part.pattern` then differs from `pattern`.
    rules : PointRules, optional
        What those are held against; the stock's rules for holes when left out.
    allowances : sequence of Allowance
        What each edge gets beyond the net line, the later row over the earlier; of a blank they take the place of
        its allowance where they name an edge.
    why : str
        Why this tolerance, for the finding D101; see `chosen_tolerance`.
    fit : {"near", "full", "bare"}
        Whether the net contour lies on both sides of the rim, takes no material off, or adds none.

    Returns
    -------
    Part
        Net size or a blank, with findings D101 to D109, D111 to D117 and D140 to D149 in its notes. A part with a D104
        refusal carries no marks and must not be cut.

    Raises
    ------
    OptionError
        If an option is out of range, or a name cannot be marked.
    InputError
        If the pattern's edges do not close.
    """
    name = pattern.region.name
    allowance = _allowance(pattern, allowance_mm)
    _check(name, tolerance, notch_pitch, quantity, allowance)
    allowance = allowance if allowance >= tolerance else 0.0
    # Net line and blank are fitted one after the other, so each of them gets half of the tolerance.
    close = 0.5 * tolerance if allowance or allowances else tolerance
    asked = _asked(pattern, marking, rules, tolerance)
    pattern = asked.pattern
    loops, notes = _drawable(pattern, tolerance)
    frame = turned_frame(pattern, pattern.vertices[loops[0].vertices], tolerance=tolerance)
    drawn = {loop.number: _contour(pattern, loop, frame, close, fit) for loop in loops}
    contours, motion = _shifted(drawn, frame, drawn[0])
    refusals = crossings(list(contours.values()), tolerance=close)
    cut = list(contours.values())
    marks: list[Mark] = []
    added: Grown | None = None
    if allowances and not refusals:
        added, contours, motion = _grown(pattern, contours, motion, allowance, allowances, close)
        cut, notes = [added.outline, *added.holes], [*notes, *added.notes]
        marks = [mark for mark in added.marks if mark not in added.within]
    elif allowance and not refusals:
        joined = seam_pieces(pattern, contours[0], motion)
        blank, bays = blank_of(contours[0], allowance, tolerance=close, joined=joined)
        contours, motion = _shifted(contours, motion, blank)
        cut = [_to_origin(blank, blank)]
        marks = _lines_on_the_blank(contours, joined)
        notes += _said_of_the_blank(allowance, len(contours) - 1, bays, seamed=bool(joined.any()))
    notes += simplification(cut, sum(len(loop.vertices) for loop in loops), tolerance, why)
    if not refusals:
        try:
            more = points_and_lines(
                asked, contours, motion, rules or PointRules(), hair=_HAIR_MM, blank=bool(allowance)
            )
            if added is not None:
                # Only what runs within the net line is in the way of lettering and notches.
                more = replace(more, marks=(*more.marks, *added.within))
            words = name if label is None else label
            dressed, said = _marks(pattern, contours, motion, words, notch_pitch, grain, more)
        except MeshflowError as error:
            raise error.located(name) from None
        marks += dressed
        notes += said
        cut += more.cut
    zones, told = zones_of(asked.marking, cut[0], motion)
    notes += told
    return Part(
        name=name,
        outline=cut[0],
        holes=tuple(cut[1:]),
        marks=tuple(marks),
        material=material,
        thickness_mm=pattern.region.thickness,
        quantity=quantity,
        may_mirror=may_mirror,
        turns_deg=tuple(turns_deg),
        grain_deg=None if pattern.grain_rad is None else 0.0,
        process=process,
        contour_tolerance_mm=tolerance,
        pattern=pattern,
        notes=tuple(replace(note, where=name) for note in refusals + notes),
        placement_of_pattern=motion,
        conjectured_share=pattern.conjectured_share,
        mirrored_share=pattern.mirrored_share,
        allowance_mm=0.0 if refusals else allowance,
        allowances=tuple(allowances) if added else (),
        allowance_reach_mm=added.reach_mm if added else 0.0,
        zones=zones,
    )


def _grown(
    pattern: FlatPattern,
    contours: dict[int, Polycurve | Circle],
    motion: Motion,
    blank: float,
    allowances: Sequence[Allowance],
    tolerance: float,
) -> tuple[Grown, dict[int, Polycurve | Circle], Motion]:
    """Return a part with its allowances, and its net contours and motion moved along to the origin."""
    rows = (*([Allowance("rim", "trim", blank, "round")] if blank else []), *allowances)
    try:
        added = grown(pattern, contours, motion, rows, tolerance=tolerance, holes_cut=not blank)
    except MeshflowError as error:
        raise error.located(pattern.region.name) from None
    left, low, _, _ = bounds(added.outline)
    contours, motion = _shifted(contours, motion, added.outline)
    return added.moved(Motion(dx_mm=0.0 - left, dy_mm=0.0 - low)), contours, motion


def _allowance(pattern: FlatPattern, asked: float | None) -> float:
    if asked is not None:
        return float(asked)
    return 0.0 if pattern.forming is None else pattern.forming.allowance_mm


def _check(name: str, tolerance: float, notch_pitch: float, quantity: int, allowance: float) -> None:
    if not re.fullmatch(r"[A-Za-z0-9_-]+", name):
        raise OptionError(
            f'the part name "{name}" cannot be a file name everywhere.',
            remedy="Use ASCII letters, digits, - and _ only.",
        )
    wrong = ""
    if not (np.isfinite(tolerance) and 0.0 < tolerance <= 5.0):
        wrong = f"contour tolerance {tolerance} mm is not between 0 and 5 mm."
    elif not (np.isfinite(notch_pitch) and notch_pitch > 0.0):
        wrong = f"notch pitch {notch_pitch} mm is not positive."
    elif quantity < 1:
        wrong = f"quantity {quantity} is under one."
    elif not 0.0 <= allowance <= _MOST_ALLOWANCE_MM:
        wrong = f"an allowance of {allowance} mm is not between 0 and {_MOST_ALLOWANCE_MM:g} mm."
    if wrong:
        raise OptionError(wrong, where=name, remedy="Correct this option.")


def _drawable(pattern: FlatPattern, tolerance: float) -> tuple[list[Loop], list[Finding]]:
    """Return the loops that are large enough to draw, and notes on the others and on the face that is drawn."""
    notes = []
    loops = pattern_loops(pattern)
    kept = [loop for loop in loops if loop.number == 0 or not too_small(pattern.vertices[loop.vertices], tolerance)]
    if len(kept) < len(loops):
        count = len(loops) - len(kept)
        text = f"{count} of the holes lie within {tolerance:g} mm of their own middle and are not drawn."
        remedy = "Drill them by hand, or lower the contour tolerance."
        notes.append(Finding("D103", Severity.WARNING, text, remedy, count=count))
    if pattern.region.face_up == "inner":
        text = "the drawing shows the inner face: the pattern was turned over (x to -x)."
        notes.append(Finding("D109", Severity.NOTE, text))
    return kept, notes


def _contour(pattern: FlatPattern, loop: Loop, frame: Motion, tolerance: float, fit: Fit) -> Polycurve | Circle:
    points = move_points(pattern.vertices[loop.vertices], frame)
    return contour_of(points, loop.corners, tolerance=tolerance, hole=loop.number != 0, fit=fit)


def _shifted(
    contours: dict[int, Polycurve | Circle], motion: Motion, outer: Polycurve | Circle
) -> tuple[dict[int, Polycurve | Circle], Motion]:
    """Return contours and motion moved so that the box round `outer` starts at the origin."""
    left, low, _, _ = bounds(outer)
    moved = {number: _to_origin(contour, outer) for number, contour in contours.items()}
    return moved, composed(motion, Motion(dx_mm=0.0 - left, dy_mm=0.0 - low))


def _to_origin(contour: Polycurve | Circle, outer: Polycurve | Circle) -> Polycurve | Circle:
    left, low, _, _ = bounds(outer)
    return transformed(contour, Motion(dx_mm=0.0 - left, dy_mm=0.0 - low))


def _lines_on_the_blank(contours: dict[int, Polycurve | Circle], joined: BoolArray) -> list[Mark]:
    """Return the net line, to which the piece is trimmed once formed, and the openings, to be pierced then."""
    lines = [Mark(Layer.MARK_LINE, line, "net") for line in net_lines(contours[0], joined)]
    openings = [contour for number, contour in contours.items() if number != 0]
    return lines + [Mark(Layer.MARK_LINE, opening, "opening") for opening in openings]


def _said_of_the_blank(allowance: float, openings: int, bays: int, *, seamed: bool) -> list[Finding]:
    where = "along its free edges, its seams are net" if seamed else "all round"
    text = f"the outline is that of the blank: {allowance:.3g} mm outside the net line {where}."
    notes = [Finding("D111", Severity.NOTE, text, "Form the piece, then trim it to the net line that is marked.")]
    if openings:
        text = f"{openings} opening{'s are' if openings > 1 else ' is'} marked and not cut: forming would pull it open."
        remedy = "Pierce after forming; where the shape needs it open before, pierce well inside the line."
        notes.append(Finding("D112", Severity.WARNING, text, remedy, count=openings))
    if bays:
        text = f"{bays} narrow bay{'s' if bays > 1 else ''} of the net line closed under the allowance."
        notes.append(Finding("D113", Severity.WARNING, text, "Saw them open along the net line.", count=bays))
    return notes


def _marks(
    pattern: FlatPattern,
    contours: dict[int, Polycurve | Circle],
    motion: Motion,
    label: str,
    notch_pitch: float,
    grain: bool,
    more: PointsAndLines,
) -> tuple[list[Mark], list[Finding]]:
    holes = [contour for number, contour in contours.items() if number != 0]
    part = material_of(contours[0], holes)
    room = cleared(shrunk(part, _HAIR_MM), more.solid, clearance=0.5 * CLEARANCE_MM)
    ticks, notes = seam_notches(pattern, contours, room, motion, pitch=notch_pitch)
    directed = pattern.grain_rad is not None
    # Lettering runs over lines of the surface only where it has no room beside them.
    for standing in dict.fromkeys((tuple(more.curves), tuple(more.solid))):
        area = without_curves(shrunk(part, CLEARANCE_MM), [tick.curve for tick in ticks], clearance=CLEARANCE_MM)
        area = cleared(area, standing, clearance=CLEARANCE_MM)
        marks, said = dressing(area, label, grain=grain or directed, directed=directed)
        if not said:
            break
    return [*marks, *ticks, *more.marks], [*notes, *more.notes, *said]


def _asked(pattern: FlatPattern, marking: Marking | None, rules: PointRules | None, tolerance: float) -> BentPattern:
    """Return the pattern shortened across its bends, with what else is asked for moved along."""
    try:
        return bent(pattern, marking or Marking(), rules or PointRules(), tolerance=tolerance)
    except MeshflowError as error:
        raise error.located(pattern.region.name) from None
