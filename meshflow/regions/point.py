"""The point of the surface that the maker's point means."""

from __future__ import annotations

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.closest import SurfacePoint, closest_surface_point
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["nearest", "refuse_far", "size_of"]

_NEAR_SHARE = 0.02


def size_of(surface: Surface) -> float:
    """Return the diagonal of the bounding box [mm]."""
    return float(np.linalg.norm(surface.extent_mm))


def nearest(surface: Surface, point: tuple[float, float, float], text: str) -> tuple[SurfacePoint, tuple[Finding, ...]]:
    """Return the point of a surface nearest to a point of space.

    Parameters
    ----------
    surface : Surface
        The scan.
    point : (float, float, float)
        The maker's point [mm].
    text : str
        The term that names it.

    Returns
    -------
    point : SurfacePoint
        On the surface.
    notes : tuple of Finding
        R105 when the point lies off by more than a fiftieth of the surface's size.

    Raises
    ------
    SelectionError
        If it lies farther off than the surface is large.
    """
    found = closest_surface_point(surface.vertices, surface.faces, np.array(point))
    where = "{:.1f}, {:.1f}, {:.1f}".format(*found.position)
    refuse_far(surface, found.distance, f'the point of "{text}"', where)
    if found.distance <= _NEAR_SHARE * size_of(surface):
        return found, ()
    said = f"the point lies {found.distance:.1f} mm off the surface; I took {where}."
    return found, (Finding("R105", Severity.WARNING, said, "Check the point.", faces=(found.face,)),)


def refuse_far(surface: Surface, distance: float, what: str, where: str) -> None:
    """Raise SelectionError when something lies farther off the surface than the surface is large."""
    size = size_of(surface)
    if distance > size:
        raise SelectionError(
            f"{what} lies {distance:.0f} mm off a surface that is {size:.0f} mm across.",
            remedy=f"Points are in millimetres, in the frame of the file. The nearest point of the surface is {where}.",
        )
