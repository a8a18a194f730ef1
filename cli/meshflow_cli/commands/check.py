"""``meshflow check``: whether a scan is fit to use."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, show_findings
from meshflow_cli.options import units_option


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
def command(file: Path, units: str | None, as_json: bool) -> int:
    """Say whether a scan is fit to use, and what is wrong with it."""
    from meshflow.errors import MeshflowError
    from meshflow.job.single import check_file, refused_report

    try:
        with progress_line() as progress:
            report = check_file(file, units=units, progress=progress)
    except MeshflowError as error:
        if not as_json:
            raise
        report = refused_report(file, error)
    if as_json:
        # ASCII, so that it arrives whole whatever the terminal or the pipe takes.
        click.echo(json.dumps(report.to_json(), indent=2, allow_nan=False))
    else:
        _say(report)
    return 0 if report.usable else 1


def _say(report: Any) -> None:
    size = " x ".join(f"{side:.1f}" for side in report.extent_mm)
    click.echo(
        f"{report.source.file}: {size} mm, {_counted(report.faces, 'face')}, {_counted(report.vertices, 'vertex')}, "
        f"{_counted(report.shells, 'shell')}, {_counted(report.boundary_loops, 'open rim')}"
    )
    show_findings(report.findings)
    click.echo("fit to use" if report.usable else "not fit to use")


def _counted(count: int, what: str) -> str:
    plural = {"vertex": "vertices"}.get(what, f"{what}s")
    return f"{count} {what if count == 1 else plural}"
