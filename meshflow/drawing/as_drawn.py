"""Taking a drawing in to show it as it is: every curve on its layer, nothing joined, nothing sorted out.

Curves on layers of our own names stay there. Of a stranger's drawing nobody knows what is done with a layer: without
a layer CUT_OUTSIDE or CUT_INSIDE its closed curves are drawn as cuts and the open ones as marks, beside them all of it
as notes, so that nothing is lost on paper.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from meshflow.drawing.layers import ascii_line, grade_of
from meshflow.drawing.opened import open_drawing
from meshflow.drawing.read_notes import notes_on
from meshflow.errors import DrawingFileError
from meshflow.geometry.curves import bounds
from meshflow.model.curve import Circle, Dot
from meshflow.model.drawing import Drawing, Layer, Stroke, grade_layer
from meshflow.model.finding import Finding

__all__ = ["read_drawing"]

_CUT: Final = (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
_OURS: Final = {str(layer): layer for layer in Layer}


def read_drawing(path: str | os.PathLike[str], *, units: str | None = None) -> tuple[Drawing, tuple[Finding, ...]]:
    """Read a DXF or SVG file as a drawing.

    Parameters
    ----------
    path : path-like
        File to read.
    units : str, optional
        Unit of the numbers; needed where the file does not say.

    Returns
    -------
    drawing : Drawing
        Named after the file, in its coordinates [mm].
    notes : tuple of Finding
        What reading had to say.

    Raises
    ------
    DrawingFileError
        If the file cannot be read, or draws nothing.
    UnitError
        If `units` is no unit of length.
    """
    opened = open_drawing(path, units=units)
    name = ascii_line(Path(path).stem) or "drawing"
    told = any(shape.layer in _CUT for shape in opened.found.shapes)
    strokes = [Stroke(_layer(shape.layer, shape.curve, told), shape.curve) for shape in opened.found.shapes]
    if not strokes:
        raise DrawingFileError("it draws nothing.", where=str(path), remedy="Export lines, arcs or points.")
    order = list(Layer)
    strokes.sort(key=lambda stroke: order.index(stroke.layer))
    notes = tuple(replace(note, where=Path(path).name) for note in (*opened.notes, *notes_on(opened.found)))
    extents = bounds(*(stroke.curve for stroke in strokes))
    return Drawing(
        name, tuple(strokes), extents, _comments(Path(path).name, opened.properties), opened.properties
    ), notes


def _layer(name: str, curve: object, told: bool) -> Layer:
    if name in _OURS:
        return _OURS[name]
    if grade := grade_of(name):
        return grade_layer(grade)
    if told:
        return Layer.NOTE
    closed = isinstance(curve, Circle) or (not isinstance(curve, Dot) and bool(getattr(curve, "closed", False)))
    return Layer.CUT_OUTSIDE if closed else Layer.MARK_LINE


def _comments(file: str, properties: Mapping[str, str]) -> tuple[str, ...]:
    """Return what the drawing says of itself, as far as its file kept it."""
    inside = properties.get("kerf_compensated_mm", "")
    kerf = {
        "net": ("Kerf: none in the contours (net size).",),
        "compensated": (f"Kerf: {inside} mm already in the contours.",),
        "mixed": ("Kerf: in some of the contours, see the drawing file.",),
    }.get(properties.get("kerf", ""), ("Kerf: the file does not say.",))
    stuff = [properties[key] for key in ("material",) if properties.get(key)]
    stuff += [f"{properties['thickness_mm']} mm thick"] if properties.get("thickness_mm") else []
    material = (f"Material: {', '.join(stuff)}.",) if stuff else ()
    said = ("drawing", f"Printed from {file}.", *kerf, *material)
    return tuple(ascii_line(line) for line in said)
