"""Smooth heights: noise goes, and what is longer than a feature length stays.

What the maker calls it: fairing, taking the grain off. Terms: the *feature length* is the wave that is halved; shorter
ones go, waves of twice that length keep nine tenths and more.

Method: through the heights about each sample a quadric is fitted by least squares with Gaussian weights; its middle is
the new height. In the open that is one convolution, whose answer to a wave of length L is
``(1 + q) exp(-q)`` with ``q = 2 (pi s / L)^2`` (s the width of the weights); so quadrics pass as they are, ridges keep
their height where a plain mean would lower them, and at the rim and round openings the fit is made with what is there,
without pulling the edge down.

References
----------
W. S. Cleveland, "Robust locally weighted regression and smoothing scatterplots", J. Am. Stat. Assoc. 74, 1979. A.
Savitzky, M. J. E. Golay, Analytical Chemistry 36, 1964 (on a line, evenly weighted). The answer to a wave is CALC.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.relief.mended import Mended, moved_by

__all__ = ["smoothed", "smoothed_heights"]

_HALVED: Final = 1.6783469900166605  # q with (1 + q) exp(-q) = 1/2
_REACH: Final = 4.0  # widths that a window goes out: the weight there is 0.0003
_LEAST_PITCHES: Final = 2.0  # shorter waves than two samples do not exist on a grid


def smoothed(relief: Relief, feature_mm: float) -> Mended:
    """Smooth the heights of a relief.

    Parameters
    ----------
    relief : Relief
        The relief.
    feature_mm : float
        Waves of this length are halved, shorter ones go [mm]; two pitches at least.

    Returns
    -------
    Mended
        The same samples with smoother heights; the noise is lowered by what smoothing takes of it.

    Raises
    ------
    OptionError
        If the length is no distance, under two pitches, or half the piece and more.
    """
    if not (math.isfinite(feature_mm) and feature_mm > 0):
        raise OptionError(f"a feature length of {feature_mm} mm is none.", where=relief.name, remedy="Give 1 mm or so.")
    if feature_mm < _LEAST_PITCHES * relief.pitch_mm:
        raise OptionError(
            f"the samples are {relief.pitch_mm:g} mm apart: there are no waves of {feature_mm:g} mm.",
            where=relief.name,
            remedy=f"Give {2 * _LEAST_PITCHES * relief.pitch_mm:g} mm or more, or a finer pitch.",
        )
    if feature_mm > 0.5 * relief.pitch_mm * max(relief.shape):
        raise OptionError(
            f"a feature length of {feature_mm:g} mm would smooth the whole ornament away.",
            where=relief.name,
            remedy="Give the width of the finest line that shall stay.",
        )
    width = math.sqrt(0.5 * _HALVED) * feature_mm / math.pi / relief.pitch_mm
    height = smoothed_heights(relief.height, relief.inside, width)
    most, rms = moved_by(relief.height, height, relief.inside)
    note = Finding(
        "E130",
        Severity.NOTE,
        f"the heights were smoothed at {feature_mm:g} mm; that moved them by {most:.3g} mm at most, {rms:.2g} mm rms.",
    )
    result = replace(relief, height=height, noise_mm=relief.noise_mm * _kept_noise(width), notes=(*relief.notes, note))
    return Mended(result, "smoothed", most, rms, {"feature_mm": feature_mm})


def smoothed_heights(height: FloatArray, inside: BoolArray, width: float) -> FloatArray:
    """Return heights smoothed with weights of a width in samples; 0 outside."""
    from meshflow.relief.smooth_kernel import fit_at

    reach = max(2, math.ceil(_REACH * width))
    weights = _weights(width, reach)
    result, whole = _in_the_open(np.where(inside, height, 0.0), inside, weights, reach)
    rows, columns = np.nonzero(inside & ~whole)
    result[rows, columns] = fit_at(height, inside, rows, columns, weights, reach)
    return np.where(inside, result, 0.0)


def _weights(width: float, reach: int) -> FloatArray:
    at = np.arange(-reach, reach + 1)
    weights = np.exp(-0.5 * (at / width) ** 2)
    return np.asarray(weights / weights.sum())


def _in_the_open(
    height: FloatArray, inside: BoolArray, weights: FloatArray, reach: int
) -> tuple[FloatArray, BoolArray]:
    """Return the fit wherever the whole window is inside, and where that is."""
    from scipy.ndimage import correlate1d, minimum_filter

    whole = minimum_filter(inside, size=2 * reach + 1, mode="constant", cval=False)
    at = np.arange(-reach, reach + 1).astype(np.float64)
    second, fourth = float(weights @ at**2), float(weights @ at**4)
    # The kernel is w(x) w(y) (a - b (x^2 + y^2)) with sum 1 and no second moment: it then takes quadrics as they are.
    a_b = np.linalg.solve(
        [[1.0, -2.0 * second], [second, -(fourth + second * second)]],
        [1.0, 0.0],
    )
    a, b = float(a_b[0]), float(a_b[1])
    along = correlate1d(height, weights, axis=1, mode="constant")
    plain = correlate1d(along, weights, axis=0, mode="constant")
    bent = correlate1d(along, weights * at**2, axis=0, mode="constant")
    across = correlate1d(height, weights * at**2, axis=1, mode="constant")
    bent += correlate1d(across, weights, axis=0, mode="constant")
    return np.asarray(a * plain - b * bent), np.asarray(whole)


def _kept_noise(width: float) -> float:
    """Return the share of independent noise that is left in the open, the norm of the kernel; 1 at most.

    On a grid finer than the scan the noise of samples hangs together, and less is taken.
    """
    # The integral of ((1 + q) exp(-q))^2 over all waves is 2.5 times that of exp(-q)^2, which is 1 / (4 pi s^2).
    return min(1.0, math.sqrt(2.5 / (4.0 * math.pi)) / width)
