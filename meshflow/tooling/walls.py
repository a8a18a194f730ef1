"""The least wall of a casting: how near its two faces come, everywhere, and the thinnest places.

Terms: the *wall* at a place is the distance from there to the nearest place of the other face. It is taken at every
vertex of both faces, so that a thin place is not missed because it is seen from one side alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.nearest import SurfaceTree
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["ThinPlace", "thin_places", "wall_at"]


@dataclass(frozen=True, slots=True)
class ThinPlace:
    """A place of a wall.

    Parameters
    ----------
    at_mm : (x, y, z)
        Where, on one of the faces [mm].
    wall_mm : float
        Its wall [mm].
    vertex : int
        Number of the vertex of the sheet.
    """

    at_mm: tuple[float, float, float]
    wall_mm: float
    vertex: int


def wall_at(upper: FloatArray, lower: FloatArray, faces: IntArray) -> FloatArray:
    """Return the wall at every vertex, the lesser of that of its place above and of that below, (n,) [mm]."""
    above = SurfaceTree(lower, faces).nearest(upper).distance
    below = SurfaceTree(upper, faces).nearest(lower).distance
    return np.minimum(above, below)


def thin_places(
    upper: FloatArray, wall: FloatArray, *, below: float, apart: float, most: int = 20
) -> tuple[ThinPlace, ...]:
    """Return places thinner than asked for, the thinnest first, each at a distance from those before.

    Parameters
    ----------
    upper : (n, 3) float array
        Places [mm].
    wall : (n,) float array
        Their walls [mm].
    below : float
        Walls of so much and more are no thin places [mm].
    apart : float
        Least distance between two of them [mm].
    most : int
        How many at most.
    """
    thin = np.flatnonzero(wall < below)
    found: list[ThinPlace] = []
    for k in thin[np.argsort(np.round(wall[thin], 6), kind="stable")]:
        if len(found) >= most:
            break
        if all(np.linalg.norm(upper[k] - np.array(place.at_mm)) >= apart for place in found):
            x, y, z = (float(value) for value in upper[k])
            found.append(ThinPlace((x, y, z), float(wall[k]), int(k)))
    return tuple(found)
