"""The basic shapes of an SVG file as runs of a path.

Source: SVG 1.1, chapter 9 (rect with rounded corners, circle, ellipse, line, polyline, polygon).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from meshflow.drawing.runs import Line, Run, Sweep
from meshflow.drawing.svg_path import parse_path
from meshflow.drawing.svg_size import numbers_in
from meshflow.drawing.svg_tree import Node
from meshflow.errors import DrawingFileError

__all__ = ["basic_runs"]

_ALONG: Final = {"x": 0, "y": 1, "cx": 0, "cy": 1, "x1": 0, "y1": 1, "x2": 0, "y2": 1, "width": 0, "height": 1}
_ALONG_RADII: Final = {"rx": 0, "ry": 1}


def basic_runs(node: Node, view: tuple[float, float], looks: Mapping[str, str]) -> list[Run]:
    """Return the runs of a path, a rectangle, a circle, an ellipse, a line, a polyline or a polygon.

    Parameters
    ----------
    node : Node
        The element.
    view : (float, float)
        What 100 % is along x and y [user units].
    looks : mapping of str to str
        Its attributes and styles together; SVG 2 lets styles say sizes too.

    Returns
    -------
    list of Run
        In user units, y downwards; none for a shape of no size, which the standard does not draw.

    Raises
    ------
    DrawingFileError
        If a number cannot be read or a size is negative.
    """
    if node.tag == "path":
        return parse_path(looks.get("d", ""))
    if node.tag in ("polyline", "polygon"):
        return _corners(node.attributes.get("points", ""), closed=node.tag == "polygon")
    sizes = _Sizes(looks, view)
    if node.tag == "line":
        return [Run(sizes.point("x1", "y1"), [Line(sizes.point("x2", "y2"))])]
    if node.tag == "rect":
        return _rectangle(sizes)
    rx, ry = (sizes.size("r"),) * 2 if node.tag == "circle" else sizes.radii()
    if rx == 0.0 or ry == 0.0:
        return []
    centre = sizes.point("cx", "cy")
    return [Run(centre + rx, [Sweep(centre, complex(rx), complex(0.0, ry), 0.0, 2 * math.pi, centre + rx)], True)]


class _Sizes:
    """Lengths of one element by name."""

    def __init__(self, looks: Mapping[str, str], view: tuple[float, float]) -> None:
        self._looks = looks
        self._view = view
        self._diagonal = math.hypot(*view) / math.sqrt(2.0)

    def value(self, name: str) -> float:
        """Return a length; 0 where it is left out."""
        text = self._looks.get(name, "").strip()
        if not text or text == "auto":
            return 0.0
        along = _ALONG.get(name, _ALONG_RADII.get(name))
        return numbers_in(text, view=self._diagonal if along is None else self._view[along])

    def size(self, name: str) -> float:
        """Return a length that must not be negative."""
        value = self.value(name)
        if value < 0.0:
            raise DrawingFileError(f"its {name} is negative.", remedy="Draw it anew.")
        return value

    def point(self, x: str, y: str) -> complex:
        """Return a point."""
        return complex(self.value(x), self.value(y))

    def radii(self) -> tuple[float, float]:
        """Return rx and ry; one that is left out is like the other."""
        said = [bool(self._looks.get(name, "").strip() not in ("", "auto")) for name in ("rx", "ry")]
        rx, ry = self.size("rx"), self.size("ry")
        return (rx if said[0] else ry, ry if said[1] else rx)


def _rectangle(sizes: _Sizes) -> list[Run]:
    width, height = sizes.size("width"), sizes.size("height")
    if width == 0.0 or height == 0.0:
        return []
    rx, ry = sizes.radii()
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    low = sizes.point("x", "y")
    high = low + complex(width, height)
    if rx == 0.0 or ry == 0.0:
        corners = [complex(high.real, low.imag), high, complex(low.real, high.imag)]
        return [Run(low, [Line(corner) for corner in corners], closed=True)]
    run = Run(complex(low.real + rx, low.imag), closed=True)
    left, right, top, bottom = low.real + rx, high.real - rx, low.imag + ry, high.imag - ry
    for quarter, (x, y) in enumerate(((right, top), (right, bottom), (left, bottom), (left, top))):
        angle, centre = (quarter - 1) * math.pi / 2, complex(x, y)
        start, end = (_on_ellipse(centre, rx, ry, quarter + step) for step in (-1, 0))
        if abs(start - run.end) > 1e-12 * (width + height):
            run.segments.append(Line(start))
        run.segments.append(Sweep(centre, complex(rx), complex(0.0, ry), angle, math.pi / 2, end))
    return [run]


def _on_ellipse(centre: complex, rx: float, ry: float, quarter: int) -> complex:
    """Return the point of an ellipse at whole quarter turns, without a rounding of its own."""
    return centre + (complex(rx), complex(0.0, ry), complex(-rx), complex(0.0, -ry))[quarter % 4]


def _corners(text: str, *, closed: bool) -> list[Run]:
    runs = parse_path(f"M{text}") if text.strip() else []  # one grammar of numbers: 1-2.5.5 is three of them
    for run in runs:
        run.closed = closed
    return [run for run in runs if run.segments]
