"""A picture as inline SVG for the document: small, without links to anything, readable by a screen reader.

Coordinates are tenths of a picture unit as whole numbers, finer than a printer's dot at page width; paths are
relative, so a typical corner costs five bytes. There is no ``xmlns`` (inside HTML none is needed), no style, no
reference to another element.
"""

from __future__ import annotations

import re
from html import escape

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.report.picture import Fill, Item, Lines, Picture, Words

__all__ = ["svg_text"]

_TENTHS = 10.0


def svg_text(picture: Picture, *, title: str, description: str, key: str, kind: str = "picture") -> str:
    """Return a picture as an ``<svg>`` element.

    Parameters
    ----------
    picture : Picture
        What to draw.
    title, description : str
        Read out by a screen reader; escaped here.
    key : str
        Makes the ids of title and description unique in the document.
    kind : str
        CSS class of the element.

    Returns
    -------
    str
        One line of SVG.
    """
    key = re.sub(r"[^A-Za-z0-9_-]", "-", key)
    head = (
        f'<svg class="{escape(kind)}" viewBox="0 0 {_whole(picture.width)} {_whole(picture.height)}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc" stroke-linejoin="round">'
        f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-desc">{escape(description)}</desc>'
    )
    return head + "".join(_element(item) for item in picture.items) + "</svg>"


def _element(item: Item) -> str:
    if isinstance(item, Words):
        return _words(item)
    if isinstance(item, Fill):
        path = _path(item.rings, closed=True)
        return f'<path fill="{item.colour}" d="{path}"/>' if path else ""
    return _lines(item)


def _lines(item: Lines) -> str:
    path = _segments(item.runs) if isinstance(item.runs, np.ndarray) else _path(item.runs, closed=item.closed)
    dash = ' stroke-dasharray="60 40"' if item.dashed else ""
    stroke = f'stroke="{item.colour}" stroke-width="{_whole(item.width)}"{dash}'
    return f'<path fill="none" {stroke} d="{path}"/>' if path else ""


def _words(item: Words) -> str:
    anchor = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
    bold = ' font-weight="bold"' if item.bold else ""
    where = f'x="{_whole(item.x)}" y="{_whole(item.y)}" font-size="{_whole(item.size)}"'
    return f'<text {where} fill="{item.colour}"{anchor}{bold}>{escape(item.text)}</text>'


def _whole(value: float) -> int:
    return round(value * _TENTHS)


def _path(runs: tuple[FloatArray, ...], *, closed: bool) -> str:
    return "".join(_run(run, closed=closed) for run in runs)


def _run(run: FloatArray, *, closed: bool) -> str:
    points = np.rint(run * _TENTHS).astype(np.int64)
    steps = np.diff(points, axis=0)
    steps = steps[(steps != 0).any(axis=1)]
    if len(steps) == 0:
        return ""
    start = f"M{points[0, 0]} {points[0, 1]}l"
    return start + _joined(steps) + ("z" if closed else "")


def _segments(ends: FloatArray) -> str:
    """Return many two-point lines, each moved to from the last one's end."""
    points = np.rint(ends * _TENTHS).astype(np.int64)
    points = points[(points[:, 0] != points[:, 1]).any(axis=1)]
    if len(points) == 0:
        return ""
    moves = points[:, 0] - np.concatenate([np.zeros((1, 2), dtype=np.int64), points[:-1, 1]])
    draws = points[:, 1] - points[:, 0]
    pairs = zip(moves.tolist(), draws.tolist(), strict=True)
    return "".join(f"m{_joined(np.array([move]))}l{_joined(np.array([draw]))}" for move, draw in pairs)


def _joined(steps: FloatArray) -> str:
    """Return numbers with a space only where the next one has no minus sign to part them."""
    return " ".join(str(number) for number in steps.reshape(-1).tolist()).replace(" -", "-")
