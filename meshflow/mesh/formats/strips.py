"""Strips and fans of triangles, as scanners and game formats store them, into triangles.

Convention: in a strip every second triangle is wound the other way, so it is turned back; a triangle that uses a
vertex twice is a stitch between strips and is left out.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import IntArray

__all__ = ["fan_faces", "strip_faces"]


def strip_faces(indices: IntArray) -> IntArray:
    """Return the triangles of strips.

    Parameters
    ----------
    indices : (k,) int array
        Vertex indices; a negative one ends a strip and starts the next.

    Returns
    -------
    (m, 3) int array
        Triangles, all wound as the first of their strip.

    Examples
    --------
    >>> strip_faces(np.array([0, 1, 2, 3])).tolist()
    [[0, 1, 2], [2, 1, 3]]
    """
    if len(indices) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    position = np.arange(len(indices))
    begin = np.maximum.accumulate(np.where(indices < 0, position + 1, 0))
    faces = np.stack([indices[:-2], indices[1:-1], indices[2:]], axis=1)
    odd = (position - begin)[:-2] % 2 == 1
    faces[odd] = faces[odd][:, [1, 0, 2]]
    return _without_stitches(faces[(faces >= 0).all(axis=1)])


def fan_faces(indices: IntArray) -> IntArray:
    """Return the triangles of one fan round its first vertex, shape (k - 2, 3) less the stitches."""
    if len(indices) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    hub = np.full(len(indices) - 2, indices[0])
    return _without_stitches(np.stack([hub, indices[1:-1], indices[2:]], axis=1))


def _without_stitches(faces: IntArray) -> IntArray:
    a, b, c = faces.T
    return np.asarray(faces[(a != b) & (b != c) & (c != a)])
