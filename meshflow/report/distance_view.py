"""The distances of a comparison as colours and as a picture: what stands proud, what is short, and where.

The palette is that of stretch: light where the surfaces agree, ochre where the piece stands proud, blue where it is
short, grey where nothing could be compared. The darkest tone on either side is kept for what is out of tolerance;
without a tolerance it is the hundredth of the area that lies farthest off.

The picture shows the piece from the two ends of that axis of its file along which most of it is seen, z up (y up where
one looks along z), with a ring round the worst place where it is in sight.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, UInt8Array
from meshflow.model.compare import Comparison
from meshflow.model.surface import Surface
from meshflow.report.figures import write_png
from meshflow.report.palette import INK, PAPER, STEPS, tone
from meshflow.report.picture import Fill, Frame, Item, Lines, Picture, Pixels, Words, moved, scale_bar

__all__ = ["NOT_COMPARED", "distance_colours", "distance_png", "full_tone_mm"]

NOT_COMPARED = (150, 150, 150)

_EDGE, _VIEW, _GAP = 24.0, 400.0, 28.0
_MOST_HEIGHT = 460.0
_BLOCK, _BARS = 36.0, 70.0
_FINE = 3  # pixels a picture unit; pooled two by two afterwards
_LEAST_TONE = 1e-3  # mm: no scan tells less
_DIMMEST = 0.72  # how dark a face is that is seen edge on


def full_tone_mm(answer: Comparison) -> float:
    """Return the distance beyond which the tone is darkest [mm]: the tolerance, else what 99 % stay under."""
    if answer.tolerance_mm is not None:
        return answer.tolerance_mm
    far = max(abs(answer.a_on_b.percentile(0.5)), abs(answer.a_on_b.percentile(99.5)))
    return max(float(f"{far:.2g}"), _LEAST_TONE)  # two digits, so that the key bears round numbers


def distance_colours(distances: FloatArray, full_mm: float, not_compared: BoolArray) -> UInt8Array:
    """Return the colour of each distance.

    Parameters
    ----------
    distances : (k,) float array
        Signed distances [mm].
    full_mm : float
        Distance beyond which the tone is darkest, over 0 [mm].
    not_compared : (k,) bool array
        Places to show grey.

    Returns
    -------
    (k, 3) uint8 array
        Red, green, blue.

    Examples
    --------
    >>> distance_colours(np.array([0.1, 1.01, -1.01, 9.0]), 1.0, np.arange(4) == 3).tolist()
    [[251, 249, 245], [105, 64, 2], [3, 77, 118], [150, 150, 150]]
    """
    tones = [tuple(bytes.fromhex(tone(step)[1:])) for step in range(-STEPS, STEPS + 1)]
    colours = np.array([*tones, NOT_COMPARED], dtype=np.uint8)
    return colours[np.where(not_compared, 2 * STEPS + 1, _steps(distances, full_mm) + STEPS)]


def _steps(distances: FloatArray, full_mm: float) -> IntArray:
    """Return the step of each distance, -5 to 5: fifths of the full tone, and the last one beyond it."""
    # A share of a millionth more, so that what lies on the tolerance is within it whatever the rounding.
    share = np.abs(distances) / (full_mm * (1.0 + 1e-6))
    step = np.where(share > 1.0, STEPS, np.minimum((share * STEPS).astype(np.int64), STEPS - 1))
    return np.asarray(np.where(distances < 0, -step, step).astype(np.int64))


def distance_png(answer: Comparison, path: Path) -> None:
    """Write two views of the piece coloured by distance, with key, shares and verdict, as PNG.

    Parameters
    ----------
    answer : Comparison
        What was compared.
    path : Path
        Where to write.
    """
    views = [_view(answer, sign) for sign in (1, -1)]
    top = 112.0
    width = 2 * (_EDGE + _VIEW) + _GAP
    below = top + max(view.frame.height for view in views) + 44
    title = f"{answer.a.file} against {answer.b.file}"
    items: list[Item] = [Words(_EDGE, 42, title, min(24.0, 1150.0 / max(len(title), 1)), bold=True)]
    items += _paragraph(answer.words, y=70)
    pixels = []
    for number, view in enumerate(views):
        left = _EDGE + number * (_VIEW + _GAP)
        x, y = left + view.frame.left, top + view.frame.top
        pixels.append(Pixels(x, y, view.frame.width, view.frame.height, view.colours))
        items += [Words(left + _VIEW / 2, top - 10, view.words, 13, "middle")]
        items += moved(Picture(_VIEW, 0, view.marks), left, top)
    items += scale_bar(views[0].frame, x=_EDGE, y=below - 8, most=160.0, size=12.5)
    items += moved(_key(answer), (width - 11 * _BLOCK) / 2, below)
    write_png(Picture(width, below + _BARS + 132, tuple(items)), path, pixels=pixels)


def _paragraph(text: str, *, y: float) -> list[Words]:
    lines = textwrap.wrap(text, 118, break_on_hyphens=False)[:2]
    return [Words(_EDGE, y + 18 * number, line, 13.5) for number, line in enumerate(lines)]


@dataclass(frozen=True, eq=False)
class _View:
    frame: Frame
    colours: UInt8Array
    marks: tuple[Item, ...]
    words: str


def _view(answer: Comparison, sign: int) -> _View:
    """Draw the piece from one end of the axis along which most of it is seen."""
    surface = answer.moved
    across, normals = _eye(surface, sign)
    seen = surface.vertices @ across.T
    corners = seen[surface.faces].reshape(-1, 3)
    low, high = corners[:, :2].min(axis=0), corners[:, :2].max(axis=0)
    frame = Frame.fitting(low, high, width=_VIEW, most_height=_MOST_HEIGHT, border=6.0)
    colours, near = _rendered(answer, seen, frame, normals @ across[2])
    axis = "xyz"[int(np.argmax(np.abs(across[2])))]
    marks = _worst_mark(answer, across, frame, near, float(np.ptp(corners[:, 2])))
    return _View(frame, colours, marks, f"seen from {'+' if sign > 0 else '-'}{axis}")


def _eye(surface: Surface, sign: int) -> tuple[FloatArray, FloatArray]:
    """Return right, up and towards the eye as the rows of a matrix, and the normals of the faces."""
    normals = face_normals(surface.vertices, surface.faces)
    area = face_areas(surface.vertices, surface.faces)
    axis = int(np.argmax((np.abs(normals) * area[:, None]).sum(axis=0)))
    towards, up = sign * np.eye(3)[axis], np.eye(3)[1 if axis == 2 else 2]
    return np.stack([np.cross(up, towards), up, towards]), normals


def _rendered(answer: Comparison, seen: FloatArray, frame: Frame, facing: FloatArray) -> tuple[UInt8Array, FloatArray]:
    """Return the pixels of the piece, and how near to the eye each is, at two pixels for each of them."""
    from meshflow.geometry.depth_kernel import faces_seen

    surface, distances = answer.moved, answer.a_on_b
    columns, rows = (2 * max(1, round(side * _FINE / 2)) for side in (frame.width, frame.height))
    scale = np.array([columns / frame.width, rows / frame.height])
    flat = (frame(seen[:, :2]) - np.array([frame.left, frame.top])) * scale
    # A vertex that no face uses may be no number.
    points = np.ascontiguousarray(np.column_stack([flat, seen[:, 2]]))
    face, weights, near = faces_seen(points, np.ascontiguousarray(surface.faces), columns, rows)
    shown = face >= 0
    corners = surface.faces[face[shown]]
    values = np.einsum("kc,kc->k", weights[shown], np.nan_to_num(distances.at_vertices)[corners])
    hidden = np.einsum("kc,kc->k", weights[shown], distances.vertex_beyond[corners].astype(np.float64)) > 0.5
    picture = np.empty((rows, columns, 3))
    picture[:] = tuple(bytes.fromhex(PAPER[1:]))
    light = _DIMMEST + (1.0 - _DIMMEST) * np.abs(facing[face[shown]])
    picture[shown] = distance_colours(values, full_tone_mm(answer), hidden) * light[:, None]
    pooled = picture.reshape(rows // 2, 2, columns // 2, 2, 3).mean(axis=(1, 3))
    return np.rint(pooled).astype(np.uint8), near


def _worst_mark(
    answer: Comparison, across: FloatArray, frame: Frame, near: FloatArray, depth: float
) -> tuple[Item, ...]:
    """Return a ring round the worst place, if it is in sight from there."""
    (one, place), (two, other) = answer.a_on_b.worst, answer.b_on_a.worst
    at = across @ np.array(other if abs(two) > abs(one) else place)
    x, y = frame(at[None, :2])[0]
    rows, columns = near.shape
    row, column = int((y - frame.top) / frame.height * rows), int((x - frame.left) / frame.width * columns)
    around = near[max(0, row - 3) : row + 4, max(0, column - 3) : column + 4]
    if around.size == 0 or at[2] < around[np.isfinite(around)].max(initial=-np.inf) - 0.03 * depth - abs(one):
        return ()
    turn = np.linspace(0.0, 2.0 * np.pi, 41)[:-1]
    ring = np.array([x, y]) + 11.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    return (Lines((ring,), PAPER, 4.5, closed=True), Lines((ring,), INK, 1.8, closed=True))


def _key(answer: Comparison) -> Picture:
    """Return the steps of the scale with the share of the area in each."""
    full, distances = full_tone_mm(answer), answer.a_on_b
    use = ~distances.beyond
    weight = distances.weights[use]
    step = _steps(distances.samples[use], full) + STEPS
    shares = np.bincount(step, weights=weight, minlength=2 * STEPS + 1) / max(float(weight.sum()), 1e-300)
    foot = _BARS + 22.0
    items: list[Item] = []
    for number, share in enumerate(shares.tolist()):
        x = number * _BLOCK
        items += _box(x, foot, _BLOCK, 20.0, tone(number - STEPS))
        if share > 0:
            height = max(share / float(shares.max()) * _BARS, 1.5)
            items += _box(x + 4, foot - height, _BLOCK - 8, height, tone(number - STEPS))
            text = "<1" if share < 0.005 else f"{100 * share:.0f}"
            items.append(Words(x + _BLOCK / 2, foot - height - 5, text, 11.5, "middle"))
    for number in range(1, STEPS + 1):
        text = f"{full * number / STEPS:.3g}"
        items += [Words((STEPS + side) * _BLOCK, foot + 36, text, 11.5, "middle") for side in (number, 1 - number)]
    items += _sides(answer, foot)
    return Picture(11 * _BLOCK, foot + 78, tuple(items))


def _sides(answer: Comparison, foot: float) -> list[Item]:
    """Return what the two sides of the key mean, and lines at the tolerance."""
    proud, short = ("proud, mm", "short, mm") if answer.a_on_b.signed else ("apart, mm", "")
    items: list[Item] = [
        Words(0.0, foot + 56, short, 12.5, bold=True),
        Words(11 * _BLOCK, foot + 56, proud, 12.5, "end", bold=True),
        Words(
            5.5 * _BLOCK, foot + 74, "over the bars: percent of the area; grey could not be compared", 11.5, "middle"
        ),
    ]
    if answer.tolerance_mm is not None:
        for x in (_BLOCK, 10 * _BLOCK):
            line = np.array([[x, 0.0], [x, foot + 24]])
            items += [Lines((line,), PAPER, 4.5), Lines((line,), INK, 2.0)]
            items.append(Words(x, -6.0, "tolerance", 12.5, "middle", bold=True))
    return items


def _box(x: float, y: float, width: float, height: float, colour: str) -> list[Item]:
    box = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    return [Fill((box,), colour), Lines((box,), INK, 0.7, closed=True)]
