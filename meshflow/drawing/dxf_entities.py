"""Single entities of a DXF file as runs of lines, arcs and splines, in the numbers of the file.

Terms: the *extrusion* is the normal of the plane an entity lies in, and (0, 0, -1) means that its numbers are seen from
behind, with x to the left.

Traps of real files that are met here: a mirrored arc keeps a positive sweep in its own plane; a polyline of spline type
carries its control points among its vertices; an ellipse may be a circle; a closed spline is defined from one of its
inner knots to another, and most readers walk it too far.

Source: the DXF reference; Piegl and Tiller, The NURBS Book, section 2.2 (where a spline is defined).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

from meshflow.drawing.plane_map import PlaneMap
from meshflow.drawing.runs import Arc, Free, Line, Run, Sweep
from meshflow.errors import DrawingFileError
from meshflow.geometry.biarcs import Smooth

__all__ = ["entity_label", "plane_of", "runs_of_entity"]

_FLAT: Final = 1e-3  # [mm]
_FRAME_POINT: Final = 16  # vertex flag: control point of a spline, not on the curve
_FULL: Final = 2.0 * math.pi
_MIRROR: Final = PlaneMap(0j, -1.0 + 0j)
_KNOT_SHARE: Final = 1e-9


def runs_of_entity(entity: Any, *, scale: float) -> list[tuple[Run, PlaneMap]] | None:
    """Return what an entity draws, or None when it is no curve that a shop cuts.

    Parameters
    ----------
    entity : ezdxf.entities.DXFEntity
        The entity.
    scale : float
        Millimetres per drawing unit, to judge flatness.

    Returns
    -------
    list of (Run, PlaneMap), or None
        The run in the entity's own plane, and the map from there to the plane of the drawing.

    Raises
    ------
    DrawingFileError
        If it is damaged, or does not lie in the plane.
    """
    try:
        return _runs(entity, scale)
    except DrawingFileError:
        raise
    except Exception as error:  # a damaged entity may fail in any way inside the parser
        raise DrawingFileError(
            f"the {entity_label(entity)} is damaged ({error}).", remedy="Draw it anew as lines and arcs."
        ) from error


def entity_label(entity: Any) -> str:
    """Return kind and handle of an entity."""
    handle = entity.dxf.get("handle", None)
    return f"{entity.dxftype()} (handle {handle})" if handle else str(entity.dxftype())


def plane_of(entity: Any) -> PlaneMap:
    """Return the map from an entity's own plane to the plane of the drawing.

    Raises
    ------
    DrawingFileError
        If the two are not parallel.
    """
    x, y, z = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
    if math.hypot(x, y) > 1e-6 * math.hypot(x, y, z) or z == 0.0:
        raise DrawingFileError(f"the {entity_label(entity)} lies in a tilted plane.", remedy="Export a flat drawing.")
    return PlaneMap() if z > 0.0 else _MIRROR


def _runs(entity: Any, scale: float) -> list[tuple[Run, PlaneMap]] | None:
    kind = entity.dxftype()
    if kind == "LINE":
        return [(_straight(entity, [entity.dxf.start, entity.dxf.end], scale), PlaneMap())]
    if kind == "POINT":
        return [(Run(_place(entity.dxf.location), closed=True), PlaneMap())]
    if kind in ("CIRCLE", "ARC"):
        return [(_round(entity), plane_of(entity))]
    if kind == "LWPOLYLINE":
        return [(_bulged(list(entity.get_points("xyb")), bool(entity.closed)), plane_of(entity))]
    if kind == "POLYLINE":
        return _old_polyline(entity, scale)
    if kind == "ELLIPSE":
        return [(_ellipse(entity, scale), PlaneMap())]
    if kind == "SPLINE":
        return [(_spline(entity, scale), PlaneMap())]
    return None


def _place(point: Any) -> complex:
    return complex(float(point[0]), float(point[1]))


def _flat(entity: Any, heights: Iterable[float], scale: float) -> None:
    levels = [float(height) for height in heights]
    if levels and not (max(levels) - min(levels)) * scale <= _FLAT:
        raise DrawingFileError(f"the {entity_label(entity)} is not flat.", remedy="Export a drawing seen from above.")


def _straight(entity: Any, corners: Sequence[Any], scale: float, *, closed: bool = False) -> Run:
    _flat(entity, (corner[2] for corner in corners), scale)
    places = [_place(corner) for corner in corners]
    return Run(places[0], [Line(place) for place in places[1:]], closed)


def _round(entity: Any) -> Run:
    centre, radius = _place(entity.dxf.center), complex(abs(float(entity.dxf.radius)))
    first, turn = 0.0, _FULL
    if entity.dxftype() == "ARC":
        first = math.radians(entity.dxf.start_angle)
        turn = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0)
    return _sweep(centre, radius, 1j * radius, first, turn)


def _sweep(centre: complex, u: complex, v: complex, first: float, turn: float) -> Run:
    whole = turn < 1e-9 or turn > _FULL - 1e-9
    turn = _FULL if whole else turn
    start, end = (centre + u * math.cos(t) + v * math.sin(t) for t in (first, first + turn))
    return Run(start, [Sweep(centre, u, v, first, turn, start if whole else end)], closed=whole)


def _bulged(rows: Sequence[Any], closed: bool) -> Run:
    places = [_place(row) for row in rows]
    ends = [*places[1:], places[0]] if closed else places[1:]
    return Run(places[0], [Arc(end, float(row[2])) for row, end in zip(rows, ends, strict=False)], closed)


def _old_polyline(entity: Any, scale: float) -> list[tuple[Run, PlaneMap]] | None:
    corners = [vertex.dxf for vertex in entity.vertices if not vertex.dxf.flags & _FRAME_POINT]
    if not (entity.is_3d_polyline or entity.is_2d_polyline) or not corners:
        return None
    if entity.is_3d_polyline:
        places = [corner.location for corner in corners]
        return [(_straight(entity, places, scale, closed=bool(entity.is_closed)), PlaneMap())]
    rows = [(corner.location[0], corner.location[1], corner.get("bulge", 0.0)) for corner in corners]
    return [(_bulged(rows, bool(entity.is_closed)), plane_of(entity))]


def _ellipse(entity: Any, scale: float) -> Run:
    major, minor = entity.dxf.major_axis, entity.minor_axis
    _flat(entity, (0.0, major[2], minor[2]), scale)
    first = float(entity.dxf.start_param)
    turn = (float(entity.dxf.end_param) - first) % _FULL
    return _sweep(_place(entity.dxf.center), _place(major), _place(minor), first, turn)


def _spline(entity: Any, scale: float) -> Run:
    spline = entity.construction_tool()
    _flat(entity, (point[2] for point in spline.control_points), scale)
    knots = sorted(set(spline.knots()[spline.degree : spline.count + 1]))
    stretches = tuple(_stretch(spline, low, high) for low, high in itertools.pairwise(knots))
    start, end = stretches[0].at(knots[0]), stretches[-1].at(knots[-1])
    closed = abs(end - start) * scale <= _FLAT * 1e-3
    return Run(start, [Free(stretches, start if closed else end, "SPLINE")], closed)


def _stretch(spline: Any, low: float, high: float) -> Smooth:
    """Return a spline between two knots; at a knot itself the direction may jump, so it is asked for just inside."""
    least, most = low + _KNOT_SHARE * (high - low), high - _KNOT_SHARE * (high - low)

    def slope(t: float) -> complex:
        return _place(spline.derivative(min(max(t, least), most), 1)[1])

    return Smooth(lambda t: _place(spline.point(t)), slope, low, high)
