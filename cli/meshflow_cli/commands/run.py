"""``meshflow run``: a whole job."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings, show_table, words
from meshflow_cli.options import out_option


@click.command("run")
@click.argument("job", type=click.Path(path_type=Path))
@out_option
def command(job: Path, out: Path) -> int:
    """Run a whole job file.

    A second run into the same folder redoes only what changed.
    """
    return run_and_say(job, out)


def run_and_say(job: Path, out: Path) -> int:
    """Run a job, print what came of it, and return the exit code."""
    from meshflow.job.run import run

    try:
        with progress_line() as progress:
            result = run(job, out=out, progress=progress)
    except KeyboardInterrupt:
        # Half a job must not look like a job: nothing of it is put beside what is there.
        say("stopped; what was there before is unchanged. What was computed is kept: run again to go on.", err=True)
        return 130
    if result.made:
        show_table([("part", "verdict", "stretch p01 to p99", "findings"), *map(_part_row, result.made)])
    for made in result.made:
        show_findings(made.refusals)
    if result.nests:
        click.echo()
        show_table([("sheet", "pieces", "used"), *(row for group in result.nests for row in _sheet_rows(group))])
    for group in result.nests:
        show_findings(group.nest.notes)
    if result.reliefs:
        click.echo()
        show_table([("ornament", "form", "height", "findings"), *map(_relief_row, result.reliefs)])
    if result.tools:
        click.echo()
        show_table([("tool", "kind", "what it takes", "findings"), *map(_tool_row, result.tools)])
    for tool in result.tools:
        show_findings(tool.refusals)
    if result.measures:
        click.echo()
        rows = [(plan.name, f"{measure.value:,.2f} {measure.unit}", measure.what) for plan, measure in result.measures]
        show_table([("measure", "", "how"), *rows])
    if result.made or result.tools or result.reliefs:
        click.echo()
    _say_refusals(result)
    _say_files(result, out)
    return 0 if result.complete else 1


def _part_row(made: Any) -> tuple[str, ...]:
    pattern = made.part.pattern
    low, high = (pattern.distortion.percentile(share) for share in (0.01, 0.99))
    return (made.plan.name, words(pattern.verdict), f"{low:.3f} to {high:.3f}", _counts(made.notes))


def _relief_row(made: Any) -> tuple[str, ...]:
    low, high = made.relief.height_range_mm
    return (made.plan.name, str(made.about["base"]), f"{low:.2f} to {high:.2f} mm", _counts(made.relief.notes))


def _tool_row(made: Any) -> tuple[str, ...]:
    return (made.plan.name, made.plan.kind, _takes(made.tool), _counts(made.tool.notes))


def _takes(tool: Any) -> str:
    """Return the figures of a tool that decide whether it can be used; else what it is made of."""
    said, record = [], tool.record
    if record.get("force_kN"):
        low, high = record["force_kN"]
        said.append(f"{low:.0f} to {high:.0f} kN")
    if record.get("press_ok") is not None:
        said.append("on your press" if record["press_ok"] else "not in one blow on your press")
    if record.get("anneals") is not None:
        said.append(f"{record['anneals']} anneal{'' if record['anneals'] == 1 else 's'}")
    if record.get("strip_length_mm"):
        said.append(f"{record['blows']} blows, {record['strip_length_mm'] / 1000:.2f} m of strip")
    if record.get("rule_length_mm"):
        said.append(f"{record['rule_length_mm']:.0f} mm of rule")
    if record.get("scale") is not None:
        said.append(f"made {100.0 * (record['scale'] - 1.0):.1f} % larger")
    if not said and tool.solids:
        blocks = "1 block" if len(tool.solids) == 1 else f"{len(tool.solids)} blocks, the first"
        said.append(f"{blocks} {' x '.join(f'{side:.0f}' for side in tool.solids[0].size_mm)} mm")
    return ", ".join(said)


def _counts(findings: Any) -> str:
    counted = Counter(str(finding.severity) for finding in findings)
    names = (("refuse", "refusal"), ("warning", "warning"), ("note", "note"))
    return ", ".join(
        f"{counted[kind]} {name}{'' if counted[kind] == 1 else 's'}" for kind, name in names if counted[kind]
    )


def _used(layout: Any) -> str:
    used = f"{layout.used_length_mm:.0f} of {_length(layout.sheet)} mm"
    return used if layout.used_width_mm is None else f"{used}, {layout.used_width_mm:.0f} mm wide"


def _sheet_rows(group: Any) -> list[tuple[str, ...]]:
    return [
        (
            f"{group.name} {number}",
            str(len(layout.placements)),
            f"{_used(layout)}, {100 * layout.utilisation:.1f} % covered",
        )
        for number, layout in enumerate(group.nest.sheets, start=1)
    ]


def _length(sheet: Any) -> str:
    return f"{sheet.length_mm:g}" if sheet.outline is None else f"{sheet.length_mm:.0f}"


def _say_refusals(result: Any) -> None:
    missing = [(one, error, "not lifted") for one, error in result.unlifted]
    missing += [(one, error, "not made") for one, error in result.untooled]
    for one, error, what in missing:
        say(f"{one.name}: {what}. {str(error).removeprefix(f'{one.name}: ')}", indent="  ", err=True)
    for refused in result.refused:
        name, said = refused.plan.name, str(refused.error)
        say(f"{name}: not made. {said.removeprefix(f'{name}: ')}", indent="  ", err=True)
    for name, error in result.unnested:
        say(f"{name}: not nested. {str(error).removeprefix(f'{name}: ')}", indent="  ", err=True)
    for plan, error in result.unmeasured:
        say(f"{plan.name}: not measured. {str(error).removeprefix(f'{plan.name}: ')}", indent="  ", err=True)


def _say_files(result: Any, out: Path) -> None:
    from meshflow.job.outputs import DOCUMENT

    published, steps = result.published, result.redone + result.kept
    kept = f", {result.kept} kept from an earlier run" if result.kept else ""
    click.echo(f"{result.redone} of {steps} steps computed{kept}; {len(published.files)} files in {out}")
    if published.removed:
        say(f"no longer made, and removed: {', '.join(published.removed)}", indent="  ")
    if published.left:
        say(f"no longer made, but changed since and so left: {', '.join(published.left)}", indent="  ", err=True)
    click.echo(f"open {out / DOCUMENT}")
