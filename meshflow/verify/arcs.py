"""Lines and arcs for the check: points along them, the area they enclose.

By centre and radius, unlike the rest of the house, which goes by chord and tangent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.group_codes import ReadContour

__all__ = ["bridged", "chain", "enclosed"]

_STRAIGHT = 1e-9
FloatArray = NDArray[np.float64]


def chain(contour: ReadContour, *, step: float, chord: float) -> FloatArray:
    """Return points along a plane curve.

    Parameters
    ----------
    contour : ReadContour
        The curve.
    step : float
        Greatest distance from point to point [mm].
    chord : float
        Greatest distance of the polyline from the curve [mm].

    Returns
    -------
    (k, 2) float array
        Every corner is among them; a closed curve does not come back to its first point.
    """
    points, bulges = contour.points[:, :2], contour.bulges
    count = len(points) if contour.closed else len(points) - 1
    runs = [_run(points[k], points[(k + 1) % len(points)], float(bulges[k]), step, chord) for k in range(count)]
    if not contour.closed:
        runs.append(points[-1:])
    return np.concatenate(runs) if runs else points


def _run(start: FloatArray, end: FloatArray, bulge: float, step: float, chord: float) -> FloatArray:
    across = end - start
    long = math.hypot(*across.tolist())
    if abs(bulge) < _STRAIGHT or long == 0.0:
        pieces = max(1, math.ceil(long / step))
        return np.asarray(start + (np.arange(pieces) / pieces)[:, None] * across)
    sweep = 4.0 * math.atan(bulge)
    radius = long / (2.0 * math.sin(abs(sweep) / 2.0))
    # The centre lies off the middle of the chord, to its left for a counter-clockwise arc under a half turn.
    left = np.array([-across[1], across[0]]) / long
    centre = 0.5 * (start + end) + left * (math.copysign(radius, bulge) * math.cos(abs(sweep) / 2.0))
    sagitta = 2.0 * math.acos(max(1.0 - chord / radius, -1.0))
    pieces = max(1, math.ceil(abs(sweep) * radius / step), math.ceil(abs(sweep) / max(sagitta, 1e-9)))
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    angle = first + sweep * np.arange(pieces) / pieces
    turned = centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    turned[0] = start
    return np.asarray(turned)


def bridged(contours: Sequence[ReadContour], gap: float) -> list[ReadContour]:
    """Return contours with gaps of about `gap` closed by straight lines: those that tabs leave on purpose [mm]."""
    found = [contour for contour in contours if contour.closed]
    runs = [contour for contour in contours if not contour.closed]
    while runs:
        group = [runs.pop(0)]
        while True:
            end = group[-1].points[-1]
            near = [k for k, run in enumerate(runs) if math.dist(run.points[0].tolist(), end.tolist()) <= 1.1 * gap]
            if not near:
                break
            group.append(runs.pop(near[0]))
        points, bulges = np.concatenate([run.points for run in group]), np.concatenate([run.bulges for run in group])
        whole = math.dist(points[0].tolist(), points[-1].tolist()) <= 1.1 * gap
        found.append(ReadContour(group[0].layer, points, bulges, whole, group[0].kind))
    return found


def enclosed(points: FloatArray) -> float:
    """Return the area inside a closed chain of points, positive where it runs counter-clockwise [mm2]."""
    local = points - points[0]
    after = np.roll(local, -1, axis=0)
    return 0.5 * float(np.sum(local[:, 0] * after[:, 1] - local[:, 1] * after[:, 0]))
