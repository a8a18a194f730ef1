"""How rough heights are: the noise of a scan over its base.

Method: twice, the mean of a point's neighbours is taken off its height; what is left is a known linear form of the
heights, blind to slopes and nearly so to bends. Divided by the norm of the form it is a sample of the noise, if that is
independent from point to point. On the ground the heights are nothing but noise, so points with ground all round are
asked where there are enough; else all, and then the median is blind to the few on sharp edges.

References
----------
P. J. Rousseeuw, C. Croux, "Alternatives to the median absolute deviation", J. Am. Stat. Assoc. 88, 1993 (the factor
1.4826).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import BoolArray
from meshflow.model.relief import Base

__all__ = ["TO_SIGMA", "height_noise"]

TO_SIGMA: Final = 1.4826  # median absolute deviation of a Gaussian to its standard deviation
_ENOUGH: Final = 200  # points: the estimate scatters by a tenth
_MOST: Final = 20_000


def height_noise(base: Base) -> float:
    """Return the standard deviation of the noise of a base's heights [mm]; 0 where there are too few points to say.

    Parameters
    ----------
    base : Base
        With heights at the vertices of its region.
    """
    from scipy.sparse import coo_array, csr_array, eye_array

    table, count = edge_table(base.region.faces), len(base.height)
    a, b = table.vertices.T
    ones = np.ones(2 * len(a))
    near = coo_array((ones, (np.concatenate([a, b]), np.concatenate([b, a]))), shape=(count, count)).tocsr()
    number = np.asarray(near.sum(axis=1)).reshape(-1)
    rim = np.zeros(count, dtype=np.bool_)
    rim[table.vertices[table.boundary].reshape(-1)] = True
    asked = _asked(near, number, rim, base.ground)
    if len(asked) < _ENOUGH:
        return 0.0
    less = csr_array(eye_array(count) - coo_array(near / np.maximum(number, 1.0)[:, None]))
    form = csr_array(less[asked] @ less)
    norm = np.sqrt(np.asarray(form.power(2).sum(axis=1)).reshape(-1))
    sample = (form @ base.height) / norm
    return TO_SIGMA * float(np.median(np.abs(sample - np.median(sample))))


def _asked(near: object, number: object, rim: BoolArray, ground: BoolArray) -> np.ndarray:
    """Return the points asked: off the rim by two edges; with ground all round, where there are enough."""
    inner = (near @ rim.astype(np.float64) == 0) & ~rim & (np.asarray(number) > 2)  # type: ignore[operator]
    low = inner & ground & (near @ (~ground).astype(np.float64) == 0)  # type: ignore[operator]
    chosen = np.flatnonzero(low if low.sum() >= _ENOUGH else inner)
    if len(chosen) > _MOST:
        chosen = chosen[np.linspace(0, len(chosen) - 1, _MOST).astype(np.int64)]
    return chosen
