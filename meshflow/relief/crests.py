"""Where a height field has crests: points, directions and strengths, between the samples.

Terms: at a *crest* the surface falls to both sides. The *scale* is the standard deviation of the Gaussian that the
heights are smoothed with before they are differentiated: fine lines show at a small one, wide ones at a large one. The
*drop* is how far the smoothed surface falls to the side where it falls less.

Method: at each sample the eigenvector of the Hessian with the most negative eigenvalue points across the crest; where
the slope along it vanishes within the sample, the crest runs through it (Steger 1998). Of several scales the one with
the largest normalised curvature counts (Lindeberg 1998). A shoulder between a flat top and a flank is no crest: there
the surface falls to one side only.

References
----------
C. Steger, "An unbiased detector of curvilinear structures", IEEE TPAMI 20:2, 1998.
T. Lindeberg, "Edge detection and ridge detection with automatic scale selection", IJCV 30:2, 1998.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["CrestField", "crest_field", "extended"]

_WITHIN = 0.62  # of a sample: how far off its middle the crest may run
_GAMMA = 1.5  # power of the scale that curvature is normalised with (Lindeberg: twice 3/4)
_FAR = 1e6
_SQUARER = 1.6  # times: how much more a crest bends across than along; on a dome no direction is a crest
_ASIDE = 1.6  # of the scale: where the drop is taken


@dataclass(frozen=True, eq=False)
class CrestField:
    """Crests on a grid; rows and columns are those of the heights.

    Parameters
    ----------
    crest : (rows, columns) bool array
        Samples that a crest runs through.
    place : (rows, columns, 2) float array
        Where, as column and row.
    along : (rows, columns, 2) float array
        Unit direction of the crest, as column and row; the sign means nothing.
    drop : (rows, columns) float array
        How far the surface falls beside it, in the unit of the heights.
    scale : (rows, columns) float array
        Scale at which it was found [samples].
    """

    crest: BoolArray
    place: FloatArray
    along: FloatArray
    drop: FloatArray
    scale: FloatArray


def extended(height: FloatArray, inside: BoolArray) -> FloatArray:
    """Return heights that go on beyond the rim as they were at the nearest sample inside: a rim must not be a crest."""
    from scipy.ndimage import distance_transform_edt

    if inside.all():
        return height
    if not inside.any():
        return np.zeros_like(height)
    rows, columns = distance_transform_edt(~inside, return_distances=False, return_indices=True)
    return np.asarray(height[rows, columns])


def crest_field(height: FloatArray, inside: BoolArray, scales: tuple[float, ...]) -> CrestField:
    """Find the crests of a height field.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights, extended beyond the rim; of valleys, their negative.
    inside : (rows, columns) bool array
        Where crests are looked for.
    scales : tuple of float
        Scales to look at [samples].
    """
    shape = height.shape
    strongest = np.zeros(shape)
    crest = np.zeros(shape, dtype=bool)
    place, along = np.zeros((*shape, 2)), np.zeros((*shape, 2))
    drop, scale = np.zeros(shape), np.zeros(shape)
    for sigma in scales:
        found = _at_scale(height, sigma)
        curvature, (tx, ty), (nx, ny), fall = found
        on = (np.abs(tx) <= _WITHIN) & (np.abs(ty) <= _WITHIN) & inside & (fall > 0)
        better = (curvature > strongest) & inside
        crest[better] = on[better]
        strongest[better] = curvature[better]
        column, row = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
        for table, first, second in ((place, column + tx, row + ty), (along, -ny, nx)):
            table[better, 0], table[better, 1] = first[better], second[better]
        drop[better], scale[better] = fall[better], sigma
    return CrestField(crest, place, along, np.where(crest, drop, 0.0), scale)


def _at_scale(
    height: FloatArray, sigma: float
) -> tuple[FloatArray, tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray], FloatArray]:
    """Return normalised curvature across, the offset to the crest, the direction across, and the drop."""
    from scipy.ndimage import gaussian_filter, map_coordinates

    def derived(down: int, right: int) -> FloatArray:
        return np.asarray(gaussian_filter(height, sigma, order=(down, right), mode="nearest", truncate=4.0))

    gx, gy = derived(0, 1), derived(1, 0)
    xx, xy, yy = derived(0, 2), derived(1, 1), derived(2, 0)
    half, mixed = 0.5 * (xx - yy), xy
    root = np.hypot(half, mixed)
    least, most = 0.5 * (xx + yy) - root, 0.5 * (xx + yy) + root  # across the crest, and along it
    angle = 0.5 * np.arctan2(2.0 * xy, xx - yy) + 0.5 * np.pi  # of its eigenvector
    nx, ny = np.cos(angle), np.sin(angle)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.where(least < 0, -(gx * nx + gy * ny) / least, _FAR)
    step = np.clip(step, -_FAR, _FAR)
    tx, ty = step * nx, step * ny
    smooth = derived(0, 0)
    row, column = np.meshgrid(*(np.arange(side) for side in height.shape), indexing="ij")
    reach = _ASIDE * sigma
    falls = []
    for sign in (1.0, -1.0):
        beside = map_coordinates(smooth, [row + sign * reach * ny, column + sign * reach * nx], order=1, mode="nearest")
        falls.append(smooth - beside)
    drop = np.where(-least > _SQUARER * np.abs(most), np.minimum(*falls), 0.0)
    return np.maximum(-least, 0.0) * sigma**_GAMMA, (tx, ty), (nx, ny), drop
