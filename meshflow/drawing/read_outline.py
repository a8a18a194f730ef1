"""Taking the outline of a piece of stock in: a hide drawn round, with its holes and flaws.

Terms: the *outline* is the largest closed line; closed lines within it are *holes*, where nothing can be cut. Open
lines (a spine, zones) and dots are handed on with their layers.

Convention: coordinates are those of the file, in millimetres; the outline runs counter-clockwise, holes clockwise.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from meshflow.drawing.containment import outline_and_holes
from meshflow.drawing.joining import open_contour
from meshflow.drawing.opened import open_drawing
from meshflow.drawing.read_lines import joined_shapes
from meshflow.drawing.read_notes import GAP_MM, notes_on
from meshflow.drawing.shapes import Shape
from meshflow.errors import InputError, OptionError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding

__all__ = ["StockOutline", "read_outline"]

_MOST_GAP_MM = 5.0


@dataclass(frozen=True, slots=True)
class StockOutline:
    """The shape of a piece of stock.

    Parameters
    ----------
    outline : Polycurve or Circle
        Counter-clockwise [mm].
    holes : tuple of Polycurve or Circle
        Clockwise.
    lines : tuple of Shape
        Open lines and dots, with their layers.
    notes : tuple of Finding
        What was joined, left apart, left out.
    """

    outline: Polycurve | Circle
    holes: tuple[Polycurve | Circle, ...] = ()
    lines: tuple[Shape, ...] = ()
    notes: tuple[Finding, ...] = ()


def read_outline(
    path: str | os.PathLike[str],
    *,
    units: str | None = None,
    layer: str | None = None,
    apart: Callable[[str], bool] = lambda layer: False,
    gap_mm: float = GAP_MM,
) -> StockOutline:
    """Read the outline of a hide, or of any stock that is no rectangle, from a DXF or SVG file.

    Parameters
    ----------
    path : path-like
        File to read.
    units : str, optional
        Unit of the numbers; needed where the file does not say, and outranks it where it does.
    layer : str, optional
        The layer of outline and holes, in any case; all layers when left out.
    apart : callable
        Called with the name of a layer: whether its lines, closed ones too, are handed on as they are.
    gap_mm : float
        Widest gap between ends that is taken as closed [mm].

    Returns
    -------
    StockOutline
        Outline, holes, and what else is drawn.

    Raises
    ------
    DrawingFileError
        If the file cannot be read, holds no closed line, or more than one piece, or its lines cross.
    OptionError
        If the gap is out of range.
    UnitError
        If `units` is no unit of length.

    Examples
    --------
    >>> hide = read_outline("shoulder.dxf", units="cm")  # doctest: +SKIP
    """
    if not 0.0 <= gap_mm <= _MOST_GAP_MM:
        raise OptionError(f"a gap of {gap_mm} mm is out of range.", remedy="Bridge gaps of at most 5 mm.")
    drawing = open_drawing(path, units=units)
    notes = notes_on(drawing.found)
    shapes = joined_shapes(drawing.found.shapes, gap_mm, notes)
    named = None if layer is None else layer.strip().upper()
    within = {id(shape) for shape in shapes if named in (None, shape.layer) and not apart(shape.layer)}
    closed = [curve for shape in shapes if id(shape) in within and (curve := _closed_curve(shape)) is not None]
    rest = tuple(shape for shape in shapes if id(shape) not in within or _closed_curve(shape) is None)
    try:
        outline, holes = _parted(closed, rest, gap_mm)
    except InputError as error:
        raise error.located(str(path)) from None
    where = Path(path).name
    told = tuple(replace(note, where=where) for note in (*drawing.notes, *notes))
    return StockOutline(outline, holes, rest, told)


def _closed_curve(shape: Shape) -> Polycurve | Circle | None:
    curve = shape.curve
    return curve if isinstance(curve, Circle) or (isinstance(curve, Polycurve) and curve.closed) else None


def _parted(
    closed: list[Polycurve | Circle], rest: tuple[Shape, ...], gap_mm: float
) -> tuple[Polycurve | Circle, tuple[Polycurve | Circle, ...]]:
    loose = [shape.curve for shape in rest if isinstance(shape.curve, Polycurve)]
    if not closed and loose:
        raise open_contour(loose, gap_mm)
    return outline_and_holes(closed, None)
