"""What the search for panels is told about a piece: how much it strains when it is laid flat, and its symmetry.

The strain is that of the product's own flattening (area-weighted p99), whole or stopped early; planes of symmetry are
found on the scan and count when scan and mirror image lie well within the tolerance almost everywhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from meshflow.errors import MeshflowError
from meshflow.geometry.topology import boundary_loops, euler_characteristic
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray, weighted_percentile
from meshflow.model.compare import Symmetry
from meshflow.model.pattern import Distortion, Limits
from meshflow.model.region import Region, Side
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

__all__ = ["rough_strain", "strain_laid_flat", "symmetry_planes"]

_ROUGH: Final = 1e-3  # see `isometric`
_ROUGH_STEPS: Final = 25
_MATCHED: Final = 0.9  # of the area has a counterpart beyond the plane
_SQUARE: Final = 0.02  # cosine of the angle between two planes
ANY_STRAIN: Final = 1e6  # while panels are looked for their strain is measured, not judged


def strain_laid_flat(vertices: FloatArray, faces: IntArray, thickness_mm: float, side: Side) -> float:
    """Lay a piece flat as `make` would; infinite where it cannot be, or its outline runs over itself."""
    from meshflow.flatten import flatten

    try:
        piece = _disk(vertices, faces, thickness_mm, side)
        pattern = flatten(piece, limits=Limits(ANY_STRAIN, ANY_STRAIN), prove=False)
    except MeshflowError:
        return float("inf")
    if pattern.stopped_by == "interrupt":
        raise KeyboardInterrupt
    return _strain_of(pattern.distortion)


def _disk(vertices: FloatArray, faces: IntArray, thickness_mm: float, side: Side) -> Region:
    from meshflow.regions import neutral_surface, select

    return neutral_surface(select(Surface(vertices, faces), thickness=thickness_mm, side=side))


def _strain_of(distortion: Distortion) -> float:
    if distortion.overlap or distortion.flipped_faces:
        return float("inf")
    return distortion.strain_percentile(0.99)


def rough_strain(vertices: FloatArray, faces: IntArray, thickness_mm: float, side: Side) -> float:
    """Lay a piece flat but stop early: its strain falls little after that, and the search asks often."""
    from meshflow.flatten.isometric import isometric
    from meshflow.flatten.start import first_map

    loops = boundary_loops(faces)
    try:
        if len(loops) != 1 or thickness_mm:
            region = _disk(vertices, faces, thickness_mm, side)
            vertices, faces, loops = region.vertices, region.faces, boundary_loops(region.faces)
        if len(loops) != 2 - euler_characteristic(faces) or not loops:
            return float("inf")
        start, _ = first_map(vertices, faces)
        result = isometric(vertices, faces, start, tolerance=_ROUGH, most_iterations=_ROUGH_STEPS)
    except MeshflowError:
        return float("inf")
    if result.stopped_by == "interrupt":
        raise KeyboardInterrupt
    return _strain_alone(vertices, result.flat, faces)


def _strain_alone(vertices: FloatArray, flat: FloatArray, faces: IntArray) -> float:
    """Return what `_strain_of` says of a flattening, without what else is measured of one."""
    from meshflow.flatten.distortion import face_stretch
    from meshflow.flatten.overlap import overlap_places

    if not bool((face_areas(flat, faces) > 0).all()) or len(overlap_places(vertices, flat, faces)):
        return float("inf")
    s1, s2 = face_stretch(vertices, flat, faces)
    strain = np.maximum(np.abs(s1 - 1.0), np.abs(s2 - 1.0))
    return weighted_percentile(strain, face_areas(vertices, faces), 0.99)


def symmetry_planes(scan: Surface) -> tuple[Plane, ...]:
    """Return planes at right angles that the scan is symmetric about, the surest first."""
    from meshflow.mesh.align import principal_axes
    from meshflow.mesh.symmetry import find_symmetry

    found = find_symmetry(scan)
    if not _is_sure(found):
        return ()
    planes = [found.plane]
    axes = principal_axes(scan)
    for axis in axes.axes:
        across = axis - sum(float(axis @ plane.normal) * plane.normal for plane in planes)
        if len(planes) == 3 or np.linalg.norm(across) < 0.5:
            continue
        again = find_symmetry(scan, near=Plane(across, float(across @ axes.centre) / float(np.linalg.norm(across))))
        normal = again.plane.normal
        slant = [float(normal @ plane.normal) for plane in planes]
        if _is_sure(again) and max(np.abs(slant)) < _SQUARE:
            square = normal - sum(share * plane.normal for share, plane in zip(slant, planes, strict=True))
            planes.append(Plane(square, again.plane.offset_mm))
    return tuple(planes)


def _is_sure(found: Symmetry) -> bool:
    return not found.failed and found.residual_mm <= 0.5 * found.tolerance_mm and found.matched >= _MATCHED
