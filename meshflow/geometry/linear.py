"""The one door to sparse factorisation.

Every solve of the house goes through here, so that a faster backend is one file's change. Matrices whose unknowns sit
at points of a surface are factorised by our own multifrontal Cholesky (`meshflow.geometry.cholesky`): its structure is
found once and serves every matrix of the same pattern. SuperLU as scipy carries it (BSD-3-Clause) takes the rest:
matrices without points, and those that rounding has made indefinite. See docs/decisions/0011.

References
----------
X. S. Li, "An overview of SuperLU", ACM TOMS 31:3, 2005.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.cholesky import Cholesky, NotPositiveDefiniteError, Panels
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["BACKEND", "Cholesky", "Factor", "NotPositiveDefiniteError", "Panels", "factorise"]

BACKEND = "meshflow-multifrontal"

# Measured on matrices of 50 000 unknowns: a third faster than SuperLU's own defaults. A panel wider than the library
# was built for (20) corrupts memory, so never raise it.
RELAX, PANEL = 20, 4


class Factor:
    """A factorised matrix that solves again and again.

    Parameters
    ----------
    solver : callable
        Returns the solution for a right-hand side in the order that was factorised.
    order : (n,) int array, optional
        Old index of each row that was factorised; as they stand when left out.
    """

    def __init__(self, solver: Callable[[FloatArray], FloatArray], order: IntArray | None = None) -> None:
        self._solver, self._order = solver, order

    def solve(self, right: FloatArray) -> FloatArray:
        """Return x of ``A x = right``; `right` has shape (n,) or (n, k)."""
        if self._order is None:
            return np.asarray(self._solver(np.ascontiguousarray(right, dtype=np.float64)))
        solved = np.empty(np.shape(right))
        solved[self._order] = self._solver(np.ascontiguousarray(right[self._order], dtype=np.float64))
        return solved


def factorise(matrix: Any, *, points: FloatArray | None = None) -> Factor:
    """Factorise a sparse symmetric positive definite matrix.

    Parameters
    ----------
    matrix : scipy sparse array
        Shape (n, n), symmetric.
    points : (n, d) float array, optional
        Where the unknowns sit, d = 2 or 3.

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
        return Factor(_superlu(matrix).solve)
    try:
        return _multifrontal(matrix, points)
    except NotPositiveDefiniteError:
        return Factor(_superlu(matrix).solve)


def _multifrontal(matrix: Any, points: FloatArray) -> Factor:
    from meshflow.geometry.frontal import lower_columns

    columns = matrix.tocsc()
    columns.sum_duplicates()
    starts, indices = columns.indptr.astype(np.int64), columns.indices.astype(np.int64)
    solver = Cholesky(points, indices, np.repeat(np.arange(len(points)), np.diff(starts)))
    panels = solver.factorise(*lower_columns(solver.order, starts, indices, columns.data))
    return Factor(panels.solve, solver.order)


def _superlu(matrix: Any) -> Any:
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    try:
        return splu(
            csc_array(matrix),
            permc_spec="MMD_AT_PLUS_A",
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
