"""The one door to sparse factorisation.

Every solve of the house goes through here, so that a faster backend is one file's change. The default is SuperLU as
scipy carries it (BSD-3-Clause), in symmetric mode: no pivoting off the diagonal.

The order of the unknowns decides the cost. They sit on a surface, so the positions are at hand: `dissection_order`
halves the points again and again and puts the vertices between two halves last (nested dissection). Without points
SuperLU's own minimum degree order is used; its fill is alike, but on large regular meshes it factorises up to twenty
times more slowly. A system with several unknowns a vertex is ordered once by its vertices; the caller builds its
matrix in that order and passes ``ordered=True`` for every factorisation that follows.

References
----------
A. George, "Nested dissection of a regular finite element mesh", SIAM J. Numer. Anal. 10:2, 1973.
X. S. Li, "An overview of SuperLU", ACM TOMS 31:3, 2005.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from meshflow.errors import FlattenError
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["BACKEND", "Factor", "dissection_order", "factorise"]

BACKEND = "scipy-superlu"

# Measured on matrices of 50 000 unknowns: a third faster than SuperLU's own defaults. A panel wider than the library
# was built for (20) corrupts memory, so never raise it.
RELAX, PANEL = 20, 4
LEAF = 32  # points that are no longer halved


class Factor:
    """A factorised matrix that solves again and again.

    Parameters
    ----------
    lu : object
        scipy's SuperLU object.
    order : (n,) int array, optional
        Old index of each row that was factorised; as they stand when left out.
    """

    def __init__(self, lu: Any, order: IntArray | None = None) -> None:
        self._lu, self._order = lu, order

    def solve(self, right: FloatArray) -> FloatArray:
        """Return x of ``A x = right``; `right` has shape (n,) or (n, k)."""
        if self._order is None:
            return np.asarray(self._lu.solve(np.ascontiguousarray(right, dtype=np.float64)))
        solved = np.empty(np.shape(right))
        solved[self._order] = self._lu.solve(np.ascontiguousarray(right[self._order], dtype=np.float64))
        return solved


def factorise(matrix: Any, *, points: FloatArray | None = None, ordered: bool = False) -> Factor:
    """Factorise a sparse symmetric positive definite matrix.

    Parameters
    ----------
    matrix : scipy sparse array
        Shape (n, n), symmetric.
    points : (n, d) float array, optional
        Where the unknowns sit, for a good order.
    ordered : bool
        Whether rows and columns already stand in a good order.

    Returns
    -------
    Factor
        Solves with this matrix.

    Raises
    ------
    FlattenError
        If the matrix is singular.
    """
    if points is None:
        return Factor(_superlu(matrix, "NATURAL" if ordered else "MMD_AT_PLUS_A"))
    entries = matrix.tocoo()
    order = dissection_order(points, entries.row, entries.col)
    return Factor(_superlu(matrix.tocsr()[order][:, order], "NATURAL"), order)


def dissection_order(points: FloatArray, rows: IntArray, columns: IntArray) -> IntArray:
    """Return an order of few fill-ins for a pattern of links between points.

    Parameters
    ----------
    points : (n, d) float array
        Positions.
    rows, columns : (k,) int array
        Linked pairs, either way round or both.

    Returns
    -------
    (n,) int array
        Old index of each new position: both halves first, what separates them last, and so on inside each half.
    """
    rows, columns = rows[rows != columns], columns[rows != columns]
    # Digits of base 3 from the first cut to the last: 0 and 1 the halves, 2 what separates them.
    key = np.zeros(len(points), dtype=np.int64)
    part = np.zeros(len(points), dtype=np.int64)
    for _ in range(_levels(len(points))):
        ids = np.flatnonzero(part >= 0)
        half = np.full(len(points), -1)
        half[ids] = _halves(points[ids], part[ids])
        across = (part[rows] >= 0) & (part[rows] == part[columns]) & (half[rows] == 0) & (half[columns] == 1)
        across |= (part[rows] >= 0) & (part[rows] == part[columns]) & (half[rows] == 1) & (half[columns] == 0)
        between = np.zeros(len(points), dtype=bool)
        between[np.where(half[rows[across]] == 0, rows[across], columns[across])] = True
        key = 3 * key + np.where(between, 2, np.maximum(half, 0))
        part = np.where(between, -1, np.where(part >= 0, 2 * part + half, -1))
    return np.argsort(key, kind="stable")


def _levels(count: int) -> int:
    return min(max(int(np.ceil(np.log2(max(count, 1) / LEAF))), 0), 36)


def _halves(points: FloatArray, part: IntArray) -> IntArray:
    """Return 0 or 1 for each point: the halves of its part across the longest side of its box."""
    _, part, count = np.unique(part, return_inverse=True, return_counts=True)
    low, high = np.full((len(count), points.shape[1]), np.inf), np.full((len(count), points.shape[1]), -np.inf)
    np.minimum.at(low, part, points)
    np.maximum.at(high, part, points)
    along = points[np.arange(len(points)), np.argmax(high - low, axis=1)[part]]
    order = np.lexsort((along, part))
    rank = np.empty(len(points), dtype=np.int64)
    rank[order] = np.arange(len(points)) - np.repeat(np.cumsum(count) - count, count)
    return np.asarray(rank >= count[part] // 2, dtype=np.int64)


def _superlu(matrix: Any, order: Literal["NATURAL", "MMD_AT_PLUS_A"]) -> Any:
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    try:
        return splu(
            csc_array(matrix),
            permc_spec=order,
            diag_pivot_thresh=0.0,
            relax=RELAX,
            panel_size=PANEL,
            options={"SymmetricMode": True},
        )
    except RuntimeError as error:
        raise FlattenError(
            f"a linear system could not be solved ({error}).",
            remedy="The piece may hold loose or zero-area faces: run `meshflow check` on it.",
        ) from error
