"""The one door to sparse factorisation.

Every solve of the house goes through `factorise`, so that a faster backend is one file's change. The default is
scipy's SuperLU in symmetric mode (BSD-3-Clause), with a fill-reducing order chosen here.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.model.arrays import FloatArray

__all__ = ["BACKEND", "Factor", "factorise"]

BACKEND = "scipy-superlu"


class Factor:
    """A factorised matrix that solves again and again.

    Parameters
    ----------
    lu : object
        scipy's SuperLU object.
    """

    def __init__(self, lu: Any) -> None:
        self._lu = lu

    def solve(self, right: FloatArray) -> FloatArray:
        """Return x of ``A x = right``; `right` has shape (n,) or (n, k)."""
        return np.asarray(self._lu.solve(np.ascontiguousarray(right)))


def factorise(matrix: Any, *, symmetric: bool = True) -> Factor:
    """Factorise a sparse square matrix.

    Parameters
    ----------
    matrix : scipy sparse array
        Shape (n, n).
    symmetric : bool
        Whether the matrix is symmetric positive definite; lets the factorisation keep its order and skip pivoting.

    Returns
    -------
    Factor
        Solves with this matrix.

    Raises
    ------
    FlattenError
        If the matrix is singular.
    """
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    options: dict[str, Any] = {"permc_spec": "COLAMD"}
    if symmetric:
        options = {"permc_spec": "MMD_AT_PLUS_A", "diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}
    try:
        return Factor(splu(csc_array(matrix), **options))
    except RuntimeError as error:
        raise FlattenError(
            f"a linear system could not be solved ({error}).",
            remedy="The piece may hold loose or zero-area faces: run `meshflow check` on it.",
        ) from error
