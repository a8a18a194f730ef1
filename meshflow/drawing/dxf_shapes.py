"""What a DXF file draws, as plain curves in millimetres: blocks unfolded, mirrored planes turned over.

Terms: an *insert* places a block of entities, scaled, turned or mirrored; the *extrusion* is the normal of the plane an
entity lies in, and (0, 0, -1) means that its numbers are seen from behind.

Blocks are unfolded here and not by ezdxf, whose unfolding divides by a z scale of 0 and loses the shear of a block that
is turned inside another one stretched unequally; and a grid of inserts may ask for millions of copies.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from typing import Any, Final

from meshflow.drawing.curve_maker import CurveMaker
from meshflow.drawing.dxf_entities import entity_label, plane_of, runs_of_entity
from meshflow.drawing.plane_map import PlaneMap
from meshflow.drawing.runs import Run
from meshflow.drawing.shapes import Shape, Shapes
from meshflow.errors import DrawingFileError, InputError
from meshflow.model.curve import Curve

__all__ = ["shapes_of"]

_MOST_FROM_BLOCKS: Final = 50_000
_DEEPEST_BLOCK: Final = 16
_TEXTS: Final = ("TEXT", "MTEXT", "ATTRIB", "ATTDEF")


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
    found, maker = Shapes(), CurveMaker()
    off = {layer.dxf.name.upper() for layer in document.layers if layer.is_off() or layer.is_frozen()}
    for entity, layer, to_mm in _unfolded(document, scale):
        kind = entity.dxftype()
        if _attribute(entity, "invisible", 0) or layer in off:
            found.hidden[layer] += 1
            continue
        runs = runs_of_entity(entity, scale=scale)
        if runs is None:
            found.ignored[kind] += 1
            if kind in _TEXTS:
                x, y, _ = _attribute(entity, "insert", (0.0, 0.0, 0.0))
                place = to_mm(complex(float(x), float(y)))
                found.texts.append((layer, (place.real, place.imag)))
            continue
        for run, plane in runs:
            found.shapes += [Shape(layer, curve) for curve in _curves(maker, run, plane.then(to_mm), entity)]
        found.tessellated.update(maker.taken())
    return found


def _curves(maker: CurveMaker, run: Run, to_mm: PlaneMap, entity: Any) -> list[Curve]:
    try:
        return maker.curves(run, to_mm)
    except InputError as error:
        raise DrawingFileError(f"the {entity_label(entity)}: {error.what}", remedy=error.remedy) from None


def _unfolded(document: Any, scale: float) -> Iterator[tuple[Any, str, PlaneMap]]:
    """Yield entities with their layer and the map to millimetres, those of blocks at the place of their insert."""
    waiting = [(entity, "0", 0, PlaneMap(scale + 0j)) for entity in reversed(list(document.modelspace()))]
    seen = 0
    while waiting:
        entity, parent, depth, to_mm = waiting.pop()
        seen += depth > 0
        if seen > _MOST_FROM_BLOCKS or depth > _DEEPEST_BLOCK:
            raise DrawingFileError(
                "its blocks unfold into more curves than a part can have.",
                remedy="Explode the blocks and export again.",
            )
        layer = str(_attribute(entity, "layer", "0")).upper()
        if depth and layer == "0":  # inside a block, layer 0 means the layer of the insert
            layer = parent
        if entity.dxftype() != "INSERT":
            yield entity, layer, to_mm
            continue
        content = _block_content(entity, document)
        for place in reversed(_places(entity)):
            inside = place.then(to_mm)
            if len(waiting) + len(content) > _MOST_FROM_BLOCKS:
                seen = _MOST_FROM_BLOCKS  # the next turn refuses it
                break
            waiting += [(inner, layer, depth + 1, inside) for inner in reversed(content)]


def _attribute(entity: Any, name: str, otherwise: Any) -> Any:
    """Return an attribute that an entity of an unknown kind may not have."""
    return entity.dxf.get(name, otherwise) if entity.is_supported_dxf_attrib(name) else otherwise


def _block_content(insert: Any, document: Any) -> list[Any]:
    block = document.blocks.get(str(insert.dxf.get("name", "")))
    if block is None or block.block.is_xref:
        raise DrawingFileError(
            f"the block {insert.dxf.get('name', '')!r} cannot be unfolded: it is not in the file.",
            remedy="Explode the blocks and export again.",
        )
    return list(block)


def _places(insert: Any) -> list[PlaneMap]:
    """Return the maps of an insert, one for each of its copies; its z scale does not matter in the plane."""
    name, dxf = insert.dxf.name, insert.dxf
    rows, columns = max(int(dxf.get("row_count", 1)), 1), max(int(dxf.get("column_count", 1)), 1)
    if rows * columns > _MOST_FROM_BLOCKS:
        raise DrawingFileError(f"the block {name!r} is inserted {rows * columns} times.", remedy="Explode it.")
    across, up = float(dxf.get("xscale", 1.0)), float(dxf.get("yscale", 1.0))
    if across == 0.0 or up == 0.0:
        raise DrawingFileError(f"the block {name!r} is inserted with a scale of 0.", remedy="Draw it at its true size.")
    spin = _spin(float(dxf.get("rotation", 0.0)))
    base, at = insert.block().block.dxf.base_point, dxf.insert
    shaped = PlaneMap(c=-complex(base[0], base[1])).then(PlaneMap(complex(across + up) / 2, complex(across - up) / 2))
    step = complex(dxf.get("column_spacing", 0.0)), 1j * float(dxf.get("row_spacing", 0.0))
    corner, plane = complex(at[0], at[1]), plane_of(insert)
    return [
        shaped.then(PlaneMap(spin, 0j, corner + spin * (column * step[0] + row * step[1]))).then(plane)
        for row in range(rows)
        for column in range(columns)
    ]


def _spin(degrees: float) -> complex:
    spin = cmath.rect(1.0, math.radians(degrees % 360.0))
    return complex(round(spin.real), round(spin.imag)) if degrees % 90.0 == 0.0 else spin
