"""How layers look and in what order they stand, and text that every reader of a drawing file can take.

Terms: a *layer* is named for what is done with its curves (see `meshflow.model.drawing`). Colours carry no meaning,
so that a black and white print loses nothing: layers differ by the width and the dashes of their lines. The widths
are steps of the series 0.13, 0.18, 0.25, 0.35, 0.5 mm of technical drawing (ISO 128), dashes are our own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from meshflow.errors import DrawingFileError
from meshflow.model.drawing import GRADES, LAYERS, Layer, Stroke

__all__ = ["LINE_STYLES", "LineStyle", "ascii_line", "cut_rank", "grade_dashes", "grade_of"]


@dataclass(frozen=True, slots=True)
class LineStyle:
    """Look of a layer in a picture.

    Parameters
    ----------
    width : float
        Line width [mm].
    dashes : tuple of float
        Lengths of dashes and gaps in turn [mm]; empty for a full line.
    """

    width: float
    dashes: tuple[float, ...] = ()


_GRADE: Final = re.compile(r"GRADE[ _-]?([1-9])")


def grade_of(layer: str) -> int:
    """Return the grade that a layer is named for, in any of the ways drawings write it; 0 for any other layer.

    Examples
    --------
    >>> grade_of("GRADE_2"), grade_of("GRADE 3"), grade_of("NOTE")
    (2, 3, 0)
    """
    found = _GRADE.fullmatch(layer)
    return int(found[1]) if found else 0


def grade_dashes(grade: int) -> tuple[float, ...]:
    """Return the dashes of the line round a zone [mm]: a long one, then as many short ones as its grade says."""
    return (7.0, 1.0, *(0.4, 1.0) * grade)


LINE_STYLES: Final[Mapping[Layer, LineStyle]] = MappingProxyType(
    {
        Layer.MARK_TEXT: LineStyle(0.13),
        Layer.MARK_LINE: LineStyle(0.18),
        Layer.RELIEF_LINE: LineStyle(0.13, (4.0, 0.6)),
        Layer.FOLD_LINE: LineStyle(0.18, (3.0, 1.5)),
        Layer.BEND_LINE: LineStyle(0.18, (6.0, 1.0, 1.0, 1.0)),
        Layer.SKIVE_LINE: LineStyle(0.18, (1.0, 1.0)),
        Layer.STITCH_POINT: LineStyle(0.5),
        Layer.HOLE_POINT: LineStyle(0.7),
        Layer.TAB_POINT: LineStyle(1.0),
        Layer.CUT_INSIDE: LineStyle(0.25),
        Layer.CUT_OUTSIDE: LineStyle(0.35),
        Layer.LEAD_LINE: LineStyle(0.13, (1.0, 0.5)),
        Layer.ALIGN_MARK: LineStyle(0.13, (8.0, 1.0, 0.5, 1.0)),
        Layer.SHEET_EDGE: LineStyle(0.13, (10.0, 2.0, 2.0, 2.0)),
        Layer.BACKBONE: LineStyle(0.13, (14.0, 1.5, 1.0, 1.5)),
        **{layer: LineStyle(0.13, grade_dashes(grade)) for grade, layer in enumerate(GRADES, start=1)},
        Layer.NOTE: LineStyle(0.13, (0.5, 0.5)),
    }
)

# Letters that Unicode does not take apart into an ASCII letter and an accent.
_SPELLED: Final = str.maketrans(
    {
        "ß": "ss",
        "æ": "ae",
        "Æ": "AE",
        "œ": "oe",
        "Œ": "OE",
        "ø": "o",
        "Ø": "O",
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "Đ": "D",
        "þ": "th",
        "ð": "d",
        "ı": "i",
        "×": "x",
        "°": " deg",
        "±": "+-",
        "µ": "u",
        "μ": "u",
        "⁄": "/",
        "–": "-",
        "—": "-",
        "−": "-",
        "‘": "'",
        "’": "'",
        "“": '"',
        "”": '"',
    }
)


def ascii_line(text: str) -> str:
    """Return `text` as one line of printable ASCII, which old drawing readers expect.

    Accents are dropped and a few letters spelled out (ß becomes ss); white space becomes single blanks, so that a
    line break in a name cannot end a record of the file.

    Parameters
    ----------
    text : str
        A name, a comment.

    Returns
    -------
    str
        Characters 32 to 126 only.

    Raises
    ------
    DrawingFileError
        If a character has no ASCII spelling here.

    Examples
    --------
    >>> ascii_line("Träger 3×2 mm")
    'Trager 3x2 mm'
    """
    apart = unicodedata.normalize("NFKD", text.translate(_SPELLED))
    plain = " ".join("".join(sign for sign in apart if not unicodedata.combining(sign)).split())
    strange = [sign for sign in plain if not 32 <= ord(sign) <= 126]
    if strange:
        raise DrawingFileError(
            f"the text {text!r} holds {strange[0]!r} (U+{ord(strange[0]):04X}), which a drawing file cannot carry.",
            remedy="Write names and notes with the letters A to Z, digits and plain signs.",
        )
    return plain


_RANK: Final = {layer: rank for rank, layer in enumerate(LAYERS)}


def cut_rank(stroke: Stroke) -> tuple[int, int, int]:
    """Return what the strokes of a file are sorted by: layer, but contours of parts in holes whole before all others.

    Parameters
    ----------
    stroke : Stroke
        One of them.

    Returns
    -------
    tuple of int
        Less is earlier.
    """
    if stroke.layer in (Layer.CUT_INSIDE, Layer.CUT_OUTSIDE):
        return _RANK[Layer.CUT_INSIDE], -stroke.depth, _RANK[stroke.layer]
    return _RANK[stroke.layer], 0, 0
