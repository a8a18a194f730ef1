"""Lines and arcs that keep to one side of a rim: never inside it, or never outside it.

Terms: a contour is *full* when it takes nothing off the shape within the rim, *bare* when it adds nothing (the words
of the bench for a little over and a little under size).

Method: the rim is fitted within a share of the tolerance, and the fit is moved out, or in, by as much as it lies on the
wrong side. Both are tested on fine chords; if a corner runs out too far, the share is halved. The rim itself is the
last resort.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.circles import fit_circle
from meshflow.geometry.curves import distance_to, signed_area, tessellate
from meshflow.geometry.parallel import parallel_contour
from meshflow.geometry.polygons import farthest_outside, ring_covers
from meshflow.geometry.settle import rim_noise
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Polycurve

__all__ = ["Keep", "fit_one_sided"]

Keep = Literal["full", "bare"]
_SHARES = (0.45, 0.38, 0.32, 0.25, 0.12, 0.05)
_TIMES_NOISE = 2.0
_CHORD = 1e-4  # of the tolerance
_LEAST_CHORD_MM = 2e-6


def fit_one_sided(
    points: ArrayLike, keep: Keep, *, tolerance: float, corners: IntArray | tuple[int, ...] = ()
) -> Polycurve | Circle:
    """Return lines and arcs within `tolerance` of a closed polyline, all on one side of it.

    Parameters
    ----------
    points : (n, 2) array_like
        A simple closed polyline [mm].
    keep : {"full", "bare"}
        Whether the result encloses the polyline, or lies within it.
    tolerance : float
        Greatest distance between polyline and result, both ways [mm].
    corners : sequence of int
        Points that are corners (see `fit_arcs`).

    Returns
    -------
    Polycurve or Circle
        In the direction of the polyline; one side to within a thousandth of the tolerance.
    """
    rim = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    sign = 1.0 if keep == "full" else -1.0
    chord = max(_CHORD * tolerance, _LEAST_CHORD_MM)
    noise = rim_noise(rim)
    for share in _SHARES:
        close = share * tolerance
        if close < _TIMES_NOISE * noise:
            break  # the fit would follow the noise, point by point
        circle = fit_circle(rim, tolerance=close) if len(corners) == 0 else None
        near = circle or fit_arcs(rim, tolerance=close, corners=corners)
        beyond = farthest_outside(*_ordered(rim, _ring(near, chord), keep))
        moved = parallel_contour(near, sign * (beyond + chord), tolerance=0.1 * close)
        if moved is not None and _is_good(moved, rim, keep, tolerance, chord):
            return moved
    return Polycurve(rim)


def _ring(curve: Polycurve | Circle, chord: float) -> FloatArray:
    return tessellate(curve, tolerance=chord)


def _ordered(rim: FloatArray, ring: FloatArray, keep: Keep) -> tuple[FloatArray, FloatArray]:
    """Return what must lie inside, and in what."""
    return (rim, ring) if keep == "full" else (ring, rim)


def _is_good(curve: Polycurve | Circle, rim: FloatArray, keep: Keep, tolerance: float, chord: float) -> bool:
    if isinstance(curve, Polycurve) and (signed_area(curve) > 0.0) != (signed_area(Polycurve(rim)) > 0.0):
        return False
    ring = _ring(curve, chord)
    inner, outer = _ordered(rim, ring, keep)
    if not ring_covers(outer, inner, chord):
        return False
    far = max(distance_to(curve, rim).max(), distance_to(Polycurve(rim), ring).max())
    return bool(far <= tolerance - 2.0 * chord)
