"""Strain and thickness of sheet that is struck into a relief, with the bounds of how the metal may move.

The heights are smoothed over one thickness first: sheet cannot follow what is narrower, and strain in it evens out
over about that length. Then the membrane is solved with the rim held and with it free, and each place by itself as if
the metal stuck to the tool; see `membrane`. A relief whose samples lie closer than needed is thinned out.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import FlatPattern
from meshflow.model.relief import Relief
from meshflow.model.strike import Holding, StrainField
from meshflow.tooling.membrane import membrane_strain, sticking_strain, triangles_of

__all__ = ["bend_radius", "fields_of_pattern", "fields_of_relief", "followed", "thinned_out"]

_MOST: Final = 20_000  # samples of the membrane: a second of work
_LEAST_LENGTH: Final = 0.05  # a stretch below this is no sheet any more; keeps the logarithm finite


def fields_of_relief(relief: Relief, thickness_mm: float) -> tuple[StrainField, StrainField, StrainField]:
    """Return the strain of sheet struck into a relief: rim held, rim free, sticking to the tool.

    Parameters
    ----------
    relief : Relief
        The heights.
    thickness_mm : float
        Thickness of the sheet [mm].

    Returns
    -------
    tuple of StrainField
        ``held``, ``free`` and ``sticking``, on the same map.

    Raises
    ------
    InputError
        If the relief has no cell of four samples inside.
    """
    coarse = thinned_out(followed(relief, thickness_mm))
    triangles, cell = triangles_of(coarse.inside)
    if not len(triangles):
        raise InputError("nothing of this relief lies inside: there is no sheet to strike.", where=relief.name)
    grid = (coarse.height, triangles, coarse.pitch_mm)
    strains: dict[Holding, FloatArray] = {
        "held": membrane_strain(*grid, held=True),
        "free": membrane_strain(*grid, held=False),
        "sticking": sticking_strain(*grid),
    }
    held, free, sticking = (_field(holding, strain, cell, coarse) for holding, strain in strains.items())
    return held, free, sticking


def fields_of_pattern(pattern: FlatPattern) -> tuple[StrainField]:
    """Return the strain of a piece laid flat: its principal stretches, face by face."""
    stretch = pattern.distortion
    return (StrainField("formed", np.log(stretch.s1), np.log(stretch.s2), stretch.area_surface),)


def _field(holding: Holding, strain: FloatArray, cell: IntArray, coarse: Relief) -> StrainField:
    """Average the two triangles of each cell and take principal strains."""
    numbers, place = np.unique(cell, return_inverse=True)
    mean = np.stack([np.bincount(place, weights=part) for part in strain.T], axis=1) / 2.0
    middle, half = 0.5 * (mean[:, 0] + mean[:, 1]), 0.5 * (mean[:, 0] - mean[:, 1])
    swing = np.hypot(half, 0.5 * mean[:, 2])
    major, minor = (np.log(np.maximum(1.0 + part, _LEAST_LENGTH)) for part in (middle + swing, middle - swing))
    places = np.full(coarse.height.size, -1)
    places[numbers] = np.arange(len(numbers))
    shape, pitch = coarse.shape, coarse.pitch_mm
    origin = (coarse.origin_mm[0] + 0.5 * pitch, coarse.origin_mm[1] + 0.5 * pitch)
    area = np.full(len(numbers), pitch**2)
    return StrainField(holding, major, minor, area, places.reshape(shape)[:-1, :-1], pitch, origin)


def followed(relief: Relief, thickness_mm: float) -> Relief:
    """Return the relief that sheet can follow: smoothed by a bell whose standard deviation is half a thickness."""
    sigma = 0.5 * thickness_mm / relief.pitch_mm
    if sigma < 0.3 or not relief.inside.any():
        return relief
    return _changed(relief, _smoothed(relief.height, relief.inside, sigma), relief.inside, relief.pitch_mm)


def _smoothed(height: FloatArray, inside: BoolArray, sigma: float) -> FloatArray:
    from scipy.ndimage import gaussian_filter

    weight = gaussian_filter(inside.astype(np.float64), sigma, mode="constant")
    total = gaussian_filter(np.where(inside, height, 0.0), sigma, mode="constant")
    return np.asarray(np.where(inside, total / np.where(inside, weight, 1.0), 0.0))


def thinned_out(relief: Relief, most: int = _MOST) -> Relief:
    """Return the relief with at most about so many samples inside: every second, third ... in both directions."""
    every = max(1, math.ceil(math.sqrt(relief.inside.sum() / most)))
    if every == 1:
        return relief
    smooth = _smoothed(relief.height, relief.inside, 0.4 * every)
    return _changed(relief, smooth[::every, ::every], relief.inside[::every, ::every], every * relief.pitch_mm)


def _changed(relief: Relief, height: FloatArray, inside: BoolArray, pitch_mm: float) -> Relief:
    return Relief(relief.name, height, inside, pitch_mm, relief.origin_mm, relief.noise_mm)


def bend_radius(relief: Relief, thickness_mm: float) -> float | None:
    """Return the radius of the surface at its tighter places [mm], by the p90 of curvature; None if flat."""
    coarse = thinned_out(followed(relief, thickness_mm))
    if min(coarse.shape) < 3:
        return None
    down, across = np.gradient(coarse.height, coarse.pitch_mm)
    yy, xy = np.gradient(down, coarse.pitch_mm)
    _, xx = np.gradient(across, coarse.pitch_mm)
    middle, half = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    curved = (np.abs(middle) + half) / (1.0 + down**2 + across**2) ** 1.5
    low, high = coarse.height_range_mm
    stands = coarse.inside & (np.abs(coarse.height) > 0.05 * max(high, -low))
    most = float(np.quantile(curved[stands], 0.9)) if stands.any() else 0.0
    return 1.0 / most if most > 1e-6 else None
