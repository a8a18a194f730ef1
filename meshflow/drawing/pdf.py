"""A drawing on paper at true size: a PDF of as many sheets as it takes, to check on the bench before metal is cut.

Terms: see `meshflow.drawing.paper`. Each sheet shows its window of the drawing, fine broken lines where it is joined
to its neighbours, register marks (a cross in a circle) that fall on those of the neighbours, a bar of 100 mm across
and one upwards, a sketch of which sheet lies where, and what the drawing says about itself. Where it takes more than
one sheet, a first page shows how they lie. Sheets that no line runs through are left out, unless the rest would fall
apart.

Convention: `printed_bars` is what the two bars of an earlier print measured; the next print is enlarged so that they
come out right. The PDF asks not to be scaled when printed (PrintScaling None). Nothing in it hangs on the clock or on
fonts of the computer; its pages are not compressed, so that the same drawing is the same bytes whatever packs them.

Source: ISO 32000-1; the only module besides its helpers that uses reportlab (BSD).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np

from meshflow.drawing.compose import compose_part
from meshflow.drawing.grid import strokes_on_grid
from meshflow.drawing.layers import LineStyle, ascii_line
from meshflow.drawing.paper import PaperName, Spread, Tile, correction, paper_size, spread
from meshflow.drawing.pdf_page import Furniture
from meshflow.drawing.pdf_path import (
    POINTS_PER_MM,
    halo_operators,
    line_operators,
    number,
    path_operators,
    stroke_operators,
    style,
)
from meshflow.drawing.underlay import Underlay
from meshflow.errors import DrawingFileError
from meshflow.files import write_whole
from meshflow.geometry.curves import bounds, tessellate
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.curve import Circle, Curve, Dot
from meshflow.model.drawing import Drawing, Stroke
from meshflow.model.part import Part

__all__ = ["OVERLAP_MM", "pdf_bytes", "write_pdf"]

OVERLAP_MM: Final = 10.0
_ROOM: Final = 2.0  # about the drawing, for the width of its lines and the signs of points [mm]
_ARM, _RING = 3.0, 1.7  # of a register mark [mm]


def write_pdf(
    drawing: Drawing | Part,
    path: str | os.PathLike[str],
    *,
    paper: PaperName = "A4",
    overlap_mm: float = OVERLAP_MM,
    printed_bars: Sequence[tuple[float, float]] = (),
    underlay: Underlay | None = None,
) -> Path:
    """Write a drawing, or one part as its own drawing, to a PDF file at true size.

    The file appears when it is whole; an earlier one stays untouched when anything fails.

    Parameters
    ----------
    drawing : Drawing or Part
        What to print.
    path : path-like
        File to write; its folder must exist.
    paper : {"A4", "A3", "A2", "A1", "A0", "Letter"}
        Paper to print on, upright or lying.
    overlap_mm : float
        Width of the strip that neighbouring sheets share, 4 to 40 [mm].
    printed_bars : sequence of (float, float)
        Bar across and bar upwards as measured on the last print, each meant to be 100; a further pair for a print
        that was already corrected by the ones before [mm].
    underlay : Underlay, optional
        A picture under its lines, at true size.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    DrawingFileError
        If there is nothing to draw, the drawing cannot be expressed, or the file not be written.
    OptionError
        If the paper is unknown, the overlap or a reading out of range, or it would take more than 400 sheets.
    """
    data = pdf_bytes(drawing, paper=paper, overlap_mm=overlap_mm, printed_bars=printed_bars, underlay=underlay)
    return write_whole(path, data, error=DrawingFileError)


def pdf_bytes(
    drawing: Drawing | Part,
    *,
    paper: PaperName = "A4",
    overlap_mm: float = OVERLAP_MM,
    printed_bars: Sequence[tuple[float, float]] = (),
    underlay: Underlay | None = None,
) -> bytes:
    """Return the PDF file of a drawing; see `write_pdf`.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> pdf_bytes(Part("washer", Circle((20.0, 20.0), 20.0)))[:5]
    b'%PDF-'
    """
    drawing = compose_part(drawing) if isinstance(drawing, Part) else drawing
    strokes = strokes_on_grid(drawing)
    left, bottom, right, top = bounds(*(stroke.curve for stroke in strokes))
    room = (left - _ROOM, bottom - _ROOM, right + _ROOM, top + _ROOM)
    laid = spread(room, paper_size(paper), overlap=overlap_mm, scale=correction(printed_bars))
    windows = _Windows(strokes)
    kept = _kept(laid, windows)
    stream = BytesIO()
    canvas = _canvas(stream, laid, drawing)
    image = None if underlay is None else _image(underlay)
    furniture = Furniture(canvas, drawing, strokes, laid, kept, tuple(printed_bars))
    if len(laid.tiles) > 1:
        furniture.cover()
        canvas.showPage()
    paths = lru_cache(maxsize=None)(path_operators)  # a curve is set out anew on every sheet that it crosses
    for tile in kept:
        inside = [strokes[number] for number in windows.seen(tile)]
        _tile_page(canvas, laid, tile, inside, furniture, paths, image, underlay)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _canvas(stream: BytesIO, laid: Spread, drawing: Drawing) -> Any:
    from reportlab.pdfgen.canvas import Canvas

    size = (laid.paper_width * POINTS_PER_MM, laid.paper_height * POINTS_PER_MM)
    canvas = Canvas(stream, pagesize=size, invariant=1, pageCompression=0)
    canvas.setTitle(ascii_line(drawing.name))
    canvas.setAuthor("meshflow")
    canvas.setSubject("Drawing at true size. " + " ".join(map(ascii_line, drawing.comments)))
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def _image(underlay: Underlay) -> Any:
    """Return the picture as the library takes it, on white: what is clear is paper."""
    from PIL import Image
    from reportlab.lib.utils import ImageReader

    pixels = underlay.pixels.astype(np.float64)
    share = pixels[:, :, 3:] / 255.0
    on_paper = np.rint(pixels[:, :, :3] * share + 255.0 * (1.0 - share)).astype(np.uint8)
    return ImageReader(Image.fromarray(on_paper))


def _tile_page(
    canvas: Any,
    laid: Spread,
    tile: Tile,
    inside: Sequence[Stroke],
    furniture: Furniture,
    paths: Callable[[Curve], str],
    image: Any,
    underlay: Underlay | None,
) -> None:
    # Strokes are drawn whole wherever they enter the window, so that dashes run on from sheet to sheet.
    width, height = number(tile.right - tile.left), number(tile.top - tile.bottom)
    canvas.addLiteral(f"q {_matrix(laid, tile)} cm")
    canvas.addLiteral(f"{number(tile.left)} {number(tile.bottom)} {width} {height} re W n")
    if underlay is not None:
        canvas.drawImage(image, underlay.left, underlay.bottom, underlay.width_mm, underlay.height_mm)
        for operators in halo_operators(inside):
            canvas.addLiteral(operators)
    for operators in (*stroke_operators(inside, paths=paths), *_register(laid, tile)):
        canvas.addLiteral(operators)
    canvas.addLiteral("Q")
    furniture.sheet(tile)


def _matrix(laid: Spread, tile: Tile) -> str:
    """Return the six numbers that lay a window of the drawing on its paper: from millimetres to points."""
    (x, y), (across, up) = laid.corner, laid.scale
    sx, sy = POINTS_PER_MM * across, POINTS_PER_MM * up
    dx, dy = POINTS_PER_MM * x - sx * tile.left, POINTS_PER_MM * y - sy * tile.bottom
    return f"{sx:.10f} 0 0 {sy:.10f} {dx:.6f} {dy:.6f}"


def _register(laid: Spread, tile: Tile) -> list[str]:
    """Return the lines along the seams of a window, and the register marks on them."""
    rows = [y for y in laid.row_seams if tile.bottom < y < tile.top]
    columns = [x for x in laid.column_seams if tile.left < x < tile.right]
    lines = [line_operators((tile.left, y), (tile.right, y)) for y in rows]
    lines += [line_operators((x, tile.bottom), (x, tile.top)) for x in columns]
    if not lines:
        return []
    return [
        "/JOIN_LINE BMC",
        style(LineStyle(0.13, (0.8, 0.8)), grey=0.35),
        *lines,
        "EMC",
        "/REGISTER_MARK BMC",
        style(LineStyle(0.18)),
        *(sign for x, y in _register_marks(laid) if _near(tile, x, y) for sign in _cross(x, y)),
        "EMC",
    ]


def _register_marks(laid: Spread) -> list[tuple[float, float]]:
    """Return where the register marks stand: where seams cross, and twice between on each [mm].

    They are places of the drawing, not of a sheet, so neighbours draw one and the same mark.
    """
    across = _thirds([laid.tiles[0].left, *laid.column_seams, laid.tiles[-1].right])
    up = _thirds([laid.tiles[0].top, *laid.row_seams, laid.tiles[-1].bottom])
    crossings = [(x, y) for x in laid.column_seams for y in laid.row_seams]
    return (
        crossings + [(x, y) for x in laid.column_seams for y in up] + [(x, y) for x in across for y in laid.row_seams]
    )


def _thirds(ends: Sequence[float]) -> list[float]:
    return [a + share * (b - a) for a, b in pairwise(ends) for share in (0.25, 0.75)]


def _near(tile: Tile, x: float, y: float) -> bool:
    return tile.left - _ARM < x < tile.right + _ARM and tile.bottom - _ARM < y < tile.top + _ARM


def _cross(x: float, y: float) -> list[str]:
    return [
        line_operators((x - _ARM, y), (x + _ARM, y)),
        line_operators((x, y - _ARM), (x, y + _ARM)),
        f"{path_operators(Circle((x, y), _RING))} S",
    ]


def _kept(laid: Spread, windows: _Windows) -> tuple[Tile, ...]:
    """Return the sheets that show something; all of them if the others would not hang together."""
    drawn = [tile for tile in laid.tiles if windows.seen(tile)]
    return tuple(drawn) if _hang_together(drawn) else laid.tiles


def _hang_together(tiles: Sequence[Tile]) -> bool:
    places = {(tile.row, tile.column) for tile in tiles}
    waiting, seen = [(tiles[0].row, tiles[0].column)], {(tiles[0].row, tiles[0].column)}
    while waiting:
        row, column = waiting.pop()
        for place in ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)):
            if place in places and place not in seen:
                seen.add(place)
                waiting.append(place)
    return len(seen) == len(places)


class _Windows:
    """Says which strokes are seen in a window: by the boxes of their lines, so never too few.

    Parameters
    ----------
    strokes : sequence of Stroke
        All of them [mm].
    """

    def __init__(self, strokes: Sequence[Stroke]) -> None:
        self._runs = [_run(stroke.curve) for stroke in strokes]
        self._low = np.array([run.min(axis=0) for run in self._runs])
        self._high = np.array([run.max(axis=0) for run in self._runs])

    def seen(self, tile: Tile) -> list[int]:
        """Return the numbers of the strokes, rising."""
        low = np.array([tile.left - _ROOM, tile.bottom - _ROOM])
        high = np.array([tile.right + _ROOM, tile.top + _ROOM])
        near = np.flatnonzero(((self._high >= low) & (self._low <= high)).all(axis=1))
        return [number for number in near.tolist() if _meets(self._runs[number], low, high).any()]


def _meets(run: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    ends = np.stack([run, np.roll(run, -1, axis=0)])
    return np.asarray(((ends.max(axis=0) >= low) & (ends.min(axis=0) <= high)).all(axis=1))


def _run(curve: Curve) -> FloatArray:
    return np.array([curve.position]) if isinstance(curve, Dot) else tessellate(curve, tolerance=0.5)
