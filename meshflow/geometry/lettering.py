"""Single-stroke letters for marking: a needle, a graver or a laser line follows the stroke itself.

Terms: the *cap height* is the height of a capital; the *baseline* is the line the capitals stand on. Live text is
never written to a cut file: a shop's machine may lack the font, or cut it.

The alphabet is our own, drawn on a grid of 4 by 6 cells: capitals, digits and the signs of part names. A glyph is a
few open strokes, each a row of grid points written as two digits, column and row; nothing hangs below the baseline.
Small letters are drawn as capitals; zero is crossed so that it is not read as the letter O.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.transforms import turn_matrix
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Polycurve

__all__ = ["GLYPHS", "strokes", "text_width"]

_ROWS: Final = 6.0
_GAP: Final = 1.8
_SPACE: Final = 2.4

GLYPHS: Final[dict[str, str]] = {
    "A": "00 03 26 43 40|02 42",
    "B": "00 06 36 45 44 33 03|33 42 41 30 00",
    "C": "45 36 16 05 01 10 30 41",
    "D": "00 06 26 44 42 20 00",
    "E": "46 06 00 40|03 33",
    "F": "46 06 00|03 33",
    "G": "45 36 16 05 01 10 30 41 43 23",
    "H": "00 06|40 46|03 43",
    "I": "00 20|06 26|10 16",
    "J": "01 10 20 31 36|16 36",
    "K": "00 06|46 02|13 40",
    "L": "06 00 40",
    "M": "00 06 23 46 40",
    "N": "00 06 40 46",
    "O": "10 01 05 16 36 45 41 30 10",
    "P": "00 06 36 45 44 33 03",
    "Q": "10 01 05 16 36 45 41 30 10|22 40",
    "R": "00 06 36 45 44 33 03|23 40",
    "S": "45 36 16 05 04 13 33 42 41 30 10 01",
    "T": "06 46|26 20",
    "U": "06 01 10 30 41 46",
    "V": "06 20 46",
    "W": "06 10 24 30 46",
    "X": "00 46|06 40",
    "Y": "06 23 46|23 20",
    "Z": "06 46 00 40",
    "0": "10 01 05 16 36 45 41 30 10|01 45",
    "1": "04 26 20|00 40",
    "2": "05 16 36 45 44 00 40",
    "3": "05 16 36 45 44 33 13|33 42 41 30 10 01",
    "4": "30 36 02 42",
    "5": "46 06 03 33 42 41 30 10 01",
    "6": "45 36 16 05 01 10 30 41 42 33 13 02",
    "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33",
    "9": "01 10 30 41 45 36 16 05 04 13 33 44",
    ".": "00 10 11 01 00",
    ",": "12 11 00",
    ":": "01 11 12 02 01|04 14 15 05 04",
    "-": "03 33",
    "_": "00 40",
    "/": "00 46",
    "+": "03 43|21 25",
    "=": "02 42|04 44",
    "(": "16 05 01 10",
    ")": "06 15 11 00",
    "%": "00 46|05 06 16 15 05|30 31 41 40 30",
    "#": "10 16|30 36|02 42|04 44",
}


def strokes(
    text: str, *, cap_height: float, origin: Sequence[float] = (0.0, 0.0), angle: float = 0.0
) -> tuple[Polycurve, ...]:
    """Return the open strokes of a line of text.

    Parameters
    ----------
    text : str
        ASCII letters, digits, space and ``. , : - _ / + = ( ) % #``.
    cap_height : float
        Height of a capital [mm].
    origin : (float, float)
        Left end of the baseline [mm].
    angle : float
        Direction of the baseline, counter-clockwise from x [rad].

    Returns
    -------
    tuple of Polycurve
        Open, straight-sided, in reading order.

    Raises
    ------
    OptionError
        If a character has no glyph here, or the cap height is not positive.

    Examples
    --------
    >>> [line.points.tolist() for line in strokes("L", cap_height=3.0)]
    [[[0.0, 3.0], [0.0, 0.0], [2.0, 0.0]]]
    """
    scale = _scale(cap_height)
    matrix, start = turn_matrix(angle).T * scale, np.asarray(origin, dtype=np.float64)
    result: list[Polycurve] = []
    at = 0.0
    for character in text:
        runs = _runs(character, text)
        shift = np.array([at, 0.0])
        result.extend(Polycurve((run + shift) @ matrix + start, closed=False) for run in runs)
        at += _advance(runs)
    return tuple(result)


def text_width(text: str, *, cap_height: float) -> float:
    """Return how wide `strokes` draws a line of text, from its first stroke to its last [mm].

    Raises
    ------
    OptionError
        As `strokes` does.

    Examples
    --------
    >>> text_width("L", cap_height=3.0)
    2.0
    """
    scale = _scale(cap_height)
    return max(0.0, sum(_advance(_runs(character, text)) for character in text) - _GAP) * scale


def _scale(cap_height: float) -> float:
    if not (np.isfinite(cap_height) and cap_height > 0.0):
        raise OptionError(f"a cap height of {cap_height} mm cannot be drawn.", remedy="Give 2 mm or more.")
    return float(cap_height) / _ROWS


def _runs(character: str, text: str) -> list[FloatArray]:
    """Return the strokes of one character on the grid."""
    if character == " ":
        return []
    glyph = GLYPHS.get(character.upper() if character.isascii() else character)
    if glyph is None:
        raise OptionError(
            f'the character {character!r} of "{text}" cannot be marked: there is no stroke letter for it.',
            remedy="Use ASCII letters, digits, space and . , : - _ / + = ( ) % #",
        )
    return [np.array([[float(pair[0]), float(pair[1])] for pair in run.split()]) for run in glyph.split("|")]


def _advance(runs: list[FloatArray]) -> float:
    return (max(float(run[:, 0].max()) for run in runs) if runs else _SPACE) + _GAP
