"""Relief as the eye sees it under a raking light: a grey picture to look at, not to work from.

Convention: light from the upper left, 45 degrees high, as on drawings; what lies off the piece is white. A bar of a
round length stands under the picture. Slopes are drawn steeper than they are, where the relief is low, so that the
median slope shows.

Source: brightness by Lambert's law, the cosine between light and normal (textbook; CALC).
"""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from meshflow.errors import InputError
from meshflow.files import write_whole
from meshflow.geometry.grey_png import grey_png_bytes
from meshflow.geometry.lettering import strokes, text_width
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.relief import Relief

__all__ = ["shade", "shade_png"]

_LEAST_WIDE, _MOST_WIDE = 900, 2400  # pixels of the longer side
_LIGHT: Final = np.array([-0.5, 0.5, math.sqrt(0.5)])
_STEEP: Final = 0.8  # slope that the 90th percentile is drawn with
_MOST_STEEPER: Final = 5.0
_WHITE: Final = 255
_FOOT, _CAP = 60, 18  # pixels under the picture, and of the capitals there


def shade_png(relief: Relief, path: str | Path) -> Path:
    """Write the shaded picture of a relief as PNG."""
    return write_whole(path, grey_png_bytes(shade(relief), bits=8), error=InputError)


def shade(relief: Relief) -> IntArray:
    """Return the shaded picture of a relief, upper row first.

    Parameters
    ----------
    relief : Relief
        The heights.

    Returns
    -------
    (rows, columns) int array
        Grey, 0 to 255, with a bar and its length underneath.
    """
    height, inside, pitch = _at_a_good_size(relief)
    dy, dx = np.gradient(height, pitch)
    slope = np.hypot(dx, dy)[inside]
    steeper = np.clip(_STEEP / max(float(np.quantile(slope, 0.9)), 1e-9), 1.0, _MOST_STEEPER) if slope.size else 1.0
    normal = np.stack([-steeper * dx, -steeper * dy, np.ones_like(dx)])
    normal /= np.linalg.norm(normal, axis=0)
    light = np.clip(np.tensordot(_LIGHT, normal, axes=1), 0.0, 1.0)
    grey = np.where(inside, 25.0 + 215.0 * light, _WHITE)[::-1]
    picture = np.rint(grey).astype(np.int64)
    return np.concatenate([picture, _bar(picture.shape[1], pitch)])


def _at_a_good_size(relief: Relief) -> tuple[FloatArray, BoolArray, float]:
    """Return heights on a grid that makes a picture of some thousand pixels, the mask, and its pitch."""
    from scipy.ndimage import zoom

    whole = _going_on(relief.height, relief.inside)  # else the step down to nothing would stand out along the rim
    longest = max(relief.shape)
    if longest > _MOST_WIDE:
        step = -(-longest // _MOST_WIDE)
        return whole[::step, ::step], relief.inside[::step, ::step], relief.pitch_mm * step
    times = max(1, -(-_LEAST_WIDE // longest))
    if times == 1:
        return whole, np.asarray(relief.inside), relief.pitch_mm
    height = zoom(whole, times, order=3, mode="nearest", grid_mode=True)  # straight runs would show as facets
    inside = np.repeat(np.repeat(relief.inside, times, axis=0), times, axis=1)
    return np.asarray(height), np.asarray(inside), relief.pitch_mm / times


def _going_on(height: FloatArray, inside: BoolArray) -> FloatArray:
    from scipy.ndimage import distance_transform_edt

    if inside.all() or not inside.any():
        return height
    row, column = distance_transform_edt(~inside, return_distances=False, return_indices=True)
    return np.asarray(height[row, column])


def _bar(width: int, pitch: float) -> IntArray:
    """Return the foot of the picture: a bar of a round length with its words."""
    foot = np.full((_FOOT, width), _WHITE, dtype=np.int64)
    length = _round_length(0.3 * width * pitch)
    wide = round(length / pitch)
    foot[14:20, 10 : 10 + wide] = 40
    words = f"{length:g} mm"
    if text_width(words, cap_height=_CAP) + 20 < width:
        for line in strokes(words, cap_height=_CAP, origin=(10.0, 8.0)):
            _draw(foot, line.points)
    return foot


def _round_length(most: float) -> float:
    power = 10.0 ** math.floor(math.log10(most))
    return float(f"{max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most * (1 + 1e-9)):.6g}")


def _draw(foot: IntArray, points: FloatArray) -> None:
    """Draw a run of lines two pixels wide, y up from the foot's lower edge."""
    for start, end in pairwise(points):
        count = 2 + int(4 * np.hypot(*(end - start)))
        way = start + np.linspace(0.0, 1.0, count)[:, None] * (end - start)
        for dx in (0, 1):
            for dy in (0, 1):
                column = np.clip(np.rint(way[:, 0]).astype(np.int64) + dx, 0, foot.shape[1] - 1)
                row = np.clip(foot.shape[0] - 1 - np.rint(way[:, 1]).astype(np.int64) + dy, 0, foot.shape[0] - 1)
                foot[row, column] = 40
