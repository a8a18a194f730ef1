"""A polyline with fewer points that stays within a tolerance (Ramer 1972; Douglas and Peucker 1973).

References
----------
U. Ramer, "An iterative procedure for the polygonal approximation of plane curves", Computer Graphics and Image
Processing 1, 1972.
D. H. Douglas, T. K. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized
line or its caricature", Cartographica 10:2, 1973.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray

__all__ = ["simplified"]


def simplified(points: FloatArray, tolerance: float) -> FloatArray:
    """Return some of the points of a polyline, so that all others lie within `tolerance` of it.

    Parameters
    ----------
    points : (k, d) float array
        The polyline [mm]; a closed one repeats its first point.
    tolerance : float
        Greatest distance [mm].

    Returns
    -------
    (n, d) float array
        The first and the last point stay.

    Examples
    --------
    >>> simplified(np.array([[0.0, 0.0], [1.0, 0.01], [2.0, 0.0], [3.0, 1.0]]), 0.05).tolist()
    [[0.0, 0.0], [2.0, 0.0], [3.0, 1.0]]
    """
    kept = np.zeros(len(points), dtype=bool)
    kept[[0, -1]] = True
    waiting = [(0, len(points) - 1)]
    while waiting:
        low, high = waiting.pop()
        if high - low < 2:
            continue
        off = _off_line(points[low + 1 : high], points[low], points[high])
        worst = int(np.argmax(off))
        if off[worst] > tolerance:
            middle = low + 1 + worst
            kept[middle] = True
            waiting += [(low, middle), (middle, high)]
    return points[kept]


def _off_line(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    way, to = end - start, points - start
    square = float(way @ way)
    share = np.clip(to @ way / square, 0.0, 1.0) if square > 0.0 else np.zeros(len(points))
    return np.asarray(np.linalg.norm(to - share[:, None] * way, axis=1))
