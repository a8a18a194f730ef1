"""What a run came to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published
from meshflow.job.plan import AssemblyPlan, JobPlan, MeasurePlan, PartPlan, SupplierPlan
from meshflow.job.plan_tools import ReliefPlan, ToolPlan
from meshflow.model.assembly import Assembly
from meshflow.model.check import CheckReport
from meshflow.model.compare import Measurement
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.relief import Relief
from meshflow.model.relief_lines import ReliefLines
from meshflow.model.tool import Tool

__all__ = ["JobResult", "MadePart", "MadeRelief", "MadeTool", "NestGroup", "RefusedPart", "notes_of"]


@dataclass(frozen=True)
class MadePart:
    """A part that was made.

    Parameters
    ----------
    plan : PartPlan
        What was asked for.
    part : Part
        The dressed part, with its pattern.
    report : CheckReport
        What checking its scan found.
    key : str
        Cache key of the part: equal keys, equal parts.
    """

    plan: PartPlan
    part: Part
    report: CheckReport
    key: str

    @property
    def notes(self) -> tuple[Finding, ...]:
        """Everything that region, pattern and part have to say."""
        return notes_of(self.part)

    @property
    def refusals(self) -> tuple[Finding, ...]:
        """Findings that forbid cutting it as it is."""
        return tuple(note for note in self.notes if note.severity is Severity.REFUSE)


@dataclass(frozen=True)
class RefusedPart:
    """A part that could not be made, and why.

    Parameters
    ----------
    plan : PartPlan
        What was asked for.
    error : MeshflowError
        Why not.
    report : CheckReport, optional
        What checking its scan found, if it came that far.
    """

    plan: PartPlan
    error: MeshflowError
    report: CheckReport | None = None


@dataclass(frozen=True)
class NestGroup:
    """Parts of one material and thickness, and how they lie on sheets.

    Parameters
    ----------
    name : str
        Stem of its files.
    parts : tuple of MadePart
        The parts.
    nest : Nest
        Their verified nesting.
    """

    name: str
    parts: tuple[MadePart, ...]
    nest: Nest


@dataclass(frozen=True, eq=False)
class MadeRelief:
    """A relief that was lifted.

    Parameters
    ----------
    plan : ReliefPlan
        What was asked for.
    relief : Relief
        The heights.
    lines : ReliefLines
        Ridges, valleys, contours.
    about : mapping
        What ``relief.json`` says.
    key : str
        Cache key: equal keys, equal reliefs.
    """

    plan: ReliefPlan
    relief: Relief
    lines: ReliefLines
    about: Mapping[str, Any]
    key: str


@dataclass(frozen=True, eq=False)
class MadeTool:
    """A tool that was made.

    Parameters
    ----------
    plan : ToolPlan
        What was asked for.
    tool : Tool
        The tool.
    key : str
        Cache key: equal keys, equal tools.
    """

    plan: ToolPlan
    tool: Tool
    key: str

    @property
    def refusals(self) -> tuple[Finding, ...]:
        """Findings that forbid making it as it is."""
        return tuple(note for note in self.tool.notes if note.severity is Severity.REFUSE)


@dataclass(frozen=True)
class JobResult:
    """Everything a run came to.

    Parameters
    ----------
    plan : JobPlan
        The job.
    job_hash : str
        Hash of the job, its inputs and the versions of the stages.
    made : tuple of MadePart
        Parts that were made, in the order of the job.
    refused : tuple of RefusedPart
        Parts that were not.
    nests : tuple of NestGroup
        One for each material and thickness.
    unnested : tuple of (str, MeshflowError)
        Groups that could not be nested, and why.
    assemblies : tuple of (AssemblyPlan, Assembly)
        Layers and the holes they share, in the order of the job.
    unassembled : tuple of (AssemblyPlan, MeshflowError)
        Assemblies whose holes could not be found, and why.
    measures : tuple of (MeasurePlan, Measurement)
        Measures that were taken, in the order of the job.
    unmeasured : tuple of (MeasurePlan, MeshflowError)
        Measures that could not be taken, and why.
    packs : tuple of SupplierPlan
        Suppliers whose packs were written.
    unpacked : tuple of (SupplierPlan, MeshflowError)
        Packs that could not be written, and why.
    reliefs : tuple of MadeRelief
        Reliefs that were lifted, in the order of the job.
    unlifted : tuple of (ReliefPlan, MeshflowError)
        Reliefs that could not be lifted, and why.
    tools : tuple of MadeTool
        Tools that were made, in the order of the job.
    untooled : tuple of (ToolPlan, MeshflowError)
        Tools that could not be made, and why.
    seconds : dict of str to float
        Time spent in each stage; for the record only.
    redone, kept : int
        Steps computed, and steps whose results an earlier run had left. Parts of one scan share the steps on it.
    published : Published
        What became of the files of this run and of the one before.
    """

    plan: JobPlan
    job_hash: str
    made: tuple[MadePart, ...]
    refused: tuple[RefusedPart, ...]
    nests: tuple[NestGroup, ...]
    unnested: tuple[tuple[str, MeshflowError], ...]
    assemblies: tuple[tuple[AssemblyPlan, Assembly], ...] = ()
    unassembled: tuple[tuple[AssemblyPlan, MeshflowError], ...] = ()
    measures: tuple[tuple[MeasurePlan, Measurement], ...] = ()
    unmeasured: tuple[tuple[MeasurePlan, MeshflowError], ...] = ()
    packs: tuple[SupplierPlan, ...] = ()
    unpacked: tuple[tuple[SupplierPlan, MeshflowError], ...] = ()
    reliefs: tuple[MadeRelief, ...] = ()
    unlifted: tuple[tuple[ReliefPlan, MeshflowError], ...] = ()
    tools: tuple[MadeTool, ...] = ()
    untooled: tuple[tuple[ToolPlan, MeshflowError], ...] = ()
    seconds: dict[str, float] = field(default_factory=dict)
    redone: int = 0
    kept: int = 0
    published: Published = field(default_factory=Published)

    @property
    def complete(self) -> bool:
        """Whether every part was made, may be cut and found its place, and every measure was taken."""
        return not (
            self.refused
            or self.unnested
            or self.unassembled
            or self.unmeasured
            or self.unpacked
            or self.unlifted
            or self.untooled
            or any(made.refusals for made in self.tools)
            or any(made.refusals for made in self.made)
            or any(group.nest.unplaced for group in self.nests)
        )

    @property
    def reports(self) -> tuple[tuple[PartPlan, CheckReport], ...]:
        """The report on each scan, once, with the first part that uses it; in the order of the job."""
        known = [(item.plan, item.report) for item in self.made]
        known += [(item.plan, item.report) for item in self.refused if item.report is not None]
        found: dict[str, tuple[PartPlan, CheckReport]] = {}
        order = [part.name for part in self.plan.parts]
        for plan, report in sorted(known, key=lambda item: order.index(item[0].name)):
            found.setdefault(plan.scan, (plan, report))
        return tuple(found.values())


def notes_of(part: Part) -> tuple[Finding, ...]:
    """Return everything that region, pattern and part have to say, in the order of the work."""
    if part.pattern is None:
        return part.notes
    return (*part.pattern.region.notes, *part.pattern.notes, *part.notes)
