"""A page for the shop: a sketch of the drawing, a few facts, tables and cautions, as PDF.

Terms: a *block* is one of `Sketch`, `Facts`, `Table` or `Notes`; blocks stand under one another, as the caller gives
them. Nothing here is at true size, and every sketch says so: the drawing itself is the DXF file.

Convention: the page is upright; measures are millimetres. What does not fit on a page goes on to the next one, unless
`one_page` is asked for: then rows of tables are left out at their end, and the page says how many.

Source: ISO 32000-1; drawn with reportlab (BSD), with the fonts that every PDF reader brings along.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, Final, TypeAlias

import numpy as np

from meshflow.drawing.layers import LineStyle
from meshflow.drawing.paper import PaperName, paper_size
from meshflow.drawing.pdf_page import fitted
from meshflow.drawing.pdf_path import PAPER_STYLES, POINTS_PER_MM, line_operators, number, path_operators, style
from meshflow.model.drawing import Drawing, Layer

__all__ = ["Block", "Facts", "Notes", "Sketch", "Table", "card_bytes"]

_EDGE: Final = 15.0
_FULL, _BOLD = "Helvetica", "Helvetica-Bold"
_SIZE: Final = 8.5
_LEAST_ROW: Final = 2.6  # below it a row cannot be read [mm]


@dataclass(frozen=True)
class Sketch:
    """A drawing, as large as it fits.

    Parameters
    ----------
    drawing : Drawing
        What to show.
    labels : tuple of (float, float, str)
        Words at places of the drawing [mm].
    most_height : float
        Greatest height on the page [mm].
    """

    drawing: Drawing
    labels: tuple[tuple[float, float, str], ...] = ()
    most_height: float = 95.0


@dataclass(frozen=True)
class Facts:
    """Lines of a name and what it is.

    Parameters
    ----------
    rows : tuple of (str, str)
        Name and words.
    """

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Rows under a heading.

    Parameters
    ----------
    header : tuple of str
        Names of the columns.
    rows : tuple of tuple of str
        What stands in them.
    shares : tuple of float
        Share of the width of each column; their sum is 1.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class Notes:
    """Sentences, such as cautions.

    Parameters
    ----------
    heading : str
        What they are.
    texts : tuple of str
        A paragraph each.
    """

    heading: str
    texts: tuple[str, ...]


Block: TypeAlias = Sketch | Facts | Table | Notes


def card_bytes(
    title: str, subtitle: str, blocks: Sequence[Block], *, paper: PaperName = "A4", one_page: bool = False
) -> bytes:
    """Return a PDF file of blocks under a title.

    Parameters
    ----------
    title, subtitle : str
        Stand at the head of each page.
    blocks : sequence of Sketch, Facts, Table or Notes
        From top to bottom.
    paper : str
        Paper, upright.
    one_page : bool
        Whether everything has to stand on one page.

    Returns
    -------
    bytes
        The same for the same input.

    Raises
    ------
    OptionError
        If the paper is unknown.

    Examples
    --------
    >>> card_bytes("Order", "two sheets", [Facts((("Material", "copper"),))])[:5]
    b'%PDF-'
    """
    stream = BytesIO()
    page = _Page(stream, printable(title), printable(subtitle), paper, one_page)
    for place, block in enumerate(blocks):
        page.put(block, after=sum(_least_height(other, page.width) for other in blocks[place + 1 :]))
    page.close()
    return stream.getvalue()


def printable(text: str) -> str:
    """Return text with the letters of the built-in fonts (Windows code page 1252); others become a question mark."""
    return text.encode("cp1252", errors="replace").decode("cp1252")


class _Page:
    """Writes blocks from the top of a page downwards."""

    def __init__(self, stream: BytesIO, title: str, subtitle: str, paper: PaperName, one_page: bool) -> None:
        from reportlab.pdfgen.canvas import Canvas

        size = paper_size(paper)
        self._height, self.width = size.width_mm, size.length_mm - 2 * _EDGE
        points = (size.length_mm * POINTS_PER_MM, size.width_mm * POINTS_PER_MM)
        self._canvas: Any = Canvas(stream, pagesize=points, invariant=1, pageCompression=0)
        self._canvas.setTitle(title)
        self._canvas.setAuthor("meshflow")
        self._title, self._subtitle, self._one_page, self._number = title, subtitle, one_page, 0
        self._start()

    def close(self) -> None:
        self._canvas.showPage()
        self._canvas.save()

    def _start(self) -> None:
        self._number += 1
        top = self._height - _EDGE
        self._text(_EDGE, top - 5.0, fitted(self._title, _BOLD, 15, self.width), 15, bold=True)
        self._text(_EDGE, top - 10.5, fitted(self._subtitle, _FULL, 9, self.width - 22), 9)
        if self._number > 1:
            self._text(_EDGE + self.width, top - 10.5, f"page {self._number}", 9, anchor="end")
        self._line(top - 12.5, 0.25)
        self._y = top - 17.0

    @property
    def _room(self) -> float:
        return self._y - _EDGE

    def _break(self, needed: float) -> None:
        """Go on to the next page if `needed` millimetres are not left."""
        if not self._one_page and self._room < needed and self._y < self._height - _EDGE - 17.0:
            self._canvas.showPage()
            self._start()

    def put(self, block: Block, *, after: float) -> None:
        """Write a block; `after` is what the blocks behind it need at least [mm]."""
        if isinstance(block, Sketch):
            self._sketch(block, after)
        elif isinstance(block, Facts):
            self._facts(block)
        elif isinstance(block, Table):
            self._table(block, after)
        else:
            self._notes(block)
        self._y -= 2.5

    def _sketch(self, block: Sketch, after: float) -> None:
        left, bottom, right, top = block.drawing.extents
        size = np.maximum([right - left, top - bottom], 1e-3)
        most = max(25.0, min(block.most_height, self._room - after - 10.0))
        scale = float(min(self.width / size[0], most / size[1]))
        self._break(size[1] * scale + 8.0)
        x, y = _EDGE + 0.5 * (self.width - scale * size[0]), self._y - scale * size[1]
        sx = POINTS_PER_MM * scale
        put = self._canvas.addLiteral
        put(f"q {sx:.10f} 0 0 {sx:.10f} {POINTS_PER_MM * x - sx * left:.6f} {POINTS_PER_MM * y - sx * bottom:.6f} cm")
        for stroke in block.drawing.strokes:
            look = PAPER_STYLES[stroke.layer]
            wide = LineStyle(0.6 * look.width / scale, tuple(0.5 * dash / scale for dash in look.dashes))
            if stroke.layer is not Layer.MARK_TEXT or (scale > 0.3 and not block.labels):  # smaller, it is a smear
                put(f"{style(wide)} {path_operators(stroke.curve)} S")
        put("Q")
        for at_x, at_y, words in block.labels:
            self._label(x + scale * (at_x - left), y + scale * (at_y - bottom), printable(words))
        self._y = y - 3.5
        self._text(_EDGE + self.width, self._y, "sketch, not at true size", 7, anchor="end")

    def _label(self, x: float, y: float, words: str) -> None:
        """Write a label on a white ground, so that it is read across lines."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        wide = stringWidth(words, _BOLD, 8) / POINTS_PER_MM + 1.0
        box = f"{number(x - wide / 2)} {number(y - 1.6)} {number(wide)} 3.2 re f"
        self._canvas.addLiteral(f"q {POINTS_PER_MM:.10f} 0 0 {POINTS_PER_MM:.10f} 0 0 cm 1 g {box} Q")
        self._text(x, y - 1.0, words, 8, bold=True, anchor="middle")

    def _facts(self, block: Facts) -> None:
        label = 36.0
        for name, words in block.rows:
            lines = self._lines(words, _SIZE, self.width - label)
            self._break(3.7 * len(lines))
            self._text(_EDGE, self._y, printable(name), _SIZE, bold=True)
            for line in lines:
                self._text(_EDGE + label, self._y, line, _SIZE)
                self._y -= 3.7

    def _table(self, block: Table, after: float) -> None:
        rows, step = list(block.rows), 3.9
        if self._one_page:
            room = self._room - after - 9.0
            step = float(np.clip(room / max(1, len(rows)), _LEAST_ROW, 3.9))
            fit = max(1, int(room / step))
            if len(rows) > fit:
                said = f"and {len(rows) - fit + 1} more, listed in the order"
                rows = [*rows[: fit - 1], (said, *("" for _ in block.header[1:]))]
        self._break(3 * step + 6.0)
        self._header(block)
        for row in rows:
            if not self._one_page and self._room < step:
                self._break(step)
                self._header(block)
            self._row(row, block.shares, min(_SIZE, 2.15 * step), bold=False, whole=len(rows) < len(block.rows))
            self._y -= step

    def _header(self, block: Table) -> None:
        self._row(block.header, block.shares, _SIZE, bold=True)
        self._line(self._y - 1.3, 0.18)
        self._y -= 4.6

    def _row(
        self, cells: Sequence[str], shares: Sequence[float], size: float, *, bold: bool, whole: bool = False
    ) -> None:
        x = _EDGE
        for cell, share in zip(cells, shares, strict=True):
            wide = share * self.width
            alone = whole and not any(cells[1:])
            words = fitted(printable(cell), _BOLD if bold else _FULL, size, self.width if alone else wide - 1.5)
            self._text(x, self._y, words, size, bold=bold)
            x += wide

    def _notes(self, block: Notes) -> None:
        if not block.texts:
            return
        lines = [self._lines(text, 8.0, self.width) for text in block.texts]
        self._break(3.5 * len(lines[0]) + 5.0)
        self._text(_EDGE, self._y, printable(block.heading), _SIZE, bold=True)
        self._y -= 3.9
        for paragraph in lines:
            self._break(3.5 * len(paragraph))
            for line in paragraph:
                self._text(_EDGE, self._y, line, 8.0)
                self._y -= 3.5
            self._y -= 0.6

    def _lines(self, text: str, size: float, width: float) -> list[str]:
        return _broken(text, size, width)

    def _line(self, y: float, width: float) -> None:
        self._canvas.addLiteral(
            f"q {POINTS_PER_MM:.10f} 0 0 {POINTS_PER_MM:.10f} 0 0 cm {style(LineStyle(width))} "
            f"{line_operators((_EDGE, y), (_EDGE + self.width, y))} Q"
        )

    def _text(self, x: float, y: float, text: str, size: float, *, bold: bool = False, anchor: str = "start") -> None:
        canvas = self._canvas
        canvas.setFont(_BOLD if bold else _FULL, size)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}[anchor]
        draw(x * POINTS_PER_MM, y * POINTS_PER_MM, text)


def _broken(text: str, size: float, width: float) -> list[str]:
    """Return text as lines of a width [mm]; a word that is longer is cut."""
    from reportlab.lib.utils import simpleSplit

    return [
        fitted(line, _FULL, size, width)
        for line in simpleSplit(printable(text), _FULL, size, width * POINTS_PER_MM) or [""]
    ]


def _least_height(block: Block, width: float) -> float:
    """Return the height that a block needs at least [mm]."""
    if isinstance(block, Sketch):
        return 37.0
    if isinstance(block, Facts):
        return 2.5 + 3.7 * sum(len(_broken(words, _SIZE, width - 36.0)) for _, words in block.rows)
    if isinstance(block, Table):
        return 9.0 + 3.9 * min(len(block.rows), 8)
    return 2.5 + (3.9 + sum(3.5 * len(_broken(text, 8.0, width)) + 0.6 for text in block.texts) if block.texts else 0.0)
