"""Whether a sheet's drawing shows the parts' own contours, where its nest says they lie, and nothing else to be cut.

And in an order that can be cut: what lies within a closed contour stands before it in the file, for it falls with it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.arcs import chain
from meshflow.verify.group_codes import ReadDrawing
from meshflow.verify.locate import nearest_on

__all__ = ["SAME_MM", "Laid", "same_contours", "sheet_faults"]

SAME_MM = 0.002  # steps of 1e-6 mm in the files, and the chords of this check
_STEP_MM, _CHORD_MM = 2.0, 0.0005
_CUT = ("CUT_INSIDE", "CUT_OUTSIDE")
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Laid:
    """Where a part lies: mirror ``x -> -x`` if asked, turn counter-clockwise, move."""

    part: str
    x_mm: float
    y_mm: float
    angle_deg: float
    mirrored: bool


def sheet_faults(sheet: ReadDrawing, laid: Sequence[Laid], parts: Mapping[str, ReadDrawing]) -> tuple[list[str], float]:
    """Return what differs between a sheet and its parts, and the largest distance between their contours [mm].

    Parameters
    ----------
    sheet : ReadDrawing
        The sheet's drawing.
    laid : sequence of Laid
        Where the parts lie.
    parts : mapping of str to ReadDrawing
        The parts' own drawings.
    """
    faults, worst = [], 0.0
    for layer in _CUT:
        wanted = [
            (one.part, _moved(chain(contour, step=_STEP_MM, chord=_CHORD_MM), one))
            for one in laid
            for contour in parts[one.part].on(layer)
        ]
        drawn = [chain(contour, step=_STEP_MM, chord=_CHORD_MM) for contour in sheet.on(layer)]
        found, apart = _paired(wanted, drawn, layer)
        faults += found
        worst = max(worst, apart)
    return faults + _cut_too_late(sheet), worst


def _cut_too_late(sheet: ReadDrawing) -> list[str]:
    """Return which contours stand in the file after one that encloses them; open ones enclose nothing."""
    drawn = sheet.on(*_CUT)
    chains = [chain(contour, step=_STEP_MM, chord=0.05) for contour in drawn]
    boxes = np.array([_box(points) for points in chains]).reshape(-1, 4)
    faults = []
    for early, contour in enumerate(drawn):
        low, high = boxes[early, :2], boxes[early, 2:]
        later = boxes[early + 1 :]
        within = (later[:, :2] > low).all(axis=1) & (later[:, 2:] < high).all(axis=1)
        for late in np.flatnonzero(within) + early + 1:
            if contour.closed and _winds_round(chains[early], chains[late][0]):
                x, y = chains[late][0].tolist()
                faults.append(f"a contour near x {x:.1f}, y {y:.1f} mm is cut after the one round it")
    return faults


def _winds_round(ring: FloatArray, place: FloatArray) -> bool:
    """Return whether a closed chain goes round a place: it crosses the ray to the right an odd number of times."""
    x, y = (ring - place).T
    ahead_x, ahead_y = np.roll(x, -1), np.roll(y, -1)
    crosses = (y > 0.0) != (ahead_y > 0.0)
    rise = np.where(crosses, ahead_y - y, 1.0)
    return bool(np.count_nonzero(crosses & (x - y * (ahead_x - x) / rise > 0.0)) % 2)


def same_contours(one: ReadDrawing, other: ReadDrawing) -> float:
    """Return the largest distance between the cuts of two drawings of one part; infinite where their numbers differ."""
    worst = 0.0
    for layer in _CUT:
        pairs = (one.on(layer), other.on(layer))
        if len(pairs[0]) != len(pairs[1]):
            return math.inf
        for a, b in zip(*pairs, strict=True):
            worst = max(worst, _apart(*(chain(each, step=_STEP_MM, chord=_CHORD_MM) for each in (a, b))))
    return worst


def _moved(points: FloatArray, one: Laid) -> FloatArray:
    turn = math.radians(one.angle_deg)
    x = -points[:, 0] if one.mirrored else points[:, 0]
    y = points[:, 1]
    c, s = math.cos(turn), math.sin(turn)
    return np.stack([c * x - s * y + one.x_mm, s * x + c * y + one.y_mm], axis=1)


def _paired(
    wanted: Sequence[tuple[str, FloatArray]], drawn: Sequence[FloatArray], layer: str
) -> tuple[list[str], float]:
    """Give each wanted contour the drawn one whose box fits best, and measure the two."""
    if not wanted or not drawn:
        missing = len(wanted) - len(drawn)
        return ([f"{len(drawn)} contours on {layer} where {len(wanted)} belong"] if missing else []), 0.0
    faults = [] if len(wanted) == len(drawn) else [f"{len(drawn)} contours on {layer} where {len(wanted)} belong"]
    boxes = np.array([_box(points) for points in drawn])
    worst = 0.0
    for name, points in wanted:
        best = int(np.argmin(np.abs(boxes - _box(points)).max(axis=1)))
        apart = _apart(points, drawn[best])
        worst = max(worst, apart)
        if apart > SAME_MM:
            x, y = points[0].tolist()
            faults.append(f"a contour of {name} on {layer}, near x {x:.1f}, y {y:.1f} mm, is {apart:.3f} mm off")
    return faults, worst


def _box(points: FloatArray) -> FloatArray:
    return np.concatenate([points.min(axis=0), points.max(axis=0)])


def _apart(one: FloatArray, other: FloatArray) -> float:
    """Return the largest distance between two closed chains, both ways [mm]."""
    there, back = (nearest_on(a, b, np.roll(b, -1, axis=0))[0].max() for a, b in ((one, other), (other, one)))
    return float(max(there, back))
