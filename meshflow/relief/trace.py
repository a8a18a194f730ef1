"""The outline of a mask: round the samples that lie on the piece.

Convention: each sample stands for the square of one pitch about it; rings run along the sides of these squares,
counter-clockwise round the piece and clockwise round openings. Squares that meet at a corner alone are parted.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["traced_rings"]


def traced_rings(inside: BoolArray, pitch_mm: float, origin_mm: tuple[float, float]) -> tuple[FloatArray, ...]:
    """Return the rings round a mask, the largest piece first, then by size [mm].

    Parameters
    ----------
    inside : (rows, columns) bool array
        The mask.
    pitch_mm : float
        Distance between samples [mm].
    origin_mm : (float, float)
        Where sample (0, 0) stands [mm].

    Examples
    --------
    >>> [ring.tolist() for ring in traced_rings(np.ones((1, 2), dtype=bool), 1.0, (0.0, 0.0))]
    [[[-0.5, -0.5], [1.5, -0.5], [1.5, 0.5], [-0.5, 0.5]]]
    """
    rings = [_corners(ring) for ring in _loops(inside)]
    placed = [np.asarray(origin_mm) + pitch_mm * (ring - 0.5) for ring in rings]
    return tuple(sorted(placed, key=lambda ring: -abs(_area(ring))))


def _area(ring: FloatArray) -> float:
    x, y = ring.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _sides(inside: BoolArray) -> IntArray:
    """Return the sides between in and out as x, y, dx, dy, the inside on their left, sorted by where they begin."""
    padded = np.pad(inside, 1)
    here = padded[1:-1, 1:-1]
    out = []
    for beyond, start, step in (
        (padded[:-2, 1:-1], (0, 0), (1, 0)),
        (padded[1:-1, 2:], (1, 0), (0, 1)),
        (padded[2:, 1:-1], (1, 1), (-1, 0)),
        (padded[1:-1, :-2], (0, 1), (0, -1)),
    ):
        row, column = np.nonzero(here & ~beyond)
        ones = np.ones(len(row), dtype=np.int64)
        out.append(np.stack([column + start[0], row + start[1], step[0] * ones, step[1] * ones], axis=1))
    sides = np.concatenate(out)
    return np.asarray(sides[np.lexsort((sides[:, 0], sides[:, 1]))])


def _loops(inside: BoolArray) -> list[FloatArray]:
    """Return closed walks along the sides; at a corner where two squares touch the walk turns left, and parts them."""
    sides = _sides(inside)
    begin: dict[tuple[int, int], list[int]] = {}
    for number, (x, y) in enumerate(sides[:, :2].tolist()):
        begin.setdefault((x, y), []).append(number)
    table, left, loops = sides.tolist(), np.ones(len(sides), dtype=np.bool_), []
    for first in range(len(table)):
        walk, side = [], first
        while left[side]:
            left[side] = False
            x, y, dx, dy = table[side]
            walk.append((x, y))
            after = [other for other in begin[(x + dx, y + dy)] if left[other]]
            if not after:
                break
            side = max(after, key=lambda other: dx * table[other][3] - dy * table[other][2])
        if walk:
            loops.append(np.array(walk, dtype=np.float64))
    return loops


def _corners(ring: FloatArray) -> FloatArray:
    """Return a ring without the points on its straight runs."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    return np.asarray(ring[before[:, 0] * after[:, 1] != before[:, 1] * after[:, 0]])
