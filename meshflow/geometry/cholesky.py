"""Sparse Cholesky factorisation of symmetric positive definite matrices whose unknowns sit at points of a surface.

The order, the tree and the reach of every front are found once (`Cholesky`); numbers are factorised as often as the
caller likes, in the same memory. The dense work is done by our own compiled loops: no BLAS, whose sums depend on how
many threads it runs.

References
----------
Duff and Reid, "The multifrontal solution of indefinite sparse symmetric linear equations", ACM TOMS 9:3, 1983.
J. W. H. Liu, "The multifrontal method for sparse matrix solution: theory and practice", SIAM Review 34:1, 1992.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Cholesky", "NotPositiveDefiniteError", "Panels"]


class NotPositiveDefiniteError(ValueError):
    """A pivot came out zero, negative or not a number."""


class Cholesky:
    """Structure of a factorisation, for one pattern of links between points.

    Parameters
    ----------
    points : (n, d) float array
        Positions, d = 2 or 3.
    rows, columns : (k,) int array
        Linked pairs, either way round or both.
    width : int
        Unknowns at each point; unknown ``width * i + c`` is component c of point i.

    Attributes
    ----------
    order : (n,) int array
        Old index of each new position. Matrices are handed over in the new order.
    memory_bytes : int
        Memory of the factor and of the largest stack of updates.

    Raises
    ------
    FlattenError
        If the machine has not the memory.
    """

    def __init__(self, points: FloatArray, rows: IntArray, columns: IntArray, *, width: int = 1) -> None:
        from meshflow.geometry.dissection import dissect, neighbour_lists
        from meshflow.geometry.frontal import front_rows

        flat = np.zeros((len(points), 3))
        flat[:, : points.shape[1]] = points
        starts, indices = neighbour_lists(rows, columns, len(points))
        self.width = width
        self.order, first, parent = dissect(flat, starts, indices)
        begin, reached, place = front_rows(self.order, first, parent, starts, indices)
        own, above = np.diff(first) * width, np.diff(begin) * width
        panel_begin = np.concatenate([[0], np.cumsum((own + above) * own)])
        # Where the mesh falls apart a node has none of its rows above it, and so no update that waits.
        children = np.bincount(parent[(parent >= 0) & (above > 0)], minlength=len(parent))
        self._tree = (first, begin, reached, place, panel_begin, children)
        highest = _highest_stack(children, above)
        self.memory_bytes = 8 * (int(panel_begin[-1]) + highest)
        self._updates = self._room(highest)
        self._local = np.empty(len(points), dtype=np.int64)
        self._top = np.zeros(2 * len(parent) + 4, dtype=np.int64)

    def factorise(self, starts: IntArray, indices: IntArray, data: FloatArray, *, over: Panels | None = None) -> Panels:
        """Return the factor of a matrix in the new order.

        Parameters
        ----------
        starts, indices, data : arrays
            Compressed columns; entries above the diagonal are passed over.
        over : Panels, optional
            An earlier factor that is no longer needed: its memory is used again.

        Returns
        -------
        Panels
            Solves with this matrix.

        Raises
        ------
        NotPositiveDefiniteError
            If a pivot is not positive.
        FlattenError
            If the machine has not the memory.
        """
        from meshflow.geometry.frontal import eliminate

        panels = self._room(int(self._tree[4][-1])) if over is None else over.panels
        matrix = (starts, indices, data)
        if eliminate(self.width, self._tree, matrix, self._local, panels, self._updates, self._top) >= 0:
            raise NotPositiveDefiniteError("a pivot is not positive")
        return Panels(self.width, self._tree, panels)

    def _room(self, numbers: int) -> FloatArray:
        try:
            return np.empty(numbers)
        except MemoryError as error:
            raise FlattenError(
                f"a mesh of {len(self.order)} vertices needs {self.memory_bytes / 1e9:.1f} GB to be factorised, more "
                "than this machine gives.",
                remedy="Pick a smaller region, or thin the scan out first: `meshflow mend --reduce`.",
            ) from error


class Panels:
    """A factor: the panels of all fronts."""

    def __init__(self, width: int, tree: Any, panels: FloatArray) -> None:
        self._width, self._tree, self.panels = width, tree, panels

    def solve(self, right: FloatArray) -> FloatArray:
        """Return x of ``A x = right`` in the new order; `right` has shape (n,) or (n, k)."""
        from meshflow.geometry.frontal import solve_lower, solve_upper

        columns = np.array(right[None] if right.ndim == 1 else right.T, dtype=np.float64, order="C")
        for column in columns:
            solve_lower(self._width, self._tree, self.panels, column)
            solve_upper(self._width, self._tree, self.panels, column)
        return columns.T.reshape(np.shape(right))


def _highest_stack(children: IntArray, above: IntArray) -> int:
    """Most numbers that wait on the stack of updates at any time."""
    waiting: list[int] = []
    height = most = 0
    for count, side in zip(children.tolist(), above.tolist(), strict=True):
        most = max(most, height + side * side)
        for _ in range(count):
            height -= waiting.pop()
        if side:
            waiting.append(side * side)
            height += side * side
    return most
