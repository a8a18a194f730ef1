"""The grid that drawings are written on: coordinates in steps of 1e-6 mm, so that noise of arithmetic leaves no trace.

A millionth of a millimetre is far under the step of any machine and far over the rounding of double numbers, so two
computers that differ in the last bit write the same file.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from meshflow.drawing.layers import cut_rank
from meshflow.errors import DrawingFileError
from meshflow.geometry.pieces import pieces
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke

__all__ = ["DECIMALS", "on_grid", "strokes_on_grid"]

DECIMALS: Final = 6
_STRAIGHT: Final = 1e-12  # a bulge of noise: an arc wider than the earth, which no controller should have to steer
_LARGEST_MM: Final = 1e9  # beyond it doubles have no room left for the grid


def strokes_on_grid(drawing: Drawing) -> tuple[Stroke, ...]:
    """Return the strokes of a drawing by layer and on the grid, fit to be written.

    Marks without length are left out: they mark nothing.

    Parameters
    ----------
    drawing : Drawing
        What shall be written.

    Returns
    -------
    tuple of Stroke
        In the order of `layers.cut_rank`, where that is equal as given.

    Raises
    ------
    DrawingFileError
        If nothing is left to draw, a number is not finite, a circle has no radius, or a contour to be cut has no
        length.
    """
    kept = []
    for stroke in sorted(drawing.strokes, key=cut_rank):
        try:
            curve = on_grid(stroke.curve)
            if not isinstance(curve, Polycurve) or len(curve.points) > 1:
                kept.append(Stroke(stroke.layer, curve, stroke.depth))
            elif stroke.layer in (Layer.CUT_INSIDE, Layer.CUT_OUTSIDE):
                x, y = curve.points[0].tolist()
                raise DrawingFileError(f"the contour at ({x:g}, {y:g}) mm has no length.")
        except DrawingFileError as error:
            raise error.located(f"{drawing.name}, layer {stroke.layer}") from None
    if not kept:
        raise DrawingFileError("there is nothing to draw.", where=drawing.name)
    return tuple(kept)


def on_grid(curve: Curve) -> Curve:
    """Return the curve with its corners on the grid and without pieces of no length.

    Parameters
    ----------
    curve : Polycurve, Circle or Dot
        The curve [mm].

    Returns
    -------
    Polycurve, Circle or Dot
        No coordinate is a negative zero. Bulges are kept bit for bit, but for three: the unused last one of an open
        curve and those under 1e-12 become 0, and arcs over a half turn become two arcs. A polycurve that shrinks to
        nothing keeps one point.

    Raises
    ------
    DrawingFileError
        If a coordinate is not finite or larger than a thousand kilometres, or a radius not positive.
    """
    if isinstance(curve, Circle):
        if not round(curve.radius, DECIMALS) > 0.0:
            raise DrawingFileError(f"a circle has the radius {curve.radius} mm.")
        x, y, radius = _grid(np.array([*curve.centre, curve.radius])).tolist()
        return Circle((x, y), radius)
    if isinstance(curve, Dot):
        x, y = _grid(np.array(curve.position)).tolist()
        return Dot((x, y))
    return _polycurve_on_grid(curve)


def _polycurve_on_grid(curve: Polycurve) -> Polycurve:
    if len(curve.points) == 0 or not np.isfinite(np.asarray(curve.bulges)).all():
        raise DrawingFileError("a curve has no points, or a bulge that is not a finite number.")
    _grid(curve.points)  # refuse corners out of range before anything is computed from them
    points, bulges = _without_long_arcs(curve)
    bulges = np.where(np.abs(bulges) < _STRAIGHT, 0.0, bulges)
    points = _grid(points)
    keep = (points != np.roll(points, -1, axis=0)).any(axis=1)
    if not curve.closed:
        keep[-1] = True
        bulges = np.concatenate([bulges[:-1], [0.0]])
    if not keep.any():
        keep[-1] = True
    return Polycurve(points[keep], bulges[keep] + 0.0, curve.closed)


def _without_long_arcs(curve: Polycurve) -> tuple[FloatArray, FloatArray]:
    """Return corners and bulges with each arc of more than a half turn as two arcs of one size.

    A reader in wide use draws arcs of more than three quarters of a turn wrong (GDAL 3.12: half their length), and
    the shorter the chord, the more a rounded corner turns the arc.
    """
    bulges = np.asarray(curve.bulges)
    long = np.flatnonzero(np.abs(bulges) > 1.0 + 1e-9)
    if not curve.closed:
        long = long[long < len(bulges) - 1]
    if len(long) == 0:
        return curve.points, bulges
    middle = pieces(curve).points(long, np.full(len(long), 0.5))
    half = np.tan(0.5 * np.arctan(bulges[long]))
    bulges = bulges.copy()
    bulges[long] = half
    return np.insert(curve.points, long + 1, middle, axis=0), np.insert(bulges, long + 1, half)


def _grid(values: FloatArray) -> FloatArray:
    if not (np.abs(values) < _LARGEST_MM).all():
        raise DrawingFileError("a coordinate is not a finite number, or is larger than a thousand kilometres.")
    return np.asarray(np.round(values, DECIMALS) + 0.0)  # adding zero turns -0.0 into 0.0
