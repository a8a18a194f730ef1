"""``meshflow check``: whether a scan is fit to use."""

from __future__ import annotations

import json
from pathlib import Path

import click

from meshflow_cli.console import show_findings


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--units", help="Unit of the file: mm, cm, m, in ...; GLB and 3MF carry their own.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
def command(file: Path, units: str | None, as_json: bool) -> int:
    """Say whether a scan is fit to use, and what is wrong with it."""
    from meshflow.errors import MeshflowError
    from meshflow.job.single import check_file

    try:
        report = check_file(file, units=units)
    except MeshflowError as error:
        if not as_json:
            raise
        click.echo(json.dumps(_refused(file, error), indent=2))
        return 1
    if as_json:
        click.echo(json.dumps(report.to_json(), indent=2))
    else:
        x, y, z = report.extent_mm
        click.echo(
            f"{report.source.file}: {report.faces} faces, {report.vertices} vertices, "
            f"{x:.1f} x {y:.1f} x {z:.1f} mm, {report.shells} shells, {report.boundary_loops} open rims"
        )
        show_findings(report.findings)
        click.echo("fit to use" if report.usable else "not fit to use")
    return 0 if report.usable else 1


def _refused(file: Path, error: Exception) -> dict[str, object]:
    """Return the report of a file that could not be read."""
    remedy = getattr(error, "remedy", "")
    finding = {
        "code": "M100",
        "severity": "refuse",
        "count": 1,
        "faces": list(getattr(error, "faces", ())),
        "text": getattr(error, "what", str(error)),
        "remedy": remedy,
    }
    return {
        "schema": "meshflow-check-1",
        "file": file.name,
        "sha256": "",
        "units": "",
        "vertices": 0,
        "faces": 0,
        "extent_mm": [0.0, 0.0, 0.0],
        "shells": 0,
        "boundary_loops": 0,
        "findings": [finding],
    }
