"""Setting a scan on its datum, by three picked points or by its principal axes.

What the maker calls it: squaring the piece up, putting it on the datum. To lay it on another scan see `register`.

Terms: the *datum* is the place of origin and axes on the piece; the *principal axes* are the directions in which the
area spreads most, less and least; the *centre* is the centre of area.

Convention: three points give the origin, a point on the x axis, and a point of the xy plane on the side of +y.
Principal axes come as x the longest, y the next, z the least, right-handed, the origin in the centre of area. An axis
points to the side where the area reaches farther out (its third moment is positive); z follows from x and y. Where the
piece is as long on both sides (third moment under a thousandth of the cube of the spread), the axis points so that the
largest component it has in the file's axes is positive.

Method: the moments are integrals over the triangles, not sums over vertices, so uneven triangles do not matter: the
mean of a product of linear functions over a triangle is a symmetric polynomial of their corner values (third moment
for instance: a tenth of the complete homogeneous polynomial of degree three).

Codes of the notes: A109 the axes of a round piece are not told apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import InputError
from meshflow.geometry.rigid import frame_motion, moved_points
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.carry import checked
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.rigid import RigidMotion
from meshflow.model.surface import Surface

__all__ = ["PrincipalAxes", "area_needed", "datum_by_points", "move", "principal_axes"]

_EVEN = 1e-3  # skewness under which both sides reach equally far
_ROUND = 0.02  # relative difference of two spreads under which their axes are not told apart
_IN_LINE = 1e-6


@dataclass(frozen=True, eq=False)
class PrincipalAxes:
    """Where a surface lies and how its area spreads.

    Parameters
    ----------
    centre : (3,) float array
        Centre of area [mm].
    axes : (3, 3) float array
        Rows: x, y, z in the axes of the file; a right-handed set of unit vectors.
    spread_mm : (3,) float array
        Root-mean-square distance of the area from the centre along each [mm].
    """

    centre: FloatArray
    axes: FloatArray
    spread_mm: FloatArray

    @property
    def motion(self) -> RigidMotion:
        """The motion that sets the piece on its axes, its centre in the origin; for `move`."""
        return frame_motion(self.centre, self.axes)

    @property
    def notes(self) -> tuple[Finding, ...]:
        """A109 where two of the three spreads are so alike that their axes are arbitrary, as in a turned piece."""
        wide, middle, least = self.spread_mm
        alike = [
            names
            for names, more, less in (("x and y", wide, middle), ("y and z", middle, least))
            if less >= (1.0 - _ROUND) * more
        ]
        if not alike:
            return ()
        text = f"the piece spreads as far along {' and along '.join(alike)}: which way they point is arbitrary."
        return (Finding("A109", Severity.WARNING, text, "Set it on three picked points if that matters."),)


def move(surface: Surface, motion: RigidMotion) -> Surface:
    """Return a surface turned and moved, everything else kept.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    motion : RigidMotion
        From `datum_by_points`, `principal_axes` or `register`.

    Examples
    --------
    >>> panel = Surface([[5.0, 0, 0], [9, 0, 0], [5, 9, 0]], [[0, 1, 2]])
    >>> move(panel, RigidMotion(shift=[-5.0, 0, 0])).vertices[0].tolist()
    [0.0, 0.0, 0.0]
    """
    return replace(surface, vertices=moved_points(surface.vertices, motion))


def area_needed(surface: Surface) -> float:
    """Return the area of a surface [mm2]; InputError if it has none, or its numbers mean nothing."""
    area = float(face_areas(checked(surface).vertices, surface.faces).sum())
    if not area > 0:
        raise InputError("the surface has no area.", where=surface.source.file, remedy="Look at what the file holds.")
    return area


def datum_by_points(origin: ArrayLike, along_x: ArrayLike, in_xy: ArrayLike) -> RigidMotion:
    """Return the motion that sets a piece on a datum of three picked points.

    Parameters
    ----------
    origin, along_x, in_xy : (3,) array_like
        The origin, a point on the +x axis, a point of the xy plane with y > 0 [mm].

    Returns
    -------
    RigidMotion
        For `move`.

    Raises
    ------
    InputError
        If the points are not three numbers each, or lie in one line.

    Examples
    --------
    >>> datum_by_points([1, 1, 0], [1, 5, 0], [0, 1, 0]).rotation.tolist()
    [[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    points = np.array([origin, along_x, in_xy], dtype=np.float64)
    if points.shape != (3, 3) or not np.isfinite(points).all():
        raise InputError("a datum needs three points of three finite numbers.", remedy="Give them as x,y,z.")
    x, toward = points[1] - points[0], points[2] - points[0]
    z = np.cross(x, toward)
    if np.linalg.norm(z) <= _IN_LINE * np.linalg.norm(x) * np.linalg.norm(toward) or not z.any():
        raise InputError(
            "the three points of the datum lie in one line, so they do not say where y is.",
            remedy="Pick the third point well off the line from the first to the second.",
        )
    x, z = x / np.linalg.norm(x), z / np.linalg.norm(z)
    return frame_motion(points[0], np.stack([x, np.cross(z, x), z]))


def principal_axes(surface: Surface) -> PrincipalAxes:
    """Return centre of area, principal axes and spread of a surface.

    Parameters
    ----------
    surface : Surface
        The scan.

    Returns
    -------
    PrincipalAxes
        Its `motion` sets the piece on them; its `notes` say where they are arbitrary, as those of a ball.

    Raises
    ------
    InputError
        If the surface has no area, or its numbers mean nothing.
    """
    total = area_needed(surface)
    share = face_areas(surface.vertices, surface.faces) / total
    corners = surface.vertices[surface.faces]
    # Once more about the first answer: far from the origin the first sum has lost digits.
    near = np.einsum("f,fd->d", share, corners.mean(axis=1))
    corners = corners - near
    off = np.einsum("f,fd->d", share, corners.mean(axis=1))
    corners = corners - off
    total_corner = corners.sum(axis=1)
    second = np.einsum("f,fd,fe->de", share, total_corner, total_corner)
    second = (second + np.einsum("f,fkd,fke->de", share, corners, corners)) / 12.0
    values, vectors = np.linalg.eigh(second)
    spread = np.sqrt(np.maximum(values[::-1], 0.0))
    axes = vectors[:, ::-1].T.copy()
    for at in range(2):
        axes[at] *= _sign(axes[at], corners @ axes[at], share, spread[at])
    axes[2] = np.cross(axes[0], axes[1])
    return PrincipalAxes(near + off, axes, spread)


def _sign(axis: FloatArray, height: FloatArray, share: FloatArray, spread: float) -> float:
    """Return the sign that makes an axis point where the area reaches farther; `height` has shape (m, 3)."""
    # Complete homogeneous polynomial of degree 3 of the corner heights, by Newton's identities.
    p1, p2, p3 = height.sum(axis=1), (height**2).sum(axis=1), (height**3).sum(axis=1)
    third = float(share @ (p1**3 + 3.0 * p1 * p2 + 2.0 * p3)) / 60.0
    if abs(third) > _EVEN * spread**3:
        return 1.0 if third > 0 else -1.0
    largest = axis[int(np.argmax(np.abs(axis).round(9)))]
    return 1.0 if largest > 0 else -1.0
