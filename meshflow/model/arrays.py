"""Read-only arrays: the records of this room own their data and nobody changes it under them."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, DTypeLike, NDArray

__all__ = ["BoolArray", "FloatArray", "IntArray", "UInt8Array", "frozen", "weighted_percentile"]

FloatArray: TypeAlias = NDArray[np.float64]
IntArray: TypeAlias = NDArray[np.int64]
BoolArray: TypeAlias = NDArray[np.bool_]
UInt8Array: TypeAlias = NDArray[np.uint8]


def frozen(values: ArrayLike, dtype: DTypeLike, *, columns: int | None = None) -> NDArray[Any]:
    """Return `values` as a contiguous array that cannot be written to.

    Parameters
    ----------
    values : array_like
        The data; copied unless it already is a read-only array of this type.
    dtype : dtype
        The element type wanted.
    columns : int, optional
        For a table: the number of columns. An empty input becomes shape ``(0, columns)``.

    Returns
    -------
    ndarray
        Shape ``(n,)`` or ``(n, columns)``, read-only.

    Raises
    ------
    ValueError
        If the shape does not fit.
    """
    array = np.asarray(values, dtype=dtype)
    if columns is not None and array.size == 0:
        array = array.reshape(0, columns)
    if columns is not None and (array.ndim != 2 or array.shape[1] != columns):
        raise ValueError(f"expected shape (n, {columns}), got {array.shape}")
    if array.flags.writeable or not array.flags.c_contiguous:
        array = np.array(array, dtype=dtype, order="C", copy=True)
        array.setflags(write=False)
    return array


def weighted_percentile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Return the smallest value that at least `share` (0 to 1) of the total weight does not exceed."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    index = int(np.searchsorted(reached, share * reached[-1] * (1 - 1e-12)))
    return float(values[order[min(index, len(order) - 1)]])
