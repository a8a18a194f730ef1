"""The job record: what went in, with which versions and options, what came out, and how long it took.

The only output with a clock time in it: two records of one job, run in two places, differ in ``work``, ``times`` and
``machine`` alone.
"""

from __future__ import annotations

import importlib.metadata
import platform
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import meshflow
from meshflow.errors import FaultError
from meshflow.geometry.linear import BACKEND
from meshflow.job.measure import MEASURE_VERSION
from meshflow.job.plan import AssemblyPlan, MeasurePlan
from meshflow.job.results import JobResult, MadePart, MadeTool, NestGroup, RefusedPart
from meshflow.job.scans import file_hash
from meshflow.job.stages import NEST_VERSION, PART_STAGES
from meshflow.job.toolroom import RELIEF_VERSION, TOOL_VERSION
from meshflow.model.assembly import Assembly
from meshflow.model.layout import SheetLayout
from meshflow.model.part import Part

__all__ = ["job_record", "versions"]

LIBRARIES = (
    *("numpy", "scipy", "shapely", "ezdxf", "pyclipper", "numba"),
    *("matplotlib", "jinja2", "pydantic", "reportlab"),
)


def versions() -> dict[str, str]:
    """Return the versions of meshflow and of the libraries whose numbers end up in the files."""
    found = {"meshflow": meshflow.__version__}
    for name in LIBRARIES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = "not installed"
    return found


def job_record(result: JobResult, folder: Path, *, started: float) -> dict[str, Any]:
    """Return the record of a run as plain data.

    Parameters
    ----------
    result : JobResult
        What the run came to.
    folder : Path
        Folder that holds the files written so far; their hashes are taken from it.
    started : float
        When the run began [s since the epoch].

    Returns
    -------
    dict
        JSON data.
    """
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {
        "schema": "meshflow-record-1",
        "title": result.plan.title,
        "job_file": result.plan.file.name,
        "job_hash": result.job_hash,
        "complete": result.complete,
        "versions": versions(),
        "solver": BACKEND,
        "stages": {
            **{stage.name: stage.version for stage in PART_STAGES.values()},
            "nest": NEST_VERSION,
            "measure": MEASURE_VERSION,
            "relief": RELIEF_VERSION,
            "tool": TOOL_VERSION,
        },
        "options": result.plan.canonical,
        "inputs": _inputs(result),
        "parts": [_part(made) for made in result.made],
        "refused": [_refused(refused) for refused in result.refused],
        "assemblies": [_assembly(plan, assembly) for plan, assembly in result.assemblies],
        "not_assembled": [{"assembly": plan.name, "reason": str(error)} for plan, error in result.unassembled],
        "nests": [_nest(group) for group in result.nests],
        "not_nested": [{"group": name, "reason": str(error)} for name, error in result.unnested],
        "measures": [_measure(plan, measure.to_json()) for plan, measure in result.measures],
        "not_measured": [_measure(plan, {"reason": str(error)}) for plan, error in result.unmeasured],
        "reliefs": [{"name": made.plan.name, **made.about} for made in result.reliefs],
        "not_lifted": [{"relief": plan.name, "reason": str(error)} for plan, error in result.unlifted],
        "tools": [_tool(made) for made in result.tools],
        "not_tooled": [{"tool": plan.name, "reason": str(error)} for plan, error in result.untooled],
        "outputs": [
            {"file": path.relative_to(folder).as_posix(), "sha256": file_hash(path), "bytes": path.stat().st_size}
            for path in files
        ],
        "work": {"stages_computed": result.redone, "stages_from_cache": result.kept},
        "times": {
            "started": datetime.fromtimestamp(started, UTC).isoformat(timespec="seconds"),
            "finished": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": {name: round(spent, 3) for name, spent in sorted(result.seconds.items())},
        },
        "machine": {"python": platform.python_version(), "system": platform.system(), "processor": platform.machine()},
    }


def _inputs(result: JobResult) -> list[dict[str, Any]]:
    """Return every file that went in, as the job names it, with its hash; none where it could not be read."""
    plan = result.plan
    own = [(plan.file, plan.file.name, "job")]
    own += [(plan.stock_file, str(plan.canonical["stock"]), "stock")] if plan.stock_file else []
    files: list[dict[str, Any]] = [{"file": name, "kind": kind, "sha256": _hash(path)} for path, name, kind in own]
    reports = {part.scan: report.source for part, report in result.reports}
    for part in {part.scan: part for part in plan.parts}.values():
        source = reports.get(part.scan)
        units = {"unit": source.unit, "unit_from": source.unit_from} if source else {}
        digest = source.sha256 if source else _hash(part.mesh)
        files.append({"file": part.scan, "kind": "scan", "sha256": digest, **units})
    more: list[Any] = [*plan.measures, *plan.reliefs, *(tool for tool in plan.tools if tool.mesh)]
    measured = {one.scan: one.mesh for one in more if one.scan not in {part.scan for part in plan.parts}}
    files += [{"file": scan, "kind": "scan", "sha256": _hash(mesh)} for scan, mesh in measured.items()]
    named = [part.lines for part in plan.parts] + [one.lines for one in more]
    lines = {line.name: line for some in named for line in some}
    files += [{"file": line.name, "kind": "line", "sha256": line.sha256} for line in lines.values()]
    drawings = {name: drawing for part in plan.parts for name, drawing in part.drawings.items()}
    drawings = {name: drawing for name, drawing in drawings.items() if name not in lines}
    return files + [{"file": name, "kind": "drawing", "sha256": one.sha256} for name, one in drawings.items()]


def _tool(made: MadeTool) -> dict[str, Any]:
    """Return what the record says of a tool: its figures, without the sheet for people."""
    told = made.tool.to_json()
    return {name: value for name, value in told.items() if name not in ("sheet", "cautions", "solids")}


def _hash(path: Path) -> str | None:
    try:
        return file_hash(path)
    except OSError:
        return None


def _measure(plan: MeasurePlan, what: dict[str, Any]) -> dict[str, Any]:
    return {"name": plan.name, "mesh": plan.scan, "kind": plan.kind, "asked": plan.text, **what}


def _refused(refused: RefusedPart) -> dict[str, Any]:
    error = refused.error
    said: dict[str, Any] = {"part": refused.plan.name, "reason": str(error)}
    # A fault of our own is reported with this record: say where it was.
    return {**said, "frames": list(error.frames)} if isinstance(error, FaultError) else said


def _part(made: MadePart) -> dict[str, Any]:
    pattern = made.part.pattern
    figures: dict[str, Any] = {}
    if pattern is not None:
        measured = pattern.distortion
        figures = {
            "verdict": str(pattern.verdict),
            "area_flat_mm2": round(float(measured.area_flat.sum()), 3),
            "rim_length_flat_mm": round(measured.rim_length_flat_mm, 3),
            "stretch_p01": round(measured.percentile(0.01), 6),
            "stretch_p99": round(measured.percentile(0.99), 6),
            "smoothed_mm": round(pattern.region.smoothing.moved_max_mm, 4),
            "conjectured_share": round(pattern.conjectured_share, 6),
            "mirrored_share": round(pattern.mirrored_share, 6),
        }
    return {
        "name": made.plan.name,
        **({"opposite_of": made.plan.opposite_of} if made.plan.opposite_of else {}),
        "mesh": made.plan.scan or made.plan.mesh.name,
        "material": made.plan.material.id,
        "thickness_mm": made.plan.thickness_mm,
        "side": made.plan.side,
        "offset_mm": made.plan.offset_mm,
        "quantity": made.plan.quantity,
        "turns_deg": list(made.part.turns_deg),
        "may_mirror": made.part.may_mirror,
        **_laying(made.part),
        "contour": _contour(made),
        "key": made.key,
        **figures,
        "findings": [note.to_json() for note in made.notes],
    }


def _assembly(plan: AssemblyPlan, assembly: Assembly) -> dict[str, Any]:
    return {
        "name": plan.name,
        "layers": list(plan.layers),
        "holes": len(assembly.holes),
        "findings": [note.to_json() for note in assembly.notes],
    }


def _contour(made: MadePart) -> dict[str, Any]:
    """Return how the contours of a part lie to the rim of its surface, for whoever checks them afterwards."""
    part = made.part
    seamed = bool(part.allowance_mm) and part.pattern is not None and bool(part.pattern.seams)
    seamed |= bool(part.allowances)
    return {
        "drawn": not made.refusals,
        "tolerance_mm": part.contour_tolerance_mm,
        "allowance_mm": max(part.allowance_mm, part.allowance_reach_mm),
        "kerf_compensated_mm": part.kerf_compensated_mm,
        "allowance_everywhere": not seamed,
        "tab_gap_mm": part.tab_gap_mm,
    }


def _laying(part: Part) -> dict[str, Any]:
    """Return what nesting may do with a part beyond turning it, where that is anything."""
    said = {"turn_play_deg": part.turn_play_deg, "most": part.most, "least_grade": part.least_grade}
    grain = {} if part.grain_deg is None else {"grain_deg": part.grain_deg}
    zones = {"zones": [zone.least_grade for zone in part.zones]} if part.zones else {}
    return {**{key: value for key, value in said.items() if value}, **grain, **zones}


def _cut(layout: SheetLayout, group: NestGroup) -> dict[str, Any]:
    """Return what cutting a sheet takes; time and cost where the shop's stock file says how fast it cuts."""
    from meshflow.nest.cutting import sheet_cut

    cut = sheet_cut(layout, [made.part for made in group.parts], group.parts[0].plan.process)
    figures = {"cut_mm": cut.cut_mm, "pierces": cut.pierces, "time_s": cut.time_s, "cost": cut.cost}
    return {name: round(value, 3) for name, value in figures.items() if value is not None}


def _usable(layouts: Sequence[SheetLayout]) -> dict[str, Any]:
    """Return what is covered of hides and offcuts and what could be at most; none of plain rectangles."""
    from meshflow.nest.record import usable_json

    said = [usable_json(layout) or None for layout in layouts]
    return {"usable": said} if any(said) else {}


def _nest(group: NestGroup) -> dict[str, Any]:
    sheets = [layout.sheet for layout in group.nest.sheets]
    return {
        "group": group.name,
        "parts": [made.plan.name for made in group.parts],
        "on": [
            {
                "sheet": sheet.id,
                "length_mm": sheet.length_mm,
                "width_mm": sheet.width_mm,
                "material": sheet.material,
                "thickness_mm": sheet.thickness_mm,
                "count": sheet.count,
            }
            for sheet in sheets
        ],
        "sheets": len(group.nest.sheets),
        "sheets_lower_bound": group.nest.sheets_lower_bound,
        "utilisation": [round(layout.utilisation, 6) for layout in group.nest.sheets],
        **_usable(group.nest.sheets),
        "cut": [_cut(layout, group) for layout in group.nest.sheets],
        "unplaced": [{"part": name, "count": count} for name, count in group.nest.unplaced],
        "verified": group.nest.verified,
        "stopped_by": group.nest.stopped_by,
    }
