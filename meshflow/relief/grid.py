"""The square grid that heights stand on: its pitch, its frame, what lies inside an outline.

Terms: the *pitch* is the distance between samples. Convention: that of `meshflow.model.relief`, rows run upward.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["MOST_SAMPLES", "Frame", "filled", "frame_of", "inside_rings", "round_pitch"]

MOST_SAMPLES: Final = 4_000_000  # of a grid whose pitch was not asked for; some seconds of work
_ROUND: Final = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
_FEWEST: Final = 3  # samples across: fewer have no shape


@dataclass(frozen=True)
class Frame:
    """Where the samples of a grid stand.

    Parameters
    ----------
    x0, y0 : float
        Place of sample (0, 0) [mm].
    pitch : float
        Distance between samples [mm].
    rows, columns : int
        How many.
    """

    x0: float
    y0: float
    pitch: float
    rows: int
    columns: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.rows, self.columns


def round_pitch(length: float) -> float:
    """Return the largest round figure that is no more than a length: 0.1, 0.12, 0.15, 0.2, 0.25, 0.3, 0.4 ...

    Examples
    --------
    >>> round_pitch(0.36), round_pitch(0.05), round_pitch(12.1)
    (0.3, 0.05, 12.0)
    """
    power = math.floor(math.log10(length) + 1e-9)
    mantissa = max(step for step in _ROUND if step <= length / 10.0**power * (1.0 + 1e-9))
    return float(f"{mantissa * 10.0**power:.6g}")


def frame_of(points: FloatArray, pitch: float, *, where: str = "") -> Frame:
    """Return the grid that covers points, on whole multiples of its pitch, with a sample to spare on each side.

    Raises
    ------
    OptionError
        If the points are fewer than three samples across.
    """
    low, high = points.min(axis=0) / pitch, points.max(axis=0) / pitch
    if min(high - low) < _FEWEST:
        raise OptionError(
            f"a pitch of {pitch:g} mm lays fewer than {_FEWEST} samples across the piece.",
            where=where,
            remedy=f"Ask for {float(min(high - low)) * pitch / 100.0:.2g} mm or so.",
        )
    first, last = np.floor(low).astype(np.int64) - 1, np.ceil(high).astype(np.int64) + 1
    columns, rows = (last - first + 1).tolist()
    return Frame(float(first[0] * pitch), float(first[1] * pitch), pitch, int(rows), int(columns))


def inside_rings(rings: Sequence[FloatArray], frame: Frame) -> tuple[BoolArray, BoolArray]:
    """Return which samples lie inside rings, and which inside more than once.

    Parameters
    ----------
    rings : sequence of (k, 2) float array
        Closed, counter-clockwise, and clockwise round openings [mm].
    frame : Frame
        The samples.

    Returns
    -------
    inside, twice : (rows, columns) bool array
        Winding number of at least 1, and of at least 2.
    """
    # Every side of a ring that crosses a row changes the winding of all samples to the right of the crossing.
    change = np.zeros((frame.rows, frame.columns + 1), dtype=np.int32)
    for ring in rings:
        start = (np.asarray(ring, dtype=np.float64) - (frame.x0, frame.y0)) / frame.pitch
        _cross(change, start, np.roll(start, -1, axis=0), frame)
    winding = np.cumsum(change[:, :-1], axis=1)
    return winding >= 1, winding >= 2


def _cross(change: Any, start: FloatArray, end: FloatArray, frame: Frame) -> None:
    low, high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    first = np.clip(np.ceil(low), 0, frame.rows).astype(np.int64)
    last = np.clip(np.ceil(high), 0, frame.rows).astype(np.int64)  # half open: a corner on a row counts once
    count = last - first
    side = np.repeat(np.arange(len(start)), count)
    row = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[side]
    rise = end[side, 1] - start[side, 1]
    x = start[side, 0] + (row - start[side, 1]) / rise * (end[side, 0] - start[side, 0])
    column = np.clip(np.ceil(x), 0, frame.columns).astype(np.int64)
    np.add.at(change, (row, column), np.where(rise < 0, 1, -1))  # downward on the left of what is inside


def filled(height: FloatArray, known: BoolArray) -> FloatArray:
    """Return heights that go on beyond what is known with those of the nearest known sample."""
    from scipy.ndimage import distance_transform_edt

    if known.all() or not known.any():
        return height
    row, column = distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(height[row, column])
