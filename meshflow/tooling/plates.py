"""Plates of a cutting tool: their size from standard bar, dowels and bolts, lettering, and flat bodies cut from them.

Convention: all plates of one tool have one size and one pattern of holes; dowels stand off a half turn, so that they go
together in one way only. Seen from above, millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, tessellate
from meshflow.geometry.lettering import strokes, text_width
from meshflow.geometry.polygons import triangulated
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.tool import Solid
from meshflow.stock import Stock

__all__ = ["PlateHole", "Plates", "drawing_of", "flat_body", "letters_in", "plan_plates", "rectangle", "words_at"]

_CHORD_MM: Final = 0.005
_LEAST_LETTER: Final = 2.0


@dataclass(frozen=True, slots=True)
class PlateHole:
    """A round hole through all plates: ``dowel`` (reamed) or ``bolt`` (clearance or tapped)."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    kind: str

    @property
    def circle(self) -> Circle:
        """The hole as a curve."""
        return Circle((self.x_mm, self.y_mm), 0.5 * self.diameter_mm)


@dataclass(frozen=True, eq=False)
class Plates:
    """One size for all plates of a tool.

    Parameters
    ----------
    low, high : (float, float)
        Corners [mm].
    thickness_mm : float
        Of the die plate [mm].
    bar : str
        The bar it is cut from, in words.
    holes : tuple of PlateHole
        Dowels, then bolts.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    thickness_mm: float
    bar: str
    holes: tuple[PlateHole, ...]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length along x and y [mm]."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]


def plan_plates(
    contours: Sequence[Polycurve | Circle],
    *,
    thickness_mm: float,
    margin_mm: float,
    dowel_mm: float,
    bolt_mm: float,
    stock: Stock,
) -> Plates:
    """Return plates round some openings.

    Parameters
    ----------
    contours : sequence of Polycurve or Circle
        The openings [mm].
    thickness_mm, margin_mm : float
        Least thickness of the die plate, and least metal from an opening to the edge [mm].
    dowel_mm, bolt_mm : float
        Diameters [mm].
    stock : Stock
        Where the sizes of bar are.
    """
    rows = stock.process("die_milling").facts
    edge = rows["hole_edge_per_diameter"].span[0] * max(dowel_mm, bolt_mm)
    left, low, right, high = bounds(*contours)
    # Holes stand beyond the opening by their own edge distance, whatever the margin.
    margin = max(margin_mm, 2.0 * edge)
    need = (right - left + 2.0 * margin, high - low + 2.0 * margin)
    thick = next((t for t in sorted(rows["flat_bar_thickness"].numbers) if t >= thickness_mm), thickness_mm)
    widths = sorted(rows["flat_bar_width"].numbers)
    wide = next((w for w in widths if w >= min(need) and w > thick), 5.0 * math.ceil(min(need) / 5.0))
    long = max(5.0 * math.ceil(max(need) / 5.0 - 1e-9), wide)
    size = (long, wide) if need[0] >= need[1] else (wide, long)
    middle = (0.5 * (left + right), 0.5 * (low + high))
    corner = (middle[0] - 0.5 * size[0], middle[1] - 0.5 * size[1])
    other = (corner[0] + size[0], corner[1] + size[1])
    kind = "bar" if wide <= widths[-1] else "plate, sawn,"
    bar = f"{kind} {wide:g} x {thick:g} mm, {long:g} mm long"
    return Plates(corner, other, thick, bar, _holes(corner, other, edge, dowel_mm, bolt_mm))


def _holes(
    low: tuple[float, float], high: tuple[float, float], edge: float, dowel: float, bolt: float
) -> tuple[PlateHole, ...]:
    (left, bottom), (right, top) = (value + edge for value in low), (value - edge for value in high)
    middle = 0.5 * (bottom + top)
    off = min(0.15 * (top - bottom), 0.5 * (top - bottom) - 2.0 * max(dowel, bolt))
    pins = [(left, middle), (right, middle + max(off, 0.0))]
    corners = [(x, y) for y in (bottom, top) for x in (left, right)]
    return (
        *(PlateHole(x, y, dowel, "dowel") for x, y in pins),
        *(PlateHole(x, y, bolt, "bolt") for x, y in corners),
    )


def flat_body(
    name: str,
    outline: Polycurve | Circle,
    openings: Sequence[Polycurve | Circle],
    *,
    height_mm: float,
    note: str = "",
) -> Solid:
    """Return a plate or bar of one section as a closed body standing on z = 0; chords within 0.005 mm."""
    rings = [tessellate(curve, tolerance=_CHORD_MM) for curve in (outline, *openings)]
    # Material to the left of each ring, so that the walls face outward.
    turned = [_left(ring, outer=number == 0) for number, ring in enumerate(rings)]
    flat = triangulated(turned)
    points = np.concatenate(turned)
    count = len(points)
    ahead = np.concatenate([np.roll(np.arange(len(r)), -1) + sum(map(len, turned[:k])) for k, r in enumerate(turned)])
    here = np.arange(count)
    walls = np.concatenate(
        [np.stack([here, ahead, ahead + count], axis=1), np.stack([here, ahead + count, here + count], axis=1)]
    )
    vertices = np.concatenate([_at(points, 0.0), _at(points, height_mm)])
    return Solid(name, vertices, np.concatenate([flat[:, ::-1], flat + count, walls]), note)


def _left(ring: FloatArray, *, outer: bool) -> FloatArray:
    local = ring - ring[0]
    after = np.roll(local, -1, axis=0)
    counter = float(np.sum(local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0])) > 0.0
    return ring if counter == outer else np.asarray(ring[::-1])


def _at(points: FloatArray, z: float) -> FloatArray:
    return np.column_stack([points, np.full(len(points), z)])


def rectangle(low: tuple[float, float], high: tuple[float, float]) -> Polycurve:
    """Return a rectangle, counter-clockwise."""
    return Polycurve(np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]]))


def words_at(text: str, at: tuple[float, float], *, cap_mm: float, layer: Layer = Layer.NOTE) -> list[Stroke]:
    """Return a line of letters as strokes on a layer."""
    return [Stroke(layer, run) for run in strokes(text, cap_height=cap_mm, origin=at)]


def letters_in(text: str, low: tuple[float, float], high: tuple[float, float], *, most_mm: float = 5.0) -> list[Stroke]:
    """Return a line of letters in the middle of a box, as large as it goes; empty where there is no room.

    Raises
    ------
    OptionError
        If a character cannot be engraved.
    """
    if not text:
        return []
    room = (high[0] - low[0], high[1] - low[1])
    try:
        cap = min(most_mm, room[1], most_mm * room[0] / max(text_width(text, cap_height=most_mm), 1e-9))
    except OptionError as error:
        raise error.located("lettering") from error
    if cap < _LEAST_LETTER:
        return []
    start = (0.5 * (low[0] + high[0] - text_width(text, cap_height=cap)), 0.5 * (low[1] + high[1] - cap))
    return words_at(text, start, cap_mm=cap, layer=Layer.MARK_TEXT)


def drawing_of(name: str, drawn: Sequence[Stroke], said: Sequence[str]) -> Drawing:
    """Return a drawing with its strokes in the order of the layers."""
    ordered = [stroke for layer in LAYERS for stroke in drawn if stroke.layer is layer]
    curves: list[Curve] = [stroke.curve for stroke in ordered]
    return Drawing(name, tuple(ordered), bounds(*curves), ("Units: mm.", *said), {"name": name, "units": "mm"})
