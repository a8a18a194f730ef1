"""What stands on a printed sheet beside the drawing: title, bars of 100 mm, a sketch of the sheets, the key of lines.

Convention: millimetres of the paper from its lower left corner. The bars, and nothing else here, are enlarged by the
correction of the printer, so that they measure 100 mm when the drawing has its size.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from meshflow.drawing.layers import LineStyle, ascii_line
from meshflow.drawing.paper import BAR_MM, Spread, Tile
from meshflow.drawing.pdf_path import PAPER_STYLES, POINTS_PER_MM, line_operators, number, stroke_operators, style
from meshflow.geometry.curves import tessellate
from meshflow.model.curve import Dot
from meshflow.model.drawing import Drawing, Layer, Stroke

__all__ = ["Furniture", "fitted"]

_EDGE, _SIDE, _FOOT = 7.0, 8.0, 30.0  # as in `meshflow.drawing.paper`
_FULL, _BOLD = "Helvetica", "Helvetica-Bold"  # of the fourteen that every PDF reader brings along
_SKETCHED: Final = (Layer.CUT_OUTSIDE, Layer.SHEET_EDGE, Layer.CUT_INSIDE)
_MAP: Final = (40.0, 27.0)
_KEY: Final = 36.0
PUT_TOGETHER: Final = (
    "1. Print every sheet at 100 % (actual size), never fitted to the page.",
    "2. Measure the bar across and the bar upwards on a print, from the first tick to the last. If they are not "
    "100 mm, print again with what you read (--bars 99.2x100.1, or printed_bars in a job file).",
    "3. Cut one sheet of each pair along the fine broken line, lay it on the same line of its neighbour so that the "
    "crosses and circles meet, and tape it. Begin with a row, then join the rows.",
    "4. Paper swells with damp: print and measure a set on the same day. Each joint may be off by about 0.5 mm.",
)


class Furniture:
    """Draws what stands beside the drawing.

    Parameters
    ----------
    canvas : reportlab canvas
        Where to.
    drawing : Drawing
        The drawing.
    strokes : sequence of Stroke
        What is drawn of it.
    laid : Spread
        How it lies on the paper.
    kept : sequence of Tile
        The sheets that are printed.
    printed_bars : tuple of (float, float)
        Readings that the print is corrected by.
    """

    def __init__(
        self,
        canvas: Any,
        drawing: Drawing,
        strokes: Sequence[Stroke],
        laid: Spread,
        kept: Sequence[Tile],
        printed_bars: tuple[tuple[float, float], ...],
    ) -> None:
        self._canvas, self._drawing, self._laid, self._kept = canvas, drawing, laid, kept
        self._printed_bars = printed_bars
        self._layers = list(dict.fromkeys(stroke.layer for stroke in strokes))
        self._curves = [
            stroke.curve for stroke in strokes if stroke.layer in _SKETCHED and not isinstance(stroke.curve, Dot)
        ]

    def sheet(self, tile: Tile) -> None:
        """Draw what stands on the sheet of a window: the strips at the foot and on the left, the neighbours' names."""
        laid, several = self._laid, len(self._laid.tiles) > 1
        self._frame(tile)
        self._bars()
        number_of = self._kept.index(tile) + 1 + several
        place = f"Sheet {tile.name}, page {number_of} of {len(self._kept) + several}" if several else "Page 1 of 1"
        right = laid.paper_width - _EDGE
        words = right - (_MAP[0] + 3.0 if several else 0.0) - _KEY - 3.0 - _EDGE
        self._title(ascii_line(self._drawing.name), place, width=words)
        self._key(_EDGE + words + 3.0, _EDGE + 27.0, height=27.0)
        if several:
            self._map(right - _MAP[0], _EDGE, *_MAP, here=tile)
            self._neighbours(tile)

    def cover(self) -> None:
        """Draw the first page: which sheet lies where, how to put them together, what the drawing says of itself."""
        laid = self._laid
        self._bars()
        left, right, top = _EDGE + _SIDE, laid.paper_width - _EDGE, laid.paper_height - _EDGE
        self._text(left, top - 5.0, ascii_line(self._drawing.name), 16, bold=True)
        left_out = len(laid.tiles) - len(self._kept)
        blank = f"; {left_out} would be blank and {'is' if left_out == 1 else 'are'} left out" if left_out else ""
        shape = f"{_counted(laid.rows, 'row')} and {_counted(laid.columns, 'column')}"
        count = f"{len(self._kept)} sheets in {shape}{blank}. Page 1 of "
        y = self._paragraphs(left, top - 11.0, [f"{count}{len(self._kept) + 1}."], 9, right - left)
        y = self._paragraphs(left, y - 2.0, PUT_TOGETHER, 8.5, right - left)
        y = self._paragraphs(left, y - 2.0, self._drawing.comments[1:], 7.5, right - left, most=8)
        foot = _EDGE + _FOOT
        self._map(left, foot, right - left, y - foot - 3.0, here=None)
        words = right - _EDGE - _KEY - 3.0
        self._title(ascii_line(self._drawing.name), "Sketch of the sheets: not at true size", width=words)
        self._key(_EDGE + words + 3.0, _EDGE + 27.0, height=27.0)

    def _title(self, name: str, place: str, *, width: float) -> None:
        """Write the name, the place, and what must be known beside the bar across."""
        left = _EDGE
        self._text(left, _EDGE + 15.5, fitted(name, _BOLD, 10, width), 10, bold=True)
        across, up = self._laid.scale
        lines = [f"{place}. True size in millimetres: print at 100 %; both bars must measure 100 mm."]
        if self._printed_bars:
            said = ", then ".join(f"{x:g} x {y:g} mm" for x, y in self._printed_bars)
            lines.append(f"Corrected for bars that measured {said}: {100 * across:.2f} % across, {100 * up:.2f} % up.")
        kerf = [line for line in self._drawing.comments if line.startswith(("Kerf", "Blank", "Material"))]
        self._paragraphs(left, _EDGE + 11.8, [*lines, *map(ascii_line, kerf)], 6.5, width, most=5)

    def _bars(self) -> None:
        (across, up), left = self._laid.scale, _EDGE + _SIDE
        self._bar("BAR_ACROSS", left, _EDGE + 22.5, across, up, upwards=False)
        self._bar("BAR_UP", _EDGE + 4.5, _EDGE + _FOOT + 2.0, across, up, upwards=True)
        self._text(left, _EDGE + 25.0, "100 mm across, tick to tick", 6.5)
        self._canvas.saveState()
        self._canvas.translate((_EDGE + 2.2) * POINTS_PER_MM, (_EDGE + _FOOT + 2.0) * POINTS_PER_MM)
        self._canvas.rotate(90)
        self._text(0.0, 0.0, "100 mm up, tick to tick", 6.5)
        self._canvas.restoreState()

    def _bar(self, name: str, x: float, y: float, across: float, up: float, *, upwards: bool) -> None:
        """Draw a bar: one line of 100 mm, and ticks that are its own marked content."""
        sx, sy = POINTS_PER_MM * across, POINTS_PER_MM * up
        origin = f"{POINTS_PER_MM * x:.6f} {POINTS_PER_MM * y:.6f}"
        ticks = [(10.0 * step, 1.6 if step in (0, 5, 10) else 0.9) for step in range(11)]
        end = (0.0, BAR_MM) if upwards else (BAR_MM, 0.0)
        marks = [((-h, d), (h, d)) if upwards else ((d, -h), (d, h)) for d, h in ticks]
        put = self._canvas.addLiteral
        put(f"q {sx:.10f} 0 0 {sy:.10f} {origin} cm /{name} BMC {style(LineStyle(0.25))}".replace("1 J", "0 J"))
        put(line_operators((0.0, 0.0), end))
        put(f"EMC /BAR_TICK BMC {' '.join(line_operators(a, b) for a, b in marks)} EMC Q")

    def _frame(self, tile: Tile) -> None:
        """Draw corners about the window, so that a print cut off by the printer shows."""
        laid, (x, y) = self._laid, self._laid.corner
        width, height = (tile.right - tile.left) * laid.scale[0], (tile.top - tile.bottom) * laid.scale[1]
        arms = []
        for cx, sx in ((x, 1.0), (x + width, -1.0)):
            for cy, sy in ((y, 1.0), (y + height, -1.0)):
                arms += [line_operators((cx, cy), (cx + 4 * sx, cy)), line_operators((cx, cy), (cx, cy + 4 * sy))]
        self._paper(style(LineStyle(0.18), grey=0.5), *arms)

    def _neighbours(self, tile: Tile) -> None:
        """Write the names of the neighbouring sheets into the strips shared with them."""
        laid, (x, y) = self._laid, self._laid.corner
        width, height = (tile.right - tile.left) * laid.scale[0], (tile.top - tile.bottom) * laid.scale[1]
        known = {(other.row, other.column): other.name for other in self._kept}
        gap = 1.2
        places = (
            (-1, 0, x + width / 2, y + height - 3.3, "middle"),
            (1, 0, x + width / 2, y + gap, "middle"),
            (0, -1, x + gap, y + height / 2, "start"),
            (0, 1, x + width - gap, y + height / 2, "end"),
        )
        for down, right, at_x, at_y, anchor in places:
            name = known.get((tile.row + down, tile.column + right))
            if name is not None:
                self._text(at_x, at_y, name, 7, bold=True, anchor=anchor)

    def _key(self, x: float, top: float, *, height: float) -> None:
        """Draw a short line of each layer with its name."""
        step = min(3.4, height / max(1, len(self._layers)))
        for place, layer in enumerate(self._layers):
            y = top - (place + 0.7) * step
            if layer in (Layer.STITCH_POINT, Layer.HOLE_POINT, Layer.TAB_POINT):
                self._paper(*stroke_operators([Stroke(layer, Dot((x + 6.0, y)))]))
            else:
                self._paper(style(PAPER_STYLES[layer]), line_operators((x, y), (x + 12.0, y)))
            self._text(x + 14.0, y - 0.28 * step, str(layer), min(6.5, 2.0 * step))

    def _map(self, x: float, y: float, width: float, height: float, *, here: Tile | None) -> None:
        """Draw the windows of all sheets with their names, and the outlines of the drawing under them."""
        laid = self._laid
        low = np.array([laid.tiles[0].left, laid.tiles[-1].bottom])
        high = np.array([laid.tiles[-1].right, laid.tiles[0].top])
        scale = float(min(width / (high[0] - low[0]), height / (high[1] - low[1])))
        corner = np.array([x, y]) + 0.5 * (np.array([width, height]) - scale * (high - low))
        cells = {tile: self._cell(tile, corner, low, scale) for tile in laid.tiles}
        if here is None:
            self._sketch(cells, low, scale, corner)
        else:  # the same on every sheet: kept once in the file
            self._paper(f"0.82 g {cells[here]} f 0 g")
            if not self._canvas.hasForm("MAP"):
                self._canvas.beginForm("MAP")
                self._sketch(cells, low, scale, corner)
                self._canvas.endForm()
            self._canvas.doForm("MAP")
        cell = (high - low) * scale / (laid.columns, laid.rows) * POINTS_PER_MM
        self._names(corner, low, scale, float(np.clip(min(0.3 * cell[1], 0.3 * cell[0]), 2.5, 14.0)))

    def _sketch(self, cells: dict[Tile, str], low: Any, scale: float, corner: Any) -> None:
        for tile, cell in cells.items():
            look = style(LineStyle(0.13, () if tile in self._kept else (0.6, 0.6)), grey=0.45)
            self._paper(look, f"{cell} S")
        runs = (tessellate(curve, tolerance=0.1 / scale) for curve in self._curves)
        self._paper(style(LineStyle(0.18)), *(_polyline((run - low) * scale + corner) for run in runs))

    def _cell(self, tile: Tile, corner: Any, low: Any, scale: float) -> str:
        """Return the rectangle of a sheet between its seams: the cells of the map do not overlap."""
        half = self._laid.overlap / 2
        first, last = self._laid.tiles[0], self._laid.tiles[-1]
        left = tile.left + (half if tile.column > first.column else 0.0)
        right = tile.right - (half if tile.column < last.column else 0.0)
        bottom = tile.bottom + (half if tile.row < last.row else 0.0)
        top = tile.top - (half if tile.row > first.row else 0.0)
        (px, py), (qx, qy) = (np.array([[left, bottom], [right, top]]) - low) * scale + corner
        return f"{number(px)} {number(py)} {number(qx - px)} {number(qy - py)} re"

    def _names(self, corner: Any, low: Any, scale: float, size: float) -> None:
        """Write the name of each sheet into the lower left corner of its cell."""
        half = self._laid.overlap / 2
        for tile in self._laid.tiles:
            left = tile.left + (half if tile.column > 0 else 0.0)
            bottom = tile.bottom + (half if tile.row < self._laid.rows - 1 else 0.0)
            px, py = (np.array([left, bottom]) - low) * scale + corner + 0.12 * size
            self._text(px, py, tile.name, size, bold=tile in self._kept)

    def _paper(self, *operators: str) -> None:
        """Put operators whose numbers are millimetres of the paper."""
        self._canvas.addLiteral(f"q {POINTS_PER_MM:.10f} 0 0 {POINTS_PER_MM:.10f} 0 0 cm")
        for operator in operators:
            self._canvas.addLiteral(operator)
        self._canvas.addLiteral("Q")

    def _text(self, x: float, y: float, text: str, size: float, *, bold: bool = False, anchor: str = "start") -> None:
        canvas = self._canvas
        canvas.setFont(_BOLD if bold else _FULL, size)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[anchor]
        draw(x * POINTS_PER_MM, y * POINTS_PER_MM, text)

    def _paragraphs(
        self, x: float, y: float, texts: Sequence[str], size: float, width: float, *, most: int = 99
    ) -> float:
        """Write paragraphs from a baseline down; return the baseline below them."""
        from reportlab.lib.utils import simpleSplit

        lines = [line for text in texts for line in simpleSplit(text, _FULL, size, width * POINTS_PER_MM)]
        for line in lines[:most]:
            self._text(x, y, line, size)
            y -= 0.42 * size
        return y


def _counted(count: int, one: str) -> str:
    return f"{count} {one}{'' if count == 1 else 's'}"


def _polyline(run: Any) -> str:
    points = [f"{number(px)} {number(py)}" for px, py in run.tolist()]
    return f"{points[0]} m " + " ".join(f"{point} l" for point in points[1:]) + " s"


def fitted(text: str, font: str, size: float, width: float) -> str:
    """Return text cut to a width [mm], with three dots where something is missing."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    room = width * POINTS_PER_MM
    if stringWidth(text, font, size) <= room:
        return text
    while text and stringWidth(f"{text}...", font, size) > room:
        text = text[:-1]
    return f"{text}..."
