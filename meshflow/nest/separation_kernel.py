"""Moving pieces until none overlaps: the compiled loops of the search. Compiled by numba on first use and cached.

Terms: the *depth* of two pieces is how far one must be moved until they no longer overlap: the distance of their
relative place to the boundary of the no-fit polygon, 0 outside it. Pieces are moved one at a time to where the sum of
their depths, each times the *weight* of the pair, is least; the weights of pairs that stay in each other grow, so that
what is stuck comes loose (guided local search). A *room* is a rectangle in which pieces may lie: the strip, or one
of several sheets set side by side.

A place is looked for in two steps. Depths read off a coarse picture of each no-fit polygon tell the promising places
among many drawn at random; the best of these are polished on the exact depth.

Of a no-fit polygon of few sides the depth is asked of all of them, of one of many sides by cells (`cell_kernel`).

One file on purpose: numba notices a change of a compiled function only in the file of the function itself. Whoever
changes the cells has to touch this file as well.

References
----------
Egeblad, Nielsen and Odgaard, "Fast neighborhood search for two- and three-dimensional nesting problems", EJOR 183, 2007
(guided local search on overlaps).
Umetani, Yagiura, Imahori, Imamichi, Nonobe and Ibaraki, "Solving the irregular strip packing problem via guided local
search for overlap minimization", ITOR 16, 2009 (depth on no-fit polygons).
Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8:14, 2003 (the random numbers; one state for each search).
"""

# Plain loops on purpose: compiled they need no temporaries, and their order is the same on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.nest.cell_kernel import ACROSS, OUTSIDE, SHIFT, cells_along

__all__ = ["all_depths", "depth_pictures", "separate"]


@njit(cache=True, nogil=True)
def _chance(state):  # type: ignore[no-untyped-def]
    """Return a random number from 0 to under 1."""
    x = state[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    state[0] = x
    return float((x * np.uint64(2685821657736338717)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@njit(cache=True, nogil=True, error_model="numpy")
def _far(columns, k, x, y):  # type: ignore[no-untyped-def]
    """Return the square of the distance to a side; without branches, which would mostly be guessed wrong."""
    wx, wy = x - columns[0, k], y - columns[1, k]
    dx, dy = columns[2, k], columns[3, k]
    share = min(max((wx * dx + wy * dy) * columns[6, k], 0.0), 1.0)
    ex, ey = wx - share * dx, wy - share * dy
    return ex * ex + ey * ey


@njit(cache=True, nogil=True, error_model="numpy")
def _is_crossed(columns, k, x, y):  # type: ignore[no-untyped-def]
    """Return whether a side lies right of a place, at its height."""
    # Both ends are asked by the same comparison, so that a corner belongs to one side only.
    at_height = (columns[1, k] > y) != (columns[4, k] > y)
    return at_height & (x - columns[0, k] < columns[5, k] * (y - columns[1, k]))


@njit(cache=True, nogil=True, error_model="numpy")
def _depth(columns, begin, end, x, y):  # type: ignore[no-untyped-def]
    """Return how deep a place lies in the no-fit polygon of these sides."""
    crossings, nearest = 0, np.inf
    for k in range(begin, end):
        crossings += _is_crossed(columns, k, x, y)
        nearest = min(nearest, _far(columns, k, x, y))
    return math.sqrt(nearest) if crossings & 1 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _depth_by_cells(quick, cells, rows, nodes_x, nodes_y, fx, fy, x, y):  # type: ignore[no-untyped-def]
    """Return how deep a place lies in a no-fit polygon that has cells.

    ``cells`` and ``rows`` are its first of them, ``fx`` and ``fy`` the place in nodes of its picture.
    """
    (columns, _at, kinds, spans, near, _rows_at, begins, of_rows) = quick
    up = min(int(fy), nodes_y - 2) >> SHIFT
    cell, row = cells + up * cells_along(nodes_x) + (min(int(fx), nodes_x - 2) >> SHIFT), rows + up
    if kinds[cell] == OUTSIDE:
        return 0.0
    if kinds[cell] == ACROSS:
        crossings = 0
        for j in range(begins[row], begins[row + 1]):
            crossings += _is_crossed(columns, of_rows[j], x, y)
        if not crossings & 1:
            return 0.0
    nearest = np.inf
    for j in range(spans[cell, 0], spans[cell, 1]):
        nearest = min(nearest, _far(columns, near[j], x, y))
    return math.sqrt(nearest)


@njit(cache=True, nogil=True)
def depth_pictures(first, quick, box, at, shape, pictures):  # type: ignore[no-untyped-def]
    """Fill the picture of each no-fit polygon: its depth at the nodes of a grid over its box."""
    columns, cells_at, rows_at = quick[0], quick[1], quick[5]
    for pair in range(len(shape)):
        many = cells_at[pair + 1] > cells_at[pair]
        rows, nodes = shape[pair, 0], shape[pair, 1]
        for row in range(rows):
            y = box[pair, 1] + (box[pair, 3] - box[pair, 1]) * row / (rows - 1)
            for node in range(nodes):
                x = box[pair, 0] + (box[pair, 2] - box[pair, 0]) * node / (nodes - 1)
                if many:
                    depth = _depth_by_cells(quick, cells_at[pair], rows_at[pair], nodes, rows, node, row, x, y)
                else:
                    depth = _depth(columns, first[pair], first[pair + 1], x, y)
                pictures[at[pair] + row * nodes + node] = depth


@njit(cache=True, nogil=True)
def _gather(table, p, pose, pos, poses, weight, reals, wholes):  # type: ignore[no-untyped-def]
    """Lay side by side what is asked for at every place tried for a piece; return of how many others."""
    (_sides, first, box, at, shape, _pictures, scale, quick) = table
    ways = int(math.sqrt(len(first) - 1 + 0.5))
    count = 0
    for j in range(len(poses)):
        if j == p:
            continue
        pair = poses[j] * ways + pose
        if box[pair, 2] <= box[pair, 0]:
            continue  # these two never meet
        x, y = pos[j, 0], pos[j, 1]
        reals[count, 0], reals[count, 1] = x + box[pair, 0], x + box[pair, 2]
        reals[count, 2], reals[count, 3] = y + box[pair, 1], y + box[pair, 3]
        reals[count, 4], reals[count, 5] = scale[pair, 0], scale[pair, 1]
        reals[count, 6] = weight[p, j]
        reals[count, 7], reals[count, 8] = x, y
        wholes[count, 0], wholes[count, 1], wholes[count, 2] = at[pair], shape[pair, 1], shape[pair, 0]
        wholes[count, 3], wholes[count, 4] = first[pair], first[pair + 1]
        many = quick[1][pair + 1] > quick[1][pair]
        wholes[count, 5] = quick[1][pair] if many else -1
        wholes[count, 6] = quick[5][pair]
        count += 1
    return count


@njit(cache=True, nogil=True)
def _roughly(pictures, reals, wholes, count, x, y, bound):  # type: ignore[no-untyped-def]
    """Return the weighted depth at a place, off the pictures; stops counting beyond `bound`."""
    total = 0.0
    for j in range(count):
        if x <= reals[j, 0] or x >= reals[j, 1] or y <= reals[j, 2] or y >= reals[j, 3]:
            continue
        fx, fy = (x - reals[j, 0]) * reals[j, 4], (y - reals[j, 2]) * reals[j, 5]
        columns = wholes[j, 1]
        ix, iy = min(int(fx), columns - 2), min(int(fy), wholes[j, 2] - 2)
        tx, ty = fx - ix, fy - iy
        k = wholes[j, 0] + iy * columns + ix
        low = pictures[k] + tx * (pictures[k + 1] - pictures[k])
        high = pictures[k + columns] + tx * (pictures[k + columns + 1] - pictures[k + columns])
        total += reals[j, 6] * (low + ty * (high - low))
        if total >= bound:
            return total
    return total


@njit(cache=True, nogil=True)
def _exactly(quick, reals, wholes, count, x, y, bound):  # type: ignore[no-untyped-def]
    """Return the weighted depth at a place; stops counting beyond `bound`."""
    total = 0.0
    for j in range(count):
        if x <= reals[j, 0] or x >= reals[j, 1] or y <= reals[j, 2] or y >= reals[j, 3]:
            continue
        if wholes[j, 5] < 0:
            depth = _depth(quick[0], wholes[j, 3], wholes[j, 4], x - reals[j, 7], y - reals[j, 8])
        else:
            fx, fy = (x - reals[j, 0]) * reals[j, 4], (y - reals[j, 2]) * reals[j, 5]
            cells, rows, nodes_x, nodes_y = wholes[j, 5], wholes[j, 6], wholes[j, 1], wholes[j, 2]
            depth = _depth_by_cells(quick, cells, rows, nodes_x, nodes_y, fx, fy, x - reals[j, 7], y - reals[j, 8])
        total += reals[j, 6] * depth
        if total >= bound:
            return total
    return total


@njit(cache=True, nogil=True)
def _close(reals, wholes, count, x0, y0, x1, y1, near, near_wholes):  # type: ignore[no-untyped-def]
    """Lay side by side what can be met within a rectangle of places; return how many that are."""
    found = 0
    for j in range(count):
        if x1 <= reals[j, 0] or x0 >= reals[j, 1] or y1 <= reals[j, 2] or y0 >= reals[j, 3]:
            continue
        near[found, :] = reals[j, :]
        near_wholes[found, :] = wholes[j, :]
        found += 1
    return found


@njit(cache=True, nogil=True)
def _pair_depth(table, ways, i, j, pos, poses):  # type: ignore[no-untyped-def]
    (_sides, first, box, _at, shape, _pictures, scale, quick) = table
    pair = poses[j] * ways + poses[i]
    vx, vy = pos[i, 0] - pos[j, 0], pos[i, 1] - pos[j, 1]
    if vx <= box[pair, 0] or vx >= box[pair, 2] or vy <= box[pair, 1] or vy >= box[pair, 3]:
        return 0.0
    if quick[1][pair + 1] == quick[1][pair]:
        return _depth(quick[0], first[pair], first[pair + 1], vx, vy)
    fx, fy = (vx - box[pair, 0]) * scale[pair, 0], (vy - box[pair, 1]) * scale[pair, 1]
    return _depth_by_cells(quick, quick[1][pair], quick[5][pair], shape[pair, 1], shape[pair, 0], fx, fy, vx, vy)


@njit(cache=True, nogil=True)
def all_depths(table, ways, pos, poses, depth):  # type: ignore[no-untyped-def]
    """Fill the table of the depths of all pairs; return their sum and the greatest."""
    total, most = 0.0, 0.0
    for i in range(len(poses)):
        for j in range(i):
            d = _pair_depth(table, ways, i, j, pos, poses)
            depth[i, j] = d
            depth[j, i] = d
            total += d
            most = max(most, d)
    return total, most


@njit(cache=True, nogil=True)
def _within(value, low, high):  # type: ignore[no-untyped-def]
    return low if value < low else (high if value > high else value)


@njit(cache=True, nogil=True)
def _polish(exact, quick, pictures, work, every, x, y, value, step, least, x0, y0, x1, y1, state):  # type: ignore[no-untyped-def]
    """Return a place near by with less weighted depth: steps square to each other, shorter when none helps."""
    (all_reals, all_wholes, _top, _found, reals, wholes) = work
    # Not farther than a few steps, so that only what lies near has to be asked.
    x0, x1 = max(x0, x - 4.0 * step), min(x1, x + 4.0 * step)
    y0, y1 = max(y0, y - 4.0 * step), min(y1, y + 4.0 * step)
    count = _close(all_reals, all_wholes, every, x0, y0, x1, y1, reals, wholes)
    cosine, sine = 1.0, 0.0
    while step > least and value > 0.0:
        better = False
        for _turn in range(4):
            nx, ny = _within(x + step * cosine, x0, x1), _within(y + step * sine, y0, y1)
            cosine, sine = -sine, cosine
            if exact:
                got = _exactly(quick, reals, wholes, count, nx, ny, value)
            else:
                got = _roughly(pictures, reals, wholes, count, nx, ny, value)
            if got < value:
                x, y, value = nx, ny, got
                better = True
                cosine, sine = sine, -cosine
                break
        if better:
            step *= 1.2
        else:
            angle = _chance(state) * 0.5 * math.pi
            cosine, sine = math.cos(angle), math.sin(angle)
            step *= 0.6
    return x, y, value


@njit(cache=True, nogil=True)
def _best_place(table, p, pos, poses, where, weight, sizes, lists, rooms, samples, keep, best, work, state):  # type: ignore[no-untyped-def]
    """Find the best place of a piece; return its weighted depth, and write pose, place and room into `best`."""
    (_sides, _first, _box, _at, _shape, pictures, _scale, quick) = table
    (reals, wholes, top, found, _near, _near_wholes) = work
    pose = poses[p]
    count = _gather(table, p, pose, pos, poses, weight, reals, wholes)
    now = _exactly(quick, reals, wholes, count, pos[p, 0], pos[p, 1], np.inf)
    best[0], best[1], best[2], best[3] = pose, pos[p, 0], pos[p, 1], where[p]
    if now <= 0.0:
        return 0.0
    room = where[p]
    size = min(sizes[pose, 0], sizes[pose, 1])
    x0, y0 = rooms[room, 0], rooms[room, 1]
    x, y, value = _polish(
        True,
        quick,
        pictures,
        work,
        count,
        pos[p, 0],
        pos[p, 1],
        now,
        0.05 * size,
        0.002 * size,
        x0,
        y0,
        x0 + rooms[room, 2] - sizes[pose, 0],
        y0 + rooms[room, 3] - sizes[pose, 1],
        state,
    )
    least, lx, ly, lq, lr = value, x, y, pose, room
    begin, end = lists[p, 0], lists[p, 1]
    area = 0.0
    for q in range(begin, end):
        for r in range(len(rooms)):
            w, h = rooms[r, 2] - sizes[q, 0], rooms[r, 3] - sizes[q, 1]
            if w >= 0.0 and h >= 0.0:
                area += math.sqrt((w + 0.1 * rooms[r, 2]) * (h + 0.1 * rooms[r, 3]))
    if area == 0.0:
        return now
    for q in range(begin, end):
        count = _gather(table, p, q, pos, poses, weight, reals, wholes)
        for k in range(keep):
            top[k] = np.inf
        for r in range(len(rooms)):
            w, h = rooms[r, 2] - sizes[q, 0], rooms[r, 3] - sizes[q, 1]
            if w < 0.0 or h < 0.0:
                continue
            x0, y0 = rooms[r, 0], rooms[r, 1]
            near = samples // 4 if (q == pose and r == room) else 0
            far = int(samples * math.sqrt((w + 0.1 * rooms[r, 2]) * (h + 0.1 * rooms[r, 3])) / area) + 1
            reach = 0.5 * min(sizes[q, 0], sizes[q, 1])
            for s in range(far + near):
                if s < near:
                    x = _within(pos[p, 0] + reach * (2.0 * _chance(state) - 1.0), x0, x0 + w)
                    y = _within(pos[p, 1] + reach * (2.0 * _chance(state) - 1.0), y0, y0 + h)
                else:
                    # A little beyond the edges and back, so that the edges themselves are tried as well.
                    x = _within(x0 + (1.06 * _chance(state) - 0.03) * w, x0, x0 + w)
                    y = _within(y0 + (1.06 * _chance(state) - 0.03) * h, y0, y0 + h)
                got = _roughly(pictures, reals, wholes, count, x, y, top[keep - 1])
                if got < top[keep - 1]:
                    k = keep - 1
                    while k > 0 and top[k - 1] > got:
                        top[k] = top[k - 1]
                        found[k, :] = found[k - 1, :]
                        k -= 1
                    top[k] = got
                    found[k, 0], found[k, 1], found[k, 2] = x, y, r
        for k in range(keep):
            # Off the pictures depths are near enough to tell what cannot become the best.
            if not np.isfinite(top[k]) or top[k] > 4.0 * least + 1e-12:
                break
            r = int(found[k, 2])
            size = min(sizes[q, 0], sizes[q, 1])
            x0, y0 = rooms[r, 0], rooms[r, 1]
            x1, y1 = x0 + rooms[r, 2] - sizes[q, 0], y0 + rooms[r, 3] - sizes[q, 1]
            x, y, value = _polish(
                False,
                quick,
                pictures,
                work,
                count,
                found[k, 0],
                found[k, 1],
                top[k],
                0.1 * size,
                0.01 * size,
                x0,
                y0,
                x1,
                y1,
                state,
            )
            if value > 1.5 * least + 1e-12:
                continue
            value = _exactly(quick, reals, wholes, count, x, y, np.inf)
            x, y, value = _polish(
                True,
                quick,
                pictures,
                work,
                count,
                x,
                y,
                value,
                0.02 * size,
                0.002 * size,
                x0,
                y0,
                x1,
                y1,
                state,
            )
            if value < least:
                least, lx, ly, lq, lr = value, x, y, q, r
            if least <= 0.0:
                break
        if least <= 0.0:
            break
    if least > 0.0 and least < now:
        count = _gather(table, p, lq, pos, poses, weight, reals, wholes)
        size = min(sizes[lq, 0], sizes[lq, 1])
        x0, y0 = rooms[lr, 0], rooms[lr, 1]
        lx, ly, least = _polish(
            True,
            quick,
            pictures,
            work,
            count,
            lx,
            ly,
            least,
            0.002 * size,
            min(1e-6 * rooms[lr, 3], 2.0),
            x0,
            y0,
            x0 + rooms[lr, 2] - sizes[lq, 0],
            y0 + rooms[lr, 3] - sizes[lq, 1],
            state,
        )
    if least < now:
        best[0], best[1], best[2], best[3] = lq, lx, ly, lr
        return least
    return now


@njit(cache=True, nogil=True)
def separate(  # type: ignore[no-untyped-def]
    table,
    now,
    best,
    movable,
    lists,
    sizes,
    rooms,
    weight,
    depth,
    zero,
    samples,
    keep,
    patience,
    moves_most,
    memory,
    state,
):
    """Move pieces until all depths are under `zero`, nothing has helped for `patience` rounds, or moves run out.

    ``now`` and ``best`` hold places, poses and rooms of the pieces; ``memory`` the least sum of depths so far, the
    rounds without help, and the greatest depth of the best. With the same arrays the work goes on where it stopped.
    Returns how many moves were made.
    """
    pos, poses, where = now
    best_pos, best_poses, best_where = best
    ways = len(sizes)
    n = len(poses)
    found = np.zeros(4)
    reals, wholes = np.empty((2, n, 9)), np.empty((2, n, 7), np.int64)
    work = (reals[0], wholes[0], np.empty(keep), np.empty((keep, 3)), reals[1], wholes[1])
    total, most = all_depths(table, ways, pos, poses, depth)
    if total < memory[0] or most <= zero:
        memory[0], memory[2] = total, most
        best_pos[:], best_poses[:], best_where[:] = pos, poses, where
    order = np.arange(n)
    moves = 0
    while most > zero and memory[1] < patience and moves < moves_most:
        for i in range(n - 1, 0, -1):
            j = int(_chance(state) * (i + 1))
            order[i], order[j] = order[j], order[i]
        for p in order:
            if not movable[p]:
                continue
            mine = 0.0
            for j in range(n):
                mine = max(mine, depth[p, j])
            if mine <= zero:
                continue
            _best_place(table, p, pos, poses, where, weight, sizes, lists, rooms, samples, keep, found, work, state)
            moves += 1
            poses[p], pos[p, 0], pos[p, 1], where[p] = int(found[0]), found[1], found[2], int(found[3])
            for j in range(n):
                d = 0.0 if j == p else _pair_depth(table, ways, p, j, pos, poses)
                depth[p, j] = d
                depth[j, p] = d
        total, most = 0.0, 0.0
        for i in range(n):
            for j in range(i):
                total += depth[i, j]
                most = max(most, depth[i, j])
        memory[1] = 0.0 if total < 0.98 * memory[0] else memory[1] + 1.0
        if total < memory[0] or most <= zero:
            memory[0], memory[2] = total, most
            best_pos[:], best_poses[:], best_where[:] = pos, poses, where
        for i in range(n):
            for j in range(i):
                if depth[i, j] > zero:
                    weight[i, j] *= 1.2 + 0.6 * depth[i, j] / most
                else:
                    weight[i, j] = max(1.0, 0.95 * weight[i, j])
                weight[j, i] = weight[i, j]
    return moves
