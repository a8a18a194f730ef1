"""A reader of DXF made for checking: group codes one by one, and only what a clean cut file may hold.

Source: the open DXF reference, group codes in ASCII. A pair is a line with a code and a line with its value. Read are
LWPOLYLINE, POLYLINE with its VERTEX (plane or in space), CIRCLE, LINE, ARC and POINT of the ENTITIES section, the unit
and the version of the HEADER, and strings of extended data. Anything else in ENTITIES has no place there: an error.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

__all__ = ["ReadContour", "ReadDrawing", "ReadingError", "read_drawing"]

_MILLIMETRES = "4"
_APPLICATION = "MESHFLOW"
_LARGEST_BYTES = 500_000_000
Pair = tuple[int, str]


class ReadingError(Exception):
    """The file cannot be read; the text says why."""


@dataclass(frozen=True, eq=False)
class ReadContour:
    """One curve of a file.

    Parameters
    ----------
    layer : str
        Its layer.
    points : (k, 2) or (k, 3) float array
        Corners [mm]; a circle is two half turns.
    bulges : (k,) float array
        Tangent of a quarter of each piece's sweep.
    closed : bool
        Whether the last corner joins the first.
    kind : str
        What the file calls it, such as ``LWPOLYLINE``.
    """

    layer: str
    points: NDArray[np.float64]
    bulges: NDArray[np.float64]
    closed: bool
    kind: str


@dataclass(frozen=True, eq=False)
class ReadDrawing:
    """A file as read.

    Parameters
    ----------
    version : str
        ``AC1009`` and so on.
    contours : tuple of ReadContour
        In file order.
    properties : dict of str to str
        What the extended data say.
    """

    version: str
    contours: tuple[ReadContour, ...]
    properties: dict[str, str] = field(default_factory=dict)

    def on(self, *layers: str) -> tuple[ReadContour, ...]:
        """Return the curves of some layers, in file order."""
        return tuple(contour for contour in self.contours if contour.layer in layers)


def read_drawing(path: Path) -> ReadDrawing:
    """Read a DXF file of ours.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    ReadDrawing
        Its curves.

    Raises
    ------
    ReadingError
        If it is no whole DXF in millimetres, or holds what has no place in a cut file.
    """
    pairs = list(_pairs(path))
    header = _section(pairs, "HEADER")
    if _variable(header, "$INSUNITS") != _MILLIMETRES:
        raise ReadingError("its header does not say millimetres ($INSUNITS 4)")
    entities = list(_entities(_section(pairs, "ENTITIES")))
    properties: dict[str, str] = {}
    for entity in entities:
        properties = properties or _properties(entity)
    return ReadDrawing(_variable(header, "$ACADVER"), tuple(_contours(entities)), properties)


def _pairs(path: Path) -> Iterator[Pair]:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise ReadingError("it is too large")
        lines = path.read_bytes().decode("ascii").split("\n")
    except OSError as error:
        raise ReadingError(f"it cannot be opened ({error.strerror or error})") from error
    except UnicodeDecodeError as error:
        raise ReadingError("it is not plain ASCII text") from error
    if lines and lines[-1] == "":
        lines.pop()
    if len(lines) % 2:
        raise ReadingError("a group code has no value")
    for number in range(0, len(lines), 2):
        try:
            yield int(lines[number]), lines[number + 1].strip("\r")
        except ValueError as error:
            raise ReadingError(f"line {number + 1} is no group code") from error


def _section(pairs: list[Pair], name: str) -> list[Pair]:
    if not pairs or pairs[-1] != (0, "EOF"):
        raise ReadingError("its end mark is missing")
    for at, pair in enumerate(pairs[:-1]):
        if pair == (0, "SECTION") and pairs[at + 1] == (2, name):
            rest = pairs[at + 2 :]
            return rest[: rest.index((0, "ENDSEC"))] if (0, "ENDSEC") in rest else rest
    raise ReadingError(f"it has no section {name}")


def _variable(header: list[Pair], name: str) -> str:
    for at, pair in enumerate(header[:-1]):
        if pair == (9, name):
            return header[at + 1][1].strip()
    return ""


def _entities(section: list[Pair]) -> Iterator[list[Pair]]:
    current: list[Pair] = []
    for pair in section:
        if pair[0] == 0 and current:
            yield current
            current = []
        current.append(pair)
    if current:
        yield current


def _properties(entity: list[Pair]) -> dict[str, str]:
    found: dict[str, str] = {}
    ours = False
    for code, value in entity:
        if code == 1001:
            ours = value == _APPLICATION
        elif code == 1000 and ours and "=" in value:
            key, _, said = value.partition("=")
            found[key] = said
    return found


def _contours(entities: list[list[Pair]]) -> Iterator[ReadContour]:
    at = 0
    while at < len(entities):
        entity = entities[at]
        kind = entity[0][1]
        at += 1
        if kind == "POLYLINE":
            end = next((i for i in range(at, len(entities)) if entities[i][0][1] != "VERTEX"), len(entities))
            yield _old_polyline(entity, entities[at:end])
            if end == len(entities) or entities[end][0][1] != "SEQEND":
                raise ReadingError("a POLYLINE does not end")
            at = end + 1
        elif kind in _READERS:
            yield _READERS[kind](entity)
        else:
            raise ReadingError(f"it holds a {kind}, which has no place in a cut file")


def _first(entity: list[Pair], code: int, otherwise: str | None = None) -> str:
    for found, value in entity:
        if found == code:
            return value.strip()
    if otherwise is None:
        raise ReadingError(f"a {entity[0][1]} lacks its group {code}")
    return otherwise


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError as error:
        raise ReadingError(f"{text!r} is no number") from error
    if not math.isfinite(value):
        raise ReadingError(f"{text!r} is no finite number")
    return value


def _value(entity: list[Pair], code: int, otherwise: str | None = None) -> float:
    return _number(_first(entity, code, otherwise))


def _flags(entity: list[Pair]) -> int:
    return int(_value(entity, 70, "0"))


def _light_polyline(entity: list[Pair]) -> ReadContour:
    points: list[list[float]] = []
    bulges: list[float] = []
    for code, value in entity:
        if code == 10:
            points.append([_number(value), 0.0])
            bulges.append(0.0)
        elif code == 20 and points:
            points[-1][1] = _number(value)
        elif code == 42 and points:
            bulges[-1] = _number(value)
    if len(points) != int(_value(entity, 90)):
        raise ReadingError("an LWPOLYLINE has another number of corners than it says")
    return _contour(entity, points, bulges, closed=bool(_flags(entity) & 1))


def _old_polyline(entity: list[Pair], vertices: list[list[Pair]]) -> ReadContour:
    in_space = bool(_flags(entity) & 8)
    codes = (10, 20, 30) if in_space else (10, 20)
    points = [[_value(vertex, code) for code in codes] for vertex in vertices]
    bulges = [_value(vertex, 42, "0") for vertex in vertices]
    return _contour(entity, points, bulges, closed=bool(_flags(entity) & 1))


def _circle(entity: list[Pair]) -> ReadContour:
    x, y, radius = (_value(entity, code) for code in (10, 20, 40))
    if radius <= 0.0:
        raise ReadingError("a CIRCLE has no radius")
    return _contour(entity, [[x + radius, y], [x - radius, y]], [1.0, 1.0], closed=True)


def _arc(entity: list[Pair]) -> ReadContour:
    x, y, radius, first, last = (_value(entity, code) for code in (10, 20, 40, 50, 51))
    sweep = math.radians((last - first) % 360.0) or 2.0 * math.pi
    angle = [math.radians(first) + share * sweep for share in (0.0, 0.5, 1.0)]
    points = [[x + radius * math.cos(turn), y + radius * math.sin(turn)] for turn in angle]
    return _contour(entity, points, [math.tan(sweep / 8.0)] * 2 + [0.0], closed=False)


def _line(entity: list[Pair]) -> ReadContour:
    points = [[_value(entity, 10), _value(entity, 20)], [_value(entity, 11), _value(entity, 21)]]
    return _contour(entity, points, [0.0, 0.0], closed=False)


def _point(entity: list[Pair]) -> ReadContour:
    return _contour(entity, [[_value(entity, code, "0") for code in (10, 20, 30)]], [0.0], closed=False)


def _contour(entity: list[Pair], points: list[list[float]], bulges: list[float], *, closed: bool) -> ReadContour:
    if not points:
        raise ReadingError(f"a {entity[0][1]} has no corners")
    table = np.array(points, dtype=np.float64)
    return ReadContour(_first(entity, 8), table, np.array(bulges, dtype=np.float64), closed, entity[0][1])


_READERS = {
    "LWPOLYLINE": _light_polyline,
    "CIRCLE": _circle,
    "ARC": _arc,
    "LINE": _line,
    "POINT": _point,
}
