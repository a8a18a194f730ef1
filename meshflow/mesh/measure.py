"""Measures of a piece for the record: distances, ways along the surface, areas, thickness; girths in `girth`.

What the maker calls it: taking measurements, with the rule, the tape, the callipers.

Terms: the *geodesic* length is that of the shortest way that stays on the surface, as a thread lies; the *thickness* at
a point is what callipers show there.

Convention: points need not lie on the surface; the nearest point of it is taken and named in the record. Each measure
is a `Measurement` that says what was measured and how.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import InputError, OptionError, SelectionError
from meshflow.geometry.closest import SurfacePoint, closest_surface_point
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.triangles import face_areas, face_normals, face_vectors
from meshflow.mesh.align import area_needed
from meshflow.mesh.carry import checked
from meshflow.mesh.weld import weld
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.compare import Measurement
from meshflow.model.surface import Surface

__all__ = ["area_of", "distance_between", "finite_point", "geodesic_length", "thickness_at"]

Triple = tuple[float, float, float]

_OPPOSITE = -0.5  # cosine of 120 degrees: a face that looks the other way, up to 60 degrees
_CREASE = 0.87  # cosine of 30 degrees


def distance_between(one: ArrayLike, two: ArrayLike) -> Measurement:
    """Return the straight distance between two points.

    Parameters
    ----------
    one, two : (3,) array_like
        The points [mm].

    Raises
    ------
    InputError
        If a point is not three finite numbers.

    Examples
    --------
    >>> distance_between([0, 0, 0], [3, 4, 0]).value
    5.0
    """
    ends = [finite_point(one), finite_point(two)]
    return Measurement(float(np.linalg.norm(ends[1] - ends[0])), "mm", "straight distance", _where(*ends))


def area_of(surface: Surface, name: str | None = None) -> Measurement:
    """Return the area of a surface or of one of its face sets.

    Parameters
    ----------
    surface : Surface
        The scan.
    name : str, optional
        A face set, such as ``label:3``; the whole surface when left out.

    Raises
    ------
    SelectionError
        If there is no such set.
    """
    if name is not None and name not in surface.face_sets:
        known = ", ".join(surface.face_sets) or "none"
        raise SelectionError(
            f'there is no set of faces "{name}".', where=surface.source.file, remedy=f"It has {known}."
        )
    area = face_areas(checked(surface).vertices, surface.faces)
    if name is not None:
        area = area[np.unique(surface.face_sets[name])]
    return Measurement(float(area.sum()), "mm2", f"area of {name or 'the whole surface'}")


def geodesic_length(surface: Surface, one: ArrayLike, two: ArrayLike) -> Measurement:
    """Return the length of the shortest way along the surface between two points.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    one, two : (3,) array_like
        Points; their nearest points on the surface are taken [mm].

    Returns
    -------
    Measurement
        The length, see `geodesic_distance` for its accuracy; `where` has the two points on the surface.

    Raises
    ------
    SelectionError
        If no way leads from one to the other.
    """
    area_needed(surface)
    welded = weld(surface)
    vertices, faces = welded.vertices, welded.faces
    numbers = []
    for point in (finite_point(one), finite_point(two)):
        vertices, faces, number = _with_point(vertices, faces, closest_surface_point(vertices, faces, point))
        numbers.append(number)
    length = float(geodesic_distance(vertices, faces, numbers[0])[numbers[1]])
    if not np.isfinite(length):
        raise SelectionError(
            "no way along the surface leads from one point to the other: they lie on separate pieces.",
            where=surface.source.file,
            remedy="Pick both points on one piece.",
        )
    ends = vertices[numbers]
    return Measurement(length, "mm", "shortest way along the surface (fast marching)", _where(*ends))


def _with_point(vertices: FloatArray, faces: IntArray, point: SurfacePoint) -> tuple[FloatArray, IntArray, int]:
    """Make a point of the surface a vertex, dividing the faces it lies in; return its number."""
    corners, zero = faces[point.face], point.barycentric < 1e-9
    if int(zero.sum()) == 2:
        return vertices, faces, int(corners[int(np.argmax(point.barycentric))])
    number = len(vertices)
    vertices = np.concatenate([vertices, point.position[None]])
    if not zero.any():
        split, sides = np.array([point.face]), [corners[[0, 1]], corners[[1, 2]], corners[[2, 0]]]
        added = np.array([[a, b, number] for a, b in sides])
    else:
        edge = corners[~zero]
        split = np.flatnonzero(np.isin(faces, edge).sum(axis=1) == 2)
        added = np.concatenate([np.where(faces[split] == end, number, faces[split]) for end in edge])
    return vertices, np.concatenate([np.delete(faces, split, axis=0), added]), number


def thickness_at(surface: Surface, point: ArrayLike, *, method: Literal["ray", "nearest"] = "ray") -> Measurement:
    """Return the thickness of a piece that was scanned on both sides.

    Parameters
    ----------
    surface : Surface
        The scan, outward faces on both sides [mm].
    point : (3,) array_like
        Where to measure; the nearest point of the surface is taken [mm].
    method : {"ray", "nearest"}
        ``ray``: straight in against the normal, to the first face met from within, as a drilled hole shows it.
        ``nearest``: to the nearest point of faces that look the other way (up to 60 degrees), as callipers find it by
        feeling for the least; never more than the ray where both sides are parallel.

    Returns
    -------
    Measurement
        The thickness; `where` has the point and the one opposite.

    Raises
    ------
    SelectionError
        If nothing lies opposite: the scan shows one side only, or looks inwards.
    OptionError
        If the method is none of these.
    """
    if method not in ("ray", "nearest"):
        raise OptionError(f'"{method}" is no way to measure thickness.', remedy="Say ray or nearest.")
    area_needed(surface)
    welded = weld(surface)
    vertices, faces = welded.vertices, welded.faces
    near = closest_surface_point(vertices, faces, finite_point(point))
    inward = -_calm_normal(vertices, faces, near.face)
    found = _across(vertices, faces, near.position, inward) if method == "ray" else None
    if method == "nearest":
        opposite = np.flatnonzero(face_normals(vertices, faces) @ -inward < _OPPOSITE)
        # Only what lies inwards counts: a neighbouring finger's side is opposite, too, but outside.
        opposite = opposite[((vertices[faces[opposite]] - near.position) @ inward).max(axis=1, initial=-np.inf) > 0]
        if len(opposite):
            found = closest_surface_point(vertices, faces[opposite], near.position).position
    if found is None:
        raise SelectionError(
            "nothing lies opposite to this point: the scan shows one side only, or its faces look inwards.",
            where=surface.source.file,
            remedy="Scan both sides, or mend the scan so that its faces look outwards.",
        )
    words = {"ray": "thickness straight in along the normal", "nearest": "thickness to the nearest opposite face"}
    value = float(np.linalg.norm(found - near.position))
    return Measurement(value, "mm", words[method], _where(near.position, found))


def _calm_normal(vertices: FloatArray, faces: IntArray, face: int) -> FloatArray:
    """Return the mean normal of a face and those round it that are not beyond a crease; noise tilts a single one."""
    round_it = faces[np.isin(faces, faces[face]).any(axis=1)]
    vectors = face_vectors(vertices, np.concatenate([faces[[face]], round_it]))
    length = np.linalg.norm(vectors, axis=1)
    alike = vectors @ vectors[0] >= _CREASE * length * length[0]
    mean = vectors[alike].sum(axis=0)
    return np.asarray(mean / (np.linalg.norm(mean) or 1.0))


def _across(vertices: FloatArray, faces: IntArray, start: FloatArray, way: FloatArray) -> FloatArray | None:
    size = float(np.linalg.norm(np.ptp(vertices, axis=0)))
    hit, distance = SurfaceTree(vertices, faces).hits(start[None], way[None], after=1e-9 * size, from_within=True)
    return None if hit[0] < 0 else np.asarray(start + distance[0] * way)


def _where(*points: FloatArray) -> tuple[Triple, ...]:
    return tuple((float(x), float(y), float(z)) for x, y, z in points)


def finite_point(given: ArrayLike) -> FloatArray:
    """Return three finite numbers as an array; InputError otherwise."""
    point = np.asarray(given, dtype=np.float64)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise InputError(f"{np.asarray(given).tolist()} is not a point.", remedy="Give three finite numbers x,y,z.")
    return point
