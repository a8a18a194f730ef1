"""Whether one arc through two fixed points can stand for a run of points: an exact test.

Terms: the *run* is a polyline; its *chord* joins its two ends; the *apex height* s of an arc through both ends is the
signed height of its top over the chord, left of the direction of travel positive; 0 is the straight line.

Method (own derivation; the idea of fixed ends and an interval of allowed arcs is that of tolerance-band fitting, see
Drysdale, Rote and Sturm, "Approximation of an open polygonal curve with a minimum number of circular arcs and
biarcs", Computational Geometry 41, 2008): with the chord from (-h, 0) to (h, 0), the arcs through both ends are
ordered, and the signed distance of a point (x, y) from the arc falls as s grows. It equals t where

    (y + t) s^2 - (x^2 + y^2 - h^2 - t^2) s - (y - t) h^2 = 0,

so the arcs that pass every point within t form one interval of s. Sides of the run between points are covered by
taking their middles as points and by a last check of the arc chosen against every side's nearest point to its centre.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["Fit", "deviation", "fit_run", "sagitta_interval", "to_chord_frame"]

MOST_BULGE = 1.25  # a little over half a turn, so that a half-round end may borrow from its neighbours


@dataclass(frozen=True, slots=True)
class Fit:
    """One piece that stands for a run.

    Parameters
    ----------
    bulge : float
        Tangent of a quarter of the sweep, positive counter-clockwise; 0 for a line.
    low, high : float
        Least and greatest bulge that pass every point of the run within the tolerance.
    """

    bulge: float
    low: float
    high: float


def fit_run(run: FloatArray, tolerance: float) -> Fit | None:
    """Return a line or arc from the first to the last point of a run that keeps within `tolerance` of it.

    Both ways: no point of the run is farther from the piece, and none of the piece farther from the run. No arc
    sweeps over 205 degrees. A line is taken where it fits and the middle of the allowed arcs is within half the
    tolerance of straight.

    Parameters
    ----------
    run : (n, 2) float array
        Points in order, n >= 2, neighbours distinct [mm].
    tolerance : float
        Greatest distance [mm].

    Returns
    -------
    Fit or None
        None when no piece fits.
    """
    if len(run) == 2:
        return Fit(0.0, 0.0, 0.0)
    local, half = to_chord_frame(run)
    if half <= 0.0:
        return None
    low, high = sagitta_interval(local, half, tolerance)
    if low > high:
        return None
    middle = 0.5 * (low + high)
    for height in (0.0, middle) if low <= 0.0 <= high and abs(middle) <= 0.5 * tolerance else (middle,):
        if deviation(local, half, height) <= tolerance:
            return Fit(0.0 - height / half, 0.0 - high / half, 0.0 - low / half)
    return None


def to_chord_frame(run: FloatArray) -> tuple[FloatArray, float]:
    """Turn and move a run so that its ends lie at (-h, 0) and (h, 0); return it and h."""
    across = run[-1] - run[0]
    chord = float(np.hypot(across[0], across[1]))
    if chord == 0.0:
        return run, 0.0
    (ux, uy), offset = across / chord, run - 0.5 * (run[0] + run[-1])
    local = np.empty_like(offset)
    local[:, 0] = offset[:, 0] * ux + offset[:, 1] * uy
    local[:, 1] = offset[:, 1] * ux - offset[:, 0] * uy
    return local, 0.5 * chord


def sagitta_interval(local: FloatArray, half: float, tolerance: float) -> tuple[float, float]:
    """Return the least and greatest apex height of an arc that passes a run within `tolerance`.

    Parameters
    ----------
    local : (n, 2) float array
        The run in the frame of its chord: first point (-half, 0), last point (half, 0) [mm].
    half : float
        Half the chord [mm].
    tolerance : float
        Greatest distance [mm].

    Returns
    -------
    (float, float)
        Low and high; low > high when no arc fits.
    """
    points = np.concatenate([local[1:-1], 0.5 * (local[1:] + local[:-1])])
    x, y = points[:, 0], points[:, 1]
    t, h2 = tolerance, half * half
    flat = x * x + y * y - h2
    near_end = np.minimum((x + half) ** 2, (x - half) ** 2) + y * y <= t * t
    Q = flat - t * t
    square = Q * Q + 4.0 * (y * y - t * t) * h2
    # Points beyond the ends that a line's width covers put no bound here; `deviation` judges them.
    free = near_end | (square < 0.0) | ((Q > 0.0) & (np.abs(y) <= t))
    x, y, Q, square = (values[~free] for values in (x, y, Q, square))
    root = np.sqrt(square)
    beyond = Q > 0.0
    if beyond.any():
        low = _root(Q, root, y - t, y + t, h2, beyond)
        high = _root(Q, root, y + t, y - t, h2, beyond)
    else:
        low, high = (2.0 * h2 * (y - t) / (root - Q), 2.0 * h2 * (y + t) / (root - Q))
    most = MOST_BULGE * half
    return max(-most, float(low.max(initial=-most))), min(most, float(high.min(initial=most)))


def _root(
    Q: FloatArray, root: FloatArray, above: FloatArray, below: FloatArray, h2: float, beyond: BoolArray
) -> FloatArray:
    """Return the root of the quadratic that belongs to the arc, not to the rest of its circle; without cancellation."""
    near = 2.0 * h2 * above / np.where(beyond, 1.0, root - Q)
    return np.asarray(np.where(beyond, (Q + root) / (2.0 * np.where(beyond, below, 1.0)), near))


def deviation(local: FloatArray, half: float, height: float) -> float:
    """Return the greatest distance of a run from the arc of apex height `height` over its chord [mm].

    Parameters
    ----------
    local : (n, 2) float array
        The run in the frame of its chord.
    half : float
        Half the chord [mm].
    height : float
        Signed apex height [mm]; 0 is the chord itself.

    Returns
    -------
    float
        Over the whole run, its sides included. As the run leads from end to end of the piece, no point of the piece
        is farther from the run than this either.
    """
    x, y = local[:, 0], local[:, 1]
    if height == 0.0:
        past = np.maximum(np.abs(x) - half, 0.0)
        return float(np.sqrt((past * past + y * y).max()))
    centre = (height * height - half * half) / (2.0 * height)
    radius = (height * height + half * half) / (2.0 * abs(height))
    feet = _feet(x, y, centre)
    x, y = np.concatenate([x, feet[0]]), np.concatenate([y, feet[1]])
    from_centre = np.hypot(x, y - centre)
    # (d^2 - r^2) / (d + r) in place of d - r: no digits are lost when the radius is huge.
    off = np.abs((x * x + y * y - half * half - 2.0 * y * centre) / (from_centre + radius))
    cosine = (half * half - height * height) / (half * half + height * height)
    upward = (y - centre) * np.copysign(1.0, height)
    past = upward < cosine * from_centre
    if past.any():
        off[past] = np.hypot(np.abs(x[past]) - half, y[past])
    return float(off.max())


def _feet(x: FloatArray, y: FloatArray, centre: float) -> tuple[FloatArray, FloatArray]:
    """Return the point of each side of the run nearest to (0, centre): there a side dips deepest into the arc."""
    dx, dy = x[1:] - x[:-1], y[1:] - y[:-1]
    share = ((0.0 - x[:-1]) * dx + (centre - y[:-1]) * dy) / np.maximum(dx * dx + dy * dy, 1e-300)
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    return x[:-1] + share * dx, y[:-1] + share * dy
