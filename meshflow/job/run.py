"""Run a job: walk the stages for every part, nest what belongs on one kind of sheet, write everything that is whole.

One part that cannot be made does not stop the others: it is named, with the reason, in the document, the record and
the exit code. Nothing is written before every part and every nest has passed its own check. Running into a folder of
an earlier run resumes: results are kept by what went into them.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from meshflow.errors import MeshflowError, NestError
from meshflow.job.cache import Cache, file_hash, stage_key
from meshflow.job.load import load_job
from meshflow.job.plan import JobPlan, PartPlan
from meshflow.job.results import JobResult, MadePart, NestGroup, RefusedPart, group_name
from meshflow.job.stages import PART_STAGES, Progress
from meshflow.model.part import Part
from meshflow.model.stock import Sheet

__all__ = ["compute", "make_part", "run"]

NEST_VERSION = 1
CACHE_FOLDER = ".meshflow"


def run(job_file: str | Path, *, out: str | Path, progress: Progress | None = None) -> JobResult:
    """Run a job file and write its outputs.

    Parameters
    ----------
    job_file : path-like
        The TOML job.
    out : path-like
        Folder to write to; made if missing. Files of an earlier run are replaced one by one, each only when its
        successor is whole.
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
    from meshflow.job.outputs import prepare_folder, write_outputs

    plan = load_job(job_file)
    folder = prepare_folder(Path(out))
    started = time.time()
    result = compute(plan, cache=Cache(folder / CACHE_FOLDER), progress=progress)
    write_outputs(result, folder, started=started, progress=progress)
    return result


def compute(plan: JobPlan, *, cache: Cache, progress: Progress | None = None) -> JobResult:
    """Make every part and every nest of a job; nothing is written but the cache.

    Parameters
    ----------
    plan : JobPlan
        The job.
    cache : Cache
        Results of earlier runs.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    JobResult
        What it came to.
    """
    walk = _Walk(cache, progress or (lambda what, share: None))
    made: list[MadePart] = []
    refused: list[RefusedPart] = []
    for part in plan.parts:
        try:
            made.append(walk.part(part))
        except MeshflowError as error:
            refused.append(RefusedPart(part, error))
    nests, unnested = walk.nests(plan, made)
    return JobResult(
        plan=plan,
        job_hash=_job_hash(plan, made, nests),
        made=tuple(made),
        refused=tuple(refused),
        nests=tuple(nests),
        unnested=tuple(unnested),
        seconds=walk.seconds,
        redone=walk.redone,
        kept=walk.kept,
    )


def make_part(plan: PartPlan, *, cache: Cache, progress: Progress | None = None) -> MadePart:
    """Make one part; MeshflowError says why when it cannot be made."""
    return _Walk(cache, progress or (lambda what, share: None)).part(plan)


def _job_hash(plan: JobPlan, made: list[MadePart], nests: list[NestGroup]) -> str:
    said = [plan.canonical, [part.key for part in made], [group.name for group in nests]]
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


class _Walk:
    """One run through the stages: keeps the time, the cache and the count of what was redone."""

    def __init__(self, cache: Cache, progress: Progress) -> None:
        self.cache, self.progress = cache, progress
        self.seconds: dict[str, float] = {}
        self.redone = self.kept = 0
        self._hashes: dict[Path, str] = {}

    def part(self, plan: PartPlan) -> MadePart:
        keys = self._keys(plan)
        value: Any = None
        first = 0
        # Start after the last stage whose result is still at hand.
        for number in range(len(keys) - 1, -1, -1):
            found, kept = self.cache.get(keys[number])
            if found:
                value, first = kept, number + 1
                self.kept += number + 1
                break
        for number in range(first, len(keys)):
            value = self._stage(plan, number, value)
            self.cache.put(keys[number], value)
        found, before = self.cache.get(keys[0])
        report = (before if found else self._stage(plan, 0, None))[1]
        return MadePart(plan, value, report, keys[-1])

    def _stage(self, plan: PartPlan, number: int, value: Any) -> Any:
        stage = PART_STAGES[number]
        began = time.perf_counter()

        def report(what: str, share: float) -> None:
            self.progress(f"{plan.name}: {what}", (number + share) / len(PART_STAGES))

        try:
            return stage.run(plan, value, report)
        except MeshflowError as error:
            raise error.located(plan.name) from error
        finally:
            self.redone += 1
            self.seconds[stage.name] = self.seconds.get(stage.name, 0.0) + time.perf_counter() - began

    def _keys(self, plan: PartPlan) -> list[str]:
        if plan.mesh not in self._hashes:
            self._hashes[plan.mesh] = file_hash(plan.mesh)
        key, keys = self._hashes[plan.mesh], []
        for stage in PART_STAGES:
            key = stage_key(stage.name, stage.version, stage.options(plan), (key,))
            keys.append(key)
        return keys

    def nests(self, plan: JobPlan, made: list[MadePart]) -> tuple[list[NestGroup], list[tuple[str, MeshflowError]]]:
        groups: dict[tuple[str, float], list[MadePart]] = {}
        for part in made:
            if not part.refusals:
                groups.setdefault((part.plan.material.id, part.plan.thickness_mm), []).append(part)
        done: list[NestGroup] = []
        failed: list[tuple[str, MeshflowError]] = []
        for (material, thickness), parts in sorted(groups.items()):
            name = group_name(material, thickness)
            try:
                done.append(self._nest(plan, name, parts))
            except MeshflowError as error:
                failed.append((name, error))
        return done, failed

    def _nest(self, plan: JobPlan, name: str, parts: list[MadePart]) -> NestGroup:
        sheets = _sheets_for(plan, parts[0].plan)
        options = {
            "sheets": [[s.id, s.length_mm, s.width_mm, s.count] for s in sheets],
            "margin": plan.margin_mm,
            "spacing": plan.spacing_mm,
            "effort": plan.effort,
            "seed": plan.seed,
            "seconds": plan.seconds,
        }
        key = stage_key("nest", NEST_VERSION, options, tuple(part.key for part in parts))
        found, nest = self.cache.get(key)
        if found:
            self.kept += 1
            return NestGroup(name, tuple(parts), nest)
        nest = self._timed_nest(plan, name, [part.part for part in parts], sheets)
        # What the clock cut short depends on the machine: valid, but not to be kept as the answer.
        if nest.stopped_by == "effort":
            self.cache.put(key, nest)
        return NestGroup(name, tuple(parts), nest)

    def _timed_nest(self, plan: JobPlan, name: str, parts: list[Part], sheets: list[Sheet]) -> Any:
        from meshflow.nest import nest

        began = time.perf_counter()
        report: Callable[..., None] = lambda what, share: self.progress(f"{name}: {what}", share)  # noqa: E731
        try:
            return nest(
                parts,
                sheets,
                margin_mm=plan.margin_mm,
                spacing_mm=plan.spacing_mm,
                seed=plan.seed,
                effort=plan.effort,
                seconds=plan.seconds,
                progress=report,
            )
        finally:
            self.redone += 1
            self.seconds["nest"] = self.seconds.get("nest", 0.0) + time.perf_counter() - began


def _sheets_for(plan: JobPlan, part: PartPlan) -> list[Sheet]:
    """Return the rack's sheets of a part's material and thickness, else the first standard size it comes in."""
    from meshflow.stock.load import load_stock

    fitting = [
        sheet
        for sheet in plan.sheets
        if sheet.material == part.material.id and abs(sheet.thickness_mm - part.thickness_mm) < 1e-6
    ]
    if fitting:
        return fitting
    standard = load_stock().sheets_for(part.material.id, part.thickness_mm)
    if not standard:
        raise NestError(
            f"no sheet of {part.material.id}, {part.thickness_mm:g} mm, is in the rack and none is sold as a standard.",
            where=part.name,
            remedy="Add a [[sheet]] with its size, material and thickness to the job.",
        )
    return [replace(standard[0], material=part.material.id, thickness_mm=part.thickness_mm)]
