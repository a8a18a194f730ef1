"""Curves and line styles as the operators of a PDF page.

Convention: coordinates are millimetres with six decimals, as on the grid of the other files; the page sets a matrix
that turns them into points (1/72 inch). PDF knows no arcs: each becomes Bezier curves of at most 30 degrees, which
leave the circle by less than 4e-7 of its radius. A line of no length with round ends is a dot as wide as the pen.

Layers differ by dashes and by widths that are twice one another, so that a black and white print tells them apart;
points to be drilled and tabs carry a sign about them.

Source: ISO 32000-1, 8.4 and 8.5 (graphics state, paths), 14.6 (marked content); Bezier arcs by the usual
``4/3 tan(sweep / 4)`` (CALC, tested against the circle); ISO 128 for the widths.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import Final

import numpy as np

from meshflow.drawing.grid import DECIMALS
from meshflow.drawing.layers import LineStyle, grade_dashes
from meshflow.geometry.pieces import pieces
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import GRADES, Layer, Stroke

__all__ = [
    "PAPER_STYLES",
    "POINTS_PER_MM",
    "halo_operators",
    "line_operators",
    "number",
    "path_operators",
    "stroke_operators",
    "style",
]

POINTS_PER_MM: Final = 72.0 / 25.4
_WIDEST_ARC: Final = math.radians(30.0)
_HALO: Final = 0.6  # white on both sides together [mm]

PAPER_STYLES: Final[Mapping[Layer, LineStyle]] = MappingProxyType(
    {
        Layer.MARK_TEXT: LineStyle(0.18),
        Layer.MARK_LINE: LineStyle(0.18, (2.4, 0.6)),
        Layer.RELIEF_LINE: LineStyle(0.13, (6.0, 0.8)),
        Layer.FOLD_LINE: LineStyle(0.25, (3.0, 1.5)),
        Layer.BEND_LINE: LineStyle(0.25, (6.0, 1.0, 1.0, 1.0)),
        Layer.SKIVE_LINE: LineStyle(0.35, (0.0, 0.9)),
        Layer.STITCH_POINT: LineStyle(0.7),
        Layer.HOLE_POINT: LineStyle(0.5),
        Layer.TAB_POINT: LineStyle(0.5),
        Layer.CUT_INSIDE: LineStyle(0.25),
        Layer.CUT_OUTSIDE: LineStyle(0.5),
        Layer.LEAD_LINE: LineStyle(0.13, (1.0, 0.5)),
        Layer.ALIGN_MARK: LineStyle(0.13, (8.0, 1.0, 0.5, 1.0)),
        Layer.SHEET_EDGE: LineStyle(0.18, (10.0, 2.0, 2.0, 2.0)),
        Layer.BACKBONE: LineStyle(0.13, (14.0, 1.5, 1.0, 1.5)),
        **{layer: LineStyle(0.13, grade_dashes(grade)) for grade, layer in enumerate(GRADES, start=1)},
        Layer.NOTE: LineStyle(0.13, (0.5, 0.7)),
    }
)
# Arms of the signs about points, from the point [mm].
_SIGNS: Final[Mapping[Layer, tuple[tuple[float, float], ...]]] = MappingProxyType(
    {
        Layer.HOLE_POINT: ((1.5, 0.0), (0.0, 1.5)),
        Layer.TAB_POINT: ((1.1, 1.1), (1.1, -1.1)),
    }
)


def stroke_operators(strokes: Sequence[Stroke], *, paths: Callable[[Curve], str] | None = None) -> Iterator[str]:
    """Yield the operators that draw strokes, each layer as marked content of its name.

    Parameters
    ----------
    strokes : sequence of Stroke
        By layer [mm].
    paths : callable, optional
        `path_operators`, or one that remembers what it answered.

    Yields
    ------
    str
        One line of operators.
    """
    for layer, group in groupby(strokes, key=lambda stroke: stroke.layer):
        curves = [stroke.curve for stroke in group]
        yield f"/{layer} BMC"
        yield style(PAPER_STYLES[layer])
        for curve in curves:
            yield f"{(paths or path_operators)(curve)} S"
        yield "EMC"
        if layer in _SIGNS:
            yield "/POINT_SIGN BMC"
            yield style(LineStyle(0.13))
            yield from _signs(curves, _SIGNS[layer])
            yield "EMC"


def halo_operators(strokes: Sequence[Stroke]) -> Iterator[str]:
    """Yield the operators that draw a white edge about strokes, so that they can be seen over a dark picture."""
    yield "/HALO BMC"
    for stroke in strokes:
        yield style(LineStyle(PAPER_STYLES[stroke.layer].width + _HALO), grey=1.0)
        yield f"{path_operators(stroke.curve)} S"
    yield "EMC"


def _signs(curves: Sequence[Curve], arms: Sequence[tuple[float, float]]) -> Iterator[str]:
    for curve in curves:
        if isinstance(curve, Dot):
            x, y = curve.position
            yield " ".join(line_operators((x - dx, y - dy), (x + dx, y + dy)) for dx, dy in arms)


def style(look: LineStyle, *, grey: float = 0.0) -> str:
    """Return the operators for a line's width [mm], dashes [mm], round ends and grey (0 is black)."""
    dashes = " ".join(map(number, look.dashes))
    return f"{number(grey)} G {number(look.width)} w [{dashes}] 0 d 1 J 1 j"


def line_operators(start: tuple[float, float], end: tuple[float, float]) -> str:
    """Return the operators that draw one straight line."""
    return f"{number(start[0])} {number(start[1])} m {number(end[0])} {number(end[1])} l S"


def path_operators(curve: Curve) -> str:
    """Return the operators that set out a curve, without drawing it.

    Examples
    --------
    >>> path_operators(Polycurve([[0.0, 0.0], [10.0, 0.0]], closed=False))
    '0 0 m 10 0 l'
    """
    if isinstance(curve, Dot):
        x, y = curve.position
        return f"{number(x)} {number(y)} m {number(x)} {number(y)} l"
    table = pieces(curve)
    first = table.start[0].tolist()
    steps = [f"{number(first[0])} {number(first[1])} m"]
    bulges = table.bulge.tolist()
    for start, end, bulge in zip(table.start.tolist(), table.end.tolist(), bulges, strict=True):
        steps.append(_arc(start, end, bulge) if bulge else f"{number(end[0])} {number(end[1])} l")
    closed = isinstance(curve, Circle) or curve.closed
    if closed and not bulges[-1]:
        steps.pop()  # the closing operator draws the last line
    return " ".join([*steps, "h"] if closed else steps)


def _arc(start: Sequence[float], end: Sequence[float], bulge: float) -> str:
    """Return an arc as Bezier curves; nothing here divides by the bulge, so a nearly straight arc stays exact."""
    sweep = 4.0 * math.atan(bulge)
    count = max(1, math.ceil(abs(sweep) / _WIDEST_ARC - 1e-9))
    one = pieces(Polycurve(np.array([start, end]), np.array([bulge, 0.0]), closed=False))
    places = one.points(np.zeros(count + 1, dtype=np.int64), np.linspace(0.0, 1.0, count + 1))
    places[-1] = end
    chord = np.hypot(*(places[1] - places[0]))
    handle = _handle(float(chord), sweep / count)
    turn = float(one.heading[0]) + sweep * (np.linspace(0.0, 1.0, count + 1) - 0.5)
    along = handle * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    leaving, coming = places[:-1] + along[:-1], places[1:] - along[1:]
    rows = np.concatenate([leaving, coming, places[1:]], axis=1).tolist()
    return " ".join(f"{' '.join(map(number, row))} c" for row in rows)


def _handle(chord: float, step: float) -> float:
    """Return the length of the handles of a Bezier curve for an arc: ``4/3 tan(t/4) r`` with ``r = chord/2 sin(t/2)``.

    With ``sin(t/2) = 2 sin(t/4) cos(t/4)`` this is ``chord / (3 cos(t/4)^2)``, without a division by a small angle.
    """
    return chord / (3.0 * math.cos(step / 4.0) ** 2)


def number(value: float) -> str:
    """Return a number with six decimals at most, without trailing zeros.

    Examples
    --------
    >>> number(10.0), number(-0.0), number(0.1234567)
    ('10', '0', '0.123457')
    """
    text = f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
