"""Run a job: make every part, nest what belongs on one kind of sheet, put everything into its place when it is whole.

One part that cannot be made does not stop the others: it is named, with the reason, in the document, the record and
the exit code; so is one that meets a fault of our own. Running into a folder of an earlier run resumes: results are
kept by what went into them, also those of a run that was interrupted.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, TypeVar

from meshflow.errors import InputError, MeshflowError
from meshflow.job.assembly import with_shared_holes
from meshflow.job.cache import Cache
from meshflow.job.faults import as_refusal
from meshflow.job.fitness import with_sheet_findings
from meshflow.job.folder import Published, draft_in, prepare_folder, publish, stale_files
from meshflow.job.load import load_job
from meshflow.job.measure import MEASURE_VERSION
from meshflow.job.outputs import RECORD, Outputs
from meshflow.job.plan import AssemblyPlan, JobPlan, MeasurePlan, PartPlan, SupplierPlan
from meshflow.job.plan_tools import ReliefPlan, ToolPlan
from meshflow.job.rack import sheet_key
from meshflow.job.results import JobResult, MadePart, MadeRelief, MadeTool, NestGroup, RefusedPart
from meshflow.job.scans import file_hash
from meshflow.job.stages import NEST_VERSION, Progress
from meshflow.job.toolroom import TOOL_VERSION, Toolroom
from meshflow.job.walk import Walk
from meshflow.model.assembly import Assembly
from meshflow.model.compare import Measurement

__all__ = ["CACHE_FOLDER", "run"]

T = TypeVar("T")
Given = TypeVar("Given")
Named = TypeVar("Named", ReliefPlan, ToolPlan)

CACHE_FOLDER: Final = ".meshflow"


def run(job_file: str | Path, *, out: str | Path, progress: Progress | None = None) -> JobResult:
    """Run a job file and write its outputs.

    Parameters
    ----------
    job_file : path-like
        The TOML job.
    out : path-like
        Folder to write to; made if missing. Files of an earlier run of the same job are replaced together, when all
        of their successors are whole; those that the job no longer makes are removed unless they were changed since.
        One run at a time.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    JobResult
        What was made and what was refused; ``complete`` says whether everything was.

    Raises
    ------
    JobFileError
        If the job file has mistakes.
    InputError
        If the folder cannot be written to.

    Examples
    --------
    >>> import meshflow
    >>> meshflow.run("job.toml", out="out").complete  # doctest: +SKIP
    True
    """
    plan = load_job(job_file)
    folder = prepare_folder(Path(out))
    started = time.time()
    cache = Cache(folder / CACHE_FOLDER)
    try:
        with draft_in(folder) as draft:
            making = _Making(plan, cache, draft, progress or (lambda what, share: None))
            result = making.packed(making.result())
            making.outputs.papers(result, started=started)
            published = _publish(draft, folder, plan)
    except OSError as error:
        raise InputError(
            f"cannot write: {error.strerror or error}. The files of an earlier run are as they were.",
            where=str(folder),
            remedy="Make room or choose another folder, and run again: what was computed is kept.",
        ) from error
    cache.keep_only(making.walk.wanted)
    return replace(result, published=published)


class _Making:
    """The way from a plan to everything written in the draft folder, but the papers."""

    def __init__(self, plan: JobPlan, cache: Cache, draft: Path, progress: Progress) -> None:
        self.plan = plan
        self.walk = Walk(cache, self._overall)
        self.job_hash = _job_hash(plan, self.walk)
        self.outputs = Outputs(plan, self.job_hash, draft)
        self._draft = str(draft)
        self._progress = progress
        self._taken: dict[str, Counter[str]] = {}  # sheets used up, by material and thickness
        # Each part, each group of parts and each measure counts as one; writing comes along with it.
        groups = {(part.group, part.process.id) for part in plan.parts}
        self._done, self._total = 0, len(plan.parts) + len(groups) + len(plan.measures) + len(plan.assemblies)
        self._total += len(plan.suppliers) + len(plan.reliefs) + len(plan.tools)
        self._toolroom = Toolroom(self.walk, plan)

    def result(self) -> JobResult:
        made: list[MadePart] = []
        refused: list[RefusedPart] = []
        assemblies, unassembled = self._assemblies()
        for part in (with_shared_holes(part, assemblies, unassembled) for part in self.plan.parts):
            got = self._trying(part.name, self._part, part)
            if isinstance(got, MadePart):
                made.append(got)
            else:
                refused.append(RefusedPart(part, got, self.walk.report(part)))
        for _, assembly in assemblies:
            self.outputs.assembly(assembly, made)
        nests: list[NestGroup] = []
        unnested: list[tuple[str, MeshflowError]] = []
        for name, parts in _groups(made).items():
            group = self._trying(name, self._nest, (name, parts))
            if isinstance(group, NestGroup):
                nests.append(group)
            else:
                unnested.append((name, group))
        measures: list[tuple[MeasurePlan, Measurement]] = []
        unmeasured: list[tuple[MeasurePlan, MeshflowError]] = []
        for plan in self.plan.measures:
            measure = self._trying(plan.name, self._measure, plan)
            if isinstance(measure, Measurement):
                measures.append((plan, measure))
            else:
                unmeasured.append((plan, measure))
        reliefs, unlifted = self._each(self.plan.reliefs, self._relief, MadeRelief)
        by_name = {one.plan.name: one for one in made}
        tools, untooled = self._each(self.plan.tools, lambda plan: self._tool(plan, by_name), MadeTool)
        return JobResult(
            plan=self.plan,
            job_hash=self.job_hash,
            made=tuple(made),
            refused=tuple(refused),
            nests=tuple(nests),
            unnested=tuple(unnested),
            assemblies=tuple(assemblies),
            unassembled=tuple(unassembled),
            measures=tuple(measures),
            unmeasured=tuple(unmeasured),
            reliefs=reliefs,
            unlifted=unlifted,
            tools=tools,
            untooled=untooled,
            seconds=self.walk.seconds,
            redone=len(self.walk.computed),
            kept=self.walk.kept,
        )

    def packed(self, result: JobResult) -> JobResult:
        """Write the packs of the suppliers; return the result with those that were made, and why others were not."""
        packs: list[SupplierPlan] = []
        unpacked: list[tuple[SupplierPlan, MeshflowError]] = []
        for supplier in self.plan.suppliers:
            got = self._trying(supplier.name, lambda one: self.outputs.pack(result, one), supplier)
            if isinstance(got, MeshflowError):
                unpacked.append((supplier, got))
            elif got:
                packs.append(supplier)
        return replace(result, packs=tuple(packs), unpacked=tuple(unpacked))

    def _assemblies(self) -> tuple[list[tuple[AssemblyPlan, Assembly]], list[tuple[AssemblyPlan, MeshflowError]]]:
        found: list[tuple[AssemblyPlan, Assembly]] = []
        missing: list[tuple[AssemblyPlan, MeshflowError]] = []
        for plan in self.plan.assemblies:
            got = self._trying(plan.name, self._assembly, plan)
            if isinstance(got, Assembly):
                found.append((plan, got))
            else:
                missing.append((plan, got))
        return found, missing

    def _assembly(self, plan: AssemblyPlan) -> Assembly:
        self._overall(f"{plan.name}: finding the holes its layers share", 0.0)
        parts = {part.name: part for part in self.plan.parts}
        return self.walk.assembly(plan, [parts[name] for name in plan.layers])

    def _part(self, plan: PartPlan) -> MadePart:
        made = self.walk.part(plan)
        self._overall(f"{plan.name}: writing", 1.0)
        self.outputs.part(made, scan=self.walk.mended(plan) if plan.texture_dpi else None)
        return made

    def _nest(self, given: tuple[str, list[MadePart]]) -> NestGroup:
        name, parts = given
        taken = self._taken.setdefault(parts[0].plan.group, Counter())
        group = with_sheet_findings(self.walk.nest(self.plan, parts, name=name, used_up=taken))
        taken.update(layout.sheet.id for layout in group.nest.sheets)
        self._overall(f"{group.name}: writing", 1.0)
        self.outputs.nest(group)
        return group

    def _measure(self, plan: MeasurePlan) -> Measurement:
        self._overall(f"{plan.name}: measuring", 0.0)
        return self.walk.measure(plan)

    def _relief(self, plan: ReliefPlan) -> MadeRelief:
        made = self._toolroom.relief(plan)
        self._overall(f"{plan.name}: writing", 1.0)
        self.outputs.relief(made)
        return made

    def _tool(self, plan: ToolPlan, parts: Mapping[str, MadePart]) -> MadeTool:
        made = self._toolroom.tool(plan, parts)
        self._overall(f"{plan.name}: writing", 1.0)
        self.outputs.tool(made)
        return made

    def _each(
        self, plans: Sequence[Named], action: Callable[[Named], T], kind: type[T]
    ) -> tuple[tuple[T, ...], tuple[tuple[Named, MeshflowError], ...]]:
        """Return what was made of each plan, and what was not, with the reason."""
        made: list[T] = []
        missing: list[tuple[Named, MeshflowError]] = []
        for plan in plans:
            got = self._trying(plan.name, action, plan)
            if isinstance(got, kind):
                made.append(got)
            elif isinstance(got, MeshflowError):
                missing.append((plan, got))
        return tuple(made), tuple(missing)

    def _trying(self, name: str, action: Callable[[Given], T], given: Given) -> T | MeshflowError:
        """Return what `action` makes of `given`, or why it makes nothing: one part must not take others with it."""
        try:
            return action(given)
        except OSError:
            raise  # the disk, which the next part would meet as well
        except Exception as error:
            reason = error.__cause__
            if isinstance(reason, OSError) and isinstance(error, MeshflowError) and self._draft in error.where:
                raise reason from error  # the disk as well: said by a writer that gives it a name
            return as_refusal(error, name)
        finally:
            self._done += 1

    def _overall(self, what: str, share: float) -> None:
        self._progress(what, min(1.0, (self._done + share) / max(1, self._total)))


def _job_hash(plan: JobPlan, walk: Walk) -> str:
    """Return the hash of the job: what it asks for, the bytes it starts from, and the versions of the stages."""
    said: list[Any] = [plan.canonical, NEST_VERSION, file_hash(plan.stock_file) if plan.stock_file else ""]
    said += [sheet_key(sheet) for sheet in plan.sheets if sheet.outline is not None]
    for part in plan.parts:
        try:
            said.append(walk.keys(part)["outline"])
        except MeshflowError as error:
            said.append(str(error))
    for measure in plan.measures:
        try:
            said.append([MEASURE_VERSION, walk.scan(measure.mesh), *(line.sha256 for line in measure.lines)])
        except MeshflowError as error:
            said.append(str(error))
    toolroom = Toolroom(walk, plan)
    for relief in plan.reliefs:
        try:
            said.append(toolroom.relief_key(relief))
        except MeshflowError as error:
            said.append(str(error))
    for tool in plan.tools:
        try:
            drawn = [line.sha256 for line in tool.lines]
            said.append([TOOL_VERSION, walk.scan(tool.mesh) if tool.mesh else "", *drawn])
        except MeshflowError as error:
            said.append(str(error))
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _groups(made: list[MadePart]) -> dict[str, list[MadePart]]:
    """Return the parts that may be cut, by kind of sheet, sorted by its name.

    Parts that are cut another way lie on sheets of their own, for they go to another machine; only then the name says
    the process as well.
    """
    groups: dict[tuple[str, str], list[MadePart]] = {}
    for part in made:
        if not part.refusals:
            groups.setdefault((part.plan.group, part.plan.process.id), []).append(part)
    ways = Counter(kind for kind, _ in groups)
    named = {kind if ways[kind] == 1 else f"{kind}-{way}": parts for (kind, way), parts in groups.items()}
    return dict(sorted(named.items()))


def _publish(draft: Path, folder: Path, plan: JobPlan) -> Published:
    """Move the draft to its place; take away what an earlier run of the same job wrote and this one does not."""
    new = {path.relative_to(draft).as_posix() for path in draft.rglob("*") if path.is_file()}
    remove, left = stale_files(folder, _earlier_outputs(folder, plan), new)
    files = publish(draft, folder, remove=remove, last=RECORD, inputs=_inputs(plan))
    return Published(files, tuple(remove), tuple(left))


def _inputs(plan: JobPlan) -> list[Path]:
    """Return every file that the job reads."""
    given: list[Any] = [*plan.parts, *plan.measures, *plan.reliefs, *(tool for tool in plan.tools if tool.mesh)]
    drawn = [plan.file.parent / line.name for one in given for line in one.lines]
    drawn += [plan.file.parent / name for part in plan.parts for name in part.drawings]
    drawn += [plan.file.parent / sheet.source for sheet in plan.sheets if sheet.outline is not None]
    own_stock = [plan.stock_file] if plan.stock_file else []
    return [plan.file, *own_stock, *(one.mesh for one in given), *drawn]


def _earlier_outputs(folder: Path, plan: JobPlan) -> dict[str, str]:
    """Return the files and hashes of the earlier record; none when it is missing, damaged, or of another job."""
    try:
        record = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        if record["schema"] != "meshflow-record-1" or record["job_file"] != plan.file.name:
            return {}
        return {str(output["file"]): str(output["sha256"]) for output in record["outputs"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
