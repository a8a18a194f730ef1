"""``meshflow run``: a whole job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, show_findings


@click.command("run")
@click.argument("job", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder to write to.")
def command(job: Path, out: Path) -> int:
    """Run a whole job file; a second run into the same folder redoes only what changed."""
    return run_and_say(job, out)


def run_and_say(job: Path, out: Path) -> int:
    """Run a job, print what came of it, and return the exit code."""
    from meshflow.job.run import run

    with progress_line() as progress:
        result = run(job, out=out, progress=progress)
    for made in result.made:
        _say_part(made)
    for refused in result.refused:
        click.echo(f"{refused.plan.name}: refused. {refused.error}", err=True)
    for group in result.nests:
        for number, layout in enumerate(group.nest.sheets, start=1):
            click.echo(
                f"{group.name} sheet {number}: {len(layout.placements)} pieces, "
                f"{100 * layout.utilisation:.1f} % of {layout.used_length_mm:.0f} mm used"
            )
        show_findings(group.nest.notes)
    for name, error in result.unnested:
        click.echo(f"{name}: not nested. {error}", err=True)
    click.echo(f"{result.redone} stages computed, {result.kept} taken from the last run")
    click.echo(f"wrote {out / 'job.html'}")
    return 0 if result.complete else 1


def _say_part(made: Any) -> None:
    pattern = made.part.pattern
    measured = pattern.distortion
    click.echo(
        f"{made.plan.name}: {pattern.verdict}, stretch {measured.percentile(0.01):.3f} to "
        f"{measured.percentile(0.99):.3f}"
    )
    show_findings(made.refusals)
