"""Fewer triangles for a height field on a grid: large ones where it is nearly flat, every sample where it is not.

Method: a quadtree of square blocks, halved until the triangles from the middle of a block to its rim keep within the
tolerance; neighbours differ by one level at the most, and the middle of a side that a smaller neighbour ends on is a
corner of the larger one too, so that there is no crack (restricted quadtree: B. Von Herzen, A. H. Barr, "Accurate
triangulations of deformed, intersecting surfaces", 1987). Unlike there the difference is measured on the whole
surface, not at the samples alone: two surfaces of flat triangles differ most at a sample or where two edges cross.
The highest and the lowest sample stay, so that the size of a block is what its drawing says.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.envelope import grid_faces
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["thinned_faces"]


def thinned_faces(height: FloatArray, tolerance: float) -> IntArray:
    """Return triangles of some samples of a height field that keep within a tolerance of the triangles of all.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights, finite [mm].
    tolerance : float
        Greatest difference in height between the two surfaces, anywhere [mm]; 0 keeps every sample.

    Returns
    -------
    (m, 3) int array
        Sample ``row * columns + column``, counter-clockwise seen from above; they cover the grid without a crack.

    Raises
    ------
    OptionError
        If heights or tolerance are no good.

    Examples
    --------
    >>> thinned_faces(np.zeros((5, 5)), 0.01).tolist()
    [[0, 4, 24], [0, 24, 20]]
    """
    field = np.ascontiguousarray(height, dtype=np.float64)
    if field.ndim != 2 or not np.isfinite(field).all():
        raise OptionError("heights must be finite numbers in rows and columns.")
    if not (np.isfinite(tolerance) and tolerance >= 0.0):
        raise OptionError(f"a tolerance of {tolerance} mm is none.", remedy="Give 0 mm or more.")
    if tolerance == 0.0 or min(field.shape) < 2:
        return grid_faces(*field.shape)
    from meshflow.geometry.thin_kernel import thin_faces

    return np.asarray(thin_faces(field, tolerance, _extremes(field)))


def _extremes(field: FloatArray) -> IntArray:
    """Return row and column of the first highest and the first lowest sample, but for those in a corner of the grid."""
    rows, columns = field.shape
    found = [divmod(int(at), columns) for at in (field.argmax(), field.argmin())]
    inner = [place for place in found if not (place[0] in (0, rows - 1) and place[1] in (0, columns - 1))]
    return np.array(inner, dtype=np.int64).reshape(-1, 2)
