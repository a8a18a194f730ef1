"""The stages of one part, in the trade's own order, as data.

Each takes the result of the one before. Raise a stage's version whenever its result changes for the same input: the
cache then forgets the old ones. The first stage starts from the bytes of the scan.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from meshflow.job.plan import PartPlan
from meshflow.model.check import CheckReport
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.model.region import Region
from meshflow.model.surface import Surface

__all__ = ["PART_STAGES", "Progress", "Stage", "read_checked"]

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Stage:
    """One step of the way.

    Parameters
    ----------
    name : str
        What the maker calls it.
    version : int
        Raised when the same input gives another result.
    run : callable
        ``run(plan, result_before, progress) -> result``.
    options : callable
        The part of the plan that the result depends on, as plain data.
    """

    name: str
    version: int
    run: Callable[[PartPlan, Any, Progress], Any]
    options: Callable[[PartPlan], dict[str, Any]]


def read_checked(plan: PartPlan, _: Any, progress: Progress) -> tuple[Surface, CheckReport]:
    """Read a scan, check it as it is in the file, and mend what is safe to mend."""
    from meshflow.mesh.check import check
    from meshflow.mesh.mend import mend
    from meshflow.mesh.read import read_mesh

    progress("read", 0.0)
    raw = read_mesh(plan.mesh, units=plan.units)
    progress("check", 0.3)
    report = check(raw)
    refuse_unusable(report)
    progress("mend", 0.7)
    return mend(raw), report


def refuse_unusable(report: CheckReport) -> None:
    """Raise MeshFileError when a check found the surface not fit to use."""
    from meshflow.errors import MeshFileError

    for finding in report.findings:
        if str(finding.severity) == "refuse":
            raise MeshFileError(
                f"{finding.code}: {finding.text}", where=report.source.file, remedy=finding.remedy, faces=finding.faces
            )


def _select(plan: PartPlan, before: tuple[Surface, CheckReport], progress: Progress) -> Region:
    from meshflow.regions import select

    return select(
        before[0],
        plan.region,
        name=plan.tryout_of or plan.name,
        thickness=plan.thickness_mm,
        side=plan.side,
        face_up=plan.face_up,
        seam=plan.seam,
        progress=progress,
    )


def _carrier(plan: PartPlan, before: Region, progress: Progress) -> Region:
    from meshflow.mesh.carrier import carrier_surface

    progress("smooth", 0.0)
    return carrier_surface(before, length=plan.smooth)


def _neutral(plan: PartPlan, before: Region, progress: Progress) -> Region:
    from meshflow.regions import neutral_surface

    progress("offset", 0.0)
    return _without_scan(neutral_surface(before))


def _without_scan(region: Region) -> Region:
    """Drop the scan itself from the record: a pattern must not carry three million faces through the cache."""
    surface = Surface(vertices=np.empty((0, 3)), faces=np.empty((0, 3), dtype=np.int64), source=region.surface.source)
    return replace(region, surface=surface)


def _flatten(plan: PartPlan, before: Region, progress: Progress) -> FlatPattern:
    from meshflow.flatten import flatten

    grain = None if plan.grain_deg is None else float(np.radians(plan.grain_deg))
    return flatten(before, limits=plan.limits, grain_rad=grain, progress=progress)


def _outline(plan: PartPlan, before: FlatPattern, progress: Progress) -> Part:
    from meshflow.outline import outline, tryout

    progress("outline", 0.0)
    part = outline(
        before,
        tolerance=plan.tolerance_mm,
        grain=plan.material.grain,
        material=plan.material.id,
        process=plan.process.id,
        quantity=plan.quantity,
        may_mirror=plan.may_mirror,
        turns_deg=plan.turns_deg,
    )
    kerf = plan.process.kerf_mm
    if plan.tryout_kind is None:
        return replace(part, kerf_mm=kerf)
    return tryout(part, kind=plan.tryout_kind, thickness_mm=plan.thickness_mm, kerf_mm=kerf)


PART_STAGES: tuple[Stage, ...] = (
    Stage("read", 1, read_checked, lambda p: {"units": p.units, "suffix": p.mesh.suffix.lower(), "file": p.mesh.name}),
    Stage(
        "select",
        1,
        _select,
        lambda p: {
            "name": p.tryout_of or p.name,
            "region": p.region,
            "seam": p.seam,
            "thickness": p.thickness_mm,
            "side": p.side,
            "face_up": p.face_up,
        },
    ),
    Stage("carrier", 1, _carrier, lambda p: {"smooth": p.smooth}),
    Stage("neutral", 1, _neutral, lambda p: {}),
    Stage(
        "flatten",
        1,
        _flatten,
        lambda p: {
            "stretch": p.limits.stretch,
            "gather": p.limits.gather,
            "bend": p.limits.least_bend_radius_mm,
            "source": p.limits.source,
            "grain": p.grain_deg,
        },
    ),
    Stage(
        "outline",
        1,
        _outline,
        lambda p: {
            "tolerance": p.tolerance_mm,
            "material": p.material.id,
            "process": p.process.id,
            "kerf": p.process.kerf_mm,
            "quantity": p.quantity,
            "may_mirror": p.may_mirror,
            "turns": p.turns_deg,
            "grain": p.material.grain,
            "tryout": p.tryout_kind,
        },
    ),
)
