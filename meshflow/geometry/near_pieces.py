"""Which pieces of a curve can be nearest to a point: a few of thousands.

Method: the nearest end of a piece is a point of the curve, so no piece farther off than that can be nearest. A piece
lies in a circle about the middle of its chord, of half the chord, or of the arc's height where it sweeps over more than
half a turn. Pieces are sorted by the size of that circle, one tree of the middles for each doubling, so that one long
side does not make every point look at every piece. The answer is left to the caller, who measures the pairs.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

if TYPE_CHECKING:
    from meshflow.geometry.pieces import Pieces

__all__ = ["near_pieces"]

_SLACK = 1e-9  # of the largest coordinate: rounding must not lose a piece that ties


def near_pieces(table: Pieces, query: FloatArray, *, most: int) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield pairs of point and piece among which the nearest piece of each point is.

    Parameters
    ----------
    table : Pieces
        The pieces, at least one.
    query : (k, 2) float array
        Points, finite [mm].
    most : int
        Pairs held at once; more only where a single point has more.

    Yields
    ------
    which, piece : int arrays of one length
        Numbers of point and piece, sorted by point, then piece. Every point is in one block, with all its pairs.
    """
    from scipy.spatial import cKDTree

    half = 0.5 * table.chord
    radius = half * np.maximum(np.abs(table.bulge), 1.0)
    reach = np.asarray(cKDTree(np.concatenate([table.start, table.end])).query(query)[0], dtype=np.float64)
    reach += _SLACK * (1.0 + max(float(np.abs(query).max()), float(np.abs(table.start).max())))
    classes = [
        (members, cKDTree((0.5 * (table.start + table.end))[members]), reach + float(radius[members].max()))
        for members in _by_size(radius)
    ]
    count = sum(tree.query_ball_point(query, far, return_length=True) for _, tree, far in classes)
    for low, high in _blocks(np.asarray(count), most):
        here = slice(low, high)
        found = [_pairs(members, list(tree.query_ball_point(query[here], far[here]))) for members, tree, far in classes]
        which, piece = (np.concatenate(column) for column in zip(*found, strict=True))
        order = np.lexsort((piece, which))
        yield which[order] + low, piece[order]


def _by_size(radius: FloatArray) -> list[IntArray]:
    """Return the numbers of the pieces, those together whose circles differ by less than twice."""
    size = np.floor(np.log2(np.maximum(radius, 1e-6)))
    return [np.flatnonzero(size == one) for one in np.unique(size)]


def _blocks(count: IntArray, most: int) -> Iterator[tuple[int, int]]:
    """Yield stretches of points with no more than `most` pairs, or one point."""
    total, low = np.cumsum(count), 0
    while low < len(count):
        before = int(total[low - 1]) if low else 0
        high = max(int(np.searchsorted(total, before + most, side="right")), low + 1)
        yield low, high
        low = high


def _pairs(members: IntArray, found: list[list[int]]) -> tuple[IntArray, IntArray]:
    long = np.array([len(one) for one in found], dtype=np.int64)
    flat = np.fromiter((k for one in found for k in one), dtype=np.int64, count=int(long.sum()))
    return np.repeat(np.arange(len(found)), long), members[flat]
