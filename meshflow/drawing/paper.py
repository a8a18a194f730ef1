"""Sheets of paper, and how a drawing at true size is spread over several of them.

Terms: a *window* is the part of the drawing that one sheet of paper shows; neighbouring windows share an *overlap*;
a *seam* is the middle of an overlap, where one print is cut and laid on the other. Rows are lettered from the top, A
first, columns are numbered from the left: ``B3`` is the third sheet of the second row.

Convention: millimetres; a paper size is width by height, upright. The correction of a printer is a factor by which a
print is enlarged: a bar of 100 mm that measures 99.2 mm asks for 100 / 99.2.

Source: the sizes stand in the stock tables with their marks (ISO 216 for the A sizes), and so does what a printer
leaves white (6 mm, COMMON_PRACTICE); the strips at the foot and on the left keep clear of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from meshflow.errors import OptionError
from meshflow.model.stock import Sheet

__all__ = ["BAR_MM", "PAPERS", "PaperName", "Spread", "Tile", "bars_of", "correction", "paper_size", "spread"]

PaperName = Literal["A4", "A3", "A2", "A1", "A0", "Letter"]
PAPERS: Final[tuple[PaperName, ...]] = get_args(PaperName)
BAR_MM: Final = 100.0

_EDGE: Final = 7.0  # white edge of the paper: what printers leave, and a millimetre
_FOOT: Final = 30.0  # strip with the title, the bar across and the map
_SIDE: Final = 8.0  # strip with the bar upwards
_MOST_TILES: Final = 400
_MISREAD: Final = (80.0, 125.0)


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet of paper.

    Parameters
    ----------
    row, column : int
        From 0; rows from the top.
    name : str
        Such as ``B3``.
    left, bottom, right, top : float
        Its window, in the drawing [mm].
    """

    row: int
    column: int
    name: str
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True)
class Spread:
    """A drawing spread over sheets of paper.

    Parameters
    ----------
    paper_width, paper_height : float
        The paper as it lies [mm].
    scale : (float, float)
        Factors across and upwards that make up for the printer.
    rows, columns : int
        Sheets of paper upwards and across.
    overlap : float
        Width of the strip that neighbours share [mm].
    tiles : tuple of Tile
        Row by row from the top left.
    corner : (float, float)
        Lower left corner of the window on the paper [mm of paper].
    """

    paper_width: float
    paper_height: float
    scale: tuple[float, float]
    rows: int
    columns: int
    overlap: float
    tiles: tuple[Tile, ...]
    corner: tuple[float, float] = (_EDGE + _SIDE, _EDGE + _FOOT)

    @property
    def column_seams(self) -> tuple[float, ...]:
        """The x of the seams between columns [mm]."""
        tops = self.tiles[: self.columns]
        return tuple(tile.right - self.overlap / 2 for tile in tops[:-1])

    @property
    def row_seams(self) -> tuple[float, ...]:
        """The y of the seams between rows, from the top down [mm]."""
        firsts = self.tiles[:: self.columns]
        return tuple(tile.bottom + self.overlap / 2 for tile in firsts[:-1])


def paper_size(name: str) -> Sheet:
    """Return a size of paper of the stock tables by its name; capitals do not matter.

    Returns
    -------
    Sheet
        Upright: its length is the width of the paper.

    Raises
    ------
    OptionError
        If there is none of that name.

    Examples
    --------
    >>> paper_size("a4").length_mm, paper_size("A4").width_mm
    (210.0, 297.0)
    """
    from meshflow.stock.load import load_stock

    asked = name.strip().lower()
    if asked not in (known.lower() for known in PAPERS):
        raise OptionError(f'I know no paper called "{name}".', remedy=f"Say one of {', '.join(PAPERS)}.")
    return load_stock().sheet(asked)


def correction(readings: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return by how much to enlarge a print, across and upwards, from what its two bars measure.

    Parameters
    ----------
    readings : sequence of (float, float)
        Length of the bar across and of the bar upwards, each meant to be 100 mm [mm]. A second reading is that of the
        print that the first one corrected.

    Returns
    -------
    (float, float)
        Factors; 1 without a reading.

    Raises
    ------
    OptionError
        If a reading, or all of them together, is more than a quarter off: that is no matter of a printer's accuracy.

    Examples
    --------
    >>> [round(factor, 4) for factor in correction([(99.2, 100.1)])]
    [1.0081, 0.999]
    """
    least, most = _MISREAD
    factors = []
    for axis, way in enumerate(("across", "upwards")):
        factor = 1.0
        for reading in readings:
            if not least <= reading[axis] <= most:
                raise OptionError(
                    f"the bar {way} is said to measure {reading[axis]:g} mm; it is drawn {BAR_MM:g} mm long.",
                    remedy="Print at 100 % (not fitted to the page), measure in millimetres from tick to tick.",
                )
            factor *= BAR_MM / reading[axis]
        if not 100.0 / most <= factor <= 100.0 / least:
            raise OptionError(
                f"together the readings {way} ask for {100 * factor:.1f} % of the size.",
                remedy="Give the readings of one print, or of each print corrected by the one before.",
            )
        factors.append(factor)
    return factors[0], factors[1]


def bars_of(text: str) -> tuple[tuple[float, float], ...]:
    """Return the readings that a text says, and see that they can be right.

    Parameters
    ----------
    text : str
        ``ACROSSxUP`` in millimetres, as often as a print was corrected, with blanks between.

    Raises
    ------
    OptionError
        If it says something else, or `correction` refuses it.

    Examples
    --------
    >>> bars_of("99.2x100.1")
    ((99.2, 100.1),)
    """
    readings = []
    for word in text.split():
        parts = word.lower().split("x")
        try:
            across, up = (float(part) for part in parts)
        except ValueError:
            raise OptionError(
                f'"{word}" does not say what two bars measure.',
                remedy="Say across x upwards in mm, such as 99.2x100.1.",
            ) from None
        readings.append((across, up))
    if not readings:
        raise OptionError("no reading of the bars.", remedy="Say across x upwards in mm, such as 99.2x100.1.")
    correction(readings)
    return tuple(readings)


def spread(
    extents: tuple[float, float, float, float],
    paper: Sheet,
    *,
    overlap: float = 10.0,
    scale: tuple[float, float] = (1.0, 1.0),
) -> Spread:
    """Return how a drawing lies on sheets of paper: upright or lying, whichever needs fewer.

    Parameters
    ----------
    extents : (float, float, float, float)
        Least x, least y, greatest x, greatest y of what is drawn, the width of its lines included [mm].
    paper : Sheet
        The paper, see `paper_size`.
    overlap : float
        Width of the strip that neighbours share [mm].
    scale : (float, float)
        See `correction`.

    Returns
    -------
    Spread
        The windows cover the drawing, which lies in the middle of them.

    Raises
    ------
    OptionError
        If the overlap is not between 4 and 40 mm, or it takes more than 400 sheets of paper.
    """
    if not 4.0 <= overlap <= 40.0:
        raise OptionError(f"an overlap of {overlap:g} mm.", remedy="Say 4 to 40 mm; 10 is usual.")
    upright = _laid(extents, (paper.length_mm, paper.width_mm), overlap, scale)
    lying = _laid(extents, (paper.width_mm, paper.length_mm), overlap, scale)
    found = lying if lying.rows * lying.columns < upright.rows * upright.columns else upright
    if not found.tiles:
        raise OptionError(
            f"it would take {found.rows * found.columns} sheets of {paper.name} paper.",
            remedy="Take larger paper, or print the parts one by one.",
        )
    return found


def _laid(
    extents: tuple[float, float, float, float],
    paper: tuple[float, float],
    overlap: float,
    scale: tuple[float, float],
) -> Spread:
    left, bottom, right, top = extents
    across, up = (paper[0] - 2 * _EDGE - _SIDE) / scale[0], (paper[1] - 2 * _EDGE - _FOOT) / scale[1]
    columns, rows = _count(right - left, across, overlap), _count(top - bottom, up, overlap)
    if rows * columns > _MOST_TILES:
        return Spread(*paper, scale, rows, columns, overlap, ())
    first_x = 0.5 * (left + right) - 0.5 * (columns * (across - overlap) + overlap)
    first_y = 0.5 * (bottom + top) + 0.5 * (rows * (up - overlap) + overlap)
    tiles = tuple(
        Tile(
            row,
            column,
            f"{_letters(row)}{column + 1}",
            first_x + column * (across - overlap),
            first_y - row * (up - overlap) - up,
            first_x + column * (across - overlap) + across,
            first_y - row * (up - overlap),
        )
        for row in range(rows)
        for column in range(columns)
    )
    return Spread(*paper, scale, rows, columns, overlap, tiles)


def _count(size: float, window: float, overlap: float) -> int:
    return max(1, math.ceil((size - overlap) / (window - overlap) - 1e-9))


def _letters(row: int) -> str:
    """Return A, B ... Z, AA, AB ... for a row counted from 0."""
    head = _letters(row // 26 - 1) if row >= 26 else ""
    return head + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[row % 26]
