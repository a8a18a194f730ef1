"""The leftmost free place of a piece, compiled by numba on first use and cached.

Coordinates are whole grid steps (see `outlines`), so whether a place is free is decided exactly in 64-bit integers.
The free places are those within the room of the empty sheet round which no convolution winds (see `convolution`);
their rim counts as free, so pieces may touch.

*Candidate*: a place where two constraints meet so that neither lets the piece go further left (or, at equal x, further
down). The leftmost free place is one of them, as the optimum of a linear function over a polygon is at a corner. The
candidates are found cell by cell in a grid over the sheet, column by column from the left, and asked in order; the
first that is free is the answer.

One file on purpose: numba notices a change of a compiled function only in the file of the function itself.
"""

# Plain loops on purpose: compiled they need no temporaries, and their order is the same on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import BoolArray, IntArray

__all__ = ["DEEPEST", "free_places", "leftmost"]

_LEAST_SINE = 0.002  # corners of the free space sharper than a quarter degree are not entered at their tip
DEEPEST = 380  # grid steps: how far from its corner a place may be taken, 0.75 / _LEAST_SINE and some for rounding
_MAX_RAYS = 64
_WHOLE = 1e-4  # grid steps
_OFF = 0x7FFFFFFFFFFFFFFF


@njit(cache=True)
def leftmost(
    segments: IntArray,
    side: IntArray,
    first: IntArray,
    boxes: IntArray,
    room: IntArray,
    floor: int,
    limit: int,
) -> tuple[bool, int, int]:
    """Return the free place with the least x, at equal x the least y.

    Parameters
    ----------
    segments, side : (k, 4) and (k,) int array
        Convolutions of all placed pieces with the moving one, each moved to where its piece lies.
    first : (p + 1,) int array
        Where the segments of each placed piece begin, and the end.
    boxes : (p, 4) int array
        Bounding box of each piece's segments: least x, least y, greatest x, greatest y.
    room : (2,) int array
        Greatest x and y of the moving piece's origin on the empty sheet; the least are 0.
    floor : int
        Places with a smaller x are known to be taken.
    limit : int
        Places with a greater x are of no interest.

    Returns
    -------
    (bool, int, int)
        Whether there is one, its x and its y.
    """
    x_low, x_high, y_high = floor, min(room[0], limit), room[1]
    if x_low > x_high or y_high < 0:
        return False, 0, 0
    active = _active(segments, side, x_low, x_high, y_high)
    columns = int(min(max(1.0, 1.5 * math.sqrt(len(active))), 200.0))
    width = (x_high - x_low) // columns + 1
    height = y_high // columns + 1
    start, members = _cells(segments, active, x_low, x_high, y_high, width, height, columns)
    edge_start, edge_keys = _edge_candidates(segments, side, active, y_high, x_low, width, columns)
    keys = np.empty(1024, np.int64)
    suspect = 0
    for column in range(columns):
        count = 0
        if x_low == 0 and column == 0:
            keys, count = _append(keys, count, np.int64(0))  # the lower left corner of the sheet
        for place in range(edge_start[column], edge_start[column + 1]):
            keys, count = _append(keys, count, edge_keys[place])
        left = x_low + column * width
        for cell in range(column * columns, (column + 1) * columns):
            inside = members[start[cell] : start[cell + 1]]
            keys, count = _crossings(segments, side, inside, left, left + width, keys, count)
        found = keys[:count]
        found.sort()
        previous = np.int64(-1)
        for place in range(count):
            key = found[place]
            if key == previous:
                continue
            previous = key
            x, y = key >> 31, key & 0x7FFFFFFF
            if x < x_low or x > x_high or y > y_high:
                continue
            blocker = _blocker(segments, first, boxes, x, y, suspect)
            if blocker < 0:
                return True, x, y
            suspect = blocker
    return False, 0, 0


@njit(cache=True)
def free_places(segments: IntArray, first: IntArray, boxes: IntArray, places: IntArray) -> BoolArray:
    """Return for each of many (n, 2) places whether it is free of the pieces; see `leftmost` for the rest."""
    free = np.empty(len(places), np.bool_)
    suspect = 0
    for k in range(len(places)):
        blocker = _blocker(segments, first, boxes, places[k, 0], places[k, 1], suspect)
        free[k] = blocker < 0
        suspect = max(blocker, 0)
    return free


@njit(cache=True)
def _active(segments, side, x_low, x_high, y_high):  # type: ignore[no-untyped-def]
    """Return the segments that may bound the free space within the window."""
    active = np.empty(len(side), np.int64)
    count = 0
    for k in range(len(side)):
        if side[k] == 0:
            continue
        x1, y1, x2, y2 = segments[k]
        if max(x1, x2) >= x_low and min(x1, x2) <= x_high and max(y1, y2) >= 0 and min(y1, y2) <= y_high:
            active[count] = k
            count += 1
    return active[:count]


@njit(cache=True)
def _cells(segments, active, x_low, x_high, y_high, width, height, columns):  # type: ignore[no-untyped-def]
    """Return which segments pass through which cell of the window: starts (columns^2 + 1,) and members."""
    start = np.zeros(columns * columns + 1, np.int64)
    members = np.empty(0, np.int64)
    for fill in range(2):
        for k in active:
            x1, y1, x2, y2 = segments[k]
            if x1 > x2:
                x1, y1, x2, y2 = x2, y2, x1, y1
            slope = (y2 - y1) / (x2 - x1) if x2 > x1 else 0.0
            last = (min(x2, x_high) - x_low) // width
            for column in range((max(x1, x_low) - x_low) // width, last + 1):
                if x2 > x1:
                    left, right = max(x1, x_low + column * width), min(x2, x_low + (column + 1) * width)
                    ya, yb = y1 + slope * (left - x1), y1 + slope * (right - x1)
                else:
                    ya, yb = float(y1), float(y2)
                low, high = max(min(ya, yb) - 2.0, 0.0), min(max(ya, yb) + 2.0, float(y_high))
                if low > high:
                    continue
                for row in range(int(low) // height, int(high) // height + 1):
                    cell = column * columns + row
                    if fill == 1:
                        start[cell] -= 1
                        members[start[cell]] = k
                    else:
                        start[cell] += 1
        if fill == 0:
            for cell in range(1, columns * columns + 1):
                start[cell] += start[cell - 1]
            members = np.empty(start[columns * columns], np.int64)
    return start, members


@njit(cache=True)
def _edge_candidates(segments, side, active, y_high, x_low, width, columns):  # type: ignore[no-untyped-def]
    """Return candidates on the left, lower and upper limit of the sheet, sorted into columns."""
    keys = np.empty(256, np.int64)
    count = 0
    for k in active:
        x1, y1, x2, y2 = segments[k]
        dx, dy = float(x2 - x1), float(y2 - y1)
        if side[k] > 0:
            if dy > 0 and y1 <= 0 <= y2:
                keys, count = _around(x1 - dx * (y1 / dy), 0.0, False, keys, count)
        else:
            if dx < 0 and x2 <= 0 <= x1:
                keys, count = _around(0.0, y1 - dy * (x1 / dx), True, keys, count)
            if dy > 0 and y1 <= y_high <= y2:
                keys, count = _around(x1 + dx * ((y_high - y1) / dy), float(y_high), False, keys, count)
    start = np.zeros(columns + 1, np.int64)
    ordered = np.sort(keys[:count])
    for key in ordered:
        start[min(max(((key >> 31) - x_low) // width, 0), columns - 1) + 1] += 1
    for column in range(columns):
        start[column + 1] += start[column]
    return start, ordered


@njit(cache=True)
def _around(x, y, vertical, keys, count):  # type: ignore[no-untyped-def]
    """Append the whole places before and after a place on a limit of the sheet that runs along one axis."""
    moving = y if vertical else x
    if abs(moving - np.rint(moving)) < _WHOLE:
        return _append(keys, count, _key(np.rint(x), np.rint(y)))
    for step in range(2):
        whole = np.floor(moving) + step
        keys, count = _append(keys, count, _key(x, whole) if vertical else _key(whole, y))
    return keys, count


@njit(cache=True)
def _key(x, y):  # type: ignore[no-untyped-def]
    """Return x and y as one number that sorts by x and then y; places off the sheet come last."""
    if x < 0 or y < 0:
        return np.int64(_OFF)
    return (np.int64(x) << 31) + np.int64(y)


@njit(cache=True)
def _append(keys, count, key):  # type: ignore[no-untyped-def]
    if count == len(keys):
        longer = np.empty(2 * count, np.int64)
        longer[:count] = keys
        keys = longer
    keys[count] = key
    return keys, count + 1


@njit(cache=True)
def _crossings(segments, side, members, left, right, keys, count):  # type: ignore[no-untyped-def]
    """Append the candidates where two segments of one cell meet within its column."""
    for i in members:
        if side[i] < 0:
            continue
        x1, y1, x2, y2 = segments[i]
        ux, uy = x2 - x1, y2 - y1
        for j in members:
            if side[j] > 0:
                continue
            x3, y3, x4, y4 = segments[j]
            if max(x3, x4) < x1 or x2 < min(x3, x4):
                continue
            vx, vy = x4 - x3, y4 - y3
            # The free space lies right of both; (1, +0) must point between their right normals.
            turn = ux * vy - uy * vx
            if turn <= 0:
                continue
            wx, wy = x3 - x1, y3 - y1
            along, other = wx * vy - wy * vx, wx * uy - wy * ux
            if 0 <= along <= turn and 0 <= other <= turn:
                x, y = _rounded(x1 + ux * (along / turn)), _rounded(y1 + uy * (along / turn))
                if left <= x < right:
                    keys, count = _into_the_corner(x, y, ux, uy, vx, vy, keys, count)
    return keys, count


@njit(cache=True)
def _rounded(value):  # type: ignore[no-untyped-def]
    """Return the nearest whole number where only the division has missed it."""
    whole = np.rint(value)
    return whole if abs(value - whole) < _WHOLE else value


@njit(cache=True)
def _into_the_corner(x, y, ux, uy, vx, vy, keys, count):  # type: ignore[no-untyped-def]
    """Append the whole place itself, or those next to it and one surely inside the free corner."""
    if x == np.rint(x) and y == np.rint(y):
        return _append(keys, count, _key(x, y))
    for step in range(4):
        keys, count = _append(keys, count, _key(np.floor(x) + step // 2, np.floor(y) + step % 2))
    u, v = math.hypot(float(ux), float(uy)), math.hypot(float(vx), float(vy))
    # Middle of the corner: the sum of both right normals; the sine of its half angle is half that sum's length.
    bx, by = uy / u + vy / v, -ux / u - vx / v
    length = math.hypot(bx, by)
    if length > 1e-9:
        reach = 0.75 / max(0.5 * length, _LEAST_SINE) / length
        keys, count = _append(keys, count, _key(np.rint(x + reach * bx), np.rint(y + reach * by)))
    return keys, count


@njit(cache=True)
def _blocker(segments, first, boxes, x, y, suspect):  # type: ignore[no-untyped-def]
    """Return a placed piece that the moving one would overlap at (x, y), or -1; `suspect` is asked first."""
    count = len(boxes)
    for step in range(count):
        piece = suspect + step if suspect + step < count else suspect + step - count
        if x <= boxes[piece, 0] or x >= boxes[piece, 2] or y <= boxes[piece, 1] or y >= boxes[piece, 3]:
            continue
        if _overlaps(segments, first[piece], first[piece + 1], x, y):
            return piece
    return -1


@njit(cache=True)
def _overlaps(segments, begin, end, x, y):  # type: ignore[no-untyped-def]
    """Return whether (x, y) is inside, not on the boundary of, one no-fit polygon."""
    winding = 0
    for k in range(begin, end):
        x1, y1, x2, y2 = segments[k]
        if (x1 < x and x2 < x) or (y1 > y and y2 > y) or (y1 < y and y2 < y):
            continue
        turn = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        if turn == 0 and min(x1, x2) <= x <= max(x1, x2):
            return _overlaps_all_round(segments, begin, end, x, y)
        if y1 <= y < y2:
            if turn > 0:
                winding += 1
        elif y2 <= y < y1 and turn < 0:
            winding -= 1
    return winding > 0


@njit(cache=True)
def _overlaps_all_round(segments, begin, end, x, y):  # type: ignore[no-untyped-def]
    """Return the same for a place on a segment: whether every direction from it leads into the no-fit polygon."""
    ray_x, ray_y = np.empty(_MAX_RAYS, np.int64), np.empty(_MAX_RAYS, np.int64)
    rise = np.empty(_MAX_RAYS, np.int64)
    rays, winding = 0, 0
    for k in range(begin, end):
        x1, y1, x2, y2 = segments[k]
        if (x1 < x and x2 < x) or (y1 > y and y2 > y) or (y1 < y and y2 < y):
            continue
        turn = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        if turn == 0 and min(x1, x2) <= x <= max(x1, x2):
            if rays + 2 > _MAX_RAYS:
                return True  # too many to sort: take it as an overlap, which is safe
            if x2 != x or y2 != y:  # leaves the place: to its left the winding is one higher
                ray_x[rays], ray_y[rays], rise[rays] = x2 - x, y2 - y, 1
                rays += 1
            if x1 != x or y1 != y:
                ray_x[rays], ray_y[rays], rise[rays] = x1 - x, y1 - y, -1
                rays += 1
        elif y1 <= y < y2:
            if turn > 0:
                winding += 1
        elif y2 <= y < y1 and turn < 0:
            winding -= 1
    return _least_round(ray_x[:rays], ray_y[:rays], rise[:rays], winding) > 0


@njit(cache=True)
def _least_round(ray_x, ray_y, rise, winding):  # type: ignore[no-untyped-def]
    """Return the least winding on a small circle, from its value just above the direction (1, 0)."""
    rays = len(rise)
    for i in range(1, rays):  # insertion sort, counter-clockwise from just above (1, 0)
        for j in range(i, 0, -1):
            if not _earlier(ray_x[j], ray_y[j], ray_x[j - 1], ray_y[j - 1]):
                break
            ray_x[j], ray_x[j - 1] = ray_x[j - 1], ray_x[j]
            ray_y[j], ray_y[j - 1] = ray_y[j - 1], ray_y[j]
            rise[j], rise[j - 1] = rise[j - 1], rise[j]
    least = winding
    for i in range(rays):
        winding += rise[i]
        last_of_direction = i + 1 == rays or _earlier(ray_x[i], ray_y[i], ray_x[i + 1], ray_y[i + 1])
        if last_of_direction:
            least = min(least, winding)
    return least


@njit(cache=True)
def _earlier(ax, ay, bx, by):  # type: ignore[no-untyped-def]
    """Return whether direction a comes before b, counter-clockwise from just above (1, 0)."""
    a_half = 0 if ay > 0 or (ay == 0 and ax < 0) else 1
    b_half = 0 if by > 0 or (by == 0 and bx < 0) else 1
    if a_half != b_half:
        return a_half < b_half
    return ax * by - ay * bx > 0
