"""The grain of a part that is read from a drawing: a line on a layer of its own, or what our own files say.

Terms: a *grain line* is drawn by the pattern maker along the grain the piece is to have. Here it lies on the layer
``GRAIN``; the longest line tells, and lines under half of that are taken for arrow heads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from meshflow.drawing.shapes import Shapes
from meshflow.errors import DrawingFileError
from meshflow.model.curve import Polycurve

__all__ = ["GRAIN", "grain_of"]

GRAIN: Final = "GRAIN"
_APART_DEG = 1.0
_HEAD = 0.5  # share of the longest under which a line is a head


def grain_of(found: Shapes, properties: Mapping[str, str]) -> float | None:
    """Return the direction of the grain in a drawing, counter-clockwise from x [deg]; None where none is drawn.

    Parameters
    ----------
    found : Shapes
        All lines of the drawing.
    properties : mapping of str to str
        What the file says of itself.

    Raises
    ------
    DrawingFileError
        If the layer holds no line with two ends apart, or lines that point different ways.
    """
    drawn = [shape.curve for shape in found.shapes if shape.layer == GRAIN]
    if not drawn:
        return _said(properties.get("grain_deg", ""))
    along = [curve.points[-1] - curve.points[0] for curve in drawn if isinstance(curve, Polycurve) and not curve.closed]
    lengths = [float(np.hypot(*way)) for way in along]
    longest = max(lengths, default=0.0)
    if longest <= 0.0:
        raise DrawingFileError(
            f"layer {GRAIN} holds no open line.", remedy="Draw the grain as one straight line from end to end."
        )
    angles = [
        math.remainder(math.degrees(math.atan2(float(way[1]), float(way[0]))), 180.0)
        for way, length in zip(along, lengths, strict=True)
        if length > _HEAD * longest
    ]
    if any(abs(math.remainder(angle - angles[0], 180.0)) > _APART_DEG for angle in angles):
        said = " and ".join(f"{angle:.1f}" for angle in dict.fromkeys(angles))
        raise DrawingFileError(
            f"its grain lines contradict each other: they run at {said} degrees.",
            remedy=f"Leave one line on layer {GRAIN}.",
        )
    return math.remainder(round(angles[int(np.argmax([n for n in lengths if n > _HEAD * longest]))], 6), 180.0)


def _said(text: str) -> float | None:
    try:
        value = float(text) if text else None
    except ValueError:
        value = math.nan
    if value is not None and not math.isfinite(value):
        raise DrawingFileError(
            f"its extended data say grain_deg is {text!r}, which is no direction.",
            remedy="Export the part again, or remove its extended data.",
        )
    return value
