"""Places of a relief that should be alike: heights between samples, how well shifted reliefs agree, and their mean.

Terms: a *copy* is the relief moved so that another leaf, half or repeat lies on this one. The *agreement* is the share
of the variance of the heights that copies have in common: 1 where they are the same.

Method: heights between samples are cubic splines. Shifts are found by correlation of masked pictures. Copies are
averaged without those that stand off the median by more than three scatters, so that a dent in one leaf does not come
into all.

References
----------
D. Padfield, "Masked object registration in the Fourier domain", IEEE Trans. Image Process. 21, 2012 (eq. 8-11). M.
Unser, "Splines", IEEE Signal Process. Mag. 16, 1999.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.relief import Relief
from meshflow.relief.grid import filled
from meshflow.relief.smoothing import smoothed_heights

__all__ = ["Between", "calm", "coarse", "correlation", "fit_bears", "robust_mean", "sharpened"]

_SCATTER: Final = 1.4826  # median absolute deviation of a Gaussian to its standard deviation
_OFF: Final = 3.0
_CALM: Final = 1.2  # samples, width of the weights
_LEAST_OVERLAP: Final = 0.3  # of the greatest overlap: a correlation over less says little


class Between:
    """Heights of a relief between its samples.

    Parameters
    ----------
    relief : Relief
        The relief.
    """

    def __init__(self, relief: Relief) -> None:
        from scipy.ndimage import spline_filter

        self._origin, self._pitch = relief.origin_mm, relief.pitch_mm
        self._spline = spline_filter(filled(relief.height, relief.inside), order=3, mode="nearest")
        self._inside = relief.inside

    def at(self, x: FloatArray, y: FloatArray) -> tuple[FloatArray, BoolArray]:
        """Return the heights at places [mm], and which of the places are inside."""
        from scipy.ndimage import map_coordinates

        place = np.stack([(y - self._origin[1]) / self._pitch, (x - self._origin[0]) / self._pitch])
        height = map_coordinates(self._spline, place, order=3, mode="nearest", prefilter=False)
        rows, columns = self._inside.shape
        near = np.rint(place).astype(np.int64)
        on = (near[0] >= 0) & (near[0] < rows) & (near[1] >= 0) & (near[1] < columns)
        known = on & self._inside[np.clip(near[0], 0, rows - 1), np.clip(near[1], 0, columns - 1)]
        return np.asarray(height), np.asarray(known)


def calm(relief: Relief) -> Relief:
    """Return a relief to find shifts on: smoothed a little, so that its noise is the same between samples as on them.

    Noise between samples is a mean of noise and so less; a fit would move copies half a sample apart to profit by it.
    """
    return replace(relief, height=smoothed_heights(relief.height, relief.inside, _CALM))


def coarse(relief: Relief, most: int) -> Relief:
    """Return a relief with the means of square blocks as samples, `most` of them along its longer side."""
    times = -(-max(relief.shape) // most)
    if times <= 1:
        return relief
    rows, columns = (-(-size // times) for size in relief.shape)
    beyond = [(0, count * times - size) for count, size in zip((rows, columns), relief.shape, strict=True)]
    inside = np.pad(relief.inside, beyond).reshape(rows, times, columns, times).astype(np.float64)
    height = np.pad(relief.height * relief.inside, beyond).reshape(rows, times, columns, times)
    count = inside.sum(axis=(1, 3))
    mean = height.sum(axis=(1, 3)) / np.maximum(count, 1.0)
    middle = 0.5 * (times - 1) * relief.pitch_mm
    origin = (relief.origin_mm[0] + middle, relief.origin_mm[1] + middle)
    return Relief(relief.name, mean, count >= 0.5 * times**2, times * relief.pitch_mm, origin)


def correlation(
    one: FloatArray, one_in: BoolArray, other: FloatArray, other_in: BoolArray, *, least: float = _LEAST_OVERLAP
) -> FloatArray:
    """Return how well ``other`` shifted agrees with ``one``, for every shift.

    Parameters
    ----------
    one, other : (rows, columns) float array
        Heights of the same shape.
    one_in, other_in : (rows, columns) bool array
        Which of them count.
    least : float
        Share of the greatest overlap under which nothing is said.

    Returns
    -------
    (2 rows - 1, 2 columns - 1) float array
        Normalised correlation of ``one[p]`` with ``other[p + d]``, at index ``d + (rows - 1, columns - 1)``; -1 where
        they overlap too little.
    """
    from scipy.fft import next_fast_len

    rows, columns = one.shape
    size = (next_fast_len(2 * rows - 1, real=True), next_fast_len(2 * columns - 1, real=True))
    fixed = _spectra(other - other[other_in].mean(), other_in, size)
    moved = _spectra(one - one[one_in].mean(), one_in, size)

    def against(left: Any, right: Any) -> FloatArray:
        from scipy.fft import irfft2

        whole = irfft2(left * np.conj(right), s=size)
        return np.asarray(np.roll(whole, (rows - 1, columns - 1), axis=(0, 1))[: 2 * rows - 1, : 2 * columns - 1])

    count = np.maximum(np.rint(against(fixed[1], moved[1])), 1.0)
    sum_fixed, sum_moved = against(fixed[0], moved[1]), against(fixed[1], moved[0])
    both = against(fixed[0], moved[0]) - sum_fixed * sum_moved / count
    spread = (against(fixed[2], moved[1]) - sum_fixed**2 / count) * (against(fixed[1], moved[2]) - sum_moved**2 / count)
    enough = (count >= least * count.max()) & (spread > 1e-9 * spread.max())
    return np.where(enough, both / np.sqrt(np.where(enough, spread, 1.0)), -1.0)


def _spectra(height: FloatArray, inside: BoolArray, size: tuple[int, int]) -> tuple[Any, Any, Any]:
    from scipy.fft import rfft2

    known = np.where(inside, height, 0.0)
    return rfft2(known, s=size), rfft2(inside.astype(np.float64), s=size), rfft2(known**2, s=size)


def sharpened(found: FloatArray, row: int, column: int) -> tuple[float, float]:
    """Return the place of a peak between the samples of a correlation, by parabolas along rows and columns."""

    def step(before: float, here: float, after: float) -> float:
        bend = before - 2.0 * here + after
        return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0

    rows, columns = found.shape
    dy = step(*found[row - 1 : row + 2, column]) if 0 < row < rows - 1 else 0.0
    dx = step(*found[row, column - 1 : column + 2]) if 0 < column < columns - 1 else 0.0
    return row + dy, column + dx


def fit_bears(relief: Relief) -> float:
    """Return the difference of copies above which it counts less in a fit [mm]: dents must not pull it."""
    spread = float(relief.height[relief.inside].std()) if relief.inside.any() else 0.0
    return max(2.0 * relief.noise_mm, 0.05 * spread, 1e-6)


def robust_mean(heights: FloatArray, known: BoolArray, noise: float) -> tuple[FloatArray, FloatArray]:
    """Return the mean of copies without those far off their median, and how many copies each mean is of.

    Parameters
    ----------
    heights : (k, ...) float array
        The copies.
    known : (k, ...) bool array
        Where each is known.
    noise : float
        Scatter that is always borne [mm].

    Returns
    -------
    mean, count : (...) float array
        Zero where no copy is known.
    """
    number = known.sum(axis=0)
    if len(heights) >= 3:
        middle = _median(heights, known, number)
        off = np.abs(heights - middle)
        bear = _OFF * np.maximum(_SCATTER * _median(off, known, number), max(noise, 1e-9))
        known = known & (off <= bear)
        number = known.sum(axis=0)
    total = np.where(known, heights, 0.0).sum(axis=0)
    return np.asarray(total / np.maximum(number, 1)), number.astype(np.float64)


def _median(values: FloatArray, known: BoolArray, number: Any) -> FloatArray:
    ordered = np.sort(np.where(known, values, np.inf), axis=0)
    low, high = np.maximum(number - 1, 0) // 2, np.minimum(number // 2, len(values) - 1)
    pair = [np.take_along_axis(ordered, index[None], axis=0)[0] for index in (low, high)]
    return np.where(number > 0, 0.5 * (pair[0] + pair[1]), 0.0)
