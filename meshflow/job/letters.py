"""Letters on the edges of a pattern that are joined: the sides of its seams and the legs of its darts.

Convention: an edge and its counterpart carry the same letter, half way along, and notches at equal shares of their
length (`outline.notches`), so that it is plain at the bench which legs close which dart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshflow.geometry.curves import point_at, tangent_at, transformed
from meshflow.geometry.lettering import strokes, text_width
from meshflow.geometry.pieces import project
from meshflow.geometry.polygons import Area, curves_inside, gap_between, material, shrunk
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Mark, Part
from meshflow.model.pattern import Edge

__all__ = ["lettered"]

CAPS_MM = (6.0, 4.0, 2.5)
_GAP_MM = 0.9
_APART_MM = 0.5
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"  # I and O are read as 1 and 0


def lettered(part: Part, *, at_least_mm: float = 15.0) -> Part:
    """Return a part with a letter on both edges of each seam; what has no room is left out.

    Parameters
    ----------
    part : Part
        The dressed part.
    at_least_mm : float
        Shorter edges bear no letter [mm].

    Returns
    -------
    Part
        Marks of purpose ``seam`` added; as it was where it must not be cut.
    """
    pattern = part.pattern
    if pattern is None or not part.marks or len(pattern.seams) < 2:
        return part  # one seam needs no name
    room = shrunk(material(part.outline, list(part.holes)), _GAP_MM)
    contours = [part.outline, *part.holes]
    marks = list(part.marks)
    for number, seam in enumerate(pattern.seams):
        for name in (seam.edge_a, seam.edge_b):
            edge = pattern.edge(name)
            points = pattern.vertices[edge.vertices]
            if float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum()) >= at_least_mm:
                marks += _letter(part, edge, contours[edge.loop], _name(number), room, marks)
    return replace(part, marks=tuple(marks))


def _name(number: int) -> str:
    more, last = divmod(number, len(_LETTERS))
    return (_name(more - 1) if more else "") + _LETTERS[last]


def _letter(
    part: Part, edge: Edge, contour: Polycurve | Circle, name: str, room: Area, standing: Sequence[Mark]
) -> list[Mark]:
    """Return a letter beside the edge: half way, else at other shares of its length, as large as there is room for."""
    for cap in CAPS_MM:
        for share in (0.5, 0.35, 0.2, 0.65):
            foot, inward = _foot(part, edge, contour, share if edge.name.endswith("a") else 1.0 - share)
            width = text_width(name, cap_height=cap)
            middle = foot + (_GAP_MM + 0.5 * float(np.hypot(width, cap))) * inward
            shift = Motion(dx_mm=float(middle[0]) - 0.5 * width, dy_mm=float(middle[1]) - 0.5 * cap)
            marks = [Mark(Layer.MARK_TEXT, transformed(line, shift), "seam") for line in strokes(name, cap_height=cap)]
            curves = [mark.curve for mark in marks]
            if curves_inside(room, curves) and gap_between(curves, [mark.curve for mark in standing]) > _APART_MM:
                return marks
    return []


def _foot(part: Part, edge: Edge, contour: Polycurve | Circle, share: float) -> tuple[FloatArray, FloatArray]:
    """Return the place on the drawn contour at a share of an edge, and the way into the part there."""
    assert part.pattern is not None
    points = part.pattern.vertices[edge.vertices]
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    at = np.array([[np.interp(share * reached[-1], reached, points[:, axis]) for axis in (0, 1)]])
    along = project(contour, move_points(at, part.placement_of_pattern))[0]
    tangent = tangent_at(contour, along)[0]
    inward = np.array([-tangent[1], tangent[0]])
    outward = isinstance(contour, Circle) and edge.loop != 0
    return point_at(contour, along)[0], -inward if outward else inward
