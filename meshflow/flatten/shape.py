"""The flat shape of a disk: unrolled exactly where that is possible, else by what the material wants least.

What each objective makes least stands in its own module: `isometric`, `least_worst`, `woven`, `formed`. All of them
start from the same map, and none of them ever flips a face.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.flatten.develop import unrolled
from meshflow.flatten.formed import formed
from meshflow.flatten.isometric import isometric
from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective
from meshflow.flatten.least_worst import least_worst
from meshflow.flatten.newton import Progress, ProjectedNewton, part_of
from meshflow.flatten.shear import findings_of_shear, shear_of
from meshflow.flatten.start import first_map
from meshflow.flatten.thickness import findings_of_forming, forming_of
from meshflow.flatten.woven import woven
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.forming import Forming, Hardening, Shear, Weave
from meshflow.model.pattern import Limits, Method
from meshflow.model.region import Region
from meshflow.model.stock import Objective

__all__ = ["FlatShape", "Wanted", "flat_shape"]


@dataclass(frozen=True)
class Wanted:
    """What to make least, and what that needs to know of the material; see `meshflow.flatten.flatten`."""

    objective: Objective = "isometric"
    limits: Limits | None = None
    hardening: Hardening | None = None
    weave: Weave | None = None
    grain_rad: float = 0.0
    trim_mm: float | None = None

    def checked(self, region: Region) -> Wanted:
        """Return self; OptionError when the objective lacks what it computes with."""
        lacks = {
            "formed": "hardening" if self.hardening is None else "",
            "woven": "weave" if self.weave is None else "",
        }.get(self.objective, "")
        if lacks:
            needs = {"hardening": "how the metal hardens", "weave": "how stiff the material is along and across"}[lacks]
            raise OptionError(
                f'the objective "{self.objective}" needs to know {needs}.',
                where=region.name,
                remedy="Name a material whose stock table says it, or take another objective.",
            )
        if self.objective == "formed" and region.thickness <= 0.0:
            raise OptionError(
                "sheet of no thickness cannot be formed.",
                where=region.name,
                remedy='Say the thickness of the sheet, or take the objective "isometric".',
            )
        return self


@dataclass(frozen=True, eq=False)
class FlatShape:
    """Flat positions (n, 2) [mm] and how they were found; the fields are those of `FlatPattern`."""

    flat: FloatArray
    method: Method
    energy: float = 4.0
    iterations: int = 0
    stopped_by: str = "developed"
    forming: Forming | None = None
    shear: Shear | None = None
    notes: tuple[Finding, ...] = ()
    memory_bytes: int = 0


def flat_shape(
    region: Region, rim: IntArray, on_boundary: BoolArray, wanted: Wanted, progress: Progress | None
) -> FlatShape:
    """Return the flat shape of a region.

    Parameters
    ----------
    region : Region
        A disk, inner holes allowed.
    rim : (k,) int array
        The outer boundary loop.
    on_boundary : (n,) bool array
        Which vertices lie on any boundary loop.
    wanted : Wanted
        What to make least.
    progress : callable, optional
        Called as ``progress("flatten", share_done)``; a KeyboardInterrupt out of it ends the search with the best
        shape so far.

    Returns
    -------
    FlatShape
        No face flipped.

    Raises
    ------
    OptionError
        If the objective lacks what it computes with.
    """
    wanted = wanted.checked(region)
    exact = unrolled(region.vertices, region.faces, on_boundary)
    found = FlatShape(exact, "developed") if exact is not None else _least(region, rim, wanted, progress)
    return _with_material(region, rim, wanted, found)


def _least(region: Region, rim: IntArray, wanted: Wanted, progress: Progress | None) -> FlatShape:
    vertices, faces = region.vertices, region.faces
    start, _ = first_map(vertices, faces)
    solver, dirichlet = ProjectedNewton(vertices, faces), IsotropicObjective(DIRICHLET)
    if wanted.objective in ("isometric", "woven"):
        parts = 1 if wanted.objective == "isometric" else 2
        result = isometric(vertices, faces, start, solver=solver, progress=part_of(progress, 0, parts))
        even = FlatShape(
            result.flat,
            "isometric",
            result.energy,
            result.iterations,
            result.stopped_by,
            memory_bytes=result.memory_bytes,
        )
        if wanted.objective == "isometric" or result.stopped_by == "interrupt":
            return even
        start, progress = result.flat, part_of(progress, 1, parts)
    found = _by_material(region, rim, wanted, start, solver, progress)
    # The symmetric Dirichlet energy whatever was made least, so that shapes can be compared.
    energy = solver.energy(np.ascontiguousarray(found.flat[solver.order]), dirichlet)
    return replace(found, energy=energy, memory_bytes=solver.memory_bytes)


def _by_material(
    region: Region,
    rim: IntArray,
    wanted: Wanted,
    start: FloatArray,
    solver: ProjectedNewton,
    progress: Progress | None,
) -> FlatShape:
    vertices, faces = region.vertices, region.faces
    match wanted:
        case Wanted(objective="woven", weave=Weave() as weave):
            cloth = woven(vertices, faces, start, weave=weave, grain_rad=wanted.grain_rad, progress=progress)
            return FlatShape(cloth.flat, "woven", iterations=cloth.iterations, stopped_by=cloth.stopped_by)
        case Wanted(objective="formed", hardening=Hardening() as hardening):
            sheet = formed(
                vertices,
                faces,
                start,
                hardening=hardening,
                sheet_mm=region.thickness,
                rim=rim,
                trim_mm=wanted.trim_mm,
                sewn=region.seam_pairs,
                solver=solver,
                progress=progress,
            )
            return FlatShape(
                sheet.flat, "formed", iterations=sheet.iterations, stopped_by=sheet.stopped_by, forming=sheet.forming
            )
    best = least_worst(vertices, faces, start, limits=wanted.limits, solver=solver, progress=progress)
    return FlatShape(best.flat, "least_worst", iterations=best.iterations, stopped_by=best.stopped_by)


def _with_material(region: Region, rim: IntArray, wanted: Wanted, found: FlatShape) -> FlatShape:
    """Add what the material does on the way from this flat shape to the formed one."""
    vertices, faces = region.vertices, region.faces
    match wanted:
        case Wanted(objective="woven", weave=Weave() as weave):
            shear = shear_of(vertices, found.flat, faces, weave=weave, grain_rad=wanted.grain_rad)
            return replace(found, shear=shear, notes=findings_of_shear(shear, region.face_parent))
        case Wanted(objective="formed", hardening=Hardening() as hardening):
            forming = found.forming or forming_of(
                vertices,
                found.flat,
                faces,
                rim,
                hardening=hardening,
                sheet_mm=region.thickness,
                trim_mm=wanted.trim_mm,
                sewn=region.seam_pairs,
            )
            return replace(found, forming=forming, notes=findings_of_forming(forming))
    return found
