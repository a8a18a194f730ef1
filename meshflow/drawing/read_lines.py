"""Taking lines in: every curve of a drawing by its layer, such as ornament to be laid onto a surface.

Convention: coordinates are those of the file, in millimetres, y upwards. Pieces of one layer are joined end to end
where there is one way to go; an open line stays open. Where three or more ends meet, as in a drawn leaf, they stay
apart and the place is named.

Source: the DXF reference, SVG 1.1.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from meshflow.drawing.joining import join_lines, without_duplicates
from meshflow.drawing.opened import open_drawing
from meshflow.drawing.read_notes import GAP_MM, notes_on, say_bridged, say_doubled
from meshflow.drawing.shapes import Shape
from meshflow.drawing.sweeps import true_circle
from meshflow.errors import DrawingFileError, OptionError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity

__all__ = ["Lines", "joined_shapes", "read_lines"]

_MOST_GAP_MM = 1.0


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of a drawing.

    Parameters
    ----------
    lines : tuple of Shape
        Curves with their layers, layer by layer in the order they first appear; dots among them.
    notes : tuple of Finding
        What was joined, left apart, left out.
    """

    lines: tuple[Shape, ...]
    notes: tuple[Finding, ...] = ()


def read_lines(
    path: str | os.PathLike[str],
    *,
    units: str | None = None,
    layers: Sequence[str] | None = None,
    gap_mm: float = GAP_MM,
) -> Lines:
    """Read the lines of a DXF or SVG file.

    Parameters
    ----------
    path : path-like
        File to read.
    units : str, optional
        Unit of the numbers; needed where the file does not say, and outranks it where it does.
    layers : sequence of str, optional
        Layers that count, in any case; all when left out.
    gap_mm : float
        Widest gap between ends that is taken as joined [mm].

    Returns
    -------
    Lines
        Curves by layer, and what there is to say of them.

    Raises
    ------
    DrawingFileError
        If the file is no whole DXF or SVG, has no unit, or holds no line (on these layers).
    OptionError
        If the gap is out of range.
    UnitError
        If `units` is no unit of length.

    Examples
    --------
    >>> read_lines("acanthus.svg", layers=["ornament"]).lines  # doctest: +SKIP
    """
    if not 0.0 <= gap_mm <= _MOST_GAP_MM:
        raise OptionError(f"a gap of {gap_mm} mm is out of range.", remedy="Bridge gaps of at most 1 mm.")
    drawing = open_drawing(path, units=units)
    names = dict.fromkeys(shape.layer for shape in drawing.found.shapes)
    wanted = list(names) if layers is None else [layer.strip().upper() for layer in layers]
    lines = [shape for shape in drawing.found.shapes if shape.layer in wanted]
    if not lines:
        there = f"Its layers are {', '.join(names)}." if names else "Draw them as lines, arcs or paths."
        raise DrawingFileError("there are no lines to take.", where=str(path), remedy=there)
    notes = notes_on(drawing.found)
    joined = joined_shapes(lines, gap_mm, notes)
    where = Path(path).name
    return Lines(tuple(joined), tuple(replace(note, where=where) for note in (*drawing.notes, *notes)))


def joined_shapes(shapes: Sequence[Shape], gap_mm: float, notes: list[Finding]) -> list[Shape]:
    """Return shapes joined end to end within each layer, each once.

    Parameters
    ----------
    shapes : sequence of Shape
        Curves and dots.
    gap_mm : float
        Widest gap that is bridged [mm].
    notes : list of Finding
        Gets D203, D204 and D211.

    Returns
    -------
    list of Shape
        Layer by layer; the dots of a layer after its lines.
    """
    out: list[Shape] = []
    doubled, largest, junctions = 0, 0.0, []
    for layer in dict.fromkeys(shape.layer for shape in shapes):
        of_layer = [shape for shape in shapes if shape.layer == layer]
        curves = [shape.curve for shape in of_layer if isinstance(shape.curve, Polycurve | Circle)]
        once, repeated = without_duplicates(curves)
        joined = join_lines(once, gap_mm=gap_mm)
        out += [Shape(layer, true_circle(curve)) for curve in joined.lines]
        out += [shape for shape in of_layer if not isinstance(shape.curve, Polycurve | Circle)]
        doubled, largest = doubled + repeated, max(largest, joined.largest_gap_mm)
        junctions += joined.junctions.tolist()
    say_doubled(doubled, notes)
    say_bridged(largest, notes)
    if junctions:
        notes.append(_junction_note(junctions))
    return out


def _junction_note(places: list[list[float]]) -> Finding:
    shown = ", ".join(f"({x:.3f}, {y:.3f})" for x, y in places[:4]) + (", ..." if len(places) > 4 else "")
    text = f"three or more lines meet at {shown} mm; they were left apart."
    where = tuple((x, y) for x, y in places)
    remedy = "If it should be one line, remove the branch."
    return Finding("D211", Severity.NOTE, text, remedy, len(places), places_mm=where)
