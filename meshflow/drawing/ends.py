"""Which ends of loose lines belong together: the two that are near each other, and no third.

Convention: ends are numbered; a partner is a number, or -1 where there is none.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import DrawingFileError
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["partners", "sure_partners"]


def partners(ends: FloatArray, reach: float) -> IntArray:
    """Return for each end the one end within `reach`, or -1; refuse a junction."""
    pairs, count = _near_pairs(ends, reach)
    if (count > 1).any():
        x, y = ends[np.flatnonzero(count > 1)[0]].tolist()
        raise DrawingFileError(
            f"three or more lines meet at ({x:.3f}, {y:.3f}) mm, so the contour has no one way to go.",
            remedy="Remove doubled lines and branches; put lines that are not cut on a layer of marks.",
        )
    return _mates(pairs, len(ends))


def sure_partners(ends: FloatArray, reach: float) -> tuple[IntArray, FloatArray]:
    """Return for each end the one end within `reach`, or -1 also at a junction; and the junctions."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs, count = _near_pairs(ends, reach)
    crowded = count > 1
    sure = ~crowded[pairs].any(axis=1)
    near = pairs[~sure]
    graph = coo_array((np.ones(len(near)), (near[:, 0], near[:, 1])), shape=(len(ends), len(ends)))
    cluster = np.asarray(connected_components(graph, directed=False)[1])
    firsts = np.unique(cluster[crowded], return_index=True)[1]
    return _mates(pairs[sure], len(ends)), ends[crowded][np.sort(firsts)]


def _near_pairs(ends: FloatArray, reach: float) -> tuple[IntArray, IntArray]:
    """Return pairs of ends within `reach`, and for each end how many others are, up to three.

    More are not asked for: a file may have a hundred thousand ends in one place, and all their pairs fill no memory.
    """
    from scipy.spatial import cKDTree

    answer = cKDTree(ends).query(ends, k=3, distance_upper_bound=np.nextafter(reach, np.inf))
    apart, near = (np.asarray(column) for column in answer)
    own = np.arange(len(ends))[:, None]
    other = np.isfinite(apart) & (near != own)
    first, column = np.nonzero(other)
    return np.stack([first, near[first, column]], axis=1), other.sum(axis=1)


def _mates(pairs: IntArray, count: int) -> IntArray:
    mate = np.full(count, -1, dtype=np.int64)
    mate[pairs[:, 0]], mate[pairs[:, 1]] = pairs[:, 1], pairs[:, 0]
    return mate
