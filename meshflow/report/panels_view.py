"""The picture of a cover: all panels on the piece, seen from four sides, each in a tone of its own with its number.

Tones are laid out so that neighbours differ in lightness as well as hue; they carry no meaning.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.report.figures import write_png
from meshflow.report.palette import INK, PAPER
from meshflow.report.picture import Frame, Item, Picture, Pixels, Words

__all__ = ["panels_png"]

_TONES = ("#e6d3b3", "#8fa9b8", "#c98f6b", "#dfe5da", "#7d8f6f", "#d9b3ae", "#a9a3bf", "#efe3a6", "#6f9a94", "#b79a83")
_EDGE, _VIEW, _GAP = 24.0, 400.0, 28.0
_MOST_HEIGHT = 400.0
_FINE = 2  # pixels a picture unit, before pooling two by two
_DIMMEST = 0.55
_SEAM = 0.25  # how dark a seam is drawn
_TURNS = (("front", 35.0), ("right", 125.0), ("back", 215.0), ("left", 305.0))
_DOWN = np.radians(20.0)
_LEAST_SHARE = 0.004  # of the picture: a panel of which less is seen gets no number there


def panels_png(vertices: FloatArray, faces: IntArray, label: IntArray, path: Path, *, title: str) -> None:
    """Write four views of a piece with its panels in plain tones, seams dark, as PNG.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    label : (m,) int array
        Panel of each face, from 1.
    path : Path
        Where to write.
    title : str
        Said above.
    """
    items: list[Item] = [Words(_EDGE, 40, title, min(22.0, 1150.0 / max(len(title), 1)), bold=True)]
    pixels = []
    top = 76.0
    for row in (0, 1):
        tallest = 0.0
        for column in (0, 1):
            name, turn = _TURNS[2 * row + column]
            left = _EDGE + column * (_VIEW + _GAP)
            frame, colours, numbers = _view(vertices, faces, label, np.radians(turn))
            pixels.append(Pixels(left + frame.left, top + frame.top, frame.width, frame.height, colours))
            items.append(Words(left + _VIEW / 2, top - 6, f"{name}, z up, turned {turn:g} degrees", 12.5, "middle"))
            items += [Words(left + x, top + y, text, 13, "middle", bold=True, colour=INK) for x, y, text in numbers]
            tallest = max(tallest, frame.height)
        top += tallest + 52
    write_png(Picture(2 * (_EDGE + _VIEW) + _GAP, top - 20, tuple(items)), path, pixels=pixels)


def _view(
    vertices: FloatArray, faces: IntArray, label: IntArray, turn: float
) -> tuple[Frame, UInt8Array, list[tuple[float, float, str]]]:
    from meshflow.geometry.depth_kernel import faces_seen

    towards = np.array([np.sin(turn) * np.cos(_DOWN), -np.cos(turn) * np.cos(_DOWN), np.sin(_DOWN)])
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    across = np.stack([right, np.cross(towards, right), towards])
    seen = vertices @ across.T
    corners = seen[faces].reshape(-1, 3)
    low, high = corners[:, :2].min(axis=0), corners[:, :2].max(axis=0)
    frame = Frame.fitting(low, high, width=_VIEW, most_height=_MOST_HEIGHT, border=6.0)
    columns, rows = (2 * max(1, round(side * _FINE)) for side in (frame.width, frame.height))
    flat = (frame(seen[:, :2]) - np.array([frame.left, frame.top])) * (columns / frame.width, rows / frame.height)
    points = np.ascontiguousarray(np.column_stack([flat, seen[:, 2]]))
    face, _, _ = faces_seen(points, np.ascontiguousarray(faces), columns, rows)
    panel = np.where(face >= 0, label[face], 0)
    light = _DIMMEST + (1.0 - _DIMMEST) * np.abs(face_normals(vertices, faces) @ across[2])
    colours = _painted(panel, np.where(face >= 0, light[face], 1.0))
    numbers = []
    for number in np.unique(panel[panel > 0]).tolist():
        y, x = np.nonzero(panel == number)
        if len(x) >= _LEAST_SHARE * panel.size:
            at = int(np.argmin((x - x.mean()) ** 2 + (y - y.mean()) ** 2))
            place = (x[at] * frame.width / columns, y[at] * frame.height / rows)
            numbers.append((frame.left + place[0], frame.top + place[1] + 4.5, str(number)))
    return frame, colours, numbers


def _painted(panel: IntArray, light: FloatArray) -> UInt8Array:
    tones = np.array([list(bytes.fromhex(tone[1:])) for tone in _TONES], dtype=np.float64)
    picture = np.where((panel > 0)[..., None], tones[(panel - 1) % len(tones)] * light[..., None], 0.0)
    picture[panel == 0] = tuple(bytes.fromhex(PAPER[1:]))
    seam = np.zeros(panel.shape, dtype=bool)
    across, down = panel[:, 1:] != panel[:, :-1], panel[1:] != panel[:-1]
    seam[:, 1:] |= across
    seam[:, :-1] |= across
    seam[1:] |= down
    seam[:-1] |= down
    picture[seam] *= _SEAM
    rows, columns = panel.shape
    pooled = picture.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))
    return np.asarray(np.rint(pooled), dtype=np.uint8)
