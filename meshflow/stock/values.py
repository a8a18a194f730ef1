"""Read one value of a stock file: a text, a length, a number with a unit.

Each function returns the value or raises `CellError`, whose text says what is wrong and what to write instead.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable
from typing import Any

from meshflow.errors import UnitError
from meshflow.units import length_mm

__all__ = [
    "HEADER_READERS",
    "SLIP",
    "CellError",
    "as_fact_value",
    "as_text",
    "closest",
    "known_hint",
    "one_of",
    "shown",
]

SLIP = 0.8  # likeness (difflib's ratio) from which a word counts as a slip of the pen for another

_MOST_BY_UNIT = {"share of length": 1.0, "share of t": 1.0, "%": 100.0}
_COLDEST = -273.15
_LONGEST_SHOWN = 60
_MOST_SHEETS = 1_000_000


class CellError(Exception):
    """A value that cannot be used; the text says why."""


def closest(word: str, known: Iterable[str], *, cutoff: float = 0.6) -> str:
    """Return ``" Did you mean x?"`` for a slip of `word`, ``x or y`` for vaguer matches, or an empty text."""
    names = {name.lower(): name for name in known}
    slip = difflib.get_close_matches(word.lower(), names, n=1, cutoff=SLIP)
    found = slip or difflib.get_close_matches(word.lower(), names, n=3, cutoff=cutoff)
    return f" Did you mean {' or '.join(names[name] for name in found)}?" if found else ""


def known_hint(word: str, known: Iterable[str]) -> str:
    """Return the close matches of `word`, or all that is known when nothing is close."""
    names = list(known)
    return closest(word, names) or f" Known: {', '.join(names)}."


def shown(value: Any) -> str:
    """Return a value as it may be printed: short, on one line, without control characters."""
    text = str(value).lower() if isinstance(value, bool) else str(value)
    text = "".join(letter if letter.isprintable() else "?" for letter in text)
    text = text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 3]}..."
    return f'"{text}"' if isinstance(value, str) else text


def as_text(value: Any) -> str:
    """Return a text of one line."""
    if not isinstance(value, str):
        raise CellError(f'{shown(value)} is not a text: put it in "quotes".')
    if not value.isprintable():
        raise CellError("the text holds a line break or a control character: write it on one line.")
    return value


def as_fact_value(
    value: Any, unit: str, *, text: bool, single: bool, holes: bool = False
) -> float | str | tuple[float, ...]:
    """Return the value of a fact: a text, a number, or a list of numbers.

    Parameters
    ----------
    value : object
        As read from the file.
    unit : str
        Its unit; a value in mm may be a text with a unit of its own, such as ``"1/16 in"``.
    text : bool
        Whether a sentence is wanted.
    single : bool
        Whether it must be one number.
    holes : bool
        Whether NaN may stand for an empty cell.

    Returns
    -------
    float, str or tuple of float
        The value.

    Raises
    ------
    CellError
        If it cannot be used.
    """
    if text:
        return as_text(value)
    if not isinstance(value, list):
        return _number(value, unit)
    if single:
        raise CellError("this must be one number, not a list.")
    if not value:
        raise CellError("the list is empty.")
    return tuple(item if holes and item != item else _number(item, unit) for item in value)


def one_of(what: str, value: Any, known: tuple[str, ...]) -> str:
    """Return `value` if it is one of the `known` words."""
    if value not in known:
        raise CellError(f"{shown(value)} is no {what}.{known_hint(str(value), [name for name in known if name])}")
    return str(value)


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise CellError(f'{shown(value)} is not a list of texts, such as ["copper", "brass"].')
    return tuple(as_text(item) for item in value)


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise CellError(f"{shown(value)} is neither true nor false.")
    return value


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= _MOST_SHEETS:
        raise CellError(f"{shown(value)} is not a whole number from 0 to {_MOST_SHEETS}.")
    return value


def _length(value: Any) -> float:
    number = _number(value, "mm")
    if number <= 0:
        raise CellError(f"{shown(value)} is not a length of material: it must be over 0 mm.")
    return number


def _numbers(value: Any) -> tuple[float, ...]:
    return tuple(float(item) for item in value)


HEADER_READERS = {
    "text": as_text,
    "texts": _texts,
    "flag": _flag,
    "count": _count,
    "length": _length,
    "numbers": _numbers,
}


def _number(value: Any, unit: str) -> float:
    if isinstance(value, str) and unit == "mm":
        try:
            return length_mm(value)
        except UnitError as error:
            raise CellError(str(error)) from error
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise CellError(f"{shown(value)} is not a number.")
    number = _as_float(value)
    _check_range(number, unit, value)
    return number


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _check_range(number: float, unit: str, value: Any) -> None:
    least = _COLDEST if unit == "degC" else 0.0
    if not math.isfinite(number) or number < least:
        raise CellError(f"{shown(value)} is out of range: give a finite number, {least:g} or more.")
    most = _MOST_BY_UNIT.get(unit, math.inf)
    if number > most and unit.startswith("share"):
        raise CellError(f"{shown(value)} is no {unit}: write {number / 100:g} for {number:g} %.")
    if number > most:
        raise CellError(f"{shown(value)} is over {most:g} {unit}.")
