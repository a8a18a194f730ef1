"""Which part of a scan is ground: the lowest level that keeps to one smooth form.

Method: a form is fitted with weights that let what lies above it count for little (asymmetric least squares), so that
it sinks to the lower envelope; then the window of what counts as ground is narrowed step by step down to the noise, and
the form fitted again each time (graduated, as in Blake and Zisserman). What lies below counts in full until the end, so
that the form cannot come to rest on the tops of the ornament.

References
----------
P. H. C. Eilers, "A perfect smoother", Anal. Chem. 75, 2003; W. K. Newey, J. L. Powell, "Asymmetric least squares
estimation and testing", Econometrica 55, 1987; A. Blake, A. Zisserman, "Visual Reconstruction", MIT Press 1987.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.relief.noise import TO_SIGMA

__all__ = ["WINDOW", "averaging", "level_noise", "scan_noise", "settled", "thinned"]

WINDOW: Final = 2.5  # standard deviations: what counts as ground in the last fits
_ABOVE: Final = 0.02  # weight of what lies above, at first
_LEAST_SHARE: Final = 1e-5  # of the extent: noise of a scan without noise
_LASTS: Final = 8
_ASKED_SHARE: Final = 0.4  # the smoother points of a scan
_AT_SHARE: Final = 0.5244  # the absolute value that this share of standard normal numbers lies under

Fitted = TypeVar("Fitted")


def averaging(faces: IntArray, count: int) -> Any:
    """Return the sparse matrix that takes the mean of each vertex and its neighbours, shape (count, count)."""
    from scipy.sparse import coo_array, csr_array, diags_array, eye_array

    a, b = edge_table(faces).vertices.T
    ones = np.ones(2 * len(a))
    near = coo_array((ones, (np.concatenate([a, b]), np.concatenate([b, a]))), shape=(count, count)).tocsr()
    near = csr_array(near + eye_array(count))
    return csr_array(diags_array(1.0 / np.asarray(near.sum(axis=1)).reshape(-1)) @ near)


def scan_noise(vertices: FloatArray, normals: FloatArray, near: Any) -> float:
    """Return the standard deviation of a scan's noise along its normals [mm], from what is rough between neighbours.

    Parameters
    ----------
    vertices, normals : (n, 3) float array
        The scan, and unit normals without its noise.
    near : sparse array
        See `averaging`.
    """
    asked = np.linspace(0, len(vertices) - 1, min(len(vertices), 20_000)).astype(np.int64)
    rows = near[asked]
    once = vertices - near @ vertices
    rough = once[asked] - rows @ once
    # what `rough` does to independent noise: the rows of (I - M)(I - M)
    from scipy.sparse import csr_array, eye_array

    form = csr_array(eye_array(len(vertices), format="csr")[asked] - 2 * rows + rows @ near)
    norm = np.sqrt(np.asarray(form.power(2).sum(axis=1)).reshape(-1))
    sample = np.abs(np.einsum("ij,ij->i", rough, normals[asked])) / np.maximum(norm, 1e-12)
    # edges of ornament may be rough: the smoother part of the scan tells the noise
    return float(np.quantile(sample, _ASKED_SHARE) / _AT_SHARE)


def level_noise(distance: FloatArray, sigma: float) -> float:
    """Return the spread of the ground about its level from what lies below it, where no ornament is [mm]."""
    below = -distance[(distance < 0) & (distance > -8.0 * sigma)]
    return float(np.clip(TO_SIGMA * np.median(below), 0.5 * sigma, 1.5 * sigma)) if len(below) else sigma


def thinned(points: FloatArray, most: int) -> IntArray:
    """Return the ids of at most so many points, spread evenly over space, in order.

    Parameters
    ----------
    points : (n, 3) float array
        Points [mm].
    most : int
        How many at most.
    """
    if len(points) <= most:
        return np.arange(len(points))
    low, reach = points.min(axis=0), np.ptp(points, axis=0)
    size = float(np.sort(reach)[-2:].prod() / most) ** 0.5
    for _ in range(40):
        cell = np.floor((points - low) / size).astype(np.int64)
        key = (cell[:, 0] * 1_000_003 + cell[:, 1]) * 1_000_003 + cell[:, 2]
        chosen = np.unique(key, return_index=True)[1]
        if len(chosen) <= most:
            return np.sort(chosen).astype(np.int64)
        size *= 1.1
    return np.sort(chosen[:most]).astype(np.int64)


def settled(
    start: Fitted,
    fit: Callable[[Fitted, FloatArray], Fitted],
    distance: Callable[[Fitted], FloatArray],
    sigma: float,
    *,
    usable: BoolArray | None = None,
    sink: bool = True,
    steps: int = 12,
) -> Fitted:
    """Let a form sink to the ground.

    Parameters
    ----------
    start : Fitted
        A form fitted to everything, or already near the ground.
    fit : callable
        ``fit(form, weights)`` returns the form fitted anew.
    distance : callable
        ``distance(form)`` returns the signed distances of the points from it.
    sigma : float
        Noise of the scan [mm].
    usable : (n,) bool array, optional
        Points that may be ground at all, such as those off the flanks.
    sink : bool
        Begin with the lower envelope; if not, the form is near the ground already.
    steps : int
        How many times the window is narrowed.
    """
    form = start
    may = 1.0 if usable is None else np.where(usable, 1.0, 0.02)
    if sink:
        for _ in range(10):
            r = distance(form)
            form = fit(form, np.where(r > 0, _ABOVE, 1.0))
    r = distance(form)
    below = r[r < 0]
    wide = max(3.0 * float(np.sqrt(np.mean(below**2))) if len(below) else 0.0, 3.0 * sigma)
    for window in np.geomspace(wide, WINDOW * sigma, steps):
        for _ in range(2):
            r = distance(form)
            above = 1.0 / (1.0 + (np.maximum(r, 0.0) / window) ** 2) ** 3
            form = fit(form, may * above / (1.0 + np.maximum(-r - window, 0.0) / window))
    for _ in range(_LASTS):
        r = distance(form)
        spread = level_noise(r, sigma)
        form = fit(form, np.where(np.abs(r) < WINDOW * spread, may, np.where(r < 0, 0.02, 1e-6)))
    return form
