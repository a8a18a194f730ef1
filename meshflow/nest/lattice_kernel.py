"""First guesses at lattices of like pieces, compiled by numba on first use and cached: see `lattices`.

Terms: a *body* is a piece, or two that lie `d` apart; its no-fit figure holds the places at which a second body in the
same turn would overlap it, as sides (start x and y, end x and y) that wind round it. Of the figure only its *outermost*
sides count in each direction, so bodies that hook into each other are not found.

All places are floats here, and what is returned is a proposal: `lattices` presses it, rounds it, and asks the exact
no-fit polygons.
"""

# Plain loops on purpose: compiled they need no temporaries, and their order is the same on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

__all__ = ["columns", "directions", "rows"]

_JUST = 1e-3  # grid steps above a height: bodies may touch
_LEAST = 2.95  # a row is at least the figure's height over this, so that three rows reach beyond it
_WORTH = 1.1  # a guess that is longer than the best by this factor is not followed
_MOST_ROWS, _PHASES, _STEPS = 24, 48, 64


@njit(cache=True)
def _moved(sides, sign, dx, dy, out):  # type: ignore[no-untyped-def]
    """Write the no-fit figure of a body whose second piece lies at (dx, dy)."""
    for k in range(len(sides)):
        out[k, 0], out[k, 1] = sides[k, 0] + sign[k] * dx, sides[k, 1] + sign[k] * dy
        out[k, 2], out[k, 3] = sides[k, 2] + sign[k] * dx, sides[k, 3] + sign[k] * dy


@njit(cache=True)
def _span(sides, y):  # type: ignore[no-untyped-def]
    """Return the leftmost and rightmost place of the figure at a height."""
    low, high = np.inf, -np.inf
    y += _JUST
    for k in range(len(sides)):
        y1, y2 = sides[k, 1], sides[k, 3]
        if (y1 <= y) != (y2 <= y):
            x = sides[k, 0] + (sides[k, 2] - sides[k, 0]) * (y - y1) / (y2 - y1)
            low, high = min(low, x), max(high, x)
    return low, high


@njit(cache=True)
def _way_out(sides, x, y):  # type: ignore[no-untyped-def]
    """Return how far along a direction of length 1 the figure reaches."""
    far = 0.0
    for k in range(len(sides)):
        h1, h2 = x * sides[k, 1] - y * sides[k, 0] - _JUST, x * sides[k, 3] - y * sides[k, 2] - _JUST
        if (h1 <= 0.0) != (h2 <= 0.0):
            share = h1 / (h1 - h2)
            a1, a2 = x * sides[k, 0] + y * sides[k, 1], x * sides[k, 2] + y * sides[k, 3]
            far = max(far, a1 + share * (a2 - a1))
    return far


@njit(cache=True)
def _heights(sides, x, y, heights):  # type: ignore[no-untyped-def]
    """Write how far a row of bodies (x, y) apart reaches square to it, at so many phases of the row; return the most.

    At each height a further row with this phase touches it from beyond.
    """
    count = len(heights)
    square = x * x + y * y
    length = math.sqrt(square)
    most = 0.0
    heights[:] = 0.0
    for k in range(len(sides)):
        a1, a2 = (x * sides[k, 0] + y * sides[k, 1]) / square, (x * sides[k, 2] + y * sides[k, 3]) / square
        h1, h2 = (x * sides[k, 1] - y * sides[k, 0]) / length, (x * sides[k, 3] - y * sides[k, 2]) / length
        most = max(most, h1, h2)
        if max(h1, h2) <= 0.0:
            continue
        if a1 > a2:
            a1, a2, h1, h2 = a2, a1, h2, h1
        for m in range(math.ceil(a1 * count - 1e-9), math.floor(a2 * count + 1e-9) + 1):
            share = (m / count - a1) / (a2 - a1) if a2 - a1 > 1e-12 else 0.0
            height = h1 + min(max(share, 0.0), 1.0) * (h2 - h1) if a2 - a1 > 1e-12 else max(h1, h2)
            place = m % count
            heights[place] = max(heights[place], height)
    return most


@njit(cache=True)
def _stacks(heights, phase, most):  # type: ignore[no-untyped-def]
    """Return whether row upon row at one phase keeps the rows after the next apart, too."""
    height = heights[phase]
    if height <= 1.0:
        return False
    least = 0.0
    for k in range(2, int(most / height) + 1):
        least = min(least, k * height - heights[(k * phase) % len(heights)])
    return least >= -1e-6


@njit(cache=True)
def directions(sides, sign, places, angles):  # type: ignore[no-untyped-def]
    """Return the least area of a cell with a row in each direction, for each place of the second piece.

    Parameters
    ----------
    sides, sign : (k, 4) and (k,) float array
        No-fit figure, and how often each side moves with the second piece: 0, 1 or -1.
    places : (p, 2) float array
        Places of the second piece.
    angles : (a,) float array
        Directions of rows.

    Returns
    -------
    (p, a, 5) float array
        Area of the cell, and its two vectors.
    """
    found = np.full((len(places), len(angles), 5), np.inf)
    moved, heights = np.empty_like(sides), np.empty(_PHASES)
    for p in range(len(places)):
        _moved(sides, sign, places[p, 0], places[p, 1], moved)
        for a in range(len(angles)):
            x, y = math.cos(angles[a]), math.sin(angles[a])
            length = _way_out(moved, x, y)
            if length <= 1.0:
                continue
            most = _heights(moved, length * x, length * y, heights)
            for phase in range(_PHASES):
                area = length * heights[phase]
                if area < found[p, a, 0] and _stacks(heights, phase, most):
                    along, up = length * phase / _PHASES, heights[phase]
                    found[p, a, 0] = area
                    found[p, a, 1], found[p, a, 2] = length * x, length * y
                    found[p, a, 3], found[p, a, 4] = along * x - up * y, along * y + up * x
    return found


@njit(cache=True)
def _in_a_column(height, shift, dy, room, room_two):  # type: ignore[no-untyped-def]
    """Return how many pieces lie in a column on average, if each column is shifted against the last by so much."""
    best = 0.0
    for event in range(4):
        base = 0.0 if event == 0 else -dy if event == 1 else room if event == 2 else room_two - dy
        if event % 2 == 1 and room_two < 0.0:
            continue
        total = 0
        for k in range(8):
            y = (base + k * shift) % height
            y = 0.0 if height - y < 0.5 else y
            total += int((room - y + 0.5) // height) + 1 if y <= room + 0.5 else 0
            y = (base + dy + k * shift) % height
            y = 0.0 if height - y < 0.5 else y
            total += int((room_two - y + 0.5) // height) + 1 if y <= room_two + 0.5 else 0
        best = max(best, total / 8.0)
    return best


@njit(cache=True)
def columns(sides, sign, places, room, room_two):  # type: ignore[no-untyped-def]
    """Return lattices with columns along y, each as (length taken by a piece, and both vectors).

    Parameters
    ----------
    sides, sign, places : ndarray
        See `directions`.
    room, room_two : float
        Greatest y of the first and of the second piece on the sheet; below 0 where there is no second.

    Returns
    -------
    (p, 3, 5) float array
        For each place the columns as tight as they can be, spread over the width, and spread by half a piece less.
    """
    found = np.full((len(places), 3, 5), np.inf)
    moved, heights = np.empty_like(sides), np.empty(_PHASES)
    for p in range(len(places)):
        _moved(sides, sign, places[p, 0], places[p, 1], moved)
        tight = _way_out(moved, 0.0, 1.0)
        if tight <= 1.0:
            continue
        dy = places[p, 1]
        clear = room if room_two < 0.0 else min(room, room_two - dy) + min(0.0, dy)
        for spread in range(3):
            height, steps = tight, math.floor((clear + 0.5) / tight)
            if spread == 1:
                if steps < 1:
                    continue
                height = max(clear / steps, tight)
            elif spread == 2:
                steps = math.floor((clear + 0.5) / tight - 0.5)
                if steps < 0:
                    continue
                height = max(clear / (steps + 0.5), tight)
            most = _heights(moved, 0.0, height, heights)
            for phase in range(_PHASES):
                count = _in_a_column(height, height * phase / _PHASES, dy, room, room_two)
                if count <= 0.0 or heights[phase] / count >= found[p, spread, 0]:
                    continue
                if _stacks(heights, phase, most):
                    found[p, spread, 0] = heights[phase] / count
                    found[p, spread, 1], found[p, spread, 2] = 0.0, height
                    found[p, spread, 3], found[p, spread, 4] = -heights[phase], height * phase / _PHASES
    return found


@njit(cache=True)
def _row(low, high, count, limit):  # type: ignore[no-untyped-def]
    """Return the least distance in a row below a limit and how far the next row is shifted, from spans at each row."""
    least = high[0]
    for k in range(1, count):
        least = max(least, high[k] - low[k])
    if count < 2:
        return least, 0.0
    for step in range(_STEPS):
        distance = least * (1.0 + step / _STEPS)
        if distance >= limit:
            break
        first, last = high[1], low[1] + distance
        if count < 3:
            return distance, first
        # The row after the next is shifted twice as far, give or take whole distances.
        for turn in range(
            math.floor((2.0 * first - low[2]) / distance) - 1, math.floor((2.0 * last - high[2]) / distance) + 1
        ):
            shift = max(first, 0.5 * (high[2] + turn * distance))
            if shift <= min(last, 0.5 * (low[2] + (turn + 1) * distance)) + 1e-6:
                return distance, shift
    return np.inf, 0.0


@njit(cache=True)
def rows(sides, sign, places, width, size, size_two, area):  # type: ignore[no-untyped-def]
    """Return lattices with rows along x that are spread to fill the width.

    Parameters
    ----------
    sides, sign, places : ndarray
        See `directions`.
    width : float
        Width of the sheet.
    size, size_two : float
        Width of both pieces; the second is below 0 where there is none.
    area : float
        Area of the body; no cell is smaller.

    Returns
    -------
    (p, 5) float array
        Length taken by a piece, and both vectors, for each place of the second piece.
    """
    found = np.full((len(places), 5), np.inf)
    moved = np.empty_like(sides)
    low, high = np.empty(3), np.empty(3)
    best = np.inf
    for p in range(len(places)):
        _moved(sides, sign, places[p, 0], places[p, 1], moved)
        tall = max(moved[:, 1].max(), moved[:, 3].max())
        most = int(width / (tall / _LEAST)) + 1
        step = max(1, most // _MOST_ROWS)
        dy = places[p, 1]
        for n in range(1, most + 1, step):
            for more in range(-1, 2):
                for start in range(-1, 2):
                    m = n + more
                    if size_two < 0.0:
                        m = 0
                        if more != 0 or start != 0:
                            continue
                    elif m < 1:
                        continue
                    height = _spread(width, tall, n, m, start, dy, size, size_two)
                    limit = (n + m) * min(found[p, 0], _WORTH * best)
                    if height < tall / _LEAST or area >= limit * height:
                        continue
                    count = 0
                    bound = 0.0
                    while count < 3 and (count == 0 or count * height < tall - 0.5):
                        low[count], high[count] = _span(moved, count * height)
                        if high[count] < low[count]:
                            break
                        bound = max(bound, high[count] - (low[count] if count > 0 else 0.0))
                        count += 1
                    if count == 0 or bound >= limit:
                        continue
                    distance, shift = _row(low, high, count, limit)
                    if distance / (n + m) < found[p, 0]:
                        found[p, 0] = distance / (n + m)
                        found[p, 1], found[p, 2], found[p, 3], found[p, 4] = distance, 0.0, shift, height
                        best = min(best, found[p, 0])
    return found


@njit(cache=True)
def _spread(width, tall, n, m, start, dy, size, size_two):  # type: ignore[no-untyped-def]
    """Return the greatest height of a row with which n first and m second pieces lie above each other; 0 for none."""
    height = tall
    if m == 0:
        if size > width + 0.5:
            return 0.0
        return min(height, (width - size) / (n - 1)) if n > 1 else height
    for top in range(2):
        for bottom in range(2):
            steps = (n - 1 if top == 0 else start + m - 1) - (0 if bottom == 0 else start)
            fixed = (size if top == 0 else dy + size_two) - (0.0 if bottom == 0 else dy)
            if steps > 0:
                height = min(height, (width - fixed) / steps)
            elif fixed + steps * height > width + 0.5:
                return 0.0
    return height
