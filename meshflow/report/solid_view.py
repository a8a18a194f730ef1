"""The picture of a tool: its solids as they stand on the mill or printer, seen from the front and above, in light.

Every solid has a field of its own with its name, its size and a bar of a round length; grey is the slope of its faces
under a lamp at the upper left, dark lines are its outline and its steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, UInt8Array
from meshflow.model.tool import Solid
from meshflow.report.figures import write_png
from meshflow.report.palette import INK, PAPER
from meshflow.report.picture import Frame, Item, Picture, Pixels, Words, scale_bar

__all__ = ["solids_png"]

_FIELD, _MOST_HEIGHT, _EDGE, _BELOW = 460.0, 330.0, 24.0, 78.0
_TOP = 62.0
_FINE = 2  # pixels a picture unit, before pooling two by two
_DOWN, _ASKEW = np.radians(38.0), np.radians(24.0)  # how far from above, and turned about the upright
_LAMP = np.array([-0.42, 0.52, 0.74])
_BRASS = np.array([222.0, 208.0, 178.0])
_DIMMEST = 0.30
_STEP = 0.02  # of the size of a solid: a jump in depth that is drawn as a line


def solids_png(name: str, solids: Sequence[Solid], path: Path) -> None:
    """Write a picture of the solids of a tool as PNG.

    Parameters
    ----------
    name : str
        Name of the tool.
    solids : sequence of Solid
        At least one.
    path : Path
        Where to write.
    """
    across = _view()
    columns = min(2, len(solids))
    items: list[Item] = [Words(_EDGE, 38, name, 22, bold=True)]
    pixels: list[Pixels] = []
    top = _TOP
    for first in range(0, len(solids), columns):
        fields = [_field(solid, across) for solid in solids[first : first + columns]]
        tallest = max(frame.height for frame, _ in fields)
        for place, (solid, (frame, colours)) in enumerate(zip(solids[first : first + columns], fields, strict=True)):
            left = _EDGE + place * (_FIELD + _EDGE)
            down = top + tallest - frame.height
            pixels.append(Pixels(left + frame.left, down, frame.width, frame.height, colours))
            items += _words(solid, frame, left, top + tallest)
        top += tallest + _BELOW
    width = _EDGE + columns * (_FIELD + _EDGE)
    write_png(Picture(width, top, tuple(items)), path, pixels=pixels)


def _view() -> FloatArray:
    """Return the axes of the view in rows: right, up on the page, towards the eye."""
    right = np.array([np.cos(_ASKEW), np.sin(_ASKEW), 0.0])
    back = np.array([-np.sin(_ASKEW), np.cos(_ASKEW), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    towards = -np.cos(_DOWN) * back + np.sin(_DOWN) * up
    return np.stack([right, np.cross(towards, right), towards])


def _field(solid: Solid, across: FloatArray) -> tuple[Frame, UInt8Array]:
    """Return where a solid lies in its field, and its pixels."""
    from meshflow.geometry.depth_kernel import faces_seen

    seen = solid.vertices @ across.T
    frame = Frame.fitting(
        seen[:, :2].min(axis=0), seen[:, :2].max(axis=0), width=_FIELD, most_height=_MOST_HEIGHT, border=6.0
    )
    columns, rows = (2 * max(1, round(side * _FINE)) for side in (frame.width, frame.height))
    flat = (frame(seen[:, :2]) - np.array([frame.left, frame.top])) * (columns / frame.width, rows / frame.height)
    points = np.ascontiguousarray(np.column_stack([flat, seen[:, 2]]))
    face, _, near = faces_seen(points, np.ascontiguousarray(solid.faces), columns, rows)
    normals = face_normals(seen, solid.faces)
    return frame, _pooled(_lit(face, normals), _lines(face, normals, near, float(np.ptp(seen[:, 2]))))


def _lit(face: IntArray, normals: FloatArray) -> FloatArray:
    """Return the light on each pixel: brass in the light, paper where nothing is."""
    lamp = _LAMP / np.linalg.norm(_LAMP)
    light = _DIMMEST + (1.0 - _DIMMEST) * np.clip(normals @ lamp, 0.0, 1.0)
    picture = _BRASS * light[face][..., None]
    picture[face < 0] = tuple(bytes.fromhex(PAPER[1:]))
    return np.asarray(picture)


def _lines(face: IntArray, normals: FloatArray, depth: FloatArray, reach: float) -> BoolArray:
    """Return which pixels lie on the outline or on a step in depth."""
    drawn = np.zeros(face.shape, dtype=bool)
    steep = np.maximum(np.abs(normals[face][..., 2]), 0.2)  # seen edge on, one face falls away quickly
    for axis in (0, 1):
        one, other = (np.take(depth, np.arange(k, depth.shape[axis] - 1 + k), axis=axis) for k in (0, 1))
        slope = np.minimum(*(np.take(steep, np.arange(k, depth.shape[axis] - 1 + k), axis=axis) for k in (0, 1)))
        blank = np.isinf(one) != np.isinf(other)
        with np.errstate(invalid="ignore"):
            jump = np.abs(one - other) * slope > _STEP * max(reach, 1e-9)
        step = blank | (jump & np.isfinite(one) & np.isfinite(other))
        place = [slice(None), slice(None)]
        place[axis] = slice(0, -1)
        drawn[tuple(place)] |= step
    return drawn


def _pooled(picture: FloatArray, lines: BoolArray) -> UInt8Array:
    picture[lines] = tuple(bytes.fromhex(INK[1:]))
    rows, columns = lines.shape
    return np.asarray(np.rint(picture.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))), dtype=np.uint8)


def _words(solid: Solid, frame: Frame, left: float, below: float) -> list[Item]:
    """Return name, size and scale bar of a solid, under it."""
    x, y, z = solid.size_mm
    size = f"{x:.1f} x {y:.1f} x {z:.1f} mm, {solid.volume_mm3 / 1000:.1f} cm3"
    bar = scale_bar(frame, x=left + _FIELD - 150, y=below + 26, most=140.0, size=12.0)
    return [Words(left + 6, below + 22, solid.name, 14, bold=True), Words(left + 6, below + 40, size, 12.5), *bar]
