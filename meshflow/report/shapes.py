"""Contours of parts: as polygons for looking at, and as the figures a maker asks for."""

from __future__ import annotations

import numpy as np

from meshflow.geometry.curves import bounds, length, signed_area, tessellate
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Curve, Dot
from meshflow.model.part import Part

__all__ = ["curve_points", "cut_length", "net_area", "part_extent"]


def curve_points(curve: Curve, *, tolerance: float) -> FloatArray:
    """Return a curve as a run of points, arcs broken into chords.

    Parameters
    ----------
    curve : Polycurve, Circle or Dot
        The curve [mm].
    tolerance : float
        Greatest distance between a chord and its arc [mm].

    Returns
    -------
    (k, 2) float array
        Points in the curve's own direction; the first is not repeated on a closed curve. One point for a dot.
    """
    if isinstance(curve, Dot):
        return np.array([curve.position])
    return tessellate(curve, tolerance=tolerance)


def net_area(part: Part) -> float:
    """Return the area of one copy of a part, holes taken off [mm2]."""
    return abs(signed_area(part.outline)) - sum(abs(signed_area(hole)) for hole in part.holes)


def cut_length(part: Part) -> float:
    """Return the length a cutter travels in the material for one copy [mm]."""
    return length(part.outline) + sum(length(hole) for hole in part.holes)


def part_extent(part: Part) -> tuple[float, float]:
    """Return the width and height of a part's outline as drawn [mm]."""
    left, bottom, right, top = bounds(part.outline)
    return right - left, top - bottom
