"""What a DXF file draws, as plain curves in millimetres: blocks unfolded, mirrored planes turned over.

Terms: an *insert* places a block of entities, scaled, turned or mirrored; the *extrusion* is the normal of the plane an
entity lies in, and (0, 0, -1) means that its numbers are seen from behind; an *ellipse* or *spline* is no line or arc
and becomes a run of short lines within 0.005 mm.

Traps of real files that are met here: a block inserted with a z scale of 0 makes the usual unfolding divide by zero; a
mirrored arc keeps a positive sweep in its own plane; a polyline of spline type carries its control points among its
vertices; a grid of inserts may ask for millions of copies.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from meshflow.errors import DrawingFileError
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve

__all__ = ["Shape", "Shapes", "shapes_of"]

CHORD_MM: Final = 0.005
_MOST_FROM_BLOCKS: Final = 50_000
_DEEPEST_BLOCK: Final = 16
_FLAT_MM: Final = 1e-3
_FRAME_POINT: Final = 16  # vertex flag: control point of a spline, not on the curve


@dataclass(frozen=True, slots=True)
class Shape:
    """One curve and the layer it was on.

    Parameters
    ----------
    layer : str
        Layer name, upper case.
    curve : Polycurve, Circle or Dot
        The curve [mm].
    """

    layer: str
    curve: Curve


@dataclass(slots=True)
class Shapes:
    """Everything found in a file.

    Parameters
    ----------
    shapes : list of Shape
        In file order.
    tessellated, ignored, hidden : Counter
        How many entities of a kind became short lines, are not curves, or lie on a layer that is switched off.
    """

    shapes: list[Shape] = field(default_factory=list)
    tessellated: Counter[str] = field(default_factory=Counter)
    ignored: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)


def shapes_of(document: Any, *, scale: float) -> Shapes:
    """Return the curves of the model space.

    Parameters
    ----------
    document : ezdxf.document.Drawing
        The file.
    scale : float
        Millimetres per drawing unit.

    Returns
    -------
    Shapes
        Curves in file order, and what was left out.

    Raises
    ------
    DrawingFileError
        If an entity is damaged or does not lie in the plane, or blocks unfold without end.
    """
    found = Shapes()
    off = {layer.dxf.name.upper() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    for entity, layer in _unfolded(document.modelspace(), found):
        kind = entity.dxftype()
        if _attribute(entity, "invisible", 0) or layer in off:
            found.hidden[layer] += 1
            continue
        curves = _guarded(entity, scale)
        if curves is None:
            found.ignored[kind] += 1
            continue
        if kind in ("ELLIPSE", "SPLINE"):
            found.tessellated[kind] += 1
        found.shapes += [Shape(layer, curve) for curve in curves]
    return found


def _unfolded(space: Iterable[Any], found: Shapes) -> Iterator[tuple[Any, str]]:
    """Yield entities with their layer, those of blocks at the place where they are inserted."""
    waiting = [(entity, "0", 0) for entity in reversed(list(space))]
    seen = 0
    while waiting:
        entity, parent, depth = waiting.pop()
        seen += depth > 0
        if seen > _MOST_FROM_BLOCKS or depth > _DEEPEST_BLOCK:
            raise DrawingFileError(
                "its blocks unfold into more curves than a part can have.",
                remedy="Explode the blocks and export again.",
            )
        layer = str(_attribute(entity, "layer", "0")).upper()
        if depth and layer == "0":  # inside a block, layer 0 means the layer of the insert
            layer = parent
        if entity.dxftype() == "INSERT":
            waiting += [(inner, layer, depth + 1) for inner in reversed(_block_content(entity, found))]
        else:
            yield entity, layer


def _attribute(entity: Any, name: str, otherwise: Any) -> Any:
    """Return an attribute that an entity of an unknown kind may not have."""
    return entity.dxf.get(name, otherwise) if entity.is_supported_dxf_attrib(name) else otherwise


def _block_content(insert: Any, found: Shapes) -> list[Any]:
    name = insert.dxf.name
    if insert.mcount > _MOST_FROM_BLOCKS:
        raise DrawingFileError(f"the block {name!r} is inserted {insert.mcount} times.", remedy="Explode it.")
    if insert.dxf.get("xscale", 1.0) == 0.0 or insert.dxf.get("yscale", 1.0) == 0.0:
        raise DrawingFileError(f"the block {name!r} is inserted with a scale of 0.", remedy="Draw it at its true size.")
    if insert.dxf.get("zscale", 1.0) == 0.0:
        insert.dxf.zscale = 1.0  # nothing has height here, and unfolding would divide by it

    def skipped(entity: Any, reason: str) -> None:
        del reason
        found.ignored[entity.dxftype()] += 1

    try:
        if insert.mcount > 1:
            return list(insert.multi_insert())
        return list(insert.virtual_entities(skipped_entity_callback=skipped))
    except Exception as error:  # the unfolding of a stranger's block may fail in any way
        raise DrawingFileError(
            f"the block {name!r} cannot be unfolded ({error}).", remedy="Explode the blocks and export again."
        ) from error


def _guarded(entity: Any, scale: float) -> list[Curve] | None:
    try:
        curves = _curves_of(entity, scale)
    except DrawingFileError:
        raise
    except Exception as error:  # a damaged entity may fail in any way inside the parser
        raise DrawingFileError(
            f"the {_label(entity)} is damaged ({error}).", remedy="Draw it anew as lines and arcs."
        ) from error
    for curve in curves or ():
        if not np.isfinite(_numbers(curve)).all():
            raise DrawingFileError(f"the {_label(entity)} has a coordinate that is not a finite number.")
    return curves


def _label(entity: Any) -> str:
    handle = entity.dxf.get("handle", None)
    return f"{entity.dxftype()} (handle {handle})" if handle else str(entity.dxftype())


def _numbers(curve: Curve) -> FloatArray:
    if isinstance(curve, Polycurve):
        return np.concatenate([curve.points.ravel(), np.asarray(curve.bulges)])
    return np.array([*curve.centre, curve.radius] if isinstance(curve, Circle) else curve.position)


def _curves_of(entity: Any, scale: float) -> list[Curve] | None:
    """Return the curves of an entity [mm], or None when it draws none that a shop cuts."""
    kind = entity.dxftype()
    if kind == "LINE":
        return [_polyline(entity, [entity.dxf.start, entity.dxf.end], scale)]
    if kind == "POINT":
        return [Dot(tuple((np.array(entity.dxf.location)[:2] * scale).tolist()))]
    if kind in ("CIRCLE", "ARC"):
        return [_circle_or_arc(entity, scale)]
    if kind == "LWPOLYLINE":
        return [_bulged(entity, entity.get_points("xyb"), bool(entity.closed), scale)]
    if kind == "POLYLINE":
        return _old_polyline(entity, scale)
    if kind in ("ELLIPSE", "SPLINE"):
        return [_polyline(entity, list(entity.flattening(CHORD_MM / scale)), scale)]
    return None


def _flipped(entity: Any) -> bool:
    """Whether the entity's own plane is the drawing's plane seen from behind."""
    x, y, z = entity.dxf.get("extrusion", (0.0, 0.0, 1.0))
    if math.hypot(x, y) > 1e-6 * math.hypot(x, y, z) or z == 0.0:
        raise DrawingFileError(f"the {_label(entity)} lies in a tilted plane.", remedy="Export a flat drawing.")
    return bool(z < 0.0)


def _polyline(entity: Any, corners: list[Any], scale: float, *, closed: bool = False) -> Polycurve:
    points = np.array([tuple(corner) for corner in corners], dtype=np.float64).reshape(-1, 3) * scale
    if len(points) and np.ptp(points[:, 2]) > _FLAT_MM:
        raise DrawingFileError(f"the {_label(entity)} is not flat.", remedy="Export a drawing seen from above.")
    return Polycurve(points[:, :2], closed=closed)


def _circle_or_arc(entity: Any, scale: float) -> Curve:
    flip = -1.0 if _flipped(entity) else 1.0
    centre = np.array(entity.dxf.center)[:2] * (flip * scale, scale)
    radius = abs(float(entity.dxf.radius)) * scale
    if entity.dxftype() == "CIRCLE":
        return Circle((float(centre[0]), float(centre[1])), radius)
    first = math.radians(entity.dxf.start_angle)
    sweep = math.radians((entity.dxf.end_angle - entity.dxf.start_angle) % 360.0) or 2.0 * math.pi
    if 2.0 * math.pi - sweep < 1e-9:
        return Circle((float(centre[0]), float(centre[1])), radius)
    steps = 1 if sweep <= math.pi else 2  # beyond a half turn the bulge grows without limit
    angle = first + np.linspace(0.0, sweep, steps + 1)
    points = centre + radius * np.stack([flip * np.cos(angle), np.sin(angle)], axis=1)
    return Polycurve(points, np.full(steps + 1, flip * math.tan(sweep / steps / 4.0)), closed=False)


def _bulged(entity: Any, rows: Iterable[Any], closed: bool, scale: float) -> Polycurve:
    flip = -1.0 if _flipped(entity) else 1.0
    table = np.array([tuple(row) for row in rows], dtype=np.float64).reshape(-1, 3)
    return Polycurve(table[:, :2] * (flip * scale, scale), table[:, 2] * flip, closed)


def _old_polyline(entity: Any, scale: float) -> list[Curve] | None:
    if entity.is_3d_polyline:
        corners = [v.dxf.location for v in entity.vertices if not v.dxf.flags & _FRAME_POINT]
        return [_polyline(entity, corners, scale, closed=bool(entity.is_closed))]
    if not entity.is_2d_polyline:
        return None
    rows = [
        (v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0))
        for v in entity.vertices
        if not v.dxf.flags & _FRAME_POINT
    ]
    return [_bulged(entity, rows, bool(entity.is_closed), scale)]
