"""Bend lines: how much of the flat they use up, where they run, whether the sheet bears them.

Terms: see `meshflow.stock.bending`. The *bend zone* is the strip of the flat that becomes the bend; the *bend line* is
its middle.

Method: across a bend a pattern is longer than the sheet that makes it, by the excess. What lies beyond the zone on
either side is moved in by half of it, square to the line; what lies in the zone is squeezed evenly. Several bends are
taken one after the other, each in the pattern that the one before left.

Convention: a bend runs right across the part. Where its line, carried on, meets another limb of the part, that limb
would be squeezed too, so such a bend is marked and its length left alone (D147).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.polygons import line_inside, material
from meshflow.geometry.transforms import inverse, move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.asked import BendAsked, FlatLine, Marking
from meshflow.model.curve import Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.model.pattern import FlatPattern
from meshflow.outline.contour import pattern_loops
from meshflow.outline.frame import turned_frame
from meshflow.stock.bending import excess_length, taken_length
from meshflow.stock.joining import PointRules

__all__ = ["BentPattern", "bend_marks", "bent", "folds_in"]

_LONG_MM = 1e5


@dataclass(frozen=True, eq=False)
class BentPattern:
    """A pattern shortened across its bends, with all that lies on it moved along.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    marking : Marking
        Its points and lines.
    lines : tuple of (2, 2) float array
        Two points of each bend line, in the pattern's own coordinates [mm].
    notes : tuple of Finding
        D143, D146, D147, D148.
    """

    pattern: FlatPattern
    marking: Marking
    lines: tuple[FloatArray, ...] = ()
    notes: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class _Squeeze:
    """The map of one bend: a line, the half width of its zone before, and what is taken off."""

    foot: tuple[float, float]
    normal: tuple[float, float]
    half: float
    excess: float

    def __call__(self, points: FloatArray) -> FloatArray:
        normal = np.array(self.normal)
        away = (points - np.array(self.foot)) @ normal
        inner = away * (1.0 - 0.5 * self.excess / self.half)
        moved = np.where(np.abs(away) >= self.half, away - 0.5 * self.excess * np.sign(away), inner)
        return np.asarray(points + (moved - away)[:, None] * normal)


def bent(pattern: FlatPattern, marking: Marking, rules: PointRules, *, tolerance: float) -> BentPattern:
    """Shorten a pattern across the bends that are asked for.

    Parameters
    ----------
    pattern : FlatPattern
        Laid flat without regard to bends.
    marking : Marking
        What is asked for, with its points.
    rules : PointRules
        Least radii by direction, one for each bend.
    tolerance : float
        Contour tolerance [mm].

    Returns
    -------
    BentPattern
        The same where no bend is asked for.

    Raises
    ------
    OptionError
        If two points of a bend fall together, two bend lines cross on the part, or an angle is out of range.
    """
    rows = marking.asked.bends
    if not rows:
        return BentPattern(pattern, marking)
    drawing = _drawing_without_bends(pattern, tolerance)
    lines: list[FloatArray] = []
    notes: list[Finding] = []
    squeezes: list[_Squeeze] = []
    for number, (row, spots) in enumerate(zip(rows, marking.bends, strict=True), start=1):
        line = np.concatenate([spots.reshape(-1, 2), _in_pattern(row.flat, drawing)])
        if not np.isfinite(line).all():
            notes.append(_off_the_part(number))
            lines.append(np.full((2, 2), np.nan))
            continue
        for before in squeezes:
            line = before(line)
        notes += _radius_note(number, row, line, pattern, rules)
        squeeze, said = _squeeze_of(number, row, line, pattern)
        notes.append(said)
        if squeeze is not None:
            squeezes.append(squeeze)
            pattern = replace(pattern, vertices=squeeze(pattern.vertices))
            lines = [squeeze(other) for other in lines]
            marking = _moved(marking, squeeze)
        lines.append(line)
    _check_crossing(pattern, lines)
    return BentPattern(pattern, marking, tuple(lines), tuple(notes))


def bend_marks(lines: Sequence[FloatArray], area: object, motion: Motion) -> list[Mark]:
    """Return the bend lines as they are drawn: right across the part, a hair short of its edges.

    Parameters
    ----------
    lines : sequence of (2, 2) float array
        Two points of each, in the pattern's own coordinates [mm].
    area : shapely geometry
        The part in the drawing, less a hair.
    motion : Motion
        From the pattern to the drawing.

    Returns
    -------
    list of Mark
        On BEND_LINE.
    """
    marks = []
    for line in lines:
        if np.isfinite(line).all():
            stretches = _touched(line_inside(area, *_carried_on(move_points(line, motion))), move_points(line, motion))
            marks += [Mark(Layer.BEND_LINE, Polycurve(pair, closed=False), "bend") for pair in stretches]
    return marks


def folds_in(pattern: FlatPattern, marking: Marking, area: object, motion: Motion) -> tuple[list[Mark], list[Finding]]:
    """Return fold lines inside the part on FOLD_LINE; D143 for one that has a point off it."""
    marks: list[Mark] = []
    notes: list[Finding] = []
    for number, (row, spots) in enumerate(zip(marking.asked.folds, marking.folds, strict=True), start=1):
        flat = np.array(row.flat, dtype=np.float64).reshape(-1, 2)
        line = np.concatenate([move_points(spots.reshape(-1, 2), motion), flat])
        if not np.isfinite(line).all():
            text = f"a point of fold {number} lies off the part; the fold is left out."
            notes.append(Finding("D143", Severity.WARNING, text, "Give points on this part."))
            continue
        if len(line) == 2:
            pairs = _touched(line_inside(area, *_carried_on(line)), line)
        else:
            pairs = [pair for a, b in pairwise(line) for pair in line_inside(area, a, b)]
        marks += [Mark(Layer.FOLD_LINE, Polycurve(pair, closed=False), "fold") for pair in pairs]
    return marks, notes


def _drawing_without_bends(pattern: FlatPattern, tolerance: float) -> Motion:
    """Return where the pattern would lie in its drawing if it had no bends."""
    rim = pattern.vertices[pattern_loops(pattern)[0].vertices]
    frame = turned_frame(pattern, rim, tolerance=tolerance)
    left, low = move_points(rim, frame).min(axis=0).tolist()
    return replace(frame, dx_mm=frame.dx_mm - left, dy_mm=frame.dy_mm - low)


def _in_pattern(flat: tuple[tuple[float, ...], ...], drawing: Motion) -> FloatArray:
    points = np.array(flat, dtype=np.float64).reshape(-1, 2)
    return move_points(points, inverse(drawing)) if len(points) else points


def _off_the_part(number: int) -> Finding:
    text = f"a point of bend {number} lies off the part; the bend is left out and the length not corrected."
    return Finding("D143", Severity.WARNING, text, "Give two points on this part, one on each side of it.")


def _squeeze_of(number: int, row: BendAsked, line: FloatArray, pattern: FlatPattern) -> tuple[_Squeeze | None, Finding]:
    way = line[1] - line[0]
    long = float(np.hypot(*way))
    if long < 1e-6:
        raise OptionError(
            f"the two points of bend {number} are one.", where=pattern.region.name, remedy="Give two points apart."
        )
    thickness = pattern.region.thickness
    name, degrees = f"bend {number}", math.degrees(row.angle_rad)
    try:
        excess = excess_length(
            row.angle_rad,
            radius_mm=row.radius_mm,
            thickness_mm=thickness,
            lengths=row.scan_shows,
            neutral_factor=row.neutral_factor,
        )
    except OptionError as error:
        raise OptionError(f"{name}: {error.what}", where=pattern.region.name, remedy=error.remedy) from None
    if len(_all_limbs(line, pattern)) > 1:
        text = (
            f"{name}: its line runs on over another limb of the part, so the length is not corrected ({excess:.2f} mm)."
        )
        return None, Finding(
            "D147", Severity.WARNING, text, "Take this length off by hand, or make the limbs two parts."
        )
    rule = "DIN 6935" if row.neutral_factor is None else f"a neutral factor of {row.neutral_factor:g}"
    text = (
        f"{name}, {degrees:g} degrees to {row.radius_mm:g} mm inside: {excess:.3f} mm taken off the pattern, by {rule}."
    )
    remedy = "Bend a strip of the same sheet first: radius, tool and temper move this figure."
    said = Finding("D146", Severity.NOTE, text, remedy)
    if abs(excess) < 1e-9:
        return None, said
    normal = np.array([-way[1], way[0]]) / long
    taken = taken_length(
        row.angle_rad, radius_mm=row.radius_mm, thickness_mm=thickness, neutral_factor=row.neutral_factor
    )
    foot, across = (float(line[0, 0]), float(line[0, 1])), (float(normal[0]), float(normal[1]))
    return _Squeeze(foot, across, 0.5 * (taken + excess), excess), said


def _radius_note(
    number: int, row: BendAsked, line: FloatArray, pattern: FlatPattern, rules: PointRules
) -> list[Finding]:
    if len(rules.radii) < number:
        return []
    to_grain = None
    if pattern.grain_rad is not None:
        way = math.atan2(*(line[1] - line[0])[::-1].tolist()) - pattern.grain_rad
        to_grain = abs((way + 0.5 * math.pi) % math.pi - 0.5 * math.pi)
    radii = rules.radii[number - 1]
    least = radii.least(row.angle_rad, to_grain)
    if row.radius_mm >= least - 1e-9:
        return []
    lies = (
        "its grain is not known" if to_grain is None else f"it lies {math.degrees(to_grain):.0f} degrees to the grain"
    )
    text = f"bend {number}: {row.radius_mm:g} mm inside is under the least radius of {least:.3g} mm ({lies})."
    remedy = f"Take a larger radius, turn the part on the sheet, or anneal ({radii.source})."
    return [Finding("D148", Severity.WARNING, text, remedy)]


def _moved(marking: Marking, squeeze: _Squeeze) -> Marking:
    """Return the points and lines of a marking moved with the pattern; bends still to come are moved as they come."""

    def all_moved(groups: tuple[FloatArray, ...]) -> tuple[FloatArray, ...]:
        return tuple(squeeze(group) for group in groups)

    lines = tuple(FlatLine(squeeze(line.points), line.layer, line.purpose, line.closed) for line in marking.lines)
    return replace(
        marking,
        holes=all_moved(marking.holes),
        folds=all_moved(marking.folds),
        marks=all_moved(marking.marks),
        zones=all_moved(marking.zones),
        lines=lines,
    )


def _carried_on(line: FloatArray) -> tuple[FloatArray, FloatArray]:
    middle, way = line.mean(axis=0), line[-1] - line[0]
    way = way / np.hypot(*way)
    return middle - _LONG_MM * way, middle + _LONG_MM * way


def _touched(stretches: Sequence[FloatArray], line: FloatArray) -> list[FloatArray]:
    """Return the stretches of a line that reach between the two points that were given."""
    way = line[-1] - line[0]
    spans = [sorted(float((end - line[0]) @ way) for end in pair) for pair in stretches]
    whole = float(way @ way)
    return [pair for pair, (low, high) in zip(stretches, spans, strict=True) if low < whole and high > 0.0]


def _all_limbs(line: FloatArray, pattern: FlatPattern) -> list[FloatArray]:
    """Return the limbs of the part that a line, carried on, runs over; stretches parted by a hole are one limb."""
    rim = Polycurve(pattern.vertices[pattern_loops(pattern)[0].vertices])
    return line_inside(material(rim), *_carried_on(line))


def _check_crossing(pattern: FlatPattern, lines: Sequence[FloatArray]) -> None:
    spans = [_touched(_all_limbs(line, pattern), line) if np.isfinite(line).all() else [] for line in lines]
    for second, others in enumerate(spans):
        for first in range(second):
            if any(_cross(one, other) for one in spans[first] for other in others):
                raise OptionError(
                    f"bend {first + 1} and bend {second + 1} cross on the part.",
                    where=pattern.region.name,
                    remedy="A sheet cannot be bent along both; end the part there with a notch, or make two parts.",
                )


def _cross(one: FloatArray, other: FloatArray) -> bool:
    def side(line: FloatArray, point: FloatArray) -> float:
        way, to = line[1] - line[0], point - line[0]
        return float(way[0] * to[1] - way[1] * to[0])

    apart = side(one, other[0]) * side(one, other[1]) < 0.0
    return apart and side(other, one[0]) * side(other, one[1]) < 0.0
