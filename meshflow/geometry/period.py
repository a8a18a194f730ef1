"""How far a running ornament must be moved along x to lie on itself.

Terms: the *period* is that distance; the *agreement* at a shift is the normalised correlation of the heights with the
heights so much farther on, 1 where they are the same.

Convention: ``height[row, column]`` [mm], columns along x. What does not change along x says nothing about a period, so
each row is taken off its own mean.

Method: agreement at all whole shifts at once by Fourier transforms of the masked heights (D. Padfield, "Masked object
registration in the Fourier domain", IEEE Trans. Image Process. 21, 2012, along one axis). The shortest peak that is
nearly as good as the best is the period. It is made exact by least squares over more and more periods at once: over
ten of them an error of a tenth of a sample is one of a hundredth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["Period", "period_along"]

_LEAST_PEAK: Final = 0.6
_LEAST_DIP: Final = 0.1  # what agrees at every shift is a plain moulding
_AS_GOOD: Final = 0.05  # agreement that a shorter shift may lack
_LEAST_OVERLAP: Final = 0.25  # of the strip, that must lie on itself
_SURE: Final = 4.0  # standard errors of a chance agreement
_SURELY: Final = 0.8  # agreement that is trusted however little is seen
_FLAT: Final = 1e-4  # change of height along x that is none [mm]
_STEPS: Final = 20
_SMOOTH: Final = 3.0  # columns; noise between samples would draw the shift to whole and half columns
_BORNE: Final = 1.5  # scatters of a difference above which it counts less: dents must not pull


@dataclass(frozen=True, slots=True)
class Period:
    """The period of a strip.

    Parameters
    ----------
    length_mm : float
        The period [mm].
    agreement : float
        Correlation of the heights with those one period on.
    repeats : float
        How many periods the strip is long.
    """

    length_mm: float
    agreement: float
    repeats: float


def period_along(height: FloatArray, inside: BoolArray, *, pitch: float, where: str = "") -> Period:
    """Find the period of a running ornament along x.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm].
    inside : (rows, columns) bool array
        Which of them count.
    pitch : float
        Distance between columns [mm].
    where : str
        Name said in errors.

    Returns
    -------
    Period
        The period, to about a hundredth of the pitch where three repeats and more are seen.

    Raises
    ------
    InputError
        If the ornament does not repeat, does not change along x, or less than one and a third repeats are seen.

    Examples
    --------
    >>> x = 0.25 * np.arange(200)
    >>> wave = np.tile(np.sin(2 * np.pi * x / 12.3), (3, 1))
    >>> round(period_along(wave, np.ones(wave.shape, bool), pitch=0.25).length_mm, 4)
    12.3
    """
    known = _known(height, inside)
    if not known.any() or float(np.abs(known).max()) < _FLAT:
        raise _none("the strip does not change along x: a plain moulding has no repeat.", where)
    agreed = _agreements(known, inside)
    lag = _first_peak(agreed, where)
    known, inside = _smoothed(known, inside, min(_SMOOTH, lag / 16.0))
    shift, times = _refined(known, inside, lag, 1), 2
    columns = height.shape[1]
    while times * shift <= (1.0 - _LEAST_OVERLAP) * columns:
        shift = _refined(known, inside, shift * times, times) / times
        times = times + 1 if times < 4 else math.ceil(1.5 * times)
    return Period(shift * pitch, float(agreed[lag]), columns / shift)


def _smoothed(known: FloatArray, inside: BoolArray, by: float) -> tuple[FloatArray, BoolArray]:
    """Return smoothed heights, and where they lean on both sides along x alike."""
    from scipy.ndimage import binary_erosion, gaussian_filter

    weight = gaussian_filter(inside.astype(np.float64), by)
    smooth = np.where(inside, gaussian_filter(known, by) / np.where(inside, weight, 1.0), 0.0)
    sound = binary_erosion(inside, np.ones((1, 2 * math.ceil(3.0 * by) + 1), np.bool_))
    return smooth, (sound if sound.sum() > 0.5 * inside.sum() else inside)


def _known(height: FloatArray, inside: BoolArray) -> FloatArray:
    count = np.maximum(inside.sum(axis=1, keepdims=True), 1)
    mean = np.where(inside, height, 0.0).sum(axis=1, keepdims=True) / count
    return np.where(inside, height - mean, 0.0)


def _agreements(known: FloatArray, inside: BoolArray) -> FloatArray:
    """Return the correlation at each whole shift from 0; -1 where too little lies on itself."""
    from scipy.fft import irfft, next_fast_len, rfft

    columns = known.shape[1]
    size = next_fast_len(2 * columns, real=True)
    value, mask, square = (rfft(array, size, axis=1) for array in (known, inside.astype(np.float64), known**2))

    def against(one: Any, other: Any) -> FloatArray:
        return np.asarray(irfft((np.conj(one) * other).sum(axis=0), size)[:columns])

    count = np.maximum(np.rint(against(mask, mask)), 1.0)
    here, there = against(value, mask), against(mask, value)
    both = against(value, value) - here * there / count
    spread = (against(square, mask) - here**2 / count) * (against(mask, square) - there**2 / count)
    enough = (count >= _LEAST_OVERLAP * count[0]) & (spread > 1e-12 * spread[0])
    return np.where(enough, both / np.sqrt(np.where(enough, spread, 1.0)), -1.0)


def _first_peak(agreed: FloatArray, where: str) -> int:
    """Return the shortest shift at which the strip agrees with itself nearly as well as at any."""
    lags = np.arange(1, len(agreed) - 1)
    top = (agreed[lags] >= agreed[lags - 1]) & (agreed[lags] > agreed[lags + 1]) & (agreed[lags + 1] > -1.0)
    dips = agreed[lags] - np.minimum.accumulate(agreed)[lags] >= _LEAST_DIP
    peaks = lags[top & dips & (agreed[lags] >= _trusted(agreed, lags))]
    if len(peaks) == 0:
        raise _none("no repeat was found: the ornament does not agree with itself at any shift along x.", where)
    best = float(agreed[peaks].max())
    return int(peaks[agreed[peaks] >= best - _AS_GOOD][0])


def _trusted(agreed: FloatArray, lags: Any) -> FloatArray:
    """Return the agreement below which a peak may be chance, by how many independent places lie on each other."""
    apart = max(1, int(np.argmax(agreed < 0.5)))  # columns after which heights know little of each other
    independent = np.maximum(len(agreed) - lags, 1) / (2.0 * apart)
    return np.asarray(np.maximum(_LEAST_PEAK, np.minimum(_SURE / np.sqrt(independent), _SURELY)))


def _refined(known: FloatArray, inside: BoolArray, lag: float, times: int) -> float:
    """Return the shift near one at which the strip differs least from itself, in columns (Gauss and Newton)."""
    from scipy.ndimage import spline_filter1d

    spline = spline_filter1d(known, order=3, axis=1, mode="nearest")
    most = 0.5 if times == 1 else 1.0
    shift = float(lag)
    for _ in range(_STEPS):
        whole = int(np.floor(shift))
        there, slope = _between(spline, shift - whole, whole)
        span = there.shape[1]
        both = inside[:, :span] & inside[:, whole : whole + span] & inside[:, whole + 1 : whole + 1 + span]
        weight = _weights(there - known[:, :span], both)
        total = max(float(weight.sum()), 1e-12)
        there, own = (part - (weight * part).sum() / total for part in (there, known[:, :span]))
        worn = float((weight * there * own).sum()) / max(float((weight * own * own).sum()), 1e-300)
        steep = float((weight * slope * slope).sum())
        change = -float((weight * slope * (there - worn * own)).sum()) / steep if steep > 0.0 else 0.0
        shift = min(max(shift + change, lag - most), lag + most)
        if abs(change) < 1e-7:
            break
    return shift


def _weights(miss: FloatArray, both: BoolArray) -> FloatArray:
    """Return how much each difference counts (P. J. Huber, 1964)."""
    off = np.abs(miss - np.median(miss[both])) if both.any() else np.abs(miss)
    scatter = 1.4826 * float(np.median(off[both])) if both.any() else 0.0
    bear = max(_BORNE * scatter, 1e-9)
    return np.where(both, bear / np.maximum(off, bear), 0.0)


def _between(spline: FloatArray, share: float, whole: int) -> tuple[FloatArray, FloatArray]:
    """Return heights and slopes of a cubic spline `whole` columns and a share of one on (M. Unser, 1999)."""
    columns = spline.shape[1]
    span = columns - whole - 2
    s = share
    weights = ((1 - s) ** 3 / 6, 2 / 3 - s * s + s**3 / 2, 1 / 6 + (s + s * s - s**3) / 2, s**3 / 6)
    slopes = (-((1 - s) ** 2) / 2, -2 * s + 1.5 * s * s, 0.5 + s - 1.5 * s * s, s * s / 2)
    start = [np.arange(span) + whole + step for step in (-1, 0, 1, 2)]
    taken = [spline[:, np.clip(index, 0, columns - 1)] for index in start]
    height = sum(weight * part for weight, part in zip(weights, taken, strict=True))
    slope = sum(weight * part for weight, part in zip(slopes, taken, strict=True))
    return np.asarray(height), np.asarray(slope)


def _none(what: str, where: str) -> InputError:
    return InputError(
        what,
        where=where,
        remedy="Give a strip with two whole repeats or more laid along x, or say the repeat yourself.",
    )
