"""What a path of an SVG file draws: lines, Bezier curves and elliptical arcs in the numbers of the file.

Convention: points are complex numbers x + iy, y downwards as in the file. A path with a mistake in it is refused as a
whole: half of a contour is worse than none.

Source: SVG 1.1, section 8.3 (path data) and appendix F.6 (arcs from their end points).
"""

from __future__ import annotations

import cmath
import math
import re
from typing import Final

from meshflow.drawing.runs import Bezier, Line, Run, Segment, Sweep
from meshflow.errors import DrawingFileError

__all__ = ["arc_to", "parse_path"]

_COMMANDS: Final = {"M": "nn", "L": "nn", "H": "n", "V": "n", "C": "nnnnnn", "S": "nnnn", "Q": "nnnn", "T": "nn"}
_SIGNATURE: Final = {**_COMMANDS, "A": "nnnffnn", "Z": ""}
_GAP: Final = re.compile(r"[\s,]*")
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_FLAG: Final = re.compile(r"[01]")


def parse_path(data: str) -> list[Run]:
    """Return the runs of a path.

    Parameters
    ----------
    data : str
        The attribute ``d``.

    Returns
    -------
    list of Run
        In file order; those without any segment are a point each.

    Raises
    ------
    DrawingFileError
        If the data break off, start with no move, or hold a number that is not finite.

    Examples
    --------
    >>> [run] = parse_path("M1 1h4v3z")
    >>> run.closed, [segment.end for segment in run.segments]
    (True, [(5+1j), (5+4j)])
    """
    pen = _Pen()
    at = _GAP.match(data).end()  # type: ignore[union-attr]  # it matches the empty text too
    while at < len(data):
        letter = data[at]
        kind = letter.upper()
        if kind not in _SIGNATURE or (not pen.runs and kind != "M"):
            raise _wrong(data, at)
        at += 1
        while True:
            numbers, at = _arguments(data, at, _SIGNATURE[kind])
            pen.draw(kind, numbers, relative=letter.islower())
            at = _GAP.match(data, at).end()  # type: ignore[union-attr]
            if kind == "Z" or not _NUMBER.match(data, at):
                break
            kind = "L" if kind == "M" else kind
    return pen.runs


def _arguments(data: str, at: int, signature: str) -> tuple[list[float], int]:
    numbers = []
    for kind in signature:
        at = _GAP.match(data, at).end()  # type: ignore[union-attr]
        found = (_FLAG if kind == "f" else _NUMBER).match(data, at)  # flags may stand without a gap: a1 1 0 0130 20
        if found is None or not math.isfinite(float(found[0])):
            raise _wrong(data, at)
        numbers.append(float(found[0]))
        at = found.end()
    return numbers, at


def _wrong(data: str, at: int) -> DrawingFileError:
    seen = repr(data[at : at + 12]) if at < len(data) else "the end"
    return DrawingFileError(
        f"a path cannot be read at character {at + 1}: {seen}.", remedy="Draw it anew, or export the file again."
    )


class _Pen:
    """Where the pen is, and what it has drawn."""

    def __init__(self) -> None:
        self.runs: list[Run] = []
        self._handle: complex | None = None  # last control point, for the smooth commands
        self._after = ""

    def draw(self, kind: str, numbers: list[float], *, relative: bool) -> None:
        """Carry out one command."""
        here = self._here()
        if kind == "M":
            self.runs.append(Run(complex(*numbers) + (here if relative else 0)))
        elif kind == "Z":
            self.runs[-1].closed = True
        else:
            if self.runs[-1].closed:  # drawing goes on from the start of what was closed
                self.runs.append(Run(here))
            self.runs[-1].segments.append(self._segment(kind, numbers, here, here if relative else 0j))
        if kind not in "CSQT":
            self._handle = None
        self._after = kind

    def _here(self) -> complex:
        if not self.runs:
            return 0j
        return self.runs[-1].start if self.runs[-1].closed else self.runs[-1].end

    def _segment(self, kind: str, numbers: list[float], here: complex, origin: complex) -> Segment:
        if kind == "H":
            return Line(complex(numbers[0] + origin.real, here.imag))
        if kind == "V":
            return Line(complex(here.real, numbers[0] + origin.imag))
        if kind == "A":
            rx, ry, tilt, large, sweep, x, y = numbers
            return arc_to(here, complex(x, y) + origin, (rx, ry), math.radians(tilt % 360.0), large > 0, sweep > 0)
        points = [complex(x, y) + origin for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
        if kind == "L":
            return Line(points[0])
        if kind in "ST":
            family = "CS" if kind == "S" else "QT"
            known = self._handle if self._handle is not None and self._after in family else here
            points.insert(0, 2 * here - known)
        self._handle = points[-2]
        return Bezier(tuple(points[:-1]), points[-1])


def arc_to(
    start: complex, end: complex, radii: tuple[float, float], tilt: float, large: bool, sweep: bool
) -> Line | Sweep:
    """Return an elliptical arc given by its end points.

    Parameters
    ----------
    start, end : complex
        End points.
    radii : (float, float)
        Half axes; too small ones are enlarged until the arc reaches, as the standard says.
    tilt : float
        Turn of the first axis [rad].
    large, sweep : bool
        The two flags: the longer way, and the way of growing angles.

    Returns
    -------
    Line or Sweep
        A line where a radius is 0 or the ends coincide.
    """
    rx, ry = abs(radii[0]), abs(radii[1])
    if rx == 0.0 or ry == 0.0 or start == end:
        return Line(end)
    spin = cmath.rect(1.0, tilt)
    half = (start - end) / 2 / spin
    unit = complex(half.real / rx, half.imag / ry)  # F.6.5.1 on the unit circle
    if abs(unit) > 1.0:  # F.6.6: too small radii grow
        rx, ry, unit = rx * abs(unit), ry * abs(unit), unit / abs(unit)
    off = math.sqrt(max(1.0 / abs(unit) ** 2 - 1.0, 0.0)) * unit * (1j if large == sweep else -1j)
    first = cmath.phase(unit - off)
    turn = (cmath.phase(-unit - off) - first) % (2 * math.pi)
    if not sweep:
        turn -= 2 * math.pi
    centre = (start + end) / 2 + spin * complex(off.real * rx, off.imag * ry)
    return Sweep(centre, rx * spin, ry * 1j * spin, first, turn, end)
