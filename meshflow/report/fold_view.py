"""A series of views of a piece from its flat pattern to its form, to see what is rolled or folded which way.

Both faces of the sheet have a tone of their own, the lighter is the outer one; all views have one scale and one
direction of looking, given by how the pattern lies when nothing is bent yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.report.figures import write_png
from meshflow.report.palette import PAPER
from meshflow.report.picture import Frame, Item, Picture, Pixels, Words

__all__ = ["fold_png"]

_OUTER, _INNER, _RIM = "#e6d3b3", "#8fa9b8", "#3a342c"
_EDGE, _VIEW, _GAP, _TOP = 24.0, 300.0, 16.0, 84.0
_MOST_HEIGHT = 300.0
_FINE = 2  # pixels a picture unit, before pooling two by two
_DIMMEST = 0.5
_DOWN, _TURN = np.radians(40.0), np.radians(25.0)


def fold_png(stages: Sequence[tuple[str, FloatArray]], faces: IntArray, path: Path, *, title: str) -> None:
    """Write the stages side by side as PNG.

    Parameters
    ----------
    stages : sequence of (str, (n, 3) float array)
        What each view shows, and the corners; the first is the flat pattern [mm].
    faces : (m, 3) int array
        Triangles, counter-clockwise seen from the outer face.
    path : Path
        Where to write.
    title : str
        Said above.
    """
    across = _looking(stages[0][1], faces)
    seen = [vertices @ across.T for _, vertices in stages]
    size = np.max([np.ptp(view[:, :2], axis=0) for view in seen], axis=0)
    items: list[Item] = [
        Words(_EDGE, 40, title, min(22.0, 1150.0 / max(len(title), 1)), bold=True),
        Words(_EDGE, 62, "light: outer face; dark: inner face; one scale and one direction of looking", 12.5),
    ]
    pixels, tallest = [], 0.0
    for number, ((words, vertices), view) in enumerate(zip(stages, seen, strict=True)):
        left = _EDGE + number * (_VIEW + _GAP)
        frame = _frame(view, size)
        colours = _painted(view, vertices, faces, frame, across[2])
        pixels.append(Pixels(left + frame.left, _TOP + frame.top, frame.width, frame.height, colours))
        tallest = max(tallest, frame.top + frame.height)
        items.append(Words(left + _VIEW / 2, 0.0, words, 13, "middle"))
    below = _TOP + tallest + 24
    items = [Words(item.x, below, item.text, item.size, item.anchor) if item.y == 0.0 else item for item in items]  # type: ignore[union-attr]
    width = 2 * _EDGE + len(stages) * (_VIEW + _GAP) - _GAP
    write_png(Picture(width, below + 20, tuple(items)), path, pixels=pixels)


def _looking(flat: FloatArray, faces: IntArray) -> FloatArray:
    """Return right, up and towards the eye: from above the outer face, the long side of the pattern across."""
    normal = face_normals(flat, faces).mean(axis=0)
    normal /= np.linalg.norm(normal)
    _, _, axes = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)
    long = axes[0] * np.where(axes[0][np.argmax(np.abs(axes[0]))] < 0.0, -1.0, 1.0)
    side = np.cross(normal, long)
    long, side = np.cos(_TURN) * long + np.sin(_TURN) * side, np.cos(_TURN) * side - np.sin(_TURN) * long
    towards = np.sin(_DOWN) * normal - np.cos(_DOWN) * side
    return np.stack([long, np.cross(towards, long), towards])


def _frame(view: FloatArray, size: FloatArray) -> Frame:
    """Return the frame of one view at the scale of the largest, its piece in the middle."""
    middle = 0.5 * (view[:, :2].min(axis=0) + view[:, :2].max(axis=0))
    return Frame.fitting(middle - 0.5 * size, middle + 0.5 * size, width=_VIEW, most_height=_MOST_HEIGHT, border=6.0)


def _painted(view: FloatArray, vertices: FloatArray, faces: IntArray, frame: Frame, towards: FloatArray) -> UInt8Array:
    from meshflow.geometry.depth_kernel import faces_seen

    columns, rows = (2 * max(1, round(side * _FINE)) for side in (frame.width, frame.height))
    flat = (frame(view[:, :2]) - np.array([frame.left, frame.top])) * (columns / frame.width, rows / frame.height)
    points = np.ascontiguousarray(np.column_stack([flat, view[:, 2]]))
    face, _, _ = faces_seen(points, np.ascontiguousarray(faces), columns, rows)
    facing = face_normals(vertices, faces) @ towards
    tones = np.array([list(bytes.fromhex(tone[1:])) for tone in (_INNER, _OUTER)], dtype=np.float64)
    shade = tones[(facing > 0.0).astype(np.int64)] * (_DIMMEST + (1.0 - _DIMMEST) * np.abs(facing))[:, None]
    picture = np.where((face >= 0)[..., None], shade[face], np.array(list(bytes.fromhex(PAPER[1:])), dtype=np.float64))
    picture[_rim(face, facing)] = tuple(bytes.fromhex(_RIM[1:]))
    pooled = picture.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))
    return np.asarray(np.rint(pooled), dtype=np.uint8)


def _rim(face: IntArray, facing: FloatArray) -> FloatArray:
    """Return where the sheet ends, or one of its faces gives way to the other, in the picture."""
    kind = np.where(face >= 0, np.where(facing[face] > 0.0, 1, 2), 0)
    edge = np.zeros(kind.shape, dtype=bool)
    for one, other in ((np.s_[:, 1:], np.s_[:, :-1]), (np.s_[1:], np.s_[:-1])):
        differs = kind[one] != kind[other]
        edge[one] |= differs
        edge[other] |= differs
    return edge
