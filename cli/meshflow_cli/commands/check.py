"""``meshflow check``: whether a scan is fit to use."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings, show_table
from meshflow_cli.options import units_option

_MOST_HOLES = 10


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
    if report.faces:
        _say_figures(report)
    show_findings(report.findings)
    click.echo("fit to use" if report.usable else "not fit to use")


def _say_figures(report: Any) -> None:
    shapes, unit, noise = report.shapes, report.likely_unit, report.noise_sigma_mm
    said = f"cannot be told: {report.noise_unknown}" if noise is None else f"{noise:.3g} mm (one sigma)"
    for name, text in (
        ("unit", f"likely {unit.unit or 'none I know'}. {unit.reason}"),
        ("noise", said),
        (
            "triangles",
            f"{shapes.edge_mm:.3g} mm edges, {shapes.mean:.2f} even (1 is best), {shapes.poor_share:.1%} poor",
        ),
    ):
        say(f"  {name:<9}  {text}", indent=" " * 13)
    if report.holes:
        click.echo(f"  {'open rims' if len(report.holes) > 1 else 'open rim'}, the widest first:")
        show_table(
            [("loop", "across", "length", "edges", "middle", ""), *map(_hole, report.holes[:_MOST_HOLES])],
            indent="    ",
        )
    if len(report.holes) > _MOST_HOLES:
        click.echo(f"    and {len(report.holes) - _MOST_HOLES} smaller ones, see --json")


def _hole(hole: Any) -> tuple[str, ...]:
    middle = ", ".join(f"{round(at, 1) + 0.0:.1f}" for at in hole.centre_mm)
    kind = "the rim of its shell" if hole.rim else "" if hole.whole else "meets an edge where the surface branches"
    return str(hole.loop), f"{hole.width_mm:.3g} mm", f"{hole.length_mm:.4g} mm", str(hole.edges), middle, kind


def _counted(count: int, what: str) -> str:
    plural = {"vertex": "vertices"}.get(what, f"{what}s")
    return f"{count} {what if count == 1 else plural}"
