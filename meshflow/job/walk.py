"""Walk the stages: pull a result, from the cache or by computing it from the results it needs.

Nothing is computed, or even read back, that the wanted result does not need: when only the contour's tolerance has
changed, the scan is not opened again.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import astuple, replace
from pathlib import Path
from typing import Any

from meshflow.errors import MeshFileError, MeshflowError
from meshflow.job.cache import Cache, stage_key
from meshflow.job.measure import MEASURE_VERSION, Wanted, taken
from meshflow.job.plan import AssemblyPlan, JobPlan, MeasurePlan, PartPlan
from meshflow.job.rack import rack_for, sheet_key
from meshflow.job.results import MadePart, NestGroup
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.scans import scan_hash
from meshflow.job.stages import NEST_VERSION, PART_STAGES, Progress, Stage
from meshflow.model.assembly import Assembly
from meshflow.model.check import CheckReport
from meshflow.model.compare import Measurement
from meshflow.model.layout import Locked, Nest
from meshflow.model.pattern import FlatPattern
from meshflow.model.stock import Sheet
from meshflow.model.surface import Surface

__all__ = ["Walk"]

# Stages whose results belong to the scan rather than to one part; parts of the same scan share them.
_OF_THE_SCAN = ("read", "check", "mend")


class Walk:
    """One run through the stages.

    Parameters
    ----------
    cache : Cache
        Results of earlier runs.
    progress : callable
        Called as ``progress(what, share_done)``, with the share of the part or nest at hand.

    Attributes
    ----------
    seconds : dict of str to float
        Time spent in each stage [s].
    computed : list of str
        Keys of the steps that were computed.
    wanted : set of str
        Keys of all results that this job can use again, whether it came to them or not.
    """

    def __init__(self, cache: Cache, progress: Progress) -> None:
        self.cache, self.progress = cache, progress
        self.seconds: dict[str, float] = {}
        self.computed: list[str] = []
        self.wanted: set[str] = set()
        self._used: set[str] = set()
        self._scans: dict[Path, str] = {}
        self._at_hand: dict[str, Any] = {}
        self._scan_at_hand: Path | None = None
        self._measured: tuple[Path, str | None, Surface] | None = None

    @property
    def kept(self) -> int:
        """Steps whose results an earlier run had left."""
        return len(self._used - set(self.computed))

    def scan(self, mesh: Path) -> str:
        """Return the hash of a scan; MeshFileError if it cannot be read."""
        if mesh not in self._scans:
            self._scans[mesh] = scan_hash(mesh)
        return self._scans[mesh]

    def keys(self, plan: PartPlan) -> dict[str, str]:
        """Return the key of each stage of a part; MeshFileError if its scan cannot be read."""
        scan = self.scan(plan.mesh)
        keys: dict[str, str] = {}
        for stage in PART_STAGES.values():
            inputs = [keys[name] for name in stage.inputs] or [scan]
            keys[stage.name] = stage_key(stage.name, stage.version, stage.options(plan), inputs)
        return keys

    def part(self, plan: PartPlan) -> MadePart:
        """Make one part; MeshflowError says why when it cannot be made."""
        keys = self.keys(plan)
        self.wanted.update(keys.values())
        self._take_up(plan)
        part = self._result(plan, keys, "outline")
        report = self._result(plan, keys, "check")
        self._at_hand = {keys[name]: self._at_hand[keys[name]] for name in _OF_THE_SCAN if keys[name] in self._at_hand}
        self._used.update(keys.values())
        return MadePart(plan, part, report, keys["outline"])

    def mended(self, plan: PartPlan) -> Surface:
        """Return the scan of a part, mended; MeshflowError says why when it cannot be read."""
        scan: Surface = self._result(plan, self.keys(plan), "mend")
        return scan

    def report(self, plan: PartPlan) -> CheckReport | None:
        """Return what checking the scan of a part found, if a run came that far."""
        try:
            key = self.keys(plan)["check"]
        except MeshflowError:
            return None
        report: CheckReport | None = self._at_hand[key] if key in self._at_hand else self.cache.get(key)[1]
        return report

    def _result(self, plan: PartPlan, keys: dict[str, str], name: str) -> Any:
        stage, key = PART_STAGES[name], keys[name]
        if key not in self._at_hand:
            found, value = self.cache.get(key) if stage.kept else (False, None)
            if not found:
                inputs = [self._result(plan, keys, before) for before in stage.inputs]
                value = self._compute(plan, stage, key, inputs)
                if stage.kept:
                    self.cache.put(key, value)
            self._at_hand[key] = value
        return self._at_hand[key]

    def _compute(self, plan: PartPlan, stage: Stage, key: str, inputs: Sequence[Any]) -> Any:
        place = list(PART_STAGES).index(stage.name)

        def report(what: str, share: float) -> None:
            self.progress(f"{plan.name}: {what}", (place + share) / len(PART_STAGES))

        with self.clock(stage.name, key):
            try:
                value = stage.run(plan, *inputs, progress=report)
            except MeshflowError as error:
                raise error.located(plan.name) from error
        _stop_if_interrupted(value)
        if not stage.inputs:
            self._refuse_if_changed(plan, value)
        return value

    def _refuse_if_changed(self, plan: PartPlan, scan: Surface) -> None:
        """Make sure that the scan that was read is the one its key was made from."""
        known = self._scans[plan.mesh]
        # Only a scan in several files has another hash than the file that was read.
        if scan.source.sha256 != known and scan_hash(plan.mesh) != known:
            raise MeshFileError("the file changed while it was read.", where=plan.mesh.name, remedy="Run again.")

    def nest(
        self, plan: JobPlan, parts: Sequence[MadePart], *, name: str = "", used_up: Mapping[str, int] | None = None
    ) -> NestGroup:
        """Nest the parts of one material and thickness; MeshflowError says why when it cannot be done.

        Parameters
        ----------
        plan : JobPlan
            The job.
        parts : sequence of MadePart
            The parts.
        name : str
            Name of the group; that of its material and thickness when left out.
        used_up : mapping of str to int, optional
            How many sheets of each id parts of the same kind, cut another way, have used up.
        """
        name = name or parts[0].plan.group
        sheets, notes = rack_for(plan, parts[0].plan, used_up=used_up or {})
        options: dict[str, Any] = {
            "sheets": [sheet_key(sheet) for sheet in sheets],
            "margin": plan.margin_mm,
            "spacing": plan.spacing_mm,
            "effort": plan.effort,
            "seed": plan.seed,
            "seconds": plan.seconds,
            "fine_turns": plan.fine_turns,
            "in_holes": plan.in_holes,
            "keep_small": plan.keep_small,
        }
        if locked := _locked(plan, parts):
            options["locked"] = [list(astuple(one)) for one in locked]
        if apart := _apart(plan, parts):
            options["apart"] = [[*pair, spacing] for pair, spacing in apart.items()]
        key = stage_key("nest", NEST_VERSION, options, [part.key for part in parts])
        self.wanted.add(key)
        found, nest = self.cache.get(key)
        if not found:
            nest = self._nested(plan, name, key, parts, sheets)
            # What the clock cut short depends on the machine: valid, but not to be kept as the answer.
            if nest.stopped_by == "effort":
                self.cache.put(key, nest)
        self._used.add(key)
        return NestGroup(name, tuple(parts), replace(nest, notes=(*notes, *nest.notes)))

    def _nested(self, plan: JobPlan, name: str, key: str, parts: Sequence[MadePart], sheets: Sequence[Sheet]) -> Nest:
        from meshflow.nest import nest

        with self.clock("nest", key):
            answer = nest(
                [part.part for part in parts],
                sheets,
                margin_mm=plan.margin_mm,
                spacing_mm=plan.spacing_mm,
                locked=_locked(plan, parts),
                apart=_apart(plan, parts),
                seed=plan.seed,
                effort=plan.effort,
                seconds=plan.seconds,
                fine_turns=plan.fine_turns,
                in_holes=plan.in_holes,
                keep_small=plan.keep_small,
                progress=lambda what, share: self.progress(f"{name}: {what.replace('nest', 'nesting', 1)}", share),
            )
        _stop_if_interrupted(answer)
        return answer

    def measure(self, plan: MeasurePlan) -> Measurement:
        """Take one measure for the record; MeshflowError says why when it cannot be taken."""
        options = {"kind": plan.kind, "text": plan.text, "units": plan.units}
        inputs = [self.scan(plan.mesh), *(line.sha256 for line in plan.lines)]
        key = stage_key("measure", MEASURE_VERSION, options, inputs)
        self.wanted.add(key)
        found, value = self.cache.get(key)
        if not found:
            with self.clock("measure", key):
                wanted = Wanted(plan.kind, plan.text, plan.name, {line.name: line.points for line in plan.lines})
                value = taken(self._sound_scan(plan), wanted)
            self.cache.put(key, value)
        self._used.add(key)
        measurement: Measurement = value
        return measurement

    def assembly(self, plan: AssemblyPlan, parts: Sequence[PartPlan]) -> Assembly:
        """Find the holes that the layers of an assembly share; MeshflowError says why when it cannot be done."""
        from meshflow.outline.assemble import assembled

        patterns = [self._pattern(part) for part in parts]
        return assembled(plan.name, patterns, plan.points, diameter_mm=plan.diameter_mm, fastener=plan.fastener)

    def _pattern(self, plan: PartPlan) -> FlatPattern:
        """Return the flat pattern of a part, as far as the way goes before it is drawn out."""
        keys = self.keys(plan)
        self.wanted.update(keys[name] for name in ("check", "flatten"))
        self._take_up(plan)
        pattern: FlatPattern = self._result(plan, keys, "flatten")
        return pattern

    def _take_up(self, plan: PartPlan) -> None:
        if plan.mesh != self._scan_at_hand:
            self._scan_at_hand = plan.mesh
            self._at_hand = {}  # at most one scan is held in memory

    def _sound_scan(self, plan: MeasurePlan) -> Surface:
        """Return a scan mended for measuring; the last one is kept, for measures of one scan mostly follow another."""
        if self._measured is None or self._measured[:2] != (plan.mesh, plan.units):
            self._measured = None  # at most one is held in memory
            self._measured = (plan.mesh, plan.units, read_sound_scan(plan.mesh, plan.units, self.progress))
        return self._measured[2]

    def use(self, key: str) -> None:
        """Note that a result was used, whoever left it."""
        self._used.add(key)

    @contextmanager
    def clock(self, name: str, key: str) -> Iterator[None]:
        """Note the time a step takes, and that it was computed."""
        began = time.perf_counter()
        try:
            yield
        finally:
            self.computed.append(key)
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - began


def _locked(plan: JobPlan, parts: Sequence[MadePart]) -> tuple[Locked, ...]:
    """Return the locked copies of these parts."""
    names = {part.plan.name for part in parts}
    return tuple(one for one in plan.locked if one.part in names)


def _apart(plan: JobPlan, parts: Sequence[MadePart]) -> dict[tuple[str, str], float]:
    """Return the distances between two of these parts; parts of other groups never lie beside them."""
    names = {part.plan.name for part in parts}
    return {(one.part, one.other): one.spacing_mm for one in plan.apart if {one.part, one.other} <= names}


def _stop_if_interrupted(value: Any) -> None:
    """Go on with an interrupt that a solver answered by handing out its best so far.

    That is a valid result but not the result: kept, it would stand in for the converged one in every later run.
    """
    if getattr(value, "stopped_by", "") == "interrupt":
        raise KeyboardInterrupt
