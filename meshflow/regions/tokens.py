"""Words of a selector: `key=value` apart from signs, quoted names put back together, numbers read.

Convention: words are parted by spaces; a value may stand in single or double quotes and then holds spaces and signs.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from meshflow.errors import SelectionError

__all__ = ["LARGEST", "Word", "numbers_of", "shown_name", "words_of"]

LARGEST = 1e12  # a thousand kilometres; beyond, squares of lengths are no longer numbers
_WORD = re.compile(r"""(?P<key>[A-Za-z]+)=(?:"(?P<double>[^"]*)"|'(?P<single>[^']*)'|(?P<plain>[^\s"']*))(?=\s|$)""")
_SIGN = re.compile(r"(?P<bare>[^\s=]+)(?=\s|$)")


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a selector.

    Parameters
    ----------
    key : str
        What stands before the equals sign; the whole word where there is none.
    value : str, optional
        What stands behind it, without its quotes.
    """

    key: str
    value: str | None = None


def words_of(text: str, *, remedy: str) -> tuple[Word, ...]:
    """Return the words of a selector in order.

    Parameters
    ----------
    text : str
        What the maker wrote.
    remedy : str
        The grammar, for the message.

    Returns
    -------
    tuple of Word
        Signs and ``all`` have no value.

    Raises
    ------
    SelectionError
        If a word is neither ``key=value`` nor a sign, or a quote is left open.

    Examples
    --------
    >>> [word.value for word in words_of("group='saddle skirt' + label=3", remedy="")]
    ['saddle skirt', None, '3']
    """
    words: list[Word] = []
    at, text = 0, text.strip()
    while at < len(text):
        match = _WORD.match(text, at) or _SIGN.match(text, at)
        if match is None:
            rest = text[at:].split()[0]
            hint = "A quote is opened there and not closed. " if "'" in rest or '"' in rest else ""
            raise SelectionError(f'"{text}" is no selector from "{rest}" on.', remedy=hint + remedy)
        parts = match.groupdict()
        if "bare" in parts:
            words.append(Word(match["bare"]))
        else:
            words.append(Word(match["key"], next(part for part in list(parts.values())[1:] if part is not None)))
        at = match.end()
        while at < len(text) and text[at].isspace():
            at += 1
    return tuple(words)


def shown_name(kind: str, name: str) -> str:
    """Return a named set as the maker writes it in a selector: in quotes where the name needs them.

    Examples
    --------
    >>> shown_name("group", "saddle skirt"), shown_name("label", "3")
    ('group="saddle skirt"', 'label=3')
    """
    if name and re.fullmatch(r"""[^\s"']+""", name):
        return f"{kind}={name}"
    quote = "'" if '"' in name else '"'
    return f"{kind}={quote}{name}{quote}"


def numbers_of(value: str, count: int, text: str, *, what: str, remedy: str) -> tuple[float, ...]:
    """Return finite numbers written with commas between them.

    Parameters
    ----------
    value : str
        The numbers.
    count : int
        How many there must be.
    text : str
        What the maker wrote as a whole, for the message.
    what : str
        What the numbers are, such as ``a point is three numbers, x,y,z``.
    remedy : str
        The grammar, for the message.

    Returns
    -------
    tuple of float
        As many as asked for.

    Raises
    ------
    SelectionError
        If there are not that many, or one is not a finite number of at most `LARGEST`.
    """
    parts = value.split(",")
    if len(parts) != count:
        raise SelectionError(f'"{text}": {what}.', remedy=remedy)
    return tuple(_number(part, text, remedy) for part in parts)


def _number(part: str, text: str, remedy: str) -> float:
    try:
        number = float(part)
    except ValueError:
        number = math.nan
    if not abs(number) <= LARGEST:
        raise SelectionError(f'"{text}": "{part}" is not a number I can use.', remedy=remedy)
    return number
