"""Curves in space as DXF, to be laid over a scan: polylines of straight pieces, points, a layer for each operation.

Convention: millimetres, the coordinates of the scan; version R12, because every mesh and drawing program reads its
POLYLINE in space. Coordinates lie on the grid of the other drawings. Source: the open DXF reference.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

import numpy as np

from meshflow.drawing.grid import DECIMALS
from meshflow.drawing.layers import ascii_line
from meshflow.errors import DrawingFileError
from meshflow.model.arrays import FloatArray
from meshflow.model.drawing import Layer

__all__ = ["space_dxf_bytes"]

_IN_SPACE = 8


class _Line(Protocol):
    """A polyline in space: layer, (k, 3) corners, whether it is closed."""

    @property
    def layer(self) -> Layer: ...

    @property
    def points(self) -> FloatArray: ...

    @property
    def closed(self) -> bool: ...


def space_dxf_bytes(curves: Sequence[_Line], *, comments: Sequence[str] = ()) -> bytes:
    r"""Return curves in space as a DXF file.

    Parameters
    ----------
    curves : sequence of SpaceCurve
        Layer, (k, 3) corners [mm], closed or not; one corner is a point.
    comments : sequence of str
        Sentences for the head.

    Returns
    -------
    bytes
        ASCII text with ``\n`` line ends; the same for the same curves.

    Raises
    ------
    DrawingFileError
        If there is nothing to draw, or a coordinate is not finite.
    """
    if not curves:
        raise DrawingFileError("there is no curve to draw.")
    table = np.concatenate([curve.points for curve in curves])
    if not np.isfinite(table).all():
        raise DrawingFileError("a curve has a coordinate that is not a finite number.")
    layers = sorted({curve.layer for curve in curves}, key=list(Layer).index)
    lines = [line for comment in comments for line in ("999", ascii_line(comment))]
    lines += _head(layers, table.min(axis=0), table.max(axis=0))
    lines += ["0", "SECTION", "2", "ENTITIES"]
    for curve in sorted(curves, key=lambda curve: layers.index(curve.layer)):
        lines += _entity(curve)
    return ("\n".join([*lines, "0", "ENDSEC", "0", "EOF"]) + "\n").encode("ascii")


def _head(layers: Sequence[Layer], low: FloatArray, high: FloatArray) -> list[str]:
    lines = ["0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1009"]
    lines += ["9", "$INSUNITS", "70", "4", "9", "$MEASUREMENT", "70", "1"]
    lines += ["9", "$EXTMIN", *_place(low), "9", "$EXTMAX", *_place(high), "0", "ENDSEC"]
    lines += ["0", "SECTION", "2", "TABLES", "0", "TABLE", "2", "LAYER", "70", str(len(layers))]
    for layer in layers:
        lines += ["0", "LAYER", "2", str(layer), "70", "0", "62", "7", "6", "CONTINUOUS"]
    return [*lines, "0", "ENDTAB", "0", "ENDSEC"]


def _place(point: FloatArray) -> list[str]:
    values = (np.round(point, DECIMALS) + 0.0).tolist()
    return [part for code, value in zip(("10", "20", "30"), values, strict=True) for part in (code, _number(value))]


def _number(value: float) -> str:
    return f"{value:.{DECIMALS}f}".rstrip("0") + ("0" if value == round(value) else "")


def _entity(curve: _Line) -> Iterable[str]:
    layer = str(curve.layer)
    if len(curve.points) == 1:
        return ["0", "POINT", "8", layer, *_place(curve.points[0])]
    flags = str(_IN_SPACE + int(curve.closed))
    lines = ["0", "POLYLINE", "8", layer, "66", "1", "70", flags, "10", "0.0", "20", "0.0", "30", "0.0"]
    for point in curve.points:
        lines += ["0", "VERTEX", "8", layer, *_place(point), "70", "32"]
    return [*lines, "0", "SEQEND", "8", layer]
