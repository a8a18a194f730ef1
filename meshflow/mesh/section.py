"""Cross-sections: the curve along which a plane cuts the piece, true size, for gauges, girths and drawings.

What the maker calls it: taking a section; a *gauge* (or profile template) is the card that is held against the work.

Terms: the *plane* is all points p with ``n . p = d``; the *frame* of the section lies in it, its origin at the foot of
the perpendicular from the origin of the scan, seen with the normal towards the viewer. Its y axis is the direction of
the plane nearest to the scan's z, or to its y where the plane lies within 1 degree of horizontal; x points right.

Convention: curves run with the outside of the piece on their right, so round a solid they are counter-clockwise.
Method: `geometry.sections`; every point is the exact crossing of an edge, nothing is fitted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError, SelectionError
from meshflow.geometry.curves import signed_area
from meshflow.geometry.sections import section_curves
from meshflow.model.arrays import FloatArray, IntArray, frozen
from meshflow.model.curve import Polycurve
from meshflow.model.surface import Surface

__all__ = ["Frame", "Section", "section"]

_NEAR_HORIZONTAL = np.cos(np.radians(1.0))


@dataclass(frozen=True, eq=False)
class Frame:
    """A plane with directions in it.

    Parameters
    ----------
    origin : (3,) float array
        Where the plane's (0, 0) lies in space [mm].
    x, y, normal : (3,) float array
        Unit directions, right-handed.
    """

    origin: FloatArray
    x: FloatArray
    y: FloatArray
    normal: FloatArray

    def __post_init__(self) -> None:
        for name in ("origin", "x", "y", "normal"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))

    def to_plane(self, points: FloatArray) -> FloatArray:
        """Return the coordinates in the plane of points of space, (n, 3) to (n, 2) [mm]."""
        return np.asarray((points - self.origin) @ np.stack([self.x, self.y], axis=1))

    def to_space(self, points: FloatArray) -> FloatArray:
        """Return where points of the plane lie in space, (n, 2) to (n, 3) [mm]."""
        return np.asarray(self.origin + points @ np.stack([self.x, self.y]))


@dataclass(frozen=True, eq=False)
class Section:
    """What a plane cuts out of a surface.

    Parameters
    ----------
    curves : tuple of Polycurve
        Straight-sided, in the frame, longest first [mm]; open where the surface has an edge.
    faces : tuple of int array
        For each curve, the face of the surface that each of its sides runs through.
    frame : Frame
        Where the plane lies.
    lengths_mm : tuple of float
        Length of each curve [mm].
    """

    curves: tuple[Polycurve, ...]
    faces: tuple[IntArray, ...]
    frame: Frame
    lengths_mm: tuple[float, ...]

    @property
    def length_mm(self) -> float:
        """Length of all curves together: the girth where there is one closed curve [mm]."""
        return float(sum(self.lengths_mm))

    @property
    def area_mm2(self) -> float:
        """Area inside the closed curves, hollows taken off [mm2]."""
        return float(sum(signed_area(curve) for curve in self.curves if curve.closed))


def section(surface: Surface, plane: Sequence[float]) -> Section:
    """Cut a surface with a plane.

    Parameters
    ----------
    surface : Surface
        The scan, welded.
    plane : (float, float, float, float)
        Normal and distance: all p with ``n . p = d``. The normal need not have length 1.

    Returns
    -------
    Section
        Its curves; at least one.

    Raises
    ------
    OptionError
        If the plane has no direction.
    SelectionError
        If it misses the surface; the message says what it must lie between.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [40, 0, 0], [40, 0, 30], [0, 0, 30]])
    >>> panel = Surface(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    >>> section(panel, (0, 0, 1, 12)).length_mm
    40.0
    """
    frame, distance = _frame(plane)
    heights = surface.vertices @ frame.normal - distance
    curves = section_curves(surface.vertices, surface.faces, heights)
    if not curves:
        raise _missed(surface, heights, distance)
    drawn = tuple(Polycurve(frame.to_plane(curve.points), closed=curve.closed) for curve in curves)
    return Section(drawn, tuple(curve.faces for curve in curves), frame, tuple(curve.length for curve in curves))


def _frame(plane: Sequence[float]) -> tuple[Frame, float]:
    numbers = np.asarray(plane, dtype=np.float64)
    length = float(np.linalg.norm(numbers[:3])) if numbers.shape == (4,) and np.isfinite(numbers).all() else 0.0
    if length == 0.0:
        raise OptionError(
            f"{tuple(plane)} is no plane.", remedy="Give nx, ny, nz, d for all points p with n . p = d; n is not 0,0,0."
        )
    normal, distance = numbers[:3] / length, float(numbers[3]) / length
    up = np.array([0.0, 1.0, 0.0] if abs(normal[2]) > _NEAR_HORIZONTAL else [0.0, 0.0, 1.0])
    y = up - (up @ normal) * normal
    y /= np.linalg.norm(y)
    return Frame(distance * normal, np.cross(y, normal), y, normal), distance


def _missed(surface: Surface, heights: FloatArray, distance: float) -> SelectionError:
    if len(surface.faces) == 0:
        return SelectionError("the surface has no faces.", where=surface.source.file, remedy="Check the mesh file.")
    used = heights[np.unique(surface.faces)] + distance
    return SelectionError(
        f"the plane at d = {distance:g} mm along its unit normal misses the surface.",
        where=surface.source.file,
        remedy=f"The surface lies between d = {used.min():.3f} and {used.max():.3f} mm.",
    )
