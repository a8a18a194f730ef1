"""The convolution of two outlines, compiled by numba on first use and cached.

*Convolution* of two closed outlines A and C: the directed segments (vertex of A) + (edge of C) and (vertex of C) +
(edge of A) wherever the edge's direction lies within the turn at the vertex, run backwards where that turn is
clockwise. With C = -B its winding number round a place counts the separate pieces of the overlap of A with B moved
there: both are without holes, so each piece of their overlap is, too. It is 0 outside the no-fit polygon and positive
inside, also for shapes that are not convex and for no-fit polygons with holes.

References
----------
Guibas, Ramshaw and Stolfi, "A kinetic framework for computational geometry", FOCS 1983 (convolution, winding number).
Behar and Lien, "Fast and robust 2D Minkowski sum using reduced convolution", IROS 2011 (the boundary of the sum
comes from convex vertices only).
"""

# Plain loops on purpose: compiled they need no temporaries, and their order is the same on every machine.

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import IntArray

__all__ = ["chained", "convolution"]

_ROOM = 6  # segments to a corner that most pairs of outlines stay below


@njit(cache=True)
def convolution(a: IntArray, c: IntArray) -> tuple[IntArray, IntArray]:
    """Return the convolution of two counter-clockwise outlines.

    Parameters
    ----------
    a, c : (n, 2), (m, 2) int array
        Outlines; `c` is the moving piece turned by half a turn, -B.

    Returns
    -------
    segments : (k, 4) int array
        x and y of the start, x and y of the end; positive winding means overlap.
    side : (k,) int array
        0 where the segment cannot lie on the boundary of the sum; 1 where it runs to the right (or straight up), so
        the free space is below it; -1 where it runs to the left (or straight down).
    """
    room = _ROOM * (len(a) + len(c))
    segments, side = np.empty((room, 4), np.int64), np.empty(room, np.int64)
    count = _convolve(a, c, segments, side)
    if count > room:  # many bays: once more, now that it is known how many there are
        segments, side = np.empty((count, 4), np.int64), np.empty(count, np.int64)
        _convolve(a, c, segments, side)
    return segments[:count].copy(), side[:count].copy()


@njit(cache=True)
def _convolve(a, c, segments, side):  # type: ignore[no-untyped-def]
    """Write the segments as far as there is room; return how many there are."""
    found = 0
    for swap in range(2):
        points, edges = (a, c) if swap == 0 else (c, a)
        n, m = points.shape[0], edges.shape[0]
        for i in range(n):
            px, py = points[i, 0], points[i, 1]
            ux, uy = px - points[i - 1, 0], py - points[i - 1, 1]
            j = i + 1 if i + 1 < n else 0
            vx, vy = points[j, 0] - px, points[j, 1] - py
            convex = ux * vy - uy * vx > 0
            if not convex:  # a clockwise turn sweeps from its outgoing back to its incoming direction
                ux, uy, vx, vy = vx, vy, ux, uy
            for k in range(m):
                x1, y1 = edges[k, 0], edges[k, 1]
                following = k + 1 if k + 1 < m else 0
                x2, y2 = edges[following, 0], edges[following, 1]
                dx, dy = x2 - x1, y2 - y1
                after, before = ux * dy - uy * dx, dx * vy - dy * vx
                # Parallel edges: those of c count as coming first, in both passes, so none is missed or doubled.
                if (after > 0 and before >= 0) if swap == 0 else (after >= 0 and before > 0):
                    if found < len(side):
                        if convex:
                            segments[found] = (px + x1, py + y1, px + x2, py + y2)
                            side[found] = 1 if dx > 0 or (dx == 0 and dy > 0) else -1
                        else:
                            segments[found] = (px + x2, py + y2, px + x1, py + y1)
                            side[found] = 0
                    found += 1
    return found


@njit(cache=True)
def chained(segments: IntArray) -> tuple[IntArray, IntArray]:
    """Return an order of the segments of a convolution that joins them to closed runs, and where each run begins.

    As many segments leave each place as arrive at it, so a walk can only end where it began. Which way it takes where
    several leave does not matter to the winding number.

    Parameters
    ----------
    segments : (k, 4) int array
        Start x and y, end x and y.

    Returns
    -------
    order : (k,) int array
        The segments, run by run.
    first : (r + 1,) int array
        Where each run begins in `order`, and the end.
    """
    count = len(segments)
    half = np.int64(1) << 31
    starts = (segments[:, 0] << 32) + (segments[:, 1] + half)
    ends = (segments[:, 2] << 32) + (segments[:, 3] + half)
    leaving = np.argsort(starts, kind="mergesort")
    keys = starts[leaving]
    group = np.searchsorted(keys, ends)  # first of the segments that leave where each one ends
    taken = np.zeros(count + 1, np.int64)
    order, first = np.empty(count, np.int64), np.empty(count + 1, np.int64)
    done, runs = 0, 0
    for begin in range(count):
        place = np.searchsorted(keys, keys[begin])
        if place + taken[place] >= count or keys[place + taken[place]] != keys[begin]:
            continue
        first[runs] = done
        runs += 1
        while place < count and place + taken[place] < count and keys[place + taken[place]] == keys[place]:
            segment = leaving[place + taken[place]]
            taken[place] += 1
            order[done] = segment
            done += 1
            place = group[segment]
    first[runs] = done
    return order[:done], first[: runs + 1]
