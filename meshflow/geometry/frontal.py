"""The compiled loops of `meshflow.geometry.cholesky`: fronts of a multifrontal factorisation, and its solves.

A *front* is the dense matrix of one node of the dissection tree: first the node's own unknowns, then those of nodes
above that they are linked with. Columns of a front are rows of an array here, so that a column lies in one piece.
The *panel* holds the own columns and becomes a part of the factor; the *update* is what is left for the node above.
Only the lower half of symmetric blocks is computed.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["eliminate", "front_rows", "lower_columns", "solve_lower", "solve_upper"]

BLOCK = 64  # columns that are eliminated together
ROWS = 256  # rows of a front that are worked on at a time


@njit(cache=True)
def lower_columns(
    order: IntArray, starts: IntArray, indices: IntArray, data: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:  # pragma: no cover - compiled
    """Return the lower half of a symmetric matrix in a new order, by compressed columns."""
    count = len(order)
    position = np.empty(count, np.int64)
    for new in range(count):
        position[order[new]] = new
    begin = np.zeros(count + 1, np.int64)
    for new in range(count):
        kept = 0
        for at in range(starts[order[new]], starts[order[new] + 1]):
            kept += position[indices[at]] >= new
        begin[new + 1] = begin[new] + kept
    rows, values = np.empty(begin[count], np.int64), np.empty(begin[count])
    for new in range(count):
        end = begin[new]
        for at in range(starts[order[new]], starts[order[new] + 1]):
            row = position[indices[at]]
            if row >= new:
                rows[end], values[end] = row, data[at]
                end += 1
    return begin, rows, values


@njit(cache=True)
def front_rows(
    order: IntArray, first: IntArray, parent: IntArray, starts: IntArray, indices: IntArray
) -> tuple[IntArray, IntArray, IntArray]:  # pragma: no cover - compiled
    """Return what each front reaches above its own unknowns.

    Returns
    -------
    begin : (nodes + 1,) int array
        Where each node's rows begin.
    rows : (r,) int array
        New positions, ascending in each node.
    place : (r,) int array
        Where each row stands in the front of the node above.
    """
    count, nodes = len(order), len(parent)
    position = np.empty(count, np.int64)
    for new in range(count):
        position[order[new]] = new
    seen = np.full(count, -1)
    begin = np.zeros(nodes + 1, np.int64)
    rows = np.empty(8 * count + 16, np.int64)
    child, sibling = np.full(nodes, -1), np.full(nodes, -1)
    for node in range(nodes):
        top, end = first[node + 1], begin[node]
        for new in range(first[node], top):
            for link in range(starts[order[new]], starts[order[new] + 1]):
                row = position[indices[link]]
                if row >= top and seen[row] != node:
                    seen[row] = node
                    if end == len(rows):
                        rows = _longer(rows)
                    rows[end] = row
                    end += 1
        below = child[node]
        while below >= 0:
            for at in range(begin[below], begin[below + 1]):
                row = rows[at]
                if row >= top and seen[row] != node:
                    seen[row] = node
                    if end == len(rows):
                        rows = _longer(rows)
                    rows[end] = row
                    end += 1
            below = sibling[below]
        rows[begin[node] : end].sort()
        begin[node + 1] = end
        if parent[node] >= 0:
            sibling[node] = child[parent[node]]
            child[parent[node]] = node
    rows = rows[: begin[nodes]].copy()
    place = np.zeros(len(rows), np.int64)
    for node in range(nodes):
        above = parent[node]
        if above < 0:
            continue
        own, at = first[above + 1] - first[above], begin[above]
        for here in range(begin[node], begin[node + 1]):
            if rows[here] < first[above + 1]:
                place[here] = rows[here] - first[above]
            else:
                while rows[at] != rows[here]:
                    at += 1
                place[here] = own + at - begin[above]
    return begin, rows, place


@njit(cache=True)
def _longer(rows):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    longer = np.empty(len(rows) + len(rows) // 2, np.int64)
    longer[: len(rows)] = rows
    return longer


@njit(cache=True)
def eliminate(
    width: int, tree: tuple[IntArray, ...], matrix: tuple[IntArray, IntArray, FloatArray],
    local: IntArray, panels: FloatArray, updates: FloatArray, top: IntArray,
) -> int:  # fmt: skip  # pragma: no cover - compiled
    """Factorise all fronts, below before above; return the first node whose pivot is not positive, or -1.

    The updates wait on a stack; ``top[0]`` is its height, ``top[1]`` how many wait, ``top[2 + 2 * k]`` and the next
    where update k begins and of which node it is.
    """
    top[0] = top[1] = 0
    for node in range(len(tree[0]) - 1):
        panel, update = _assemble_front(node, width, tree, matrix, local, panels, updates, top)
        if not _factorise_front(panel, update):
            return node
        _keep_update(node, update.shape[0], tree, updates, top)
    return -1


@njit(cache=True)
def _assemble_front(node, width, tree, matrix, local, panels, updates, top):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Set up one front from the matrix and the updates of the nodes below; return its panel and its update."""
    first, begin, rows, place, panel_begin, children = tree
    starts, indices, data = matrix
    low, high = first[node], first[node + 1]
    own, above = high - low, begin[node + 1] - begin[node]
    size, inner, outer = (own + above) * width, own * width, above * width
    panel = panels[panel_begin[node] : panel_begin[node] + size * inner].reshape(inner, size)
    update = updates[top[0] : top[0] + outer * outer].reshape(outer, outer)
    panel[:] = 0.0
    update[:] = 0.0
    for k in range(own):
        local[low + k] = k
    for k in range(above):
        local[rows[begin[node] + k]] = own + k
    for column in range(inner):
        for at in range(starts[low * width + column], starts[low * width + column + 1]):
            row = indices[at]
            here = local[row // width] * width + row % width
            if here >= column:
                panel[column, here] += data[at]
    for waiting in range(top[1] - children[node], top[1]):
        base, below = top[2 + 2 * waiting], top[3 + 2 * waiting]
        start, count = begin[below], begin[below + 1] - begin[below]
        part = updates[base : base + (count * width) ** 2].reshape(count * width, count * width)
        goals = np.empty(count * width, np.int64)
        for j in range(count):
            for k in range(width):
                goals[j * width + k] = place[start + j] * width + k
        for j in range(count * width):
            if goals[j] < inner:
                goal = panel[goals[j]]
                for i in range(j, count * width):
                    goal[goals[i]] += part[j, i]
            else:
                goal = update[goals[j] - inner]
                for i in range(j, count * width):
                    goal[goals[i] - inner] += part[j, i]
    return panel, update


@njit(cache=True)
def _keep_update(node, outer, tree, updates, top):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Take the updates of the nodes below off the stack and put the node's own in their place."""
    children, base = tree[5][node], top[0]
    top[1] -= children
    if children > 0:
        goal = top[2 + 2 * top[1]]
        for at in range(outer * outer):
            updates[goal + at] = updates[base + at]
        base = goal
    top[0] = base + outer * outer
    if outer > 0:
        top[2 + 2 * top[1]], top[3 + 2 * top[1]] = base, node
        top[1] += 1


@njit(cache=True)
def _factorise_front(panel, update):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Cholesky of the own columns, BLOCK of them at a time; False if a pivot is not positive."""
    inner, size = panel.shape
    for low in range(0, inner, BLOCK):
        high = min(low + BLOCK, inner)
        for j in range(low, high, 4):
            last = min(j + 4, high)
            _subtract(panel, low, j, panel, j, last, 0, size)
            if not _factorise_columns(panel, j, last):
                return False
        _subtract(panel, low, high, panel, high, inner, 0, size)
        _subtract(panel, low, high, update, 0, size - inner, inner, size - inner)
    return True


@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def _factorise_columns(panel, low, high):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    for j in range(low, high):
        y = panel[j, j:]
        for p in range(low, j):
            x = panel[p, j:]
            a = x[0]
            for i in range(len(y)):
                y[i] -= a * x[i]
        if not y[0] > 0.0:
            return False
        scale = 1.0 / math.sqrt(y[0])
        for i in range(len(y)):
            y[i] *= scale
    return True


@njit(cache=True, fastmath={"contract"})
def _subtract(panel, p_low, p_high, target, low, high, shift, length):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Take products of the columns `p_low` to `p_high` of a panel off columns `low` to `high` of a target.

    Row i of the target is row ``shift + i`` of the panel. Four columns of each at a time keep the processor's
    registers busy, ROWS rows at a time its nearest cache: as fast as a BLAS, and the same sums on any number of cores.
    """
    for first in range(low, length, ROWS):
        end = min(first + ROWS, length)
        j = low
        while j < min(high, end):
            if j + 4 <= high and j + 4 <= end:
                _subtract_four(panel, p_low, p_high, target, j, max(first, j), end, shift)
                j += 4
            else:
                y = target[j, max(first, j) : end]
                for p in range(p_low, p_high):
                    a, x = panel[p, shift + j], panel[p, shift + max(first, j) : shift + end]
                    for i in range(len(y)):
                        y[i] -= a * x[i]
                j += 1


@njit(cache=True, fastmath={"contract"})
def _subtract_four(panel, p, p_high, target, j, begin, end, shift):  # type: ignore[no-untyped-def]  # pragma: no cover
    y0, y1, y2, y3 = (
        target[j, begin:end], target[j + 1, begin:end], target[j + 2, begin:end], target[j + 3, begin:end],
    )  # fmt: skip
    count, at, begin, end = end - begin, shift + j, shift + begin, shift + end
    while p + 4 <= p_high:
        x0, x1, x2, x3 = panel[p, begin:end], panel[p + 1, begin:end], panel[p + 2, begin:end], panel[p + 3, begin:end]
        a0, a1, a2, a3 = panel[p, at], panel[p + 1, at], panel[p + 2, at], panel[p + 3, at]
        b0, b1, b2, b3 = panel[p, at + 1], panel[p + 1, at + 1], panel[p + 2, at + 1], panel[p + 3, at + 1]
        c0, c1, c2, c3 = panel[p, at + 2], panel[p + 1, at + 2], panel[p + 2, at + 2], panel[p + 3, at + 2]
        d0, d1, d2, d3 = panel[p, at + 3], panel[p + 1, at + 3], panel[p + 2, at + 3], panel[p + 3, at + 3]
        for i in range(count):
            q0, q1, q2, q3 = x0[i], x1[i], x2[i], x3[i]
            y0[i] -= q0 * a0 + q1 * a1 + q2 * a2 + q3 * a3
            y1[i] -= q0 * b0 + q1 * b1 + q2 * b2 + q3 * b3
            y2[i] -= q0 * c0 + q1 * c1 + q2 * c2 + q3 * c3
            y3[i] -= q0 * d0 + q1 * d1 + q2 * d2 + q3 * d3
        p += 4
    while p < p_high:
        x0 = panel[p, begin:end]
        a0, b0, c0, d0 = panel[p, at], panel[p, at + 1], panel[p, at + 2], panel[p, at + 3]
        for i in range(count):
            q0 = x0[i]
            y0[i] -= q0 * a0
            y1[i] -= q0 * b0
            y2[i] -= q0 * c0
            y3[i] -= q0 * d0
        p += 1


@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def solve_lower(
    width: int, tree: tuple[IntArray, ...], panels: FloatArray, right: FloatArray
) -> None:  # pragma: no cover - compiled
    """Solve ``L y = right`` in place, node by node upwards."""
    first, begin, rows, _, panel_begin, _ = tree
    for node in range(len(first) - 1):
        low, inner = first[node] * width, (first[node + 1] - first[node]) * width
        size = inner + (begin[node + 1] - begin[node]) * width
        panel = panels[panel_begin[node] : panel_begin[node] + size * inner].reshape(inner, size)
        part = np.zeros(size)
        for i in range(inner):
            part[i] = right[low + i]
        for c in range(inner):
            column, tail = panel[c, c + 1 :], part[c + 1 :]
            value = part[c] / panel[c, c]
            part[c] = value
            for i in range(size - c - 1):
                tail[i] -= column[i] * value
        for i in range(inner):
            right[low + i] = part[i]
        for k in range(begin[node + 1] - begin[node]):
            row = rows[begin[node] + k] * width
            for i in range(width):
                right[row + i] += part[inner + k * width + i]


@njit(cache=True, fastmath={"contract", "reassoc"}, error_model="numpy")
def solve_upper(
    width: int, tree: tuple[IntArray, ...], panels: FloatArray, right: FloatArray
) -> None:  # pragma: no cover - compiled
    """Solve ``L^T x = right`` in place, node by node downwards."""
    first, begin, rows, _, panel_begin, _ = tree
    for node in range(len(first) - 2, -1, -1):
        low, inner = first[node] * width, (first[node + 1] - first[node]) * width
        size = inner + (begin[node + 1] - begin[node]) * width
        panel = panels[panel_begin[node] : panel_begin[node] + size * inner].reshape(inner, size)
        part = np.empty(size)
        for i in range(inner):
            part[i] = right[low + i]
        for k in range(begin[node + 1] - begin[node]):
            row = rows[begin[node] + k] * width
            for i in range(width):
                part[inner + k * width + i] = right[row + i]
        for c in range(inner - 1, -1, -1):
            column, tail = panel[c, c + 1 :], part[c + 1 :]
            total = 0.0
            for i in range(size - c - 1):
                total += column[i] * tail[i]
            part[c] = (part[c] - total) / panel[c, c]
        for i in range(inner):
            right[low + i] = part[i]
