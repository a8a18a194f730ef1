"""The maker's word for a piece of the scan, read into its parts.

A selector is one or more *terms*, joined by signs, and then, if need be, *amounts*::

    TERM
    TERM + TERM - TERM & TERM        add, take away, keep what both have: from left to right, spaces round the sign
    TERM ... grow=MM                 the finished piece, its rim moved out, in or smoothed

Terms
-----
::

    all                              the whole surface
    label=3                          a named set of faces; the surface says which it has
    group=NAME  material=NAME        names with spaces or quotes stand in quotes: group="saddle skirt"
    colour=#c83232                   faces of about this colour; colour=#c83232 within=40 for a closer match
    at=x,y,z crease=35               from the face nearest to the point over every edge that turns less than 35 degrees
    at=x,y,z radius=80               all within 80 mm of the point, measured along the surface
    at=x,y,z slope=20                from that face over all whose normal is within 20 degrees of the normal there
    line=FILE                        what a closed line near the surface goes round: the smaller side of it, or
    line=FILE at=x,y,z               the side that has the point. The file holds rows x y z in millimetres
    line=FILE view=nx,ny,nz          the line was drawn over a view: rows x y (right, up) or x y z, seen from the side
                                     that n points to; it lands on the surface that one sees
    plane=nx,ny,nz,d                 the side of a plane where n . p >= d; n need not have length 1
    box=x0,y0,z0,x1,y1,z1            what lies in the box

Amounts
-------
::

    grow=MM  shrink=MM               move the rim out or in, measured along the surface; shrinking also moves it off the
                                     edge of the scan and off its holes
    rim=MM                           smooth the rim; it moves by MM at most, and its corners stay

Planes, boxes, lines, discs, colours at vertices and amounts cut through the faces; sets, creases and slopes keep whole
faces. Points are in millimetres in the frame of the file. Colours are compared by the straight distance of their red,
green and blue (0 to 255 each): black and white are 442 apart, and 60 is allowed where nothing is said.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal, cast

from meshflow.errors import SelectionError
from meshflow.regions.tokens import Word, numbers_of, words_of

__all__ = ["COLOUR_REACH", "GRAMMAR", "Amount", "Kind", "Selector", "Sign", "Term", "parse_point", "parse_selector"]

Kind = Literal["all", "set", "colour", "crease", "radius", "slope", "line", "plane", "box"]
Sign = Literal["+", "-", "&"]
Point = tuple[float, float, float]

COLOUR_REACH = 60.0
GRAMMAR = (
    "Say all, label=3, group=NAME, material=NAME, colour=#rrggbb, at=x,y,z crease=DEGREES, at=x,y,z radius=MM, "
    "at=x,y,z slope=DEGREES, line=FILE, plane=nx,ny,nz,d or box=x0,y0,z0,x1,y1,z1; join them with + - & between "
    "spaces; end with grow=MM, shrink=MM or rim=MM. Points are in millimetres; names with spaces stand in quotes."
)
_HEADS = ("all", "label", "group", "material", "colour", "at", "line", "plane", "box")
_TAILS = {"colour": ("within",), "at": ("crease", "radius", "slope"), "line": ("view", "at")}
_AMOUNTS = ("grow", "shrink", "rim")
_SIGNS = ("+", "-", "&")
_LEAST_LENGTH = 1e-12  # of a normal


@dataclass(frozen=True, slots=True)
class Term:
    """One term of a selector, read.

    Parameters
    ----------
    text : str
        The term in the maker's words.
    kind : str
        What it picks by.
    sign : {"+", "-", "&"}
        What it does to the terms before it; ``+`` for the first.
    name : str
        Name of a set with its kind, such as ``group:lid``; file of a line.
    numbers : tuple of float
        Angle [rad], radius [mm] or reach of a colour; unit normal and distance of a plane; low and high corner of a
        box; direction of a view.
    point : (float, float, float), optional
        Where it grows from, or which side of a line is meant [mm].
    colour : (int, int, int)
        Red, green, blue.
    """

    text: str
    kind: Kind
    sign: Sign = "+"
    name: str = ""
    numbers: tuple[float, ...] = ()
    point: Point | None = None
    colour: tuple[int, int, int] = (0, 0, 0)


@dataclass(frozen=True, slots=True)
class Amount:
    """What is done to the rim in the end: `kind` is ``grow``, ``shrink`` or ``rim``; `mm` how much [mm]."""

    kind: Literal["grow", "shrink", "rim"]
    mm: float


@dataclass(frozen=True, slots=True)
class Selector:
    """A selector, read.

    Parameters
    ----------
    text : str
        As written.
    terms : tuple of Term
        From left to right; at least one.
    amounts : tuple of Amount
        In the order written.
    """

    text: str
    terms: tuple[Term, ...]
    amounts: tuple[Amount, ...] = ()

    @property
    def line_files(self) -> tuple[str, ...]:
        """Files of the lines it names, each once."""
        return tuple(dict.fromkeys(term.name for term in self.terms if term.kind == "line"))


def parse_selector(text: str) -> Selector:
    """Read a selector.

    Parameters
    ----------
    text : str
        Such as ``at=10,0,35 radius=80 - group=stand``; see the grammar of this module.

    Returns
    -------
    Selector
        Its parts.

    Raises
    ------
    SelectionError
        If it does not follow the grammar; the message shows it.

    Examples
    --------
    >>> [term.sign for term in parse_selector("all - plane=0,0,1,40 rim=2").terms]
    ['+', '-']
    """
    text = text.strip()
    words = list(words_of(text, remedy=GRAMMAR))
    terms: list[Term] = []
    while words and (not terms or words[0].key in _SIGNS):
        sign = cast("Sign", words.pop(0).key if terms else "+")
        terms.append(_term(words, sign, text))
    amounts = tuple(_amount(word, text) for word in words)
    if not terms:
        raise SelectionError(f'"{text}" is not a selector.', remedy=GRAMMAR)
    return Selector(text, tuple(terms), amounts)


def _term(words: list[Word], sign: Sign, text: str) -> Term:
    """Take the words of one term off the front."""
    head = words.pop(0) if words else Word("")
    if head.key not in _HEADS or (head.value is None) != (head.key == "all") or head.value == "":
        said = head.key if head.value is None else f"{head.key}={head.value}"
        found = f': "{said}" is no term' if said else ": a term is missing at the end"
        raise SelectionError(f'"{text}" is not a selector{"" if said == text else found}.', remedy=GRAMMAR)
    tails: dict[str, str] = {}
    while words and words[0].key in _TAILS.get(head.key, ()) and words[0].value is not None:
        tail = words.pop(0)
        if tail.key in tails:
            raise SelectionError(f'"{text}" says {tail.key}= twice.', remedy=GRAMMAR)
        tails[tail.key] = str(tail.value)
    value = str(head.value)
    if head.key == "all":
        return Term("all", "all", sign)
    if head.key in {"label", "group", "material"}:
        return Term(f"{head.key}={value}", "set", sign, name=f"{head.key}:{value}")
    return _READ[head.key](value, tails, sign, text)


def _colour(value: str, tails: dict[str, str], sign: Sign, text: str) -> Term:
    if re.fullmatch(r"#[0-9a-fA-F]{6}", value) is None:
        raise SelectionError(f'"{text}": "{value}" is not a colour.', remedy="Write it as colour=#c83232. " + GRAMMAR)
    reach = _one(tails["within"], text) if "within" in tails else COLOUR_REACH
    if not 0 <= reach <= 442:
        raise SelectionError(f'"{text}": the reach of a colour is between 0 and 442.', remedy=GRAMMAR)
    red, green, blue = (int(value[at : at + 2], 16) for at in (1, 3, 5))
    return Term(f"colour={value}", "colour", sign, numbers=(reach,), colour=(red, green, blue))


def _grown(value: str, tails: dict[str, str], sign: Sign, text: str) -> Term:
    point = parse_point(value, text)
    if len(tails) != 1:
        raise SelectionError(
            f'"{text}" says {"not" if not tails else "twice"} how far to grow from the point.',
            remedy="Write at=x,y,z crease=DEGREES, at=x,y,z radius=MM or at=x,y,z slope=DEGREES. " + GRAMMAR,
        )
    ((kind, said),) = tails.items()
    number = _one(said, text)
    if kind == "radius" and number <= 0:
        raise SelectionError(f'"{text}": a radius is more than 0 mm.', remedy=GRAMMAR)
    if kind != "radius" and not 0 < number <= 180:
        raise SelectionError(f'"{text}": the angle of a {kind} is more than 0 and at most 180 degrees.', remedy=GRAMMAR)
    amount = number if kind == "radius" else math.radians(number)
    return Term(f"at={value} {kind}={said}", cast("Kind", kind), sign, numbers=(amount,), point=point)


def _line(value: str, tails: dict[str, str], sign: Sign, text: str) -> Term:
    view: tuple[float, ...] = ()
    if "view" in tails:
        view = _unit(numbers_of(tails["view"], 3, text, what="a view is three numbers, nx,ny,nz", remedy=GRAMMAR), text)
    point = parse_point(tails["at"], text) if "at" in tails else None
    said = " ".join([f"line={value}", *(f"{key}={tails[key]}" for key in ("view", "at") if key in tails)])
    return Term(said, "line", sign, name=value, numbers=view, point=point)


def _plane(value: str, tails: dict[str, str], sign: Sign, text: str) -> Term:
    return Term(f"plane={value}", "plane", sign, numbers=parse_plane(value, text, GRAMMAR))


def parse_plane(value: str, text: str, remedy: str) -> tuple[float, float, float, float]:
    """Return unit normal and distance of a plane written as ``nx,ny,nz,d``; SelectionError if it is none."""
    *normal, distance = numbers_of(value, 4, text, what="a plane is four numbers, nx,ny,nz,d", remedy=remedy)
    length = math.hypot(*normal)
    if length < _LEAST_LENGTH:
        raise SelectionError(f'"{text}": the normal of a plane is not 0,0,0.', remedy=remedy)
    x, y, z = (part / length for part in normal)
    return (x, y, z, distance / length)


def _box(value: str, tails: dict[str, str], sign: Sign, text: str) -> Term:
    what = "a box is six numbers, the two ends of a diagonal x0,y0,z0,x1,y1,z1"
    numbers = numbers_of(value, 6, text, what=what, remedy=GRAMMAR)
    low, high = (tuple(take(pair) for pair in zip(numbers[:3], numbers[3:], strict=True)) for take in (min, max))
    if any(bottom == top for bottom, top in zip(low, high, strict=True)):
        raise SelectionError(f'"{text}": the box has no inside.', remedy=GRAMMAR)
    return Term(f"box={value}", "box", sign, numbers=(*low, *high))


_READ = {"colour": _colour, "at": _grown, "line": _line, "plane": _plane, "box": _box}


def _amount(word: Word, text: str) -> Amount:
    if word.key not in _AMOUNTS or word.value is None:
        hint = "; grow=, shrink= and rim= come last of all" if word.key in (*_SIGNS, *_HEADS) else ""
        said = word.key if word.value is None else f"{word.key}={word.value}"
        raise SelectionError(f'"{text}": I do not understand "{said}" where it stands{hint}.', remedy=GRAMMAR)
    amount = _one(word.value, text)
    if amount <= 0:
        raise SelectionError(f'"{text}": {word.key}= takes more than 0 mm.', remedy=GRAMMAR)
    return Amount(cast("Literal['grow', 'shrink', 'rim']", word.key), amount)


def parse_point(value: str, text: str, *, remedy: str = GRAMMAR) -> Point:
    """Return three finite numbers written as ``x,y,z``.

    Parameters
    ----------
    value : str
        The three numbers.
    text : str
        What the user wrote as a whole, for the message.
    remedy : str
        The grammar, for the message.

    Returns
    -------
    (float, float, float)
        The point [mm].

    Raises
    ------
    SelectionError
        If there are not three finite numbers.
    """
    x, y, z = numbers_of(value, 3, text, what="a point is three numbers, x,y,z", remedy=remedy)
    return (x, y, z)


def _one(value: str, text: str) -> float:
    (number,) = numbers_of(value, 1, text, what="one number is meant there", remedy=GRAMMAR)
    return number


def _unit(vector: tuple[float, ...], text: str) -> tuple[float, ...]:
    length = math.hypot(*vector)
    if length < _LEAST_LENGTH:
        raise SelectionError(f'"{text}": the direction of a view is not 0,0,0.', remedy=GRAMMAR)
    return tuple(part / length for part in vector)
