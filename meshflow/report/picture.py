"""A picture as a list of fills, lines and words, drawn once and shown twice: as SVG in the document, as PNG beside it.

Convention: picture units, x to the right, y down, as on a screen; a full-width picture is 720 units wide. The piece
itself has y up, so `Frame` turns it over once, here, and nowhere else: a picture is never a mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from meshflow.model.arrays import FloatArray, UInt8Array
from meshflow.report.palette import INK

__all__ = ["Fill", "Frame", "Item", "Lines", "Picture", "Pixels", "Words", "moved", "scale_bar"]


@dataclass(frozen=True, eq=False)
class Fill:
    """An area of one colour.

    Parameters
    ----------
    rings : tuple of (k, 2) float array
        Closed rings; holes run against their outline.
    colour : str
        ``#rrggbb``.
    """

    rings: tuple[FloatArray, ...]
    colour: str


@dataclass(frozen=True, eq=False)
class Lines:
    """Runs of straight lines.

    Parameters
    ----------
    runs : tuple of (k, 2) float array, or (j, 2, 2) float array
        The runs; an array holds one two-point line in each row.
    colour : str
        ``#rrggbb``.
    width : float
        Width [picture units].
    closed : bool
        Whether each run returns to its start.
    dashed : bool
        Broken line.
    """

    runs: tuple[FloatArray, ...] | FloatArray
    colour: str = INK
    width: float = 1.0
    closed: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text.

    Parameters
    ----------
    x, y : float
        Where; y is the baseline.
    text : str
        Plain text.
    size : float
        Letter size [picture units].
    anchor : {"start", "middle", "end"}
        Which end of the text x is.
    bold : bool
        Heavy letters.
    colour : str
        ``#rrggbb``.
    """

    x: float
    y: float
    text: str
    size: float = 12.0
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False
    colour: str = INK


@dataclass(frozen=True, eq=False)
class Pixels:
    """A picture made of pixels, which lies under the items; for PNG only.

    Parameters
    ----------
    x, y : float
        Its upper left corner.
    width, height : float
        Its size [picture units].
    colours : (rows, columns, 3) uint8 array
        Red, green, blue; the upper row first.
    """

    x: float
    y: float
    width: float
    height: float
    colours: UInt8Array


Item: TypeAlias = Fill | Lines | Words


@dataclass(frozen=True, eq=False)
class Picture:
    """Items in the order they are painted.

    Parameters
    ----------
    width, height : float
        Size [picture units].
    items : tuple of Fill, Lines or Words
        What is painted, back to front.
    """

    width: float
    height: float
    items: tuple[Item, ...]


def moved(picture: Picture, dx: float, dy: float) -> tuple[Item, ...]:
    """Return the items of a picture shifted, to be set into a larger one."""
    shift = np.array([dx, dy])
    items: list[Item] = []
    for item in picture.items:
        if isinstance(item, Words):
            items.append(replace(item, x=item.x + dx, y=item.y + dy))
        elif isinstance(item, Fill):
            items.append(replace(item, rings=tuple(ring + shift for ring in item.rings)))
        elif isinstance(item.runs, tuple):
            items.append(replace(item, runs=tuple(run + shift for run in item.runs)))
        else:
            items.append(replace(item, runs=item.runs + shift))
    return tuple(items)


@dataclass(frozen=True, slots=True)
class Frame:
    """From millimetres of a piece, y up, to picture units, y down.

    Parameters
    ----------
    scale : float
        Picture units for one millimetre.
    left, top : float
        Picture position of the piece's least x and greatest y.
    low_x, high_y : float
        Least x and greatest y of the piece [mm].
    width, height : float
        Size of the piece in the picture [picture units].
    """

    scale: float
    left: float
    top: float
    low_x: float
    high_y: float
    width: float
    height: float

    @classmethod
    def fitting(cls, low: FloatArray, high: FloatArray, *, width: float, most_height: float, border: float) -> Frame:
        """Return the frame that shows a box as large as it fits, centred from left to right.

        Parameters
        ----------
        low, high : (2,) float array
            Corners of the box [mm].
        width : float
            Width of the picture.
        most_height : float
            Greatest height of the box in the picture.
        border : float
            Free edge on the left, right and top.
        """
        size = np.maximum(high - low, 1e-9)
        scale = min((width - 2 * border) / float(size[0]), most_height / float(size[1]))
        shown = size * scale
        left = (width - float(shown[0])) / 2
        return cls(scale, left, border, float(low[0]), float(high[1]), float(shown[0]), float(shown[1]))

    def __call__(self, points: FloatArray) -> FloatArray:
        """Return points of the piece, shape (k, 2) [mm], in picture units."""
        x = self.left + (points[:, 0] - self.low_x) * self.scale
        y = self.top + (self.high_y - points[:, 1]) * self.scale
        return np.stack([x, y], axis=1)


def scale_bar(frame: Frame, *, x: float, y: float, most: float, size: float) -> tuple[Item, ...]:
    """Return a bar of a round length in millimetres, not longer than `most`, with its label above.

    Parameters
    ----------
    frame : Frame
        Gives the scale.
    x, y : float
        Left end of the bar and its lower edge.
    most : float
        Greatest length [picture units].
    size : float
        Letter size.
    """
    decade = 10.0 ** np.floor(np.log10(most / frame.scale))
    length = max(step * decade for step in (1.0, 2.0, 5.0) if step * decade * frame.scale <= most)
    half, thick = length * frame.scale / 2, 5.0
    boxes = [(x, INK), (x + half, "#ffffff")]
    items: list[Item] = [Fill((_box(left, y - thick, half, thick),), colour) for left, colour in boxes]
    items.append(Lines((_box(x, y - thick, 2 * half, thick),), width=1.0, closed=True))
    items.append(Words(x + 2 * half + size / 2, y, f"{length:g}\N{NO-BREAK SPACE}mm", size))
    return tuple(items)


def _box(x: float, y: float, width: float, height: float) -> FloatArray:
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
