"""Fill the document of a job from what the run came to."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

import meshflow
from meshflow.errors import MeshflowError
from meshflow.job.assembly import layer_words
from meshflow.job.outputs import FOLD_UP, ON_SCAN, RECORD, SURFACE, dxf_name, folds_up, sheet_name
from meshflow.job.papers_tools import finishing_rows, not_tooled, relief_entry, tool_entry
from meshflow.job.plan import JobPlan
from meshflow.job.results import JobResult, MadePart, NestGroup, RefusedPart
from meshflow.model.assembly import Assembly
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import Verdict
from meshflow.model.stock import Process
from meshflow.report import (
    AssemblyEntry,
    Caution,
    DocumentInput,
    FileLink,
    MeasureEntry,
    NestEntry,
    PartEntry,
    ScanEntry,
    document,
)
from meshflow.stock.lookup import Stock

__all__ = ["job_document"]

# Work that follows the cut, by family of the material: metal that lies flat is only bent, what is domed is struck and
# annealed between courses, leather is formed wet (common practice).
_BENT: Final = ("copper", "brass", "bronze", "silver", "steel", "aluminium")
_FORMED: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "copper": ("hand_forming", "annealing", "pickling"),
        "brass": ("hand_forming", "annealing", "pickling"),
        "bronze": ("hand_forming", "annealing", "pickling"),
        "silver": ("hand_forming", "annealing", "pickling"),
        "aluminium": ("hand_forming", "annealing"),
        "steel": ("hand_forming",),
        "leather": ("wet_forming",),
    }
)


def job_document(result: JobResult, folder: Path) -> str:
    """Return the HTML document of a job.

    Parameters
    ----------
    result : JobResult
        What the run came to.
    folder : Path
        Where its files lie; pictures that are shown in the document are read from there.

    Returns
    -------
    str
        The same text for the same job, inputs and versions.

    Raises
    ------
    VerificationError
        If a part's distortion holds a figure that is not a number.
    """
    plan = result.plan
    return document(
        DocumentInput(
            title=plan.title,
            parts=tuple(_part(made, plan) for made in result.made),
            nests=tuple(_nest(group, plan) for group in result.nests),
            assemblies=tuple(_assembly(plan.name, assembly, result, folder) for plan, assembly in result.assemblies),
            scans=_scans(result),
            measures=tuple(
                MeasureEntry(plan.name, plan.scan, measure.value, measure.unit, measure.what)
                for plan, measure in result.measures
            ),
            reliefs=tuple(relief_entry(made, folder, plan) for made in result.reliefs),
            tools=tuple(tool_entry(made, folder, plan) for made in result.tools),
            cautions=_cautions(result),
            files=(
                FileLink(RECORD, "job record: inputs, versions, figures, hashes"),
                *(FileLink(f"packs/{one.folder}/order.pdf", f"order to {one.name}") for one in result.packs),
            ),
            record=(
                ("Job hash", result.job_hash),
                ("meshflow", meshflow.__version__),
                ("Seed", str(plan.seed)),
                ("Effort", str(plan.effort)),
            ),
            refusals=(
                *(_not_made(refused) for refused in result.refused),
                *(_not_nested(name, error) for name, error in result.unnested),
                *(_not_assembled(plan.name, error) for plan, error in result.unassembled),
                *(_not_measured(plan.name, error) for plan, error in result.unmeasured),
                *(_not_packed(plan.name, error) for plan, error in result.unpacked),
                *(not_tooled(plan.name, error, "J107") for plan, error in result.unlifted),
                *(not_tooled(plan.name, error, "J108") for plan, error in result.untooled),
            ),
        )
    )


def _not_made(refused: RefusedPart) -> Finding:
    error = refused.error
    place = f"{error.where}: " if error.where and error.where != refused.plan.name else ""
    text = f"not made: {place}{error.what}"
    return Finding("J101", Severity.REFUSE, text, error.remedy, faces=error.faces, where=refused.plan.name)


def _not_nested(name: str, error: MeshflowError) -> Finding:
    place = f"{error.where}: " if error.where and error.where != name else ""
    return Finding("J102", Severity.REFUSE, f"not nested: {place}{error.what}", error.remedy, where=name)


def _not_assembled(name: str, error: MeshflowError) -> Finding:
    text = f"its shared holes were not found: {f'{error.where}: ' if error.where != name else ''}{error.what}"
    return Finding("J105", Severity.REFUSE, text, error.remedy, where=name)


def _not_packed(name: str, error: MeshflowError) -> Finding:
    text = f"its pack was not written: {f'{error.where}: ' if error.where else ''}{error.what}"
    return Finding("J106", Severity.REFUSE, text, error.remedy, where=name)


def _not_measured(name: str, error: MeshflowError) -> Finding:
    text = f"not measured: {f'{error.where}: ' if error.where else ''}{error.what}"
    return Finding("J104", Severity.REFUSE, text, error.remedy, where=name)


def _part(made: MadePart, job: JobPlan) -> PartEntry:
    plan = made.plan
    facts = {key: plan.material.facts[key] for key in ("stretch_limit", "gather_limit") if key in plan.material.facts}
    return PartEntry(
        part=made.part,
        material_name=plan.material.name,
        material_family=plan.material.family,
        process_name=plan.process.name,
        facts=facts,
        files=_pattern_files(made, job),
        tryout_of=plan.tryout_of,
        finishing=() if plan.tryout_of else finishing_rows(made, job.stock),
    )


def _pattern_files(made: MadePart, job: JobPlan) -> tuple[FileLink, ...]:
    stem = f"patterns/{made.plan.name}"
    drawings = () if made.refusals else (*_drawings(stem, job), *_print(stem, made), *_in_space(stem, made))
    way = (FileLink(f"{stem}{FOLD_UP}", "from the flat to the form"),) if job.png and folds_up(made) else ()
    return (*drawings, *_picture(stem, job), *way, FileLink(f"{stem}.distortion.json", "figures of the pattern"))


def _in_space(stem: str, made: MadePart) -> tuple[FileLink, ...]:
    """Return what is written of the piece in space: for trying it on the scan, and for the check afterwards."""
    if made.part.pattern is None:
        return ()
    surface = FileLink(f"{stem}{SURFACE}", "formed piece and its flat, for the check afterwards")
    if made.part.pattern.region.on_scan is None:
        return (surface,)
    return (FileLink(f"{stem}{ON_SCAN}", "rim, holes and marks as curves on the scan"), surface)


def _drawings(stem: str, job: JobPlan) -> tuple[FileLink, ...]:
    versions = job.dxf_versions
    links = [FileLink(dxf_name(stem, version, versions), f"drawing for cutting, DXF {version}") for version in versions]
    if job.svg:
        links.append(FileLink(f"{stem}.svg", "drawing, SVG in true millimetres"))
    return tuple(links)


def _print(stem: str, made: MadePart) -> tuple[FileLink, ...]:
    paper, dpi = made.plan.paper, made.plan.texture_dpi
    printed = () if paper is None else (FileLink(f"{stem}.pdf", f"pattern at true size on {paper}"),)
    texture = f"colours of the scan at true size, {dpi:g} dots per inch" if dpi else ""
    return (*printed, *((FileLink(f"{stem}.texture.png", texture),) if dpi else ()))


def _picture(stem: str, job: JobPlan) -> tuple[FileLink, ...]:
    return (FileLink(f"{stem}.png", "picture"),) if job.png else ()


def _nest(group: NestGroup, job: JobPlan) -> NestEntry:
    plan = group.parts[0].plan
    stems = [f"sheets/{sheet_name(group.name, number)}" for number in range(1, len(group.nest.sheets) + 1)]
    return NestEntry(
        nest=group.nest,
        material_name=plan.material.name,
        thickness_mm=plan.thickness_mm,
        sheet_files=tuple((*_drawings(stem, job), *_picture(stem, job)) for stem in stems),
    )


def _assembly(name: str, assembly: Assembly, result: JobResult, folder: Path) -> AssemblyEntry:
    made = {one.plan.name: one for one in result.made}
    picture, stem = folder / "assemblies" / f"{name}.png", f"assemblies/{name}"
    drawn = picture.is_file()
    return AssemblyEntry(
        assembly,
        layers=tuple(
            f"{one}, {layer_words(made[one])}" if one in made else f"{one} (not made)" for one in assembly.layers
        ),
        picture=picture.read_bytes() if drawn else b"",
        files=(
            *((FileLink(f"{stem}.png", "picture of the fitting order"),) if drawn else ()),
            FileLink(f"{stem}.assembly.json", "where each hole lies, grip and length"),
        ),
    )


def _scans(result: JobResult) -> tuple[ScanEntry, ...]:
    """Return the scans in the order of the job, those of refused parts included: there they are needed most."""
    return tuple(
        ScanEntry(
            file=report.source.file,
            sha256=report.source.sha256,
            unit=report.source.unit,
            unit_from=report.source.unit_from,
            faces=report.faces,
            extent_mm=report.extent_mm,
            findings=report.findings,
        )
        for _, report in result.reports
    )


def _cautions(result: JobResult) -> tuple[Caution, ...]:
    """Return the cautions of every process and material in the order of the job, each once."""
    found: dict[Caution, None] = {}
    for made in result.made:
        plan = made.plan
        for process in (plan.process, *_following(made, result.plan.stock)):
            found[Caution(process.name, process.caution)] = None
        for text in plan.material.cautions:
            found[Caution(plan.material.name, text)] = None
    return tuple(found)


def _following(made: MadePart, stock: Stock) -> tuple[Process, ...]:
    """Return the processes that follow the cut on the real piece."""
    pattern, family = made.part.pattern, made.plan.material.family
    if pattern is None or made.plan.tryout_of:
        return ()
    if pattern.verdict is not Verdict.LIES_FLAT:
        return tuple(stock.process(name) for name in _FORMED.get(family, ()))
    return (stock.process("bending"),) if family in _BENT else ()
