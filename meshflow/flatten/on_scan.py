"""A part's rim, openings, holes and marks as curves in space, lying on the scan, to be tried on it before sheet is cut.

Convention: the coordinates of the scan as it was read, millimetres. The rim and the openings are those of the piece
itself, corner for corner, whatever is added to the outline outside them; holes and marks are followed from the drawing
over the triangles, so they bend where these do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import tessellate
from meshflow.geometry.facegrid import FaceGrid
from meshflow.geometry.transforms import inverse, move_points
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Curve, Dot, Motion
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern

__all__ = ["SpaceCurve", "curves_on_scan"]

_CHORD_MM = 0.002
_WHOLE = 1e-9  # of a segment: wider gaps between two faces are off the piece


@dataclass(frozen=True, eq=False)
class SpaceCurve:
    """A polyline in space.

    Parameters
    ----------
    layer : Layer
        What is done with it in the drawing.
    points : (k, 3) float array
        Corners [mm]; one for a point.
    closed : bool
        Whether the last corner joins the first.
    """

    layer: Layer
    points: FloatArray
    closed: bool = False


def curves_on_scan(part: Part) -> tuple[SpaceCurve, ...]:
    """Return everything of a part that lies on the scan.

    Parameters
    ----------
    part : Part
        With its pattern.

    Returns
    -------
    tuple of SpaceCurve
        Rim, openings, further holes, marks; empty where the pattern does not know its scan.
    """
    pattern = part.pattern
    if pattern is None or pattern.region.on_scan is None:
        return ()
    over = _OnScan(pattern, pattern.region.on_scan)
    back = inverse(part.placement_of_pattern)
    found = _rims(pattern)
    for hole in part.holes:
        found += [curve for curve in _followed(over, hole, Layer.CUT_INSIDE, back) if curve.closed]
    for mark in part.marks:
        found += _followed(over, mark.curve, mark.layer, back)
    return tuple(found)


def _rims(pattern: FlatPattern) -> list[SpaceCurve]:
    onto = pattern.region.on_scan
    assert onto is not None
    found = []
    for number in sorted({edge.loop for edge in pattern.edges}):
        edges = [edge for edge in pattern.edges if edge.loop == number]
        runs = [edge.vertices if edge.closed else edge.vertices[:-1] for edge in edges]
        layer = Layer.CUT_OUTSIDE if number == 0 else Layer.CUT_INSIDE
        found.append(SpaceCurve(layer, onto[np.concatenate(runs)], closed=True))
    return found


def _followed(over: _OnScan, curve: Curve, layer: Layer, back: Motion) -> list[SpaceCurve]:
    """Return the stretches of a curve of the drawing that lie on the piece."""
    if isinstance(curve, Dot):
        return over.point(layer, move_points([curve.position], back))
    line = move_points(tessellate(curve, tolerance=_CHORD_MM), back)
    return over.line(layer, line, closed=isinstance(curve, Circle) or curve.closed)


class _OnScan:
    """From the flat pattern onto the scan, over its triangles."""

    def __init__(self, pattern: FlatPattern, on_scan: FloatArray) -> None:
        self._faces, self._onto = pattern.faces, on_scan
        self._grid = FaceGrid(pattern.vertices, pattern.faces)

    def point(self, layer: Layer, flat: FloatArray) -> list[SpaceCurve]:
        face, weights = self._grid.locate(flat)
        return [SpaceCurve(layer, self._placed(face, weights))] if face[0] >= 0 else []

    def line(self, layer: Layer, line: FloatArray, *, closed: bool) -> list[SpaceCurve]:
        line = np.concatenate([line, line[:1]]) if closed else line
        face, start, end = self._grid.cut(line)
        breaks = np.flatnonzero(start[1:] - end[:-1] > _WHOLE) + 1
        runs = zip(np.split(face, breaks), np.split(start, breaks), np.split(end, breaks), strict=True)
        return [self._run(layer, line, *run, closed=closed) for run in runs if len(run[0])]

    def _run(
        self, layer: Layer, line: FloatArray, face: IntArray, start: FloatArray, end: FloatArray, *, closed: bool
    ) -> SpaceCurve:
        whole = closed and start[0] < _WHOLE and end[-1] > len(line) - 1 - _WHOLE
        share = np.concatenate([start[:1], end])
        segment = np.minimum(share.astype(np.int64), len(line) - 2)
        flat = line[segment] + (share - segment)[:, None] * (line[segment + 1] - line[segment])
        own = np.concatenate([face[:1], face])
        points = self._placed(own, self._grid.weights(flat, own))
        return SpaceCurve(layer, points[:-1] if whole else points, closed=whole)

    def _placed(self, face: IntArray, weights: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("ki,kid->kd", weights, self._onto[self._faces[face]]))
