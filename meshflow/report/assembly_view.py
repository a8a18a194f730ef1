"""The picture of an assembly: its layers lifted off one another in fitting order, and the axes of their shared holes.

The outermost layer is on top. The layers are lifted along the mean of the axes and seen from the side and somewhat
from above; each lies over the one it goes on, so a dashed axis joins the holes that belong together. Below stands the
list of parts and of fasteners.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import FloatArray, UInt8Array
from meshflow.model.assembly import Assembly
from meshflow.model.region import Region
from meshflow.report.figures import write_png
from meshflow.report.palette import INK, PAPER
from meshflow.report.picture import Frame, Item, Lines, Picture, Pixels, Words

__all__ = ["LayerShown", "assembly_png", "fastener_rows"]

_WIDTH, _VIEW, _EDGE = 960.0, 600.0, 24.0
_MOST_HEIGHT, _TOP, _LINE = 560.0, 84.0, 19.0
_FINE = 2  # pixels a picture unit, before pooling two by two
_DOWN = np.radians(28.0)  # how far from above the layers are seen
_ASKEW = np.radians(20.0)
_APART = 0.35  # free height between two layers, over the height of the larger
_TONES = ("#e6d3b3", "#c9d4d8", "#d8b79b")
_DIMMEST = 0.5
_LETTERS = 560.0  # letter size times letters that fit beside the layers
_RING = 4.0  # of a hole [picture units]


@dataclass(frozen=True, eq=False)
class LayerShown:
    """One layer of the picture.

    Parameters
    ----------
    region : Region
        Its formed piece.
    name : str
        Name of the part.
    words : str
        Said under the name: material and thickness.
    """

    region: Region
    name: str
    words: str


def assembly_png(assembly: Assembly, layers: Sequence[LayerShown], path: Path) -> None:
    """Write the layers in fitting order, with the holes they share, as PNG.

    Parameters
    ----------
    assembly : Assembly
        Layers and holes.
    layers : sequence of LayerShown
        In the order of ``assembly.layers``.
    path : Path
        Where to write.
    """
    across, lifted, lifts = _lifted(assembly, layers)
    flat = np.concatenate([points[:, :2] for points in lifted])
    frame = Frame.fitting(flat.min(axis=0), flat.max(axis=0), width=_VIEW, most_height=_MOST_HEIGHT, border=10.0)
    below = _TOP + frame.top + frame.height + 46
    rows = fastener_rows(assembly)
    items: list[Item] = [
        Words(_EDGE, 40, assembly.name, 24, bold=True),
        Words(_EDGE, 64, "In fitting order, the outermost layer on top; dashed: the holes they share.", 13.5),
        *_named(frame, lifted, layers),
        *_axes(assembly, frame, across, lifts),
        *(Words(_EDGE, below + _LINE * place, row, 13.5) for place, row in enumerate(rows)),
    ]
    colours = _painted(frame, lifted, layers)
    pixels = [Pixels(_EDGE + frame.left, _TOP + frame.top, frame.width, frame.height, colours)]
    write_png(Picture(_WIDTH, below + _LINE * len(rows) + 12, tuple(items)), path, pixels=pixels)


def fastener_rows(assembly: Assembly) -> tuple[str, ...]:
    """Return what to lay out for an assembly, in words: fasteners by length, and the grip they hold.

    Parameters
    ----------
    assembly : Assembly
        With its holes.

    Returns
    -------
    tuple of str
        One line for each kind, the shortest first.
    """
    kinds = Counter((round(hole.grip_mm, 1), round(hole.length_mm, 1)) for hole in assembly.holes)
    lines = []
    for (grip, length), count in sorted(kinds.items()):
        order = f", {length:g} mm long before the second head is made" if length else ""
        many = assembly.fastener if count == 1 or assembly.fastener == "lacing" else f"{assembly.fastener}s"
        lines.append(f"{count} {many} through holes of {assembly.diameter_mm:g} mm, grip {grip:g} mm{order}")
    return tuple(lines)


def _lifted(assembly: Assembly, layers: Sequence[LayerShown]) -> tuple[FloatArray, list[FloatArray], list[float]]:
    """Return the axes of the view (rows: right, up, towards the eye), the layers in it, and how far each was lifted."""
    up = np.mean([hole.axis.direction for hole in assembly.holes], axis=0)
    size = float(np.linalg.norm(up))
    up = up / size if size > 1e-6 else np.array([0.0, 0.0, 1.0])
    long = _longest_across(layers, up)
    # Somewhat askew, so that holes in rows along the piece do not hide one another.
    right = np.cos(_ASKEW) * long + np.sin(_ASKEW) * np.cross(up, long)
    front = np.cross(right, up)
    towards = np.cos(_DOWN) * front + np.sin(_DOWN) * up
    across = np.stack([right, np.cross(towards, right), towards])
    rise = float(across[1] @ up)  # a millimetre along the axes, on the page
    seen = [layer.region.vertices @ across.T for layer in layers]
    room = _APART * max(float(np.ptp(points[:, 1])) for points in seen)
    lifts, floor = [0.0], float(seen[-1][:, 1].max())
    for points in seen[-2::-1]:
        # Each layer clears the one under it.
        lift = max(0.0, (floor + room - float(points[:, 1].min())) / rise)
        lifts.insert(0, lift)
        floor = float(points[:, 1].max()) + lift * rise
    lifted = [points + lift * (across @ up) for points, lift in zip(seen, lifts, strict=True)]
    return across, lifted, lifts


def _longest_across(layers: Sequence[LayerShown], up: FloatArray) -> FloatArray:
    """Return the direction square to `up` along which the layers reach farthest, so that they are seen broadside."""
    points = np.concatenate([layer.region.vertices for layer in layers])
    points = points - points.mean(axis=0)
    points = points - np.outer(points @ up, up)
    right = np.linalg.eigh(points.T @ points)[1][:, -1]
    right = right - (right @ up) * up
    right /= np.linalg.norm(right)
    # Of its two directions the one along the larger of its coordinates, so that the answer does not hang on rounding.
    return np.asarray(right * np.sign(right[int(np.argmax(np.abs(right)))]))


def _named(frame: Frame, lifted: Sequence[FloatArray], layers: Sequence[LayerShown]) -> list[Item]:
    items: list[Item] = []
    left = _EDGE + _VIEW + 22
    for number, (points, layer) in enumerate(zip(lifted, layers, strict=True), start=1):
        right = float(points[:, 0].max())
        edge = points[points[:, 0] > right - 0.03 * float(np.ptp(points[:, 0])), 1]
        middle = np.array([[right, 0.5 * (edge.min() + edge.max())]])
        x, y = (frame(middle)[0] + np.array([_EDGE, _TOP])).tolist()
        items.append(Lines((np.array([[x + 6, y], [left - 6, y]]),), width=0.7))
        items.append(Words(left, y + 4.5, f"{number}  {layer.name}", 13.5, bold=True))
        size = min(12.5, _LETTERS / max(len(layer.words), 1))
        items.append(Words(left, y + 21, layer.words, size))
    return items


def _axes(assembly: Assembly, frame: Frame, across: FloatArray, lifts: Sequence[float]) -> list[Item]:
    """Return the dashed axes, a ring at each hole, and the numbers over the topmost."""
    up = np.mean([hole.axis.direction for hole in assembly.holes], axis=0)
    up = up / np.linalg.norm(up)
    turn = np.linspace(0.0, 2.0 * np.pi, 25)
    ring = _RING * np.column_stack([np.cos(turn), np.sin(_DOWN) * np.sin(turn)])
    items: list[Item] = []
    for hole in assembly.holes:
        places = np.array([np.add(layer.formed, lift * up) for layer, lift in zip(hole.through, lifts, strict=True)])
        page = frame((places @ across.T)[:, :2]) + np.array([_EDGE, _TOP])
        items.append(Lines((page,), width=0.9, dashed=True))
        items += [Lines((place + ring,), width=1.3) for place in page]
        items.append(Words(float(page[0, 0]), float(page[0, 1]) - 8, str(hole.number), 12.5, "middle", bold=True))
    return items


def _painted(frame: Frame, lifted: Sequence[FloatArray], layers: Sequence[LayerShown]) -> UInt8Array:
    """Return the pixels of the view: each layer in a tone of its own, shaded, its rim dark."""
    from meshflow.geometry.depth_kernel import faces_seen

    first = np.concatenate([[0], np.cumsum([len(points) for points in lifted])])
    faces = np.concatenate([layer.region.faces + start for layer, start in zip(layers, first[:-1], strict=True)])
    of_layer = np.repeat(np.arange(len(layers)), [len(layer.region.faces) for layer in layers])
    every = np.concatenate(lifted)
    columns, rows = (2 * max(1, round(side * _FINE)) for side in (frame.width, frame.height))
    flat = (frame(every[:, :2]) - np.array([frame.left, frame.top])) * (columns / frame.width, rows / frame.height)
    points = np.ascontiguousarray(np.column_stack([flat, every[:, 2]]))
    face, _, _ = faces_seen(points, np.ascontiguousarray(faces), columns, rows)
    light = _DIMMEST + (1.0 - _DIMMEST) * np.abs(face_normals(every, faces)[:, 2])
    tones = np.array([list(bytes.fromhex(tone[1:])) for tone in _TONES], dtype=np.float64)
    layer = np.where(face >= 0, of_layer[face], -1)
    picture = np.where((face >= 0)[..., None], tones[layer % len(tones)] * light[face][..., None], 0.0)
    picture[face < 0] = tuple(bytes.fromhex(PAPER[1:]))
    rim = np.zeros(layer.shape, dtype=bool)
    side, down = layer[:, 1:] != layer[:, :-1], layer[1:] != layer[:-1]
    for part, step in ((rim[:, 1:], side), (rim[:, :-1], side), (rim[1:], down), (rim[:-1], down)):
        part |= step
    picture[rim] = tuple(bytes.fromhex(INK[1:]))
    return np.asarray(np.rint(picture.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))), dtype=np.uint8)
