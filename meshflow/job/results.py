"""What a run came to, before anything is written."""

from __future__ import annotations

from dataclasses import dataclass, field

from meshflow.errors import MeshflowError
from meshflow.job.plan import JobPlan, PartPlan
from meshflow.model.check import CheckReport
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest
from meshflow.model.part import Part

__all__ = ["JobResult", "MadePart", "NestGroup", "RefusedPart", "group_name", "notes_of"]


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
    def refusals(self) -> tuple[Finding, ...]:
        """Findings that forbid cutting it as it is."""
        return tuple(note for note in notes_of(self.part) if note.severity is Severity.REFUSE)


@dataclass(frozen=True)
class RefusedPart:
    """A part that could not be made, and why.

    Parameters
    ----------
    plan : PartPlan
        What was asked for.
    error : MeshflowError
        Why not.
    """

    plan: PartPlan
    error: MeshflowError


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
    seconds : dict of str to float
        Time spent in each stage; for the record only.
    redone, kept : int
        Stages computed, and stages taken from the cache.
    """

    plan: JobPlan
    job_hash: str
    made: tuple[MadePart, ...]
    refused: tuple[RefusedPart, ...]
    nests: tuple[NestGroup, ...]
    unnested: tuple[tuple[str, MeshflowError], ...]
    seconds: dict[str, float] = field(default_factory=dict)
    redone: int = 0
    kept: int = 0

    @property
    def complete(self) -> bool:
        """Whether every part was made, may be cut, and found its place."""
        return not (
            self.refused
            or self.unnested
            or any(made.refusals for made in self.made)
            or any(group.nest.unplaced for group in self.nests)
        )


def notes_of(part: Part) -> tuple[Finding, ...]:
    """Return everything that region, pattern and part have to say, in the order of the work."""
    if part.pattern is None:
        return part.notes
    return (*part.pattern.region.notes, *part.pattern.notes, *part.notes)


def group_name(material: str, thickness_mm: float) -> str:
    """Return the stem of a nest's files, such as ``cu_etp-0.8mm``."""
    return f"{material}-{thickness_mm:g}mm"
