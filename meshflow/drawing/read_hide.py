"""Taking in what parts are cut from and is no rectangle: a hide drawn round, an offcut.

Terms: the *outline* is the largest closed line. Closed lines within it are *flaws*: holes, scars, brands; an open line
is one too, a cut or a scratch. A closed line on a layer ``GRADE_2`` (or 3 ...) is a zone of that grade, 1 being the
best; what lies in no zone is of the best. A line on a layer ``BACKBONE`` shows which way the grain runs.

Convention: the sheet that comes back is turned so that the grain runs along x, and moved so that its box begins at
0, 0; without a backbone it is not turned. The drawing of a nest shows the outline and the flaws, to lay it on by.

A hide drawn round on a photograph is read the same way, once ``meshflow photo`` has given the photograph true size.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.drawing.layers import grade_of
from meshflow.drawing.read_outline import read_outline
from meshflow.drawing.shapes import Shape
from meshflow.errors import DrawingFileError, OptionError
from meshflow.geometry.curves import bounds, tessellate, transformed
from meshflow.geometry.polygons import grown_line
from meshflow.model.curve import Circle, Dot, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding
from meshflow.model.stock import Flaw, Sheet

__all__ = ["ReadHide", "read_hide"]

_BACKBONE = Layer.BACKBONE
_SCRATCH_MM = 0.1  # half the width that an open line is given


@dataclass(frozen=True, slots=True)
class ReadHide:
    """A hide as it was drawn.

    Parameters
    ----------
    sheet : Sheet
        With outline and flaws, its grain along x.
    turned_deg : float
        How far the drawing was turned for that, counter-clockwise [deg].
    notes : tuple of Finding
        What was joined, left apart, left out.
    """

    sheet: Sheet
    turned_deg: float = 0.0
    notes: tuple[Finding, ...] = ()


def read_hide(
    path: str | os.PathLike[str],
    *,
    units: str | None = None,
    gap_mm: float = 0.05,
    clearance_mm: float = 0.0,
    material: str = "",
    thickness_mm: float = 0.0,
) -> ReadHide:
    """Read a hide or an offcut, with its flaws, from a DXF or SVG file, to nest on.

    Parameters
    ----------
    path : path-like
        File to read; its stem becomes the sheet's id.
    units : str, optional
        Unit of the numbers; needed where the file does not say.
    gap_mm : float
        Widest gap between ends that is taken as closed [mm].
    clearance_mm : float
        Clear distance that parts keep from flaws [mm].
    material : str
        Material id; empty for any.
    thickness_mm : float
        Thickness [mm]; 0 for any.

    Returns
    -------
    ReadHide
        One of it in stock.

    Raises
    ------
    DrawingFileError
        If the file cannot be read, holds no closed line or more than one piece, its lines cross, or the backbone is
        no line with two ends apart.
    OptionError
        If the gap or the clearance is out of range.
    UnitError
        If `units` is no unit of length.

    Examples
    --------
    >>> hide = read_hide("shoulder.dxf", units="cm", clearance_mm=5.0)  # doctest: +SKIP
    """
    if not (math.isfinite(clearance_mm) and clearance_mm >= 0.0):
        raise OptionError(f"a clearance of {clearance_mm} mm makes no sense.", remedy="Give a length of 0 mm or more.")
    drawn = read_outline(path, units=units, gap_mm=gap_mm, apart=_is_apart)
    turn = _turn(drawn.lines, str(path))
    outline = transformed(drawn.outline, Motion(angle_rad=-turn))
    low_x, low_y, high_x, high_y = bounds(outline)
    motion = Motion(False, -turn, -low_x, -low_y)
    flaws = [Flaw(transformed(hole, motion), clearance_mm) for hole in drawn.holes]
    flaws += [flaw for shape in drawn.lines for flaw in _flaws(shape, motion, clearance_mm)]
    sheet = Sheet(
        Path(path).stem,
        high_x - low_x,
        high_y - low_y,
        material=material,
        thickness_mm=thickness_mm,
        count=1,
        name=Path(path).stem,
        source=Path(path).name,
        outline=transformed(drawn.outline, motion),
        flaws=tuple(flaws),
    )
    return ReadHide(sheet, 0.0 - math.degrees(turn), drawn.notes)


def _is_apart(layer: str) -> bool:
    """Return whether closed lines on a layer are neither outline nor flaws."""
    return layer == _BACKBONE or grade_of(layer) > 0


def _turn(lines: Sequence[Shape], where: str) -> float:
    """Return the direction of the backbone [rad]; 0 where none is drawn."""
    spines = [shape.curve for shape in lines if shape.layer == _BACKBONE]
    if not spines:
        return 0.0
    spine = spines[0]
    if len(spines) > 1 or not isinstance(spine, Polycurve) or spine.closed:
        raise DrawingFileError(
            f"layer {_BACKBONE} holds {len(spines)} lines, or one that is closed.",
            where=where,
            remedy="Draw the backbone as one open line from end to end.",
        )
    along = spine.points[-1] - spine.points[0]
    if float(np.hypot(*along)) < 1.0:
        raise DrawingFileError("the backbone ends where it begins.", where=where, remedy="Draw it from end to end.")
    return math.remainder(math.atan2(float(along[1]), float(along[0])), math.pi)


def _flaws(shape: Shape, motion: Motion, clearance_mm: float) -> list[Flaw]:
    """Return a zone of a grade, or a scratch along an open line."""
    grade, curve = grade_of(shape.layer), shape.curve
    if shape.layer == _BACKBONE or isinstance(curve, Dot):
        return []
    closed = isinstance(curve, Circle) or curve.closed
    if grade:
        return [Flaw(transformed(curve, motion), 0.0, grade)] if closed else []
    if closed:
        return []
    ring = grown_line(tessellate(curve, tolerance=0.5 * _SCRATCH_MM), _SCRATCH_MM)
    return [Flaw(transformed(Polycurve(ring), motion), clearance_mm)]
