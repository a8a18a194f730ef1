"""The blocks of punch and die: which bar, how large, where dowels, bolts and lettering go.

Terms: the *land* is the flat rim that holds the sheet; *dowels* are pins through both blocks that hold them to each
other; *bolts* come from the back into tapped holes, so that nothing stands on the face.

Convention: seen on the face of the punch, in the relief's coordinates [mm]; dowels stand off a half turn, so that the
die closes on the punch in one way only. Holes stand on a strip round the land. Bar sizes are rows of the stock.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.lettering import strokes, text_width
from meshflow.model.arrays import FloatArray
from meshflow.stock import Stock
from meshflow.tooling.faces import Faces
from meshflow.tooling.punch_options import Chosen

__all__ = ["Block", "Hole", "Lettering", "plan_block"]

_LEAST_LETTER = 2.0
_ROUND_UP = 5.0  # mm, to which a block is sawn


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole through both blocks.

    Parameters
    ----------
    x_mm, y_mm, diameter_mm : float
        Middle and diameter [mm].
    kind : str
        ``dowel`` or ``bolt``.
    """

    x_mm: float
    y_mm: float
    diameter_mm: float
    kind: str


@dataclass(frozen=True, eq=False)
class Lettering:
    """A line of letters on the strip below the land.

    Parameters
    ----------
    text : str
        What it says.
    runs : tuple of (k, 2) float array
        Its strokes, seen on the face of the punch [mm].
    """

    text: str
    runs: tuple[FloatArray, ...]


@dataclass(frozen=True, eq=False)
class Block:
    """One size for both blocks.

    Parameters
    ----------
    low, high : (float, float)
        Corners of the outline [mm].
    height_mm : float
        Greatest height of a block, as milled [mm].
    bar : str
        The bar it is cut from, in words.
    from_bar : bool
        Whether there is a bar wide and thick enough; otherwise it is sawn from plate.
    holes : tuple of Hole
        Dowels, then bolts.
    land_low, land_high : (float, float)
        Corners of the land [mm].
    lettering : Lettering, optional
        None where there is none.
    dropped_letters : bool
        Whether there was no room for the line asked for.
    """

    low: tuple[float, float]
    high: tuple[float, float]
    height_mm: float
    bar: str
    from_bar: bool
    holes: tuple[Hole, ...]
    land_low: tuple[float, float]
    land_high: tuple[float, float]
    lettering: Lettering | None = None
    dropped_letters: bool = False

    @property
    def middle_x_mm(self) -> float:
        """The line about which the die is turned over [mm]."""
        return 0.5 * (self.low[0] + self.high[0])

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length along x and y [mm]."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]


def plan_block(
    faces: Faces, chosen: Chosen, stock: Stock, *, text: str, letter_height_mm: float, step_mm: float = 0.0
) -> Block:
    """Return the block for a pair of faces.

    Parameters
    ----------
    faces : Faces
        The pair.
    chosen : Chosen
        Land, dowels, bolts, metal under the relief.
    stock : Stock
        Where the bars are.
    text : str
        Line of letters; empty for none.
    letter_height_mm : float
        Height of its capitals [mm].
    step_mm : float
        How far the faces stand back beyond the land, under 45 degrees [mm].

    Returns
    -------
    Block
        Outline, height, holes.
    """
    land_low = (float(faces.x[0]) - chosen.land_mm, float(faces.y[0]) - chosen.land_mm)
    land_high = (float(faces.x[-1]) + chosen.land_mm, float(faces.y[-1]) + chosen.land_mm)
    largest = max(chosen.dowel_mm, chosen.bolt_mm)
    strip = largest * (chosen.edge_per_diameter + 0.75) + step_mm
    need = tuple(
        max(high - low + 2.0 * strip, 8.0 * chosen.edge_per_diameter * largest)
        for low, high in zip(land_low, land_high, strict=True)
    )
    span = max(float(np.ptp(faces.outer)), float(np.ptp(faces.inner)))
    size, height, bar, from_bar = _from_bar(need, span + chosen.metal_under_mm, chosen.facing_mm, stock)
    middle = tuple(0.5 * (low + high) for low, high in zip(land_low, land_high, strict=True))
    low = (middle[0] - 0.5 * size[0], middle[1] - 0.5 * size[1])
    high = (middle[0] + 0.5 * size[0], middle[1] + 0.5 * size[1])
    room = low[1] + 1.0, land_low[1] - step_mm - 1.0
    edge = chosen.edge_per_diameter * chosen.bolt_mm
    width = size[0] - 2.0 * (edge + chosen.bolt_mm)
    letters = _letters(text, letter_height_mm, 0.5 * (low[0] + high[0]), room, width)
    return Block(
        low, high, height, bar, from_bar, _holes(low, high, chosen), land_low, land_high, letters,
        bool(text) and letters is None,
    )  # fmt: skip


def _from_bar(
    need: tuple[float, ...], thick: float, facing: float, stock: Stock
) -> tuple[tuple[float, float], float, str, bool]:
    rows = stock.process("die_milling").facts
    widths, thicknesses = (sorted(rows[f"flat_bar_{name}"].numbers) for name in ("width", "thickness"))
    short, long = min(need), max(need)
    length = _ROUND_UP * math.ceil(long / _ROUND_UP - 1e-9)
    thickness = next((value for value in thicknesses if value - facing >= thick), None)
    width = next((value for value in widths if value >= short and value > (thickness or 0.0)), None)
    from_bar = thickness is not None and width is not None
    thickness = _ROUND_UP * math.ceil((thick + facing) / _ROUND_UP) if thickness is None else thickness
    width = _ROUND_UP * math.ceil(short / _ROUND_UP - 1e-9) if width is None else width
    size = (length, width) if need[0] >= need[1] else (width, length)
    return size, thickness - facing, f"{width:g} x {thickness:g} mm, {length:g} mm long", from_bar


def _holes(low: tuple[float, float], high: tuple[float, float], chosen: Chosen) -> tuple[Hole, ...]:
    edge = chosen.edge_per_diameter * max(chosen.dowel_mm, chosen.bolt_mm)
    left, right = low[0] + edge, high[0] - edge
    middle, quarter = 0.5 * (low[1] + high[1]), 0.25 * (high[1] - low[1])
    # Turned half round, the left dowel would come beside the right one: the blocks go together in one way only.
    dowels = [
        Hole(left, middle, chosen.dowel_mm, "dowel"),
        Hole(right, middle + 0.6 * quarter, chosen.dowel_mm, "dowel"),
    ]
    corners = [(x, y) for y in (low[1] + edge, high[1] - edge) for x in (left, right)]
    return (*dowels, *(Hole(x, y, chosen.tapping_drill_mm, "bolt") for x, y in corners))


def _letters(text: str, cap: float, middle: float, room: tuple[float, float], width: float) -> Lettering | None:
    if not text:
        return None
    try:
        cap = min(cap, room[1] - room[0] - 1.0, cap * width / text_width(text, cap_height=cap))
    except OptionError as error:
        raise error.located("lettering") from error
    if cap < _LEAST_LETTER:
        return None
    start = (middle - 0.5 * text_width(text, cap_height=cap), 0.5 * (room[0] + room[1] - cap))
    return Lettering(text, tuple(np.asarray(run.points) for run in strokes(text, cap_height=cap, origin=start)))
