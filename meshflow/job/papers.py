"""Fill the document of a job from what the run came to."""

from __future__ import annotations

import meshflow
from meshflow.job.plan import PartPlan
from meshflow.job.results import JobResult, MadePart, NestGroup, RefusedPart
from meshflow.model.finding import Finding, Severity
from meshflow.report import Caution, DocumentInput, FileLink, NestEntry, PartEntry, ScanEntry, document
from meshflow.stock.load import load_stock
from meshflow.stock.lookup import Stock

__all__ = ["job_document"]

# Work that follows the cut, by family of the material and whether the piece must be formed (common practice).
BENDING = {"copper": "bending", "brass": "bending", "bronze": "bending", "steel": "bending", "aluminium": "bending"}
FORMING = {
    "copper": ("hand_forming", "annealing", "pickling"),
    "brass": ("hand_forming", "annealing", "pickling"),
    "bronze": ("hand_forming", "annealing", "pickling"),
    "silver": ("hand_forming", "annealing", "pickling"),
    "aluminium": ("hand_forming", "annealing"),
    "steel": ("hand_forming",),
    "leather": ("wet_forming",),
}


def job_document(result: JobResult) -> str:
    """Return the HTML document of a job.

    Parameters
    ----------
    result : JobResult
        What the run came to.

    Returns
    -------
    str
        The same text for the same job, inputs and versions.
    """
    return document(
        DocumentInput(
            title=result.plan.title,
            parts=tuple(_part(made, result) for made in result.made),
            nests=tuple(_nest(group, result) for group in result.nests),
            scans=_scans(result),
            cautions=_cautions(result),
            files=(FileLink("job.record.json", "job record: inputs, versions, figures, hashes"),),
            record=(
                ("Job hash", result.job_hash),
                ("meshflow", meshflow.__version__),
                ("Seed", str(result.plan.seed)),
                ("Effort", str(result.plan.effort)),
            ),
            refusals=tuple(_refusal(refused) for refused in result.refused)
            + tuple(
                Finding("N100", Severity.REFUSE, f"{name} was not nested: {error}", getattr(error, "remedy", ""))
                for name, error in result.unnested
            ),
        )
    )


def _refusal(refused: RefusedPart) -> Finding:
    error = refused.error
    return Finding("J101", Severity.REFUSE, f"not made: {error.what}", error.remedy, where=refused.plan.name)


def _part(made: MadePart, result: JobResult) -> PartEntry:
    plan = made.plan
    facts = {key: plan.material.facts[key] for key in ("stretch_limit", "gather_limit") if key in plan.material.facts}
    return PartEntry(
        part=made.part,
        material_name=plan.material.name,
        material_family=plan.material.family,
        process_name=plan.process.name,
        facts=facts,
        files=_files(f"patterns/{plan.name}", made, result),
        tryout_of=plan.tryout_of,
    )


def _files(stem: str, made: MadePart | None, result: JobResult) -> tuple[FileLink, ...]:
    """Return links to the files that `outputs` writes for a pattern (or, without one, for a sheet)."""
    links: list[FileLink] = []
    plan = result.plan
    if made is None or not made.refusals:
        for version in plan.dxf_versions:
            plain = version == "R2010" or len(plan.dxf_versions) == 1
            name = f"{stem}.dxf" if plain else f"{stem}.{version}.dxf"
            links.append(FileLink(name, f"drawing for cutting, DXF {version}"))
        if plan.svg:
            links.append(FileLink(f"{stem}.svg", "drawing, SVG in true millimetres"))
    if plan.png:
        links.append(FileLink(f"{stem}.png", "picture"))
    if made is not None:
        links.append(FileLink(f"{stem}.distortion.json", "figures of the pattern"))
    return tuple(links)


def _nest(group: NestGroup, result: JobResult) -> NestEntry:
    plan = group.parts[0].plan
    stems = [f"sheets/{group.name}-sheet-{number:02d}" for number in range(1, len(group.nest.sheets) + 1)]
    return NestEntry(
        nest=group.nest,
        material_name=plan.material.name,
        thickness_mm=plan.thickness_mm,
        sheet_files=tuple(_files(stem, None, result) for stem in stems),
    )


def _scans(result: JobResult) -> tuple[ScanEntry, ...]:
    reports = {made.report.source.sha256: made.report for made in result.made}
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
        for report in reports.values()
    )


def _cautions(result: JobResult) -> tuple[Caution, ...]:
    stock = load_stock()
    found: dict[str, Caution] = {}
    for made in result.made:
        plan = made.plan
        found.setdefault(plan.process.id, Caution(plan.process.name, plan.process.caution))
        for process in _following(made):
            known = _process(stock, plan, process)
            found.setdefault(process, known)
        for text in plan.material.cautions:
            found.setdefault(f"{plan.material.id}: {text}", Caution(plan.material.name, text))
    return tuple(found.values())


def _process(stock: Stock, plan: PartPlan, name: str) -> Caution:
    process = stock.process(name)
    return Caution(process.name, process.caution)


def _following(made: MadePart) -> tuple[str, ...]:
    pattern = made.part.pattern
    family = made.plan.material.family
    if pattern is None or made.plan.tryout_of:
        return ()
    if str(pattern.verdict) == "lies_flat":
        return (BENDING[family],) if family in BENDING else ()
    return FORMING.get(family, ())
