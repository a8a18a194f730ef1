"""Curves as the text of a DXF file's ENTITIES section.

One format string for a few thousand corners, filled at once, is a dozen times faster than building an object for each
curve, and its output does not change with the version of a library. Group codes are those of the open DXF reference.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer, Stroke

__all__ = ["CurveWriter"]

_CLOSED: Final = 1
_XY: Final = " 10\n%.6f\n 20\n%.6f\n"
_BULGE: Final = " 42\n%r\n"  # the shortest text that reads back to the same double
_LEVEL: Final = " 30\n0.0\n"
_BLOCK: Final = 4096


class CurveWriter:
    """Turns strokes into text, giving each thing the next handle.

    Parameters
    ----------
    owner : str
        Handle of the model space; empty for R12, which has no owners and no lightweight polylines.
    first_handle : int
        The first handle to give.
    extended : str
        Text of extended data for each outer contour, or for the first curve when there is none.
    """

    def __init__(self, *, owner: str, first_handle: int, extended: str = "") -> None:
        self.next_handle = first_handle
        self._owner = owner
        self._extended = extended

    def handles_of(self, strokes: Sequence[Stroke]) -> int:
        """Return how many handles the strokes take."""
        if self._owner:
            return len(strokes)
        # An old polyline names each of its corners, and its end.
        runs = [stroke.curve for stroke in strokes if isinstance(stroke.curve, Polycurve)]
        return len(strokes) + len(runs) + sum(len(run.points) for run in runs)

    def texts(self, strokes: Sequence[Stroke]) -> Iterator[str]:
        """Yield the entities of all strokes, which must lie on the grid, a few thousand corners at a time."""
        outer = [stroke.layer is Layer.CUT_OUTSIDE for stroke in strokes]
        carries = outer if any(outer) else [index == 0 for index in range(len(strokes))]
        for stroke, carrying in zip(strokes, carries, strict=True):
            yield from self._entity(stroke, self._extended if carrying else "")

    def _entity(self, stroke: Stroke, extended: str) -> Iterator[str]:
        layer, curve = stroke.layer, stroke.curve
        if isinstance(curve, Dot):
            yield self._head("POINT", "AcDbPoint", layer) + _XY % curve.position + _LEVEL + extended
        elif isinstance(curve, Circle):
            head = self._head("CIRCLE", "AcDbCircle", layer) + _XY % curve.centre + _LEVEL
            yield f"{head} 40\n{curve.radius:.6f}\n{extended}"
        elif self._owner:
            yield from self._polyline(layer, curve, extended)
        else:
            yield from self._polyline_r12(layer, curve, extended)

    def _head(self, kind: str, subclass: str, layer: Layer) -> str:
        handle = self._handles(1)[0]
        if not self._owner:
            return f"  0\n{kind}\n  5\n{handle:X}\n  8\n{layer}\n"
        common = f"  0\n{kind}\n  5\n{handle:X}\n330\n{self._owner}\n100\nAcDbEntity\n  8\n{layer}\n"
        return f"{common}100\n{subclass}\n"

    def _handles(self, count: int) -> range:
        self.next_handle += count
        return range(self.next_handle - count, self.next_handle)

    def _polyline(self, layer: Layer, curve: Polycurve, extended: str) -> Iterator[str]:
        head = self._head("LWPOLYLINE", "AcDbPolyline", layer)
        yield f"{head} 90\n{len(curve.points)}\n 70\n{_CLOSED * curve.closed}\n"
        bent = np.asarray(curve.bulges).any()
        for points, bulges in _blocks(curve):
            columns = [*points.T.tolist(), *([bulges.tolist()] if bent else [])]
            yield _filled(_XY + _BULGE if bent else _XY, columns)
        yield extended

    def _polyline_r12(self, layer: Layer, curve: Polycurve, extended: str) -> Iterator[str]:
        head = self._head("POLYLINE", "", layer)
        # 66 announces vertices; the position is a dummy whose height is the elevation of the whole.
        yield f"{head} 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n{_CLOSED * curve.closed}\n{extended}"
        bent = np.asarray(curve.bulges).any()
        vertex = f"  0\nVERTEX\n  5\n%X\n  8\n{layer}\n{_XY}{_LEVEL}" + (_BULGE if bent else "")
        for points, bulges in _blocks(curve):
            columns = [self._handles(len(points)), *points.T.tolist(), *([bulges.tolist()] if bent else [])]
            yield _filled(vertex, columns)
        yield self._head("SEQEND", "", layer)


def _blocks(curve: Polycurve) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield corners and bulges some thousand at a time: as Python numbers they take ten times their room."""
    for start in range(0, len(curve.points), _BLOCK):
        part = slice(start, start + _BLOCK)
        yield curve.points[part], np.asarray(curve.bulges)[part]


def _filled(template: str, columns: Sequence[Sequence[float]]) -> str:
    """Return `template` once for each row of the columns, filled in."""
    rows, width = len(columns[0]), len(columns)
    values: list[float] = [0.0] * (rows * width)
    for place, column in enumerate(columns):
        values[place::width] = column
    return template * rows % tuple(values)
