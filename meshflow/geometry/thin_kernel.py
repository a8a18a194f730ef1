"""The compiled loops that thin the triangles of a height field. Import it when it is used.

Terms: a *block* is a square of ``2**level`` cells, cut off where the grid ends; level 0 is one cell. The field itself
is the two triangles of each cell, parted from its first sample to the one across, as `grid_faces` has them.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["thin_faces"]


@njit(cache=True)
def _edge_fits(
    z: FloatArray, ra: int, ca: int, rb: int, cb: int, tolerance: float
) -> bool:  # pragma: no cover - compiled
    """Whether a straight edge keeps to the field where it crosses rows, columns and diagonals of the grid."""
    dr, dc = rb - ra, cb - ca
    if dr == 0 or dc == 0 or dr == dc:
        return True  # it runs along edges of the grid, where the samples say all
    za, rise = z[ra, ca], z[rb, cb] - z[ra, ca]
    for way in range(3):
        long = dr if way == 0 else (dc if way == 1 else dc - dr)
        for step in range(1, abs(long)):
            share = step / abs(long)
            r, c = ra + share * dr, ca + share * dc
            if way == 0:
                row, column = ra + (step if long > 0 else -step), int(np.floor(c))
                part, dr1, dc1 = c - column, 0, 1
            elif way == 1:
                row, column = int(np.floor(r)), ca + (step if long > 0 else -step)
                part, dr1, dc1 = r - row, 1, 0
            else:
                row = int(np.floor(r))
                column = row + ca - ra + (step if long > 0 else -step)
                part, dr1, dc1 = r - row, 1, 1
            value = z[row, column]
            if part > 1e-9:
                value += part * (z[row + dr1, column + dc1] - value)
            if abs(value - za - share * rise) > tolerance:
                return False
    return True


@njit(cache=True)
def _triangle_fits(
    z: FloatArray, ra: int, ca: int, rb: int, cb: int, rc: int, cc: int, tolerance: float
) -> bool:  # pragma: no cover - compiled
    """Whether the field keeps to a counter-clockwise triangle of its samples, edges of the grid and all."""
    twice = (cb - ca) * (rc - ra) - (cc - ca) * (rb - ra)
    za, ub, uc = z[ra, ca], z[rb, cb] - z[ra, ca], z[rc, cc] - z[ra, ca]
    along_c = (ub * (rc - ra) - uc * (rb - ra)) / twice
    along_r = (uc * (cb - ca) - ub * (cc - ca)) / twice
    for r in range(min(ra, rb, rc), max(ra, rb, rc) + 1):
        for c in range(min(ca, cb, cc), max(ca, cb, cc) + 1):
            if (
                (cb - ca) * (r - ra) < (c - ca) * (rb - ra)
                or (cc - cb) * (r - rb) < (c - cb) * (rc - rb)
                or (ca - cc) * (r - rc) < (c - cc) * (ra - rc)
            ):
                continue
            if abs(z[r, c] - za - along_c * (c - ca) - along_r * (r - ra)) > tolerance:
                return False
    return (
        _edge_fits(z, ra, ca, rb, cb, tolerance)
        and _edge_fits(z, rb, cb, rc, cc, tolerance)
        and _edge_fits(z, rc, cc, ra, ca, tolerance)
    )


@njit(cache=True)
def _rim(
    r0: int, c0: int, level: int, shape: tuple[int, int], mask: int, rim: IntArray
) -> int:  # pragma: no cover - compiled
    """Write the corners of a block, and the middles of the sides in `mask`, counter-clockwise; return how many."""
    r1, c1 = min(r0 + (1 << level), shape[0] - 1), min(c0 + (1 << level), shape[1] - 1)
    half = (1 << level) >> 1
    rm, cm = r0 + half, c0 + half
    count = 0
    for side in range(4):  # below, right, above, left
        rim[count, 0] = r0 if side < 2 else r1
        rim[count, 1] = c0 if side in (0, 3) else c1
        count += 1
        inner = (c0 < cm < c1) if side in (0, 2) else (r0 < rm < r1)
        if mask & (1 << side) and inner:
            rim[count, 0] = rm if side in (1, 3) else (r0 if side == 0 else r1)
            rim[count, 1] = cm if side in (0, 2) else (c1 if side == 1 else c0)
            count += 1
    return count


@njit(cache=True)
def _middle(r0: int, c0: int, level: int, shape: tuple[int, int]) -> tuple[int, int]:  # pragma: no cover - compiled
    """Return the sample amid a block, on its rim where the block is one cell wide."""
    r1, c1 = min(r0 + (1 << level), shape[0] - 1), min(c0 + (1 << level), shape[1] - 1)
    return (r0 + r1) // 2, (c0 + c1) // 2


@njit(cache=True)
def _fan_fits(
    z: FloatArray, r0: int, c0: int, level: int, mask: int, tolerance: float, rim: IntArray
) -> bool:  # pragma: no cover - compiled
    """Whether the triangles from the middle of a block to its rim keep to the field."""
    rm, cm = _middle(r0, c0, level, z.shape)
    if rm == r0 or cm == c0:
        return False
    count = _rim(r0, c0, level, z.shape, mask, rim)
    for k in range(count):
        n = (k + 1) % count
        if not _triangle_fits(z, rm, cm, rim[k, 0], rim[k, 1], rim[n, 0], rim[n, 1], tolerance):
            return False
    return True


@njit(cache=True)
def _sides(level_of: IntArray, r0: int, c0: int, level: int) -> int:  # pragma: no cover - compiled
    """Return the sides with smaller blocks beyond, as a mask; -1 where one is smaller by more than one level."""
    rows, columns = level_of.shape
    r1, c1 = min(r0 + (1 << level), rows), min(c0 + (1 << level), columns)
    mask = 0
    for side in range(4):
        across = r0 - 1 if side == 0 else (c1 if side == 1 else (r1 if side == 2 else c0 - 1))
        if across < 0 or across >= (rows if side in (0, 2) else columns):
            continue
        low, high = (c0, c1) if side in (0, 2) else (r0, r1)
        for at in range(low, high):
            beyond = level_of[across, at] if side in (0, 2) else level_of[at, across]
            if beyond < level - 1:
                return -1
            if beyond < level:
                mask |= 1 << side
    return mask


@njit(cache=True)
def _holds(kept: IntArray, r: int, c: int, level: int) -> bool:  # pragma: no cover - compiled
    """Whether a block, its rim with it, holds a sample that is to be kept."""
    size = 1 << level
    for k in range(len(kept)):  # noqa: SIM110 - compiled, where any() takes no generator
        if r <= kept[k, 0] <= r + size and c <= kept[k, 1] <= c + size:
            return True
    return False


@njit(cache=True)
def _levels(
    z: FloatArray, tolerance: float, kept: IntArray
) -> tuple[IntArray, IntArray]:  # pragma: no cover - compiled
    """Return for each cell the level of its block, and at the first cell of each block its mask of sides."""
    rows, columns = z.shape[0] - 1, z.shape[1] - 1
    top = 0
    while (1 << top) < max(rows, columns):
        top += 1
    level_of, known = np.full((rows, columns), top, np.int64), np.full((rows, columns), -1, np.int64)
    rim = np.zeros((8, 2), np.int64)
    changed = True
    while changed:  # blocks are only ever divided, so this ends
        changed = False
        for r in range(rows):
            for c in range(columns):
                level = level_of[r, c]
                if level == 0 or (r & ((1 << level) - 1)) or (c & ((1 << level) - 1)):
                    continue
                mask = -1 if _holds(kept, r, c, level) else _sides(level_of, r, c, level)
                if mask >= 0 and mask == known[r, c]:
                    continue
                if mask >= 0 and _fan_fits(z, r, c, level, mask, tolerance, rim):
                    known[r, c] = mask
                    continue
                level_of[r : r + (1 << level), c : c + (1 << level)] = level - 1
                known[r, c] = -1
                changed = True
    return level_of, known


@njit(cache=True)
def thin_faces(z: FloatArray, tolerance: float, kept: IntArray) -> IntArray:  # pragma: no cover - compiled
    """Return triangles of some samples of a height field that keep within a tolerance of all of it.

    Parameters
    ----------
    z : (rows, columns) float array
        Heights, two each way at least.
    tolerance : float
        Greatest difference in height.
    kept : (k, 2) int array
        Row and column of samples that must stay.

    Returns
    -------
    (m, 3) int array
        Sample ``row * columns + column``, counter-clockwise seen from above.
    """
    columns = z.shape[1]
    level_of, known = _levels(z, tolerance, kept)
    faces = np.empty((2 * level_of.size, 3), np.int64)
    rim = np.zeros((8, 2), np.int64)
    count = 0
    for r in range(z.shape[0] - 1):
        for c in range(z.shape[1] - 1):
            level = level_of[r, c]
            if (r & ((1 << level) - 1)) or (c & ((1 << level) - 1)):
                continue
            ends = _rim(r, c, level, z.shape, max(known[r, c], 0), rim)
            number = rim[:, 0] * columns + rim[:, 1]
            first = _parting(z, rim, level, tolerance) if ends == 4 else -1
            if first >= 0:
                for k in (1, 2):
                    faces[count, 0] = number[first]
                    faces[count, 1], faces[count, 2] = number[(first + k) % 4], number[(first + k + 1) % 4]
                    count += 1
                continue
            rm, cm = _middle(r, c, level, z.shape)
            for k in range(ends):
                faces[count, 0], faces[count, 1] = rm * columns + cm, number[k]
                faces[count, 2] = number[(k + 1) % ends]
                count += 1
    return faces[:count].copy()


@njit(cache=True)
def _parting(z: FloatArray, rim: IntArray, level: int, tolerance: float) -> int:  # pragma: no cover - compiled
    """Return the corner from which a block can be parted in two triangles; -1 where it cannot."""
    if level == 0:
        return 0
    for first in range(2):
        fits = True
        for k in (1, 2):
            b, c = (first + k) % 4, (first + k + 1) % 4
            fits = fits and _triangle_fits(
                z, rim[first, 0], rim[first, 1], rim[b, 0], rim[b, 1], rim[c, 0], rim[c, 1], tolerance
            )
        if fits:
            return first
    return -1
