"""Ground that the user marks: points on the piece, or a mask of its faces or vertices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.region import Region

__all__ = ["LEAST_MARKED", "marked_ground"]

LEAST_MARKED: Final = 6  # vertices: fewer do not hold a plane against the noise


def marked_ground(region: Region, ground: FloatArray | BoolArray | Sequence[object], radius_mm: float) -> BoolArray:
    """Return which vertices of a region the user says are ground.

    Parameters
    ----------
    region : Region
        The piece.
    ground : array_like
        Points, shape (k, 3) [mm]: vertices within `radius_mm` of one, and the one nearest to it, are ground. Or a mask
        of the region's vertices or faces, shape (n,) or (m,), of booleans.
    radius_mm : float
        How far about a point the ground goes [mm].

    Raises
    ------
    OptionError
        If it is none of these, or the radius is no distance.
    InputError
        If a point is off the piece, or too little is marked.
    """
    where = region.name
    given = np.asarray(ground)
    if given.dtype == np.bool_ and given.shape == (len(region.vertices),):
        marked = given.copy()
    elif given.dtype == np.bool_ and given.shape == (len(region.faces),):
        marked = np.zeros(len(region.vertices), dtype=np.bool_)
        marked[region.faces[given].reshape(-1)] = True
    elif given.dtype != np.bool_ and given.ndim == 2 and given.shape[1] == 3:
        marked = _near_points(region, given.astype(np.float64), radius_mm)
    else:
        raise OptionError(
            f"ground of shape {given.shape} is neither points x, y, z nor a mask of vertices or faces.",
            where=where,
            remedy=f"Give points, or {len(region.vertices)} or {len(region.faces)} yes or no.",
        )
    if marked.sum() < LEAST_MARKED:
        raise InputError(
            f"{int(marked.sum())} vertices are marked as ground; a base needs {LEAST_MARKED} at least.",
            where=where,
            remedy="Mark more places, spread over the piece, or a wider circle about each.",
        )
    return marked


def _near_points(region: Region, points: FloatArray, radius_mm: float) -> BoolArray:
    from scipy.spatial import cKDTree

    if not (np.isfinite(radius_mm) and radius_mm > 0):
        raise OptionError(f"a radius of {radius_mm} mm is no distance.", where=region.name, remedy="Say 2 or so.")
    if not len(points) or not np.isfinite(points).all():
        raise InputError("the ground points are no places.", where=region.name, remedy="Give x, y, z of each in mm.")
    tree = cKDTree(region.vertices)
    away, nearest = (np.atleast_1d(found) for found in tree.query(points))
    # a point may be picked on a coarse scan: it counts as on the piece within the size of its triangles
    corner = region.vertices[region.faces[: min(len(region.faces), 5000)]]
    edge = float(np.median(np.linalg.norm(corner[:, 0] - corner[:, 1], axis=1)))
    off = np.flatnonzero(away > radius_mm + 2.0 * edge)
    if len(off):
        x, y, z = points[off[0]].tolist()
        raise InputError(
            f"ground point {x:g},{y:g},{z:g} lies {away[off[0]]:.3g} mm off the piece.",
            where=region.name,
            remedy="Pick it on the piece, in millimetres.",
        )
    marked = np.zeros(len(region.vertices), dtype=np.bool_)
    marked[nearest] = True
    for ids in tree.query_ball_point(points, radius_mm):
        marked[np.asarray(ids, dtype=np.int64)] = True
    return marked
