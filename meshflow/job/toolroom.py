"""Lift the reliefs of a job and make its tools, keeping results by what went into them, as the stages of parts do.

A relief starts from the bytes of its scan; a tool from a relief, a part or a scan. What is kept are the records of
`meshflow.model`, from which all files are written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError, MeshflowError
from meshflow.job.cache import stage_key
from meshflow.job.plan import JobPlan
from meshflow.job.plan_tools import ReliefPlan, ToolPlan
from meshflow.job.results import MadePart, MadeRelief, MadeTool
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.scans import file_hash
from meshflow.job.tool_kinds import SOURCES
from meshflow.job.walk import Walk

__all__ = ["RELIEF_VERSION", "TOOL_VERSION", "Toolroom"]

RELIEF_VERSION: Final = 1
TOOL_VERSION: Final = 2

Report = Callable[[str, float], None]


class Toolroom:
    """Makes the reliefs and tools of one job.

    Parameters
    ----------
    walk : Walk
        The run's way through the stages: its cache, its clock and its hashes of scans are used.
    job : JobPlan
        The job.
    """

    def __init__(self, walk: Walk, job: JobPlan) -> None:
        self._walk, self._job = walk, job
        self._reliefs: dict[str, MadeRelief] = {}

    def relief_key(self, plan: ReliefPlan) -> str:
        """Return the key of a relief; MeshFileError if its scan cannot be read."""
        options = {name: value for name, value in asdict(plan).items() if name not in ("mesh", "lines")}
        inputs = [self._walk.scan(plan.mesh), *(line.sha256 for line in plan.lines)]
        return stage_key("relief", RELIEF_VERSION, _plain(options), inputs)

    def relief(self, plan: ReliefPlan) -> MadeRelief:
        """Lift a relief off its form; MeshflowError says why when it cannot be done."""
        key = self.relief_key(plan)
        relief, lines, about = self._kept("relief", key, lambda report: self._lifted(plan, report), plan.name)
        made = MadeRelief(plan, relief, lines, about, key)
        self._reliefs[plan.name] = made
        return made

    def _lifted(self, plan: ReliefPlan, report: Report) -> Any:
        from meshflow.job.relief_lifted import lifted_of_job

        scan = read_sound_scan(plan.mesh, plan.units, lambda what, share: report(what, 0.2 * share))
        drawn = lifted_of_job(plan, scan, progress=lambda what, share: report(what, 0.2 + 0.8 * share))
        return (drawn.relief, drawn.lines, drawn.to_json())

    def tool(self, plan: ToolPlan, parts: Mapping[str, MadePart]) -> MadeTool:
        """Make a tool; MeshflowError says why when it cannot be made."""
        source, given = self._source(plan, parts)
        options = {
            "kind": plan.kind,
            "options": _plain(asdict(plan.options)),
            "material": plan.material,
            "temper": plan.temper,
            "press": plan.press,
            "detail": plan.detail,
            "region": plan.region,
            "seam": plan.seam,
            "units": plan.units,
            "name": plan.name,
            "stock": file_hash(self._job.stock_file) if self._job.stock_file else "",
        }
        key = stage_key("tool", TOOL_VERSION, options, given)
        tool = self._kept("tool", key, lambda report: self._made(plan, source, report), plan.name)
        return MadeTool(plan, tool, key)

    def _source(self, plan: ToolPlan, parts: Mapping[str, MadePart]) -> tuple[Any, list[str]]:
        """Return what a tool is made from, and the keys that stand for it."""
        kind = SOURCES[plan.kind]
        if kind == "relief":
            if plan.relief not in self._reliefs:
                raise InputError(f"its relief {plan.relief} was not made.", where=plan.name, remedy="See why, above.")
            made = self._reliefs[plan.relief]
            return made.relief, [made.key]
        if kind == "part":
            if plan.part not in parts:
                raise InputError(f"its part {plan.part} was not made.", where=plan.name, remedy="See why, above.")
            return parts[plan.part].part, [parts[plan.part].key]
        assert plan.mesh is not None  # a tool of a scan names it
        return None, [self._walk.scan(plan.mesh), *(line.sha256 for line in plan.lines)]

    def _made(self, plan: ToolPlan, source: Any, report: Report) -> Any:
        from meshflow.job.tool_making import made_tool

        scan = None
        if plan.mesh is not None:
            scan = read_sound_scan(plan.mesh, plan.units, lambda what, share: report(what, 0.2 * share))
        return made_tool(plan, source if scan is None else scan, stock=self._job.stock, progress=report)

    def _kept(self, stage: str, key: str, make: Callable[[Report], Any], name: str) -> Any:
        """Return what an earlier run left under a key, or make it."""
        walk = self._walk
        walk.wanted.add(key)
        found, value = walk.cache.get(key)
        if not found:
            with walk.clock(stage, key):
                try:
                    value = make(lambda what, share: walk.progress(f"{name}: {what}", share))
                except MeshflowError as error:
                    raise error.located(name) from error
            walk.cache.put(key, value)
        walk.use(key)
        return value


def _plain(value: Any) -> Any:
    """Return options as plain data for a key."""
    if isinstance(value, dict):
        return {str(name): _plain(one) for name, one in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(one) for one in value]
    return value.item() if isinstance(value, np.generic) else value
