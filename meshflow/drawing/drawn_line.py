"""Taking a drawn line in: one closed line of a DXF or SVG file, such as the rim of a piece drawn over a view of a scan.

Convention: points are in millimetres by the unit that the file itself says, right and up as in the drawing. Polylines,
lines, arcs, circles, ellipses and splines count on whatever layer they lie, and loose pieces are joined end to end;
arcs become chords within `CHORD_MM`. What is switched off, and points and text, do not count.

Source: the DXF reference, for $INSUNITS; SVG 1.1.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from meshflow.drawing.joining import join_contours, without_duplicates
from meshflow.drawing.opened import open_drawing
from meshflow.drawing.shapes import Shape
from meshflow.errors import DrawingFileError, InputError
from meshflow.geometry.curves import bounds, tessellate
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Dot, Polycurve

__all__ = ["read_drawn_line"]

CHORD_MM: Final = 0.02  # a fifth of what a careful hand draws to
_GAP_MM: Final = 0.05
_SHOWN: Final = 4
_ONE_LINE = "Leave the one closed line in the drawing, or switch off the layers of all else."


def read_drawn_line(path: str | os.PathLike[str]) -> FloatArray:
    """Read the one closed line of a DXF or SVG file.

    Parameters
    ----------
    path : path-like
        File to read.

    Returns
    -------
    (k, 2) float array
        Its points [mm]; the last joins the first.

    Raises
    ------
    DrawingFileError
        If the file is no whole DXF or SVG, says no unit, or holds anything but one closed line.
    """
    where = Path(path).name
    try:
        return tessellate(_only_line(open_drawing(path).found.shapes), tolerance=CHORD_MM)
    except InputError as error:
        error.where = where
        if "--units" in error.remedy:  # a selector has no such option
            error.remedy = (
                "Set the unit in the drawing ($INSUNITS of a DXF 2000 or later, a width in mm of an SVG) and export it "
                "again, or give the points as text in millimetres."
            )
        raise


def _only_line(shapes: Sequence[Shape]) -> Polycurve | Circle:
    """Return the one closed line that some shapes make."""
    shapes = [shape for shape in shapes if not isinstance(shape.curve, Dot)]
    curves = [shape.curve for shape in shapes if not isinstance(shape.curve, Dot)]
    if not curves:
        raise DrawingFileError("there is no line in it.", remedy="Draw the rim of the piece as one closed polyline.")
    layers = ", ".join(sorted({shape.layer for shape in shapes}))
    try:
        contours = join_contours(without_duplicates(curves)[0], gap_mm=_GAP_MM).contours
    except DrawingFileError as error:
        raise DrawingFileError(
            f"{error.what.rstrip('.')} (layers {layers}).", remedy=f"Close the line. {_ONE_LINE}"
        ) from None
    if len(contours) == 1:
        return contours[0]
    if not contours:
        raise DrawingFileError(f"its lines are shorter than {_GAP_MM:g} mm.", remedy="Check the unit of the drawing.")
    listed = "; ".join(_size(contour) for contour in contours[:_SHOWN]) + ("; ..." if len(contours) > _SHOWN else "")
    raise DrawingFileError(f"{len(contours)} closed lines (layers {layers}): {listed}.", remedy=_ONE_LINE)


def _size(contour: Polycurve | Circle) -> str:
    a, b, c, d = bounds(contour)
    return f"{c - a:.1f} x {d - b:.1f} mm at ({a:.1f}, {b:.1f}) mm"
