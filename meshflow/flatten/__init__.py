"""Laying flat: from a disk-shaped region to its outline on the bench, and what the material must give.

Order of work: unroll exactly if the piece is developable; else a boundary-first conformal map, then the flattening of
least symmetric Dirichlet energy. No face is ever flipped; an outline that runs over itself is reported and never
passed on in silence. Stretch is formed over flat (`meshflow.model.pattern`); the modules below work with the
reciprocal, as the papers do, and say so.

Findings: F101 the outline runs over itself, F102 area over the limit, F103 a bend tighter than the material bears,
F104 stopped early.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.topology import boundary_loops, euler_characteristic, shells
from meshflow.geometry.triangles import angle_defects, corner_angles, edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import FlatPattern, Limits
from meshflow.model.region import Region
from meshflow.rooms import callable_room

__all__ = ["flatten"]


def flatten(
    region: Region,
    *,
    limits: Limits | None = None,
    grain_rad: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> FlatPattern:
    """Lay a region flat.

    Parameters
    ----------
    region : Region
        A disk-shaped piece, inner holes allowed, already on its carrier and neutral surface.
    limits : Limits, optional
        What the material bears; without it the piece is judged as one that can neither stretch nor gather.
    grain_rad : float, optional
        Direction of the grain on the flat, counter-clockwise from x [rad].
    progress : callable, optional
        Called as ``progress("flatten", share_done)``.

    Returns
    -------
    FlatPattern
        Flat positions, stretch and verdict; no face is flipped.

    Raises
    ------
    FlattenError
        If the region is not one disk, or no flat shape without a flipped face was found.

    Examples
    --------
    >>> import meshflow
    >>> surface = meshflow.read_mesh("finial.stl", units="mm")  # doctest: +SKIP
    >>> meshflow.flatten(meshflow.select(surface)).verdict  # doctest: +SKIP
    <Verdict.LIES_FLAT: 'lies_flat'>
    """
    from meshflow.flatten.distortion import distortion
    from meshflow.flatten.rims import edges_and_seams, loops_by_length
    from meshflow.flatten.verdict import findings_of, verdict_of

    _refuse_what_is_no_disk(region)
    vertices, faces = region.vertices, region.faces
    loops = loops_by_length(vertices, faces)
    on_boundary = np.zeros(len(vertices), dtype=bool)
    on_boundary[np.concatenate(loops)] = True
    flat, energy, iterations, method, stopped = _flat_shape(vertices, faces, on_boundary, progress)
    measured = distortion(vertices, flat, faces, loops[0])
    if measured.flipped_faces:
        raise FlattenError(
            f"{measured.flipped_faces} faces came out upside down; nothing was handed on.",
            where=region.name,
            remedy="Mend the piece (`meshflow check` names its worst faces) or smooth it with a longer length.",
        )
    limits = limits or Limits(source="no material named: judged as one that cannot stretch")
    verdict = verdict_of(measured, limits, region.thickness, lambda: _bound(vertices, faces, on_boundary))
    edges, seams = edges_and_seams(region, flat, loops)
    return FlatPattern(
        region=region,
        vertices=flat,
        distortion=measured,
        limits=limits,
        verdict=verdict,
        edges=edges,
        seams=seams,
        grain_rad=grain_rad,
        method=method,
        energy=energy,
        iterations=iterations,
        stopped_by=stopped,
        notes=findings_of(measured, limits, region.thickness, verdict, region.face_parent, stopped_by=stopped),
    )


def _refuse_what_is_no_disk(region: Region) -> None:
    faces = region.faces
    if len(faces) == 0:
        raise FlattenError("the region has no faces.", where=region.name, remedy="Pick a larger region.")
    pieces = int(shells(faces).max()) + 1
    if pieces > 1:
        raise FlattenError(
            f"the region falls into {pieces} loose pieces.", where=region.name, remedy="Pick them one by one."
        )
    loops = boundary_loops(faces)
    if not loops or euler_characteristic(faces) != 2 - len(loops):
        raise FlattenError(
            f"the region is not a disk: {len(loops)} boundary loops, Euler characteristic "
            f"{euler_characteristic(faces)}.",
            where=region.name,
            remedy="Open it along a seam, or pick a part of it.",
        )


def _flat_shape(
    vertices: FloatArray,
    faces: IntArray,
    on_boundary: BoolArray,
    progress: Callable[[str, float], None] | None,
) -> tuple[FloatArray, float, int, Literal["developed", "isometric"], str]:
    from meshflow.flatten.develop import unrolled
    from meshflow.flatten.isometric import IsometricSolver
    from meshflow.flatten.start import first_map

    exact = unrolled(vertices, faces, on_boundary)
    if exact is not None:
        return exact, 4.0, 0, "developed", "developed"
    start, _ = first_map(vertices, faces)
    result = IsometricSolver(vertices, faces).solve(start, progress=progress)
    return result.flat, result.energy, result.iterations, "isometric", result.stopped_by


def _bound(vertices: FloatArray, faces: IntArray, on_boundary: BoolArray) -> float:
    """Try discs about the vertex farthest from the rim and about the places of strongest net curvature."""
    from meshflow.flatten.bound import least_stretch_ratio
    from meshflow.geometry.geodesics import geodesic_distance

    depth = geodesic_distance(vertices, faces, np.flatnonzero(on_boundary))
    defects = angle_defects(faces, corner_angles(edge_lengths(vertices, faces)), on_boundary)
    domed = np.where(on_boundary, -np.inf, defects * depth)
    centres = np.concatenate([[int(np.argmax(depth))], np.argsort(-domed, kind="stable")[:4]])
    return least_stretch_ratio(vertices, faces, on_boundary, np.unique(centres))


callable_room(__name__, flatten)
