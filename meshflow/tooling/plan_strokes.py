"""Small parts of the drawings of formers and patterns: words, runs of a section, the finished drawing."""

from __future__ import annotations

from collections.abc import Sequence

from meshflow.geometry.curves import bounds
from meshflow.geometry.lettering import strokes as letters
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Curve, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke

__all__ = ["drawing_of", "section_strokes", "words_at"]


def words_at(text: str, at: tuple[float, float], *, cap: float = 3.0) -> list[Stroke]:
    """Return a line of words as strokes of the layer NOTE."""
    return [Stroke(Layer.NOTE, run) for run in letters(text, cap_height=cap, origin=at)]


def section_strokes(rings: Sequence[Sequence[FloatArray]], move: FloatArray) -> list[Stroke]:
    """Return the pieces of a section as closed runs of the layer MARK_LINE, moved in the plane."""
    return [Stroke(Layer.MARK_LINE, Polycurve(ring + move)) for piece in rings for ring in piece]


def drawing_of(name: str, strokes: Sequence[Stroke], said: Sequence[str]) -> Drawing:
    """Return a drawing with its strokes in the order of the layers."""
    ordered = [stroke for layer in LAYERS for stroke in strokes if stroke.layer is layer]
    curves: list[Curve] = [stroke.curve for stroke in ordered]
    return Drawing(name, tuple(ordered), bounds(*curves), ("Units: mm.", *said), {"name": name, "units": "mm"})
