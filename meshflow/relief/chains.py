"""From walks along crests to the lines a draughtsman would draw: joined through crossings, freed of strays.

Terms: a *gap* is where a line pauses, such as where two cords cross and the crest of one vanishes in the other; it is
closed when the ends on both sides look at each other. A *stray* is a line too short to be drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["closed_up", "joined", "length_of", "smoothed", "to_the_rim"]

_TANGENT = 2.0  # of the gap: length of line that tells the direction of its end
_ALIGNED = np.cos(np.radians(35.0))
_LOOKING = np.cos(np.radians(40.0))


def length_of(run: FloatArray) -> float:
    """Return the length of a polyline."""
    return float(np.linalg.norm(np.diff(run, axis=0), axis=1).sum())


def joined(
    runs: Sequence[FloatArray], *, gap: float, may: Callable[[FloatArray, FloatArray], BoolArray] | None = None
) -> list[FloatArray]:
    """Join lines whose ends look at each other across a gap.

    Parameters
    ----------
    runs : sequence of (k, 2) float array
        Lines of at least two points.
    gap : float
        Widest gap.
    may : callable, optional
        ``may(from, to)`` tells of pairs of ends, (k, 2) and (k, 2), which may be joined at all.

    Returns
    -------
    list of (k, 2) float array
        The lines; each end is joined to one other at most, the nearest pairs first.
    """
    if len(runs) < 2:
        return [np.asarray(run) for run in runs]
    ends = np.array([run[-1] if side else run[0] for run in runs for side in (0, 1)])
    look = np.array([_outward(run, side, gap) for run in runs for side in (0, 1)])
    mate = _mates(ends, look, gap, may)
    return _walked(runs, mate)


def _outward(run: FloatArray, side: int, gap: float) -> FloatArray:
    """Return the unit direction in which an end of a line looks."""
    points = run[::-1] if side else run
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    back = points[min(int(np.searchsorted(reach, min(_TANGENT * gap, reach[-1]))), len(points) - 1)]
    way = points[0] - back
    return np.asarray(way / max(float(np.linalg.norm(way)), 1e-12))


def _mates(
    ends: FloatArray, look: FloatArray, gap: float, may: Callable[[FloatArray, FloatArray], BoolArray] | None
) -> list[int]:
    """Return for each end the end it is joined to, or -1."""
    from scipy.spatial import cKDTree

    pairs = cKDTree(ends).query_pairs(gap, output_type="ndarray")
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    pairs = pairs[pairs[:, 0] // 2 != pairs[:, 1] // 2]
    way = ends[pairs[:, 1]] - ends[pairs[:, 0]]
    far = np.linalg.norm(way, axis=1)
    unit = way / np.maximum(far, 1e-12)[:, None]
    one, other = (look[pairs[:, 0]] * unit).sum(axis=1), -(look[pairs[:, 1]] * unit).sum(axis=1)
    facing = -(look[pairs[:, 0]] * look[pairs[:, 1]]).sum(axis=1)
    near = far < 0.1 * gap  # ends that all but touch look nowhere in particular
    good = (facing > _ALIGNED) & (near | ((one > _LOOKING) & (other > _LOOKING)))
    if may is not None:
        good &= may(ends[pairs[:, 0]], ends[pairs[:, 1]])
    cost = far + gap * (1.0 - facing)
    mate = [-1] * len(ends)
    for index in np.flatnonzero(good)[np.argsort(cost[good], kind="stable")].tolist():
        a, b = pairs[index].tolist()
        if mate[a] < 0 and mate[b] < 0:
            mate[a], mate[b] = b, a
    return mate


def _walked(runs: Sequence[FloatArray], mate: Sequence[int]) -> list[FloatArray]:
    """Return the lines put end to end; rings begin where their first line does."""
    done = [False] * len(runs)
    found = []
    starts = [end for end in range(2 * len(runs)) if mate[end] < 0] + list(range(2 * len(runs)))
    for start in starts:
        if done[start // 2]:
            continue
        pieces, end = [], start
        while not done[end // 2]:
            done[end // 2] = True
            run = runs[end // 2]
            pieces.append(run if end % 2 == 0 else run[::-1])
            after = mate[end ^ 1]
            if after < 0:
                break
            end = after
        found.append(np.concatenate(pieces))
    return found


def closed_up(run: FloatArray, *, gap: float) -> bool:
    """Return whether a line comes back to where it began, looking the way it set out."""
    if len(run) < 8 or length_of(run) < 4.0 * gap:
        return False
    way = run[0] - run[-1]
    if float(np.linalg.norm(way)) > gap:
        return False
    return bool(_outward(run, 1, gap) @ -_outward(run, 0, gap) > _ALIGNED)


def smoothed(run: FloatArray, *, width: float, closed: bool) -> FloatArray:
    """Return a line resampled evenly and freed of the jitter of its samples; its ends stay.

    Parameters
    ----------
    run : (k, 2) float array
        The line.
    width : float
        Standard deviation of the Gaussian along it.
    closed : bool
        Whether it is a ring.
    """
    from scipy.ndimage import gaussian_filter1d

    points = np.concatenate([run, run[:1]]) if closed else run
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    keep = np.append(True, np.diff(reach) > 1e-9)
    points, reach = points[keep], reach[keep]
    if len(points) < 3:
        return np.asarray(points)
    count = max(4, round(reach[-1] / (0.5 * width)) + 1)
    even = np.linspace(0.0, reach[-1], count)
    table = np.stack([np.interp(even, reach, points[:, axis]) for axis in (0, 1)], axis=1)
    sigma = width / (reach[-1] / (count - 1))
    if closed:
        return np.asarray(gaussian_filter1d(table[:-1], sigma, axis=0, mode="wrap"))
    # Turned over about its ends, so that these stay and the line goes on straight.
    pad = min(count - 1, int(4 * sigma) + 1)
    before, after = 2 * table[:1] - table[pad:0:-1], 2 * table[-1:] - table[-2 : -pad - 2 : -1]
    wide = gaussian_filter1d(np.concatenate([before, table, after]), sigma, axis=0, mode="nearest")
    return np.asarray(wide[pad : pad + count])


def to_the_rim(run: FloatArray, depth: FloatArray, *, reach: float) -> FloatArray:
    """Return a line that is led on straight to the rim where one of its ends lies near it and looks there.

    Parameters
    ----------
    run : (k, 2) float array
        The line, as column and row.
    depth : (rows, columns) float array
        Distance of each sample from the rim [samples].
    reach : float
        How far a line is led on at most [samples].
    """
    for side in (1, 0):
        end = run[-1] if side else run[0]
        way = _outward(run, side, reach)
        steps = np.arange(0.5, reach + 0.25, 0.5)
        ahead = end + steps[:, None] * way
        row, column = np.rint(ahead[:, 1]).astype(np.int64), np.rint(ahead[:, 0]).astype(np.int64)
        on = (row >= 0) & (column >= 0) & (row < depth.shape[0]) & (column < depth.shape[1])
        free = np.zeros(len(steps), dtype=bool)
        free[on] = depth[row[on], column[on]] > 0
        stops = np.flatnonzero(~free)
        if not len(stops) or stops[0] == 0:
            continue  # the rim is not there, or the line ends at it
        led = ahead[: stops[0]]
        run = np.concatenate([run, led[-1:]]) if side else np.concatenate([led[-1:], run])
    return run
