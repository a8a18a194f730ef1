"""Taking a drawing in: a DXF or SVG file of one part, our own or any shop's, as a part to nest.

Terms: an *outline* is the outer contour, a *hole* an inner one; a *mark* is drawn but not cut through.

Convention: the part keeps the coordinates of the file, in millimetres. Where the file has the layers CUT_OUTSIDE and
CUT_INSIDE, they say what is cut; otherwise every closed contour counts and lying inside tells holes from the outline.
Curves on the layers of marks stay marks, layer by layer. A closed curve on a layer GRADE_n is a zone of the part that
needs stuff of grade n or better. A sheet's edge and notes are not taken over. A line on the layer GRAIN says which way
the grain runs (`grain_line`).

Source: the DXF reference, SVG 1.1; end gaps under 0.05 mm are what shops' own import checks take as closed.
"""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final, TypeAlias

from meshflow.drawing.containment import outline_and_holes
from meshflow.drawing.grain_line import GRAIN, grain_of
from meshflow.drawing.layers import ascii_line, grade_of
from meshflow.drawing.opened import open_drawing
from meshflow.drawing.read_notes import GAP_MM, closed_contours, notes_on
from meshflow.drawing.shapes import Shape, Shapes
from meshflow.errors import DrawingFileError, InputError, OptionError
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import GRADES, Layer
from meshflow.model.finding import Finding
from meshflow.model.part import Mark, Part, Zone

__all__ = ["read_part"]

_CUT: Final = (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
_LEFT_OUT: Final = (Layer.SHEET_EDGE, Layer.NOTE)
_MARKS: Final = tuple(layer for layer in Layer if layer not in (*_CUT, Layer.BACKBONE, *GRADES, *_LEFT_OUT))
_Contour: TypeAlias = Polycurve | Circle


def read_part(
    path: str | os.PathLike[str],
    *,
    name: str | None = None,
    quantity: int = 1,
    units: str | None = None,
    gap_mm: float = GAP_MM,
) -> Part:
    """Read a DXF or SVG file as one part.

    Parameters
    ----------
    path : path-like
        File to read.
    name : str, optional
        Name of the part; the file's stem when left out.
    quantity : int
        How many are wanted.
    units : str, optional
        Unit of the numbers; needed where the file does not say, and outranks it where it does. For an SVG also ``px``
        (1/96 in) and ``pt`` (1/72 in).
    gap_mm : float
        Widest gap between ends that is taken as closed [mm].

    Returns
    -------
    Part
        Outline counter-clockwise, holes clockwise, marks in file order; `notes` tell what was mended or left out.

    Raises
    ------
    DrawingFileError
        If the file is no whole DXF or SVG, has no unit, or does not hold one part of simple closed contours.
    OptionError
        If quantity or gap are out of range.
    UnitError
        If `units` is no unit of length.
    """
    if quantity < 1 or not 0.0 <= gap_mm <= 1.0:
        raise OptionError(
            f"quantity {quantity} or gap {gap_mm} mm is out of range.",
            remedy="Ask for one piece or more, and bridge gaps of at most 1 mm.",
        )
    where = Path(path).name
    drawing = open_drawing(path, units=units)
    properties = drawing.properties
    try:
        found, zones, said = _without_zones(drawing.found, gap_mm)
        outline, holes, marks, others = _sorted_out(found, gap_mm)
        return Part(
            ascii_line(name or Path(path).stem),
            outline,
            holes,
            marks,
            material=properties.get("material", ""),
            thickness_mm=_length(properties, "thickness_mm", 0.0),
            quantity=quantity,
            process=properties.get("process", ""),
            kerf_compensated_mm=_length(properties, "kerf_compensated_mm", 0.0),
            contour_tolerance_mm=_length(properties, "contour_tolerance_mm", GAP_MM),
            kerf_mm=_length(properties, "kerf_mm", 0.0),
            conjectured_share=_share(properties, "conjectured_share"),
            mirrored_share=_share(properties, "mirrored_share"),
            allowance_mm=_length(properties, "allowance_mm", 0.0),
            grain_deg=grain_of(drawing.found, properties),
            notes=tuple(replace(note, where=where) for note in (*drawing.notes, *others, *said)),
            zones=zones,
        )
    except InputError as error:
        raise error.located(str(path)) from error.__cause__


def _without_zones(found: Shapes, gap_mm: float) -> tuple[Shapes, tuple[Zone, ...], list[Finding]]:
    """Return what is no zone, the zones, and what reading them had to say."""
    drawn: dict[int, list[Shape]] = {}
    for shape in found.shapes:
        if grade := grade_of(shape.layer):
            drawn.setdefault(grade, []).append(shape)
    zones: list[Zone] = []
    notes: list[Finding] = []
    for grade, shapes in sorted(drawn.items()):
        try:
            zones += [Zone(curve, grade) for curve in closed_contours(shapes, gap_mm, notes)]
        except InputError as error:
            raise DrawingFileError(
                f"a zone on layer {GRADES[grade - 1]} is no closed line: {error.what}",
                remedy="Draw round it to where you began, or delete what is left there.",
            ) from error
    others = [shape for shape in found.shapes if not grade_of(shape.layer)]
    return replace(found, shapes=others), tuple(zones), notes


def _sorted_out(found: Shapes, gap_mm: float) -> tuple[_Contour, tuple[_Contour, ...], tuple[Mark, ...], list[Finding]]:
    """Return outline, holes, marks and notes."""
    told = any(shape.layer in _CUT for shape in found.shapes)
    marks = [Mark(Layer(shape.layer), shape.curve) for shape in found.shapes if shape.layer in _MARKS]
    others = [shape for shape in found.shapes if shape.layer not in (*_MARKS, *_LEFT_OUT, GRAIN)]
    cut = [shape for shape in others if not isinstance(shape.curve, Dot) and (shape.layer in _CUT or not told)]
    strays = Counter(shape.layer for shape in others) - Counter(shape.layer for shape in cut)
    notes = notes_on(found, strays)
    if not told:
        outline, holes = outline_and_holes(closed_contours(cut, gap_mm, notes), None)
        return outline, holes, tuple(marks), notes
    outside, within = (
        closed_contours([shape for shape in cut if shape.layer == layer], gap_mm, notes)
        for layer in (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
    )
    if not outside:
        raise DrawingFileError(
            "there are inner contours, but none on the layer CUT_OUTSIDE.", remedy="Draw the outline on CUT_OUTSIDE."
        )
    outline, holes = outline_and_holes(outside, within)
    return outline, holes, tuple(marks), notes


def _length(properties: Mapping[str, str], key: str, otherwise: float) -> float:
    text = properties.get(key, "")
    try:
        value = float(text) if text else otherwise
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= 0.0):
        raise DrawingFileError(
            f"its extended data say {key} is {text!r}, which is no length.",
            remedy="Export the part again, or remove its extended data.",
        )
    return value


def _share(properties: Mapping[str, str], key: str) -> float:
    """Return a share of the area; what is no share counts as all of it, because a guess must not pass for measured."""
    text = properties.get(key, "0")
    try:
        value = float(text)
    except ValueError:
        return 1.0
    return value if 0.0 <= value <= 1.0 else 1.0
