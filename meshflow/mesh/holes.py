"""The open loops of a mesh as a list: how long, how wide, where.

Terms: the *width* of a loop is the largest distance between two of its corners; the *rim* of a shell is its longest
loop.
"""

from __future__ import annotations

import numpy as np

from meshflow.mesh.anatomy import Anatomy
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.check import Hole

__all__ = ["holes", "loop_width", "loop_widths"]

_NAMED_FACES = 20
_CHUNK = 512


def holes(body: Anatomy, middle: FloatArray) -> tuple[Hole, ...]:
    """List the open loops, the widest first.

    Parameters
    ----------
    body : Anatomy
        The mesh, about its middle.
    middle : (3,) float array
        Where that middle is [mm].

    Returns
    -------
    tuple of Hole
        `Hole.loop` is the number of the loop in ``body.rims``.
    """
    rims, shell = body.rims, body.loop_shell()
    longest = np.zeros(body.shell_count)
    np.maximum.at(longest, shell, rims.length_mm)
    width = loop_widths(body)
    out = []
    for loop in np.lexsort((np.arange(len(width)), -width)).tolist():
        half = _members(body, loop)
        centre = body.vertices[body.faces.reshape(-1)[half]].mean(axis=0) + middle
        out.append(
            Hole(
                loop=loop,
                length_mm=float(rims.length_mm[loop]),
                width_mm=float(width[loop]),
                edges=len(half),
                faces=tuple(np.unique(body.ids[half // 3])[:_NAMED_FACES].tolist()),
                centre_mm=(float(centre[0]), float(centre[1]), float(centre[2])),
                rim=bool(rims.length_mm[loop] >= longest[shell[loop]] * (1.0 - 1e-9)),
                whole=bool(rims.whole[loop]),
            )
        )
    return tuple(out)


def loop_widths(body: Anatomy) -> FloatArray:
    """Return the width of each loop, shape (loops,) [mm]."""
    order = np.argsort(body.rims.loop, kind="stable")
    start = body.faces.reshape(-1)[body.rims.half_edge[order]]
    cuts = np.cumsum(body.rims.edge_count)[:-1]
    return np.array([loop_width(body.vertices[run]) for run in np.split(start, cuts)] if len(start) else [])


def loop_width(points: FloatArray) -> float:
    """Return the largest distance between two points, exactly [mm]."""
    if len(points) > _CHUNK:  # the two points farthest apart are corners of the hull of those far from the middle
        points = points[_may_be_extreme(points)]
    most = 0.0
    for first in range(0, len(points), _CHUNK):
        here = points[first : first + _CHUNK]
        most = max(most, float(np.linalg.norm(here[:, None] - points[None, first:], axis=2).max()))
    return most


def _may_be_extreme(points: FloatArray) -> IntArray:
    """Leave out points too near to the middle to be an end of the width: by the width of a sample."""
    ends = [int(np.argmin(points @ way)) for way in _WAYS] + [int(np.argmax(points @ way)) for way in _WAYS]
    sample = points[ends]
    least = float(np.linalg.norm(sample[:, None] - sample[None], axis=2).max())
    middle = points.mean(axis=0)
    far = np.linalg.norm(points - middle, axis=1)
    return np.flatnonzero(far >= least - float(far.max()) - 1e-12)


_WAYS = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [1, 0, 1], [0, 1, 1], [1, -1, 0], [1, 0, -1], [0, 1, -1]])


def _members(body: Anatomy, loop: int) -> IntArray:
    return np.asarray(body.rims.half_edge[body.rims.loop == loop])
