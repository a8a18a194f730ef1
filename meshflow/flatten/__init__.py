"""Laying flat: from a disk-shaped region to its outline on the bench, and what the material must give.

Order of work: unroll exactly if the piece is developable; else a boundary-first conformal map, then the flattening that
the material wants (`shape`): of least symmetric Dirichlet energy, of least worst stretch, of least work of threads or
of sheet. A lower bound says what no uncut pattern can beat (`bound`). No face is ever flipped; an outline that runs
over itself is reported and never passed on in silence. Stretch is formed over flat (`meshflow.model.pattern`); the
modules below work with the reciprocal, as the papers do, and say so.

Findings: F101 the outline runs over itself, F102 area over the limit, F103 a bend tighter than the material bears,
F104 stopped early, F121 a rim that wrinkles, F122 strain beyond any sheet, F123 a blank for another exponent, F131
threads that lock.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.topology import boundary_loops, euler_characteristic, shells
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding
from meshflow.model.forming import Hardening, Weave
from meshflow.model.pattern import Distortion, FlatPattern, Limits, Verdict
from meshflow.model.region import Region
from meshflow.model.stock import Objective
from meshflow.rooms import callable_room

if TYPE_CHECKING:
    from meshflow.flatten.bound import StretchBound

__all__ = ["flatten"]


def flatten(
    region: Region,
    *,
    limits: Limits | None = None,
    objective: Objective = "isometric",
    hardening: Hardening | None = None,
    weave: Weave | None = None,
    trim_mm: float | None = None,
    grain_rad: float | None = None,
    prove: bool = True,
    progress: Callable[[str, float], None] | None = None,
) -> FlatPattern:
    """Lay a region flat.

    Parameters
    ----------
    region : Region
        A disk-shaped piece, inner holes allowed, already on its carrier and neutral surface.
    limits : Limits, optional
        What the material bears; without it the piece is judged as one that can neither stretch nor gather.
    objective : {"isometric", "least_worst", "woven", "formed"}
        What is made least: the symmetric Dirichlet energy, the worst stretch, the work of cloth or leather, the
        plastic work of annealed sheet. A developable piece is unrolled exactly, whatever is asked.
    hardening : Hardening, optional
        How the metal hardens; needed for ``formed``.
    weave : Weave, optional
        How stiff the material is along and across its grain and in shear; needed for ``woven``.
    trim_mm : float, optional
        For ``formed``: width to be trimmed off after forming [mm]; by default as `meshflow.flatten.thickness` says.
    grain_rad : float, optional
        Direction of the grain on the flat, counter-clockwise from x [rad].
    prove : bool
        Whether to look for a lower bound on the stretch. Callers that only compare shapes do without.
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
    OptionError
        If the objective lacks what it computes with.

    Examples
    --------
    >>> import meshflow
    >>> surface = meshflow.read_mesh("finial.stl", units="mm")  # doctest: +SKIP
    >>> meshflow.flatten(meshflow.select(surface)).verdict  # doctest: +SKIP
    <Verdict.LIES_FLAT: 'lies_flat'>
    """
    from meshflow.flatten.bound import StretchBound, stretch_bound
    from meshflow.flatten.distortion import distortion
    from meshflow.flatten.rims import edges_and_seams, loops_by_length
    from meshflow.flatten.shape import Wanted, flat_shape
    from meshflow.flatten.verdict import verdict_of
    from meshflow.geometry.linear import BACKEND

    _refuse_what_is_no_disk(region)
    vertices, faces = region.vertices, region.faces
    loops = loops_by_length(vertices, faces)
    on_boundary = np.zeros(len(vertices), dtype=bool)
    on_boundary[np.concatenate(loops)] = True
    wanted = Wanted(objective, limits, hardening, weave, grain_rad or 0.0, trim_mm)
    shape = flat_shape(region, loops[0], on_boundary, wanted, progress)
    measured = distortion(vertices, shape.flat, faces, loops[0])
    if measured.flipped_faces:
        raise FlattenError(
            f"{measured.flipped_faces} faces came out upside down; nothing was handed on.",
            where=region.name,
            remedy="Mend the piece (`meshflow check` names its worst faces) or smooth it with a longer length.",
        )
    developed = shape.method == "developed"
    bound = stretch_bound(vertices, faces, shape.flat) if prove and not developed else StretchBound()
    limits = limits or Limits(source="no material named: judged as one that cannot stretch")
    verdict = verdict_of(measured, limits, region.thickness, lambda: bound.ratio)
    edges, seams = edges_and_seams(region, shape.flat, loops)
    return FlatPattern(
        region=region,
        vertices=shape.flat,
        distortion=measured,
        limits=limits,
        verdict=verdict,
        edges=edges,
        seams=seams,
        grain_rad=grain_rad,
        method=shape.method,
        energy=shape.energy,
        iterations=shape.iterations,
        stopped_by=shape.stopped_by,
        memory_bytes=shape.memory_bytes,
        notes=(*_notes(region, shape.flat, measured, limits, verdict, bound, shape.stopped_by), *shape.notes),
        lower_bound_stretch=bound.worst_stretch,
        backend="" if developed else BACKEND,
        forming=shape.forming,
        shear=shape.shear,
    )


def _notes(
    region: Region,
    flat: FloatArray,
    measured: Distortion,
    limits: Limits,
    verdict: Verdict,
    bound: StretchBound,
    stopped_by: str,
) -> tuple[Finding, ...]:
    """Return the findings, with the places they speak of; those are looked for only where there is something to say."""
    from meshflow.flatten.distortion import tight_faces
    from meshflow.flatten.overlap import overlap_places
    from meshflow.flatten.verdict import findings_of, too_tight

    vertices, faces, tight = region.vertices, region.faces, None
    if too_tight(measured, limits, region.thickness):
        tight = tight_faces(vertices, faces, limits.least_bend_radius_mm + 0.5 * region.thickness)
    return findings_of(
        measured,
        limits,
        region.thickness,
        verdict,
        region.face_parent,
        stopped_by=stopped_by,
        overlaps=overlap_places(vertices, flat, faces) if measured.overlap else (),
        bound=bound,
        tight=tight,
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


callable_room(__name__, flatten)
