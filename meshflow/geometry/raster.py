"""Pictures as arrays: values between the pixels, and coarser copies for looking from afar.

Convention: a picture is (rows, columns, channels), its upper row first. Places count pixels, x to the right and y
down; the middle of the upper left pixel is (0.5, 0.5), so a picture of w by h pixels reaches from 0 to w and from 0
to h. Channels of whole numbers come back as numbers between.

Source: bilinear interpolation and the mean over boxes are textbook (CALC: a plane of grey is given back exactly).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray, UInt8Array

__all__ = ["coarser", "sampled"]


def sampled(picture: ArrayLike, places: ArrayLike) -> FloatArray:
    """Return the values of a picture at places between its pixels, by bilinear interpolation.

    Beyond its edge the pixels of the edge go on.

    Parameters
    ----------
    picture : (rows, columns, channels) array_like
        The picture.
    places : (k, 2) array_like
        x and y [pixels].

    Returns
    -------
    (k, channels) float array
        Values; not a number where a place is none.

    Raises
    ------
    OptionError
        If the picture has no pixels.

    Examples
    --------
    >>> sampled([[[0.0], [10.0]]], [[0.5, 0.5], [1.0, 0.5]]).tolist()
    [[0.0], [5.0]]
    """
    values = np.asarray(picture)
    if values.ndim != 3 or 0 in values.shape:
        raise OptionError("a picture without pixels.", remedy="Give one with rows, columns and channels.")
    spots = np.asarray(places, dtype=np.float64).reshape(-1, 2) - 0.5
    known = np.asarray(np.isfinite(spots).all(axis=1))
    spots = np.where(known[:, None], spots, 0.0)
    low = np.floor(spots)
    share = (spots - low)[:, :, None]
    size = np.array([values.shape[1], values.shape[0]])
    first, second = (np.clip(low + step, 0, size - 1).astype(np.int64) for step in (0, 1))
    upper = _mixed(values[first[:, 1], first[:, 0]], values[first[:, 1], second[:, 0]], share[:, 0])
    lower = _mixed(values[second[:, 1], first[:, 0]], values[second[:, 1], second[:, 0]], share[:, 0])
    return np.where(known[:, None], _mixed(upper, lower, share[:, 1]), np.nan)


def _mixed(one: ArrayLike, other: ArrayLike, share: FloatArray) -> FloatArray:
    first = np.asarray(one, dtype=np.float64)
    return np.asarray(first + share * (np.asarray(other, dtype=np.float64) - first))


def coarser(picture: UInt8Array, factor: int) -> UInt8Array:
    """Return a picture with the mean of each box of `factor` by `factor` pixels as a pixel.

    Where the boxes reach beyond the right or the lower edge, the pixels of the edge go on.

    Parameters
    ----------
    picture : (rows, columns, channels) uint8 array
        The picture.
    factor : int
        Pixels of a box each way.

    Examples
    --------
    >>> coarser(np.array([[[0], [10]], [[20], [30]]], dtype=np.uint8), 2).tolist()
    [[[15]]]
    """
    if factor <= 1:
        return picture
    rows, columns = (-(-size // factor) for size in picture.shape[:2])
    beyond = [(0, count * factor - size) for count, size in zip((rows, columns), picture.shape[:2], strict=True)]
    boxes = np.pad(picture, (*beyond, (0, 0)), mode="edge").reshape(rows, factor, columns, factor, -1)
    return np.asarray(np.rint(boxes.mean(axis=(1, 3))), dtype=np.uint8)
