"""Taking a drawing in: a DXF file of one part, our own or any shop's, as a part to nest.

Terms: an *outline* is the outer contour, a *hole* an inner one; a *mark* is drawn but not cut through.

Convention: the part keeps the coordinates of the file, in millimetres. Where the file has the layers CUT_OUTSIDE and
CUT_INSIDE, they say what is cut; otherwise every closed contour counts and lying inside tells holes from the outline.
Curves on the layers of marks stay marks, layer by layer. A sheet's edge and notes are not taken over.

Source: the DXF reference; end gaps under 0.05 mm are what shops' own import checks take as closed.
"""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, TypeAlias

from meshflow.drawing.containment import outline_and_holes
from meshflow.drawing.dxf_frame import APPID
from meshflow.drawing.dxf_load import load_dxf, millimetres_per_unit
from meshflow.drawing.dxf_shapes import CHORD_MM, Shape, Shapes, shapes_of
from meshflow.drawing.joining import join_contours, without_duplicates
from meshflow.drawing.layers import ascii_line
from meshflow.errors import DrawingFileError, InputError, OptionError
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part

__all__ = ["read_part"]

GAP_MM: Final = 0.05
_CUT: Final = (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
_LEFT_OUT: Final = (Layer.SHEET_EDGE, Layer.NOTE)
_MARKS: Final = tuple(layer for layer in Layer if layer not in (*_CUT, *_LEFT_OUT))
_Contour: TypeAlias = Polycurve | Circle


def read_part(
    path: str | os.PathLike[str],
    *,
    name: str | None = None,
    quantity: int = 1,
    units: str | None = None,
    gap_mm: float = GAP_MM,
) -> Part:
    """Read a DXF file as one part.

    Parameters
    ----------
    path : path-like
        File to read.
    name : str, optional
        Name of the part; the file's stem when left out.
    quantity : int
        How many are wanted.
    units : str, optional
        Unit of the numbers; needed where the file does not say, and outranks it where it does.
    gap_mm : float
        Widest gap between ends that is taken as closed [mm].

    Returns
    -------
    Part
        Outline counter-clockwise, holes clockwise, marks in file order; `notes` tell what was mended or left out.

    Raises
    ------
    DrawingFileError
        If the file is no whole DXF, has no unit, or does not hold one part of simple closed contours.
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
    file = load_dxf(path)
    try:
        scale, more = millimetres_per_unit(file.unit_code, units)
        outline, holes, marks, others = _sorted_out(shapes_of(file.document, scale=scale), gap_mm)
        properties = _properties(file.document)
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
            notes=tuple(replace(note, where=where) for note in (*file.notes, *more, *others)),
        )
    except InputError as error:
        raise error.located(str(path)) from error.__cause__


def _sorted_out(found: Shapes, gap_mm: float) -> tuple[_Contour, tuple[_Contour, ...], tuple[Mark, ...], list[Finding]]:
    """Return outline, holes, marks and notes."""
    told = any(shape.layer in _CUT for shape in found.shapes)
    marks = [Mark(Layer(shape.layer), shape.curve) for shape in found.shapes if shape.layer in _MARKS]
    others = [shape for shape in found.shapes if shape.layer not in (*_MARKS, *_LEFT_OUT)]
    cut = [shape for shape in others if not isinstance(shape.curve, Dot) and (shape.layer in _CUT or not told)]
    strays = Counter(shape.layer for shape in others) - Counter(shape.layer for shape in cut)
    notes = _notes_on(found, strays)
    if not told:
        outline, holes = outline_and_holes(_contours(cut, gap_mm, notes), None)
        return outline, holes, tuple(marks), notes
    outside, within = (
        _contours([shape for shape in cut if shape.layer == layer], gap_mm, notes)
        for layer in (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
    )
    if not outside:
        raise DrawingFileError(
            "there are inner contours, but none on the layer CUT_OUTSIDE.", remedy="Draw the outline on CUT_OUTSIDE."
        )
    outline, holes = outline_and_holes(outside, within)
    return outline, holes, tuple(marks), notes


def _contours(shapes: Sequence[Shape], gap_mm: float, notes: list[Finding]) -> tuple[Polycurve | Circle, ...]:
    curves = [shape.curve for shape in shapes if not isinstance(shape.curve, Dot)]
    once, doubled = without_duplicates(curves)
    joined = join_contours(once, gap_mm=gap_mm)
    if doubled:
        notes.append(Finding("D204", Severity.WARNING, f"drawn twice, read once: {doubled}.", count=doubled))
    if joined.largest_gap_mm > 0.0:
        text = f"ends up to {joined.largest_gap_mm:.4f} mm apart were taken as joined."
        notes.append(Finding("D203", Severity.NOTE, text))
    if joined.dropped:
        text = f"{joined.dropped} fragments shorter than {gap_mm:g} mm were left out."
        notes.append(Finding("D209", Severity.NOTE, text, count=joined.dropped))
    return joined.contours


def _notes_on(found: Shapes, strays: Counter[str]) -> list[Finding]:
    lines = f"became short lines within {CHORD_MM:g} mm."
    table = (
        ("D205", Severity.NOTE, found.tessellated, lines, "Export lines and arcs for a cleaner cut."),
        ("D206", Severity.NOTE, found.ignored, "left out: no curves to cut.", "Draw text to be marked as outlines."),
        ("D207", Severity.WARNING, found.hidden, "left out, layer or curve is switched off.", "Switch on what is cut."),
        (
            "D208",
            Severity.WARNING,
            strays,
            "left out: points, or curves on a layer that does not say what is done with them.",
            "Move what matters to CUT_OUTSIDE, CUT_INSIDE or a layer of marks.",
        ),
    )
    return [
        Finding(code, severity, f"{_counted(counter)} {text}", remedy, counter.total())
        for code, severity, counter, text, remedy in table
        if counter
    ]


def _counted(counter: Counter[str]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in sorted(counter.items()))


def _properties(document: Any) -> dict[str, str]:
    """Return what this program wrote into the file as extended data, if it did."""
    for entity in document.modelspace():
        if entity.has_xdata(APPID):
            strings = [str(tag.value) for tag in entity.get_xdata(APPID) if tag.code == 1000]
            return dict(text.split("=", 1) for text in strings if "=" in text)
    return {}


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
