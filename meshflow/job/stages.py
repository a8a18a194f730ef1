"""The stages of one part, in the trade's own order, as data.

A stage names the stages whose results it takes; the first starts from the bytes of the scan. `walk` pulls the results
it needs through this list. Raise a stage's version whenever its result changes for the same input: the cache then
forgets the old ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import astuple, dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from meshflow.job.fitness import cutting_options, fitted
from meshflow.job.plan import PartPlan
from meshflow.model.asked import Marking
from meshflow.model.check import CheckReport
from meshflow.model.dart import DartedRegion
from meshflow.model.finding import Severity
from meshflow.model.forming import Hardening, Weave
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.model.region import Region
from meshflow.model.surface import Surface

__all__ = ["NEST_VERSION", "PART_STAGES", "Progress", "Stage"]

Progress = Callable[[str, float], None]

NEST_VERSION: Final = 4


@dataclass(frozen=True)
class Stage:
    """One step of the way.

    Parameters
    ----------
    name : str
        What the maker calls it.
    version : int
        Raised when the same input gives another result.
    inputs : tuple of str
        Stages whose results it takes, in this order; none for the stage that reads the scan.
    run : callable
        ``run(plan, *results, progress=progress) -> result``.
    options : callable
        The part of the plan that the result depends on, as plain data.
    kept : bool
        Whether the cache keeps the result. The scan as read is not worth it: it lies on the disk already.
    """

    name: str
    version: int
    inputs: tuple[str, ...]
    run: Callable[..., Any]
    options: Callable[[PartPlan], dict[str, Any]]
    kept: bool = True


def _read(plan: PartPlan, *, progress: Progress) -> Surface:
    from meshflow.mesh.read import read_mesh

    progress("reading", 0.0)
    return read_mesh(plan.mesh, units=plan.units)


def _check(plan: PartPlan, scan: Surface, *, progress: Progress) -> CheckReport:
    from meshflow.mesh.check import check

    progress("checking", 0.0)
    return check(scan)


def _mend(plan: PartPlan, scan: Surface, report: CheckReport, *, progress: Progress) -> Surface:
    from meshflow.mesh.mend import mend

    _refuse_unusable(report)
    progress("mending", 0.0)
    return mend(scan)


def _refuse_unusable(report: CheckReport) -> None:
    """Raise MeshFileError when a check found the surface not fit to use."""
    from meshflow.errors import MeshFileError

    for finding in report.findings:
        if finding.severity is Severity.REFUSE:
            raise MeshFileError(
                f"{finding.code}: {finding.text}", where=report.source.file, remedy=finding.remedy, faces=finding.faces
            )


def _select(plan: PartPlan, scan: Surface, *, progress: Progress) -> Region:
    from meshflow.regions import select

    region = select(
        scan,
        plan.region,
        name=plan.drawn_as,
        thickness=plan.thickness_mm,
        side=plan.side,
        face_up=plan.face_up,
        seam=plan.seam,
        closed=True,
        lines={line.name: line.points for line in plan.lines},
        progress=progress,
    )
    return _without_scan(region)


def _without_scan(region: Region) -> Region:
    """Drop the scan's own triangles: no later stage looks at them, and a piece must not carry three million faces."""
    surface = Surface(vertices=np.empty((0, 3)), faces=np.empty((0, 3), dtype=np.int64), source=region.surface.source)
    return replace(region, surface=surface)


def _carrier(plan: PartPlan, piece: Region, *, progress: Progress) -> Region:
    from meshflow.mesh.carrier import carrier_surface

    progress("smoothing", 0.0)
    return carrier_surface(piece, length=plan.smooth)


def _neutral(plan: PartPlan, piece: Region, *, progress: Progress) -> Region:
    from meshflow.regions import neutral_surface

    progress("offsetting", 0.0)
    return neutral_surface(piece, offset_mm=plan.offset_mm)


def _darts(plan: PartPlan, scan: Surface, piece: Region, *, progress: Progress) -> DartedRegion:
    from meshflow.job.dart_stage import with_darts

    darted = with_darts(plan, scan, piece, progress=progress)
    return replace(darted, region=_seated(darted.region, scan))


def _seated(region: Region, scan: Surface) -> Region:
    """Note where each vertex lies on the scan: the last stage that has the scan at hand."""
    corners = scan.vertices[scan.faces[region.vertex_parent]]
    return replace(region, on_scan=np.einsum("ni,nij->nj", region.barycentric, corners))


def _flatten(plan: PartPlan, darted: DartedRegion, *, progress: Progress) -> FlatPattern:
    from meshflow.job.dart_stage import laid
    from meshflow.job.darts import with_dart_edges

    progress("flattening", 0.0)
    tell = partial(_tell, progress)
    pattern = laid(plan, darted.region, plan.limits, prove=True, progress=tell)
    return with_dart_edges(pattern, darted)


def _tell(progress: Progress, what: str, share: float) -> None:
    progress("flattening", share)


def _bears(plan: PartPlan) -> dict[str, Any]:
    """Return what a part is judged by, as plain data."""
    limits = plan.limits
    return {
        "stretch": limits.stretch,
        "gather": limits.gather,
        "bend": limits.least_bend_radius_mm,
        "source": limits.source,
    }


def _wants(plan: PartPlan) -> dict[str, Any]:
    """Return what laying a part flat makes least, and what that computes with, as plain data."""
    return {
        "grain": plan.grain_deg,
        "objective": plan.objective,
        "trim": plan.trim_mm,
        "hardening": _figures(plan.material.hardening) if plan.objective == "formed" else None,
        "weave": _figures(plan.material.weave) if plan.objective == "woven" else None,
    }


def _figures(record: Hardening | Weave | None) -> list[str] | None:
    """Return the numbers of a material as plain data; an infinite lock is none that JSON knows."""
    return None if record is None else [repr(value) for value in astuple(record)]


def _marking(plan: PartPlan, scan: Surface, pattern: FlatPattern, *, progress: Progress) -> Marking:
    from meshflow.job.marking import marked

    progress("finding points and lines", 0.0)
    return marked(plan.asked, scan, pattern, drawings=plan.drawings, tolerance=plan.tolerance_mm)


def _outline(
    plan: PartPlan, pattern: FlatPattern, marking: Marking, report: CheckReport, *, progress: Progress
) -> Part:
    from meshflow.geometry.settle import rim_noise
    from meshflow.job.assembly import with_shared
    from meshflow.job.letters import lettered
    from meshflow.outline import outline, tryout
    from meshflow.outline.contour import pattern_loops
    from meshflow.outline.opposite import opposite
    from meshflow.outline.tolerance import chosen_tolerance

    progress("outlining", 0.0)
    tolerance, why = plan.tolerance_mm, ""
    if plan.tolerance_chosen:
        rough = rim_noise(pattern.vertices[pattern_loops(pattern)[0].vertices])
        tolerance, why = chosen_tolerance(rough, report.noise_sigma_mm, least=plan.tolerance_mm)
    part = outline(
        pattern,
        tolerance=tolerance,
        why=why,
        allowances=plan.allowances,
        fit=plan.fit,
        grain=plan.material.grain,
        material=plan.material.id,
        process=plan.process.id,
        quantity=plan.quantity,
        may_mirror=plan.may_mirror,
        turns_deg=plan.turns_deg,
        marking=with_shared(marking, plan.shared),
        rules=plan.rules,
    )
    part = lettered(opposite(part) if plan.opposite_of else part)
    kerf = plan.process.kerf_mm
    part = replace(part, turn_play_deg=plan.turn_play_deg, most=plan.most, least_grade=plan.least_grade)
    if plan.tryout_kind is None:
        return fitted(replace(part, kerf_mm=kerf), plan)
    return fitted(tryout(part, kind=plan.tryout_kind, thickness_mm=plan.thickness_mm, kerf_mm=kerf), plan)


_STAGES = (
    Stage("read", 2, (), _read, lambda p: {"units": p.units, "file": p.mesh.name}, kept=False),
    Stage("check", 2, ("read",), _check, lambda p: {}),
    Stage("mend", 2, ("read", "check"), _mend, lambda p: {}),
    Stage(
        "select",
        4,
        ("mend",),
        _select,
        lambda p: {
            "name": p.drawn_as,
            "region": p.region,
            "lines": {line.name: line.sha256 for line in p.lines},
            "seam": p.seam,
            "thickness": p.thickness_mm,
            "side": p.side,
            "face_up": p.face_up,
        },
    ),
    Stage("carrier", 2, ("select",), _carrier, lambda p: {"smooth": p.smooth}),
    Stage("neutral", 2, ("carrier",), _neutral, lambda p: {"offset": p.offset_mm}),
    Stage(
        "darts",
        2,
        ("mend", "neutral"),
        _darts,
        lambda p: (
            {}
            if p.darts == "none"
            else {
                "darts": p.darts,
                "symmetric": p.symmetric,
                "keep_out": p.keep_out,
                "finger": p.finger_mm,
                "thickness": p.thickness_mm,
                "lines": [line.sha256 for line in p.lines],
                **_bears(p),
                **_wants(p),
            }
        ),
    ),
    Stage(
        "flatten",
        3,
        ("darts",),
        _flatten,
        lambda p: {**_bears(p), **_wants(p)},
    ),
    Stage(
        "marking",
        1,
        ("mend", "flatten"),
        _marking,
        lambda p: (
            {
                "asked": repr(p.asked),
                "drawings": {n: d.sha256 for n, d in p.drawings.items()},
                "tolerance": p.tolerance_mm,
            }
            if p.asked
            else {}
        ),
    ),
    Stage(
        "outline",
        6,
        ("flatten", "marking", "check"),
        _outline,
        lambda p: {
            **({"rules": repr(p.rules)} if p.asked or p.shared else {}),
            **({"shared": [repr(one) for one in p.shared]} if p.shared else {}),
            "tolerance": p.tolerance_mm,
            **({"tolerance_chosen": True} if p.tolerance_chosen else {}),
            **({"fit": p.fit} if p.fit != "near" else {}),
            **({"allowances": [repr(row) for row in p.allowances]} if p.allowances else {}),
            "material": p.material.id,
            "grain": p.material.grain,
            "process": p.process.id,
            "kerf": p.process.kerf_mm,
            "quantity": p.quantity,
            "may_mirror": p.may_mirror,
            "turns": p.turns_deg,
            **(
                {"laying": [p.turn_play_deg, p.most, p.least_grade]}
                if p.turn_play_deg or p.most or p.least_grade
                else {}
            ),
            "tryout": p.tryout_kind,
            **({"opposite": True} if p.opposite_of else {}),
            **cutting_options(p),
        },
    ),
)

PART_STAGES: Final[Mapping[str, Stage]] = MappingProxyType({stage.name: stage for stage in _STAGES})
