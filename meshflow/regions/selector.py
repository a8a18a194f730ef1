"""The maker's word for a piece of the scan, read into its parts.

Grammar::

    all                    the whole surface
    label:3                a named set of faces; the surface says which it has
    group:NAME
    material:NAME
    colour:#c83232         faces of this colour (colour:#c83232~40: within 40 of it; 60 when not said)
    crease:35@x,y,z        from the face nearest to the point [mm] over every edge that turns less than 35 degrees
    radius:80@x,y,z        all within 80 mm of the point, measured along the surface

Colours are compared by the straight distance of their red, green and blue (0 to 255 each): black and white are
442 apart.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal, cast

from meshflow.errors import SelectionError

__all__ = ["COLOUR_REACH", "GRAMMAR", "Kind", "Selector", "parse_point", "parse_selector"]

Kind = Literal["all", "set", "colour", "crease", "radius"]

COLOUR_REACH = 60.0
GRAMMAR = (
    "Say all, label:3, group:NAME, material:NAME, colour:#rrggbb, crease:DEGREES@x,y,z or radius:MM@x,y,z "
    "(points in millimetres)."
)
_COLOUR = re.compile(r"^#(?P<rgb>[0-9a-fA-F]{6})(?:~(?P<reach>.+))?$")


@dataclass(frozen=True, slots=True)
class Selector:
    """A selector, read.

    Parameters
    ----------
    text : str
        As written.
    kind : {"all", "set", "colour", "crease", "radius"}
        What it picks by.
    number : float
        Crease angle [rad], radius [mm] or reach of the colour.
    point : (float, float, float)
        Point [mm] of a crease or radius.
    colour : (int, int, int)
        Red, green, blue.
    """

    text: str
    kind: Kind
    number: float = 0.0
    point: tuple[float, float, float] = (0.0, 0.0, 0.0)
    colour: tuple[int, int, int] = (0, 0, 0)


def parse_selector(text: str) -> Selector:
    """Read a selector.

    Parameters
    ----------
    text : str
        Such as ``radius:80@10,0,35``; see the grammar of this module.

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
    >>> parse_selector("radius:80@10,0,-3.5").point
    (10.0, 0.0, -3.5)
    """
    text = text.strip()
    kind, colon, rest = text.partition(":")
    if text == "all":
        return Selector(text, "all")
    if colon and rest and kind in {"label", "group", "material"}:
        return Selector(text, "set")
    if colon and kind == "colour":
        return _parse_colour(text, rest)
    if colon and kind in {"crease", "radius"}:
        return _parse_grown(text, cast("Literal['crease', 'radius']", kind), rest)
    raise SelectionError(f'"{text}" is not a selector.', remedy=GRAMMAR)


def _parse_colour(text: str, rest: str) -> Selector:
    match = _COLOUR.match(rest)
    if match is None:
        raise SelectionError(f'"{text}" is not a colour.', remedy="Write it as colour:#c83232. " + GRAMMAR)
    reach = COLOUR_REACH if match["reach"] is None else _number(match["reach"], text)
    if not 0 <= reach <= 442:
        raise SelectionError(f'"{text}": the reach of a colour is between 0 and 442.', remedy=GRAMMAR)
    red, green, blue = (int(match["rgb"][at : at + 2], 16) for at in (0, 2, 4))
    return Selector(text, "colour", reach, colour=(red, green, blue))


def _parse_grown(text: str, kind: Literal["crease", "radius"], rest: str) -> Selector:
    amount, at, place = rest.partition("@")
    if not at:
        raise SelectionError(f'"{text}" says no point to grow from.', remedy=f"Write {kind}:NUMBER@x,y,z. " + GRAMMAR)
    number, point = _number(amount, text), parse_point(place, text)
    if kind == "radius" and number <= 0:
        raise SelectionError(f'"{text}": a radius is more than 0 mm.', remedy=GRAMMAR)
    if kind == "crease" and not 0 < number <= 180:
        raise SelectionError(f'"{text}": a crease angle is more than 0 and at most 180 degrees.', remedy=GRAMMAR)
    return Selector(text, kind, math.radians(number) if kind == "crease" else number, point)


def parse_point(place: str, text: str) -> tuple[float, float, float]:
    """Return three finite numbers written as ``x,y,z``.

    Parameters
    ----------
    place : str
        The three numbers.
    text : str
        What the user wrote as a whole, for the message.

    Returns
    -------
    (float, float, float)
        The point [mm].

    Raises
    ------
    SelectionError
        If there are not three finite numbers.
    """
    numbers = place.split(",")
    if len(numbers) != 3:
        raise SelectionError(f'"{text}": a point is three numbers, x,y,z.', remedy=GRAMMAR)
    x, y, z = (_number(number, text) for number in numbers)
    return (x, y, z)


def _number(number: str, text: str) -> float:
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise SelectionError(f'"{text}": "{number}" is not a number I can use.', remedy=GRAMMAR)
    return value
