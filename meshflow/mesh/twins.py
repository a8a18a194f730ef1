"""Points in the same place, and points nearly so: what welding joins, found in about linear time and little memory.

Terms: a *twin* has exactly the same coordinates (minus zero is zero); points are *near* when no further apart than a
tolerance that is small against the spacing of the mesh.

Method: points are sorted by a 64-bit mix of their coordinates, or of the grid cell they lie in, so that candidates
stand side by side; every candidate is then held against the coordinates themselves, so a clash of mixes costs time
and never truth. A point just below the upper side of its cell is listed in the next cell as well: of two near points
at least one cell lists both. Where cells hold many points, a tree takes over. Source of the mixing constants: the
finalisers of public-domain 64-bit hash functions (MEMORY); any odd numbers would do.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["first_twins", "near_pairs"]

_MOST_PAIRS = 20_000_000  # about 1 GB would be needed for more
_BLOCK = 1 << 16
_CELL = 64.0  # tolerances across a cell: under an edge of the mesh, and wide against what must be listed twice
_FARTHEST_CELL = 2.0**40  # beyond, rounding would blur where in its cell a point lies
_MIX = tuple(np.uint64(odd) for odd in (0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB))


def first_twins(points: FloatArray) -> IntArray:
    """Return for each point the first one of equal coordinates.

    Parameters
    ----------
    points : (n, 3) float array
        Positions.

    Returns
    -------
    (n,) int array
        Index of the first twin: the point itself, or an earlier one.

    Examples
    --------
    >>> first_twins(np.array([[0.0, 1, 2], [3, 4, 5], [-0.0, 1, 2]])).tolist()
    [0, 1, 0]
    """
    count = len(points)
    if count == 0:
        return np.empty(0, dtype=np.int64)
    mixes = np.empty(count, dtype=np.uint64)
    for at in range(0, count, _BLOCK):
        mixes[at : at + _BLOCK] = _mixed((points[at : at + _BLOCK] + 0.0).view(np.uint64))
    order = np.argsort(mixes)
    mixes = mixes[order]
    starts = np.flatnonzero(np.concatenate([[True], mixes[1:] != mixes[:-1]]))
    del mixes
    first = np.minimum.reduceat(order, starts)  # the sort is not stable
    target = np.empty(count, dtype=np.int64)
    target[order] = np.repeat(first, np.diff(starts, append=count))
    for at in range(0, count, _BLOCK):
        if (points[target[at : at + _BLOCK]] != points[at : at + _BLOCK]).any():
            return _first_twins_by_sorting(points)
    return target


def _mixed(words: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Return one well-stirred number for each row of three."""
    mix = words[:, 0] * _MIX[0]
    for column, odd in ((1, _MIX[1]), (2, _MIX[2])):
        mix ^= mix >> np.uint64(29)
        mix += words[:, column]
        mix *= odd
    mix ^= mix >> np.uint64(32)
    return mix


def _first_twins_by_sorting(points: FloatArray) -> IntArray:
    """Return the same, whatever clashes."""
    points = points + 0.0
    order = np.lexsort(points.T[::-1])
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (points[order[1:]] != points[order[:-1]]).any(axis=1)
    target = np.empty(len(points), dtype=np.int64)
    target[order] = order[new][np.cumsum(new) - 1]  # lexsort is stable: the first of a run is the earliest
    return target


def near_pairs(points: FloatArray, tolerance: float) -> IntArray:
    """Return the pairs of points that are near each other.

    Parameters
    ----------
    points : (n, 3) float array
        Positions [mm].
    tolerance : float
        Largest distance [mm]; more than 0.

    Returns
    -------
    (k, 2) int array
        Pairs in no particular order; a pair may come more than once, a point is never paired with itself.

    Raises
    ------
    OptionError
        If there are so many that the tolerance must be wider than the mesh is fine.
    """
    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    pairs = _pairs_by_cells(points, tolerance)
    return _pairs_by_tree(points, tolerance) if pairs is None else pairs


def _pairs_by_cells(points: FloatArray, tolerance: float) -> IntArray | None:
    """Near pairs by cells; None where cells hold too many points, or their numbers grow too large."""
    listed = _listed(points, _CELL * tolerance)
    if listed is None:
        return None
    cells, owners = listed
    del listed
    order = np.argsort(cells)
    cells, owners = cells[order], owners[order]
    del order
    at = np.flatnonzero(cells[1:] == cells[:-1])
    pairs: list[IntArray] = []
    step, left = 1, 4 * len(points)
    while len(at):
        left -= len(at)
        if left < 0:
            return None
        one, two = owners[at], owners[at + step]
        apart = points[one] - points[two]
        near = (apart[:, 0] ** 2 + apart[:, 1] ** 2 + apart[:, 2] ** 2 <= tolerance * tolerance) & (one != two)
        pairs.append(np.stack([one[near], two[near]], axis=1))
        step += 1
        at = at[at + step < len(cells)]
        at = at[cells[at + step] == cells[at]]
    return np.concatenate(pairs) if pairs else np.empty((0, 2), dtype=np.int64)


def _listed(points: FloatArray, size: float) -> tuple[NDArray[np.uint64], IntArray] | None:
    """Mixes of cells, and the point that each lists; every point once, and again where a neighbour needs it."""
    cells: list[NDArray[np.uint64]] = []
    owners: list[IntArray] = []
    for first in range(0, len(points), _BLOCK):
        with np.errstate(all="ignore"):
            place = points[first : first + _BLOCK] / size
        if not np.abs(place).max() < _FARTHEST_CELL:
            return None
        cell = np.floor(place)
        upper = place - cell > 1.0 - 2.0 / _CELL
        number = cell.astype(np.int64)
        for offset in product((0, 1), repeat=3):
            axes = np.flatnonzero(offset)
            which = np.flatnonzero(upper[:, axes].all(axis=1)) if len(axes) else np.arange(len(number))
            cells.append(_mixed((number[which] + offset).view(np.uint64)))
            owners.append(first + which)
    return np.concatenate(cells), np.concatenate(owners)


def _pairs_by_tree(points: FloatArray, tolerance: float) -> IntArray:
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    if int(tree.count_neighbors(tree, tolerance)) - len(points) > 2 * _MOST_PAIRS:
        raise OptionError(
            f"a weld tolerance of {tolerance:g} mm is wider than the mesh is fine: it would melt it.",
            remedy="Give one well under the edge length.",
        )
    return np.asarray(tree.query_pairs(tolerance, output_type="ndarray"), dtype=np.int64)
