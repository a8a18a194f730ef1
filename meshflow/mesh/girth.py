"""The girth of a piece: the length round it in a plane.

What the maker calls it: taking it round, with the tape.

Terms: a *section* is the curve along which a plane cuts the surface; the *girth* is the length of a closed one; a
*taut* girth bridges the hollows, as a tape measure does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import SelectionError
from meshflow.geometry.sections import SectionCurve, section_curves
from meshflow.mesh.align import area_needed
from meshflow.mesh.measure import finite_point
from meshflow.mesh.weld import weld
from meshflow.model.arrays import FloatArray
from meshflow.model.compare import Measurement
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

__all__ = ["girth"]


def girth(surface: Surface, plane: Plane, *, near: ArrayLike | None = None, taut: bool = False) -> Measurement:
    """Return the length round a piece, in a plane.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    plane : Plane
        The plane of the section.
    near : (3,) array_like, optional
        Where the plane cuts several closed curves: take the one nearest to this point [mm]; the longest when left out.
    taut : bool
        Bridge the hollows as a tape does: the length of the convex hull of the curve.

    Returns
    -------
    Measurement
        The length; `where` has a point of the curve, the one nearest to the point given.

    Raises
    ------
    SelectionError
        If the plane misses the piece, or runs out of it through a rim so that nothing closes.

    Examples
    --------
    >>> corners = [[0.0, 0, 0], [30, 0, 0], [0, 40, 0], [0, 0, 90]]
    >>> spire = Surface(corners, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    >>> round(girth(spire, Plane([0, 0, 1.0], 45.0)).value, 9)
    60.0
    """
    welded = weld(surface)
    area_needed(welded)
    heights = plane.heights(welded.vertices)
    curves = section_curves(welded.vertices, welded.faces, heights)
    closed = [curve for curve in curves if curve.closed]
    if not closed:
        raise _no_girth(surface, plane, heights[np.unique(welded.faces)], bool(curves))
    if near is None:
        curve = max(closed, key=lambda one: one.length)
        place = curve.points[0]
    else:
        point = finite_point(near)
        feet = [_nearest_on(one, point) for one in closed]
        best = min(range(len(closed)), key=lambda number: (float(np.linalg.norm(feet[number] - point)), number))
        curve, place = closed[best], feet[best]
    x, y, z = place.tolist()
    length = _hull_length(curve.points, plane.normal) if taut else curve.length
    what = "taut girth, bridging the hollows" if taut else "girth along the section, into every hollow"
    return Measurement(length, "mm", what, ((x, y, z),))


def _no_girth(surface: Surface, plane: Plane, heights: FloatArray, meets: bool) -> SelectionError:
    """Say why there is none, and where the plane would meet the piece."""
    low, high = (float(value) + plane.offset_mm for value in (heights.min(), heights.max()))
    return SelectionError(
        f"the plane {'meets only open curves' if meets else 'misses the piece'}: there is no girth.",
        where=surface.source.file,
        remedy=f"In this direction the piece lies between d = {low:.5g} and {high:.5g}; where it has holes or an open "
        "edge, close them first.",
    )


def _nearest_on(curve: SectionCurve, point: FloatArray) -> FloatArray:
    start, end = curve.points, np.roll(curve.points, -1, axis=0)
    way = end - start
    square = np.einsum("kd,kd->k", way, way)
    share = np.clip(np.einsum("kd,kd->k", point - start, way) / np.where(square > 0, square, 1.0), 0.0, 1.0)
    feet = start + share[:, None] * way
    return np.asarray(feet[int(np.argmin(np.linalg.norm(feet - point, axis=1)))])


def _hull_length(points: FloatArray, normal: FloatArray) -> float:
    """Return the length round the convex hull of points of a plane (A. M. Andrew's chain, 1979)."""
    across = np.linalg.svd(normal[None])[2][1:]
    flat = np.unique((points - points[0]) @ across.T, axis=0)  # sorted by x, then y
    length = 0.0
    for row in (flat, flat[::-1]):
        chain: list[FloatArray] = []
        for here in row:
            while len(chain) > 1 and _turns_right(chain[-2], chain[-1], here):
                chain.pop()
            chain.append(here)
        length += float(np.linalg.norm(np.diff(np.array(chain), axis=0), axis=1).sum())
    return length


def _turns_right(a: FloatArray, b: FloatArray, c: FloatArray) -> bool:
    return bool((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0.0)
