"""``meshflow check``: whether a scan or a drawing is fit to use."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings, show_table
from meshflow_cli.options import Length, units_option

_MOST_HOLES = 10


@click.command("check")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@click.option("--process", metavar="PROCESS", help="For a drawing: how it shall be cut, a process id of the stock.")
@click.option(
    "--thickness", type=Length(), default="0", metavar="LENGTH", help="For a drawing: thickness of the sheet."
)
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
def command(file: Path, units: str | None, process: str | None, thickness: float, as_json: bool) -> int:
    """Say whether a scan or a drawing is fit to use, and why not.

    A drawing (DXF, SVG) is looked through for what a shop's import would stumble over, and with --process for what
    cannot be cut so.
    """
    from meshflow.errors import MeshflowError
    from meshflow.job.drawing_check import is_drawing

    if is_drawing(file):
        return _drawing(file, units, process, thickness, as_json)
    if process is not None or thickness:
        raise click.UsageError("--process and --thickness are for drawings (DXF, SVG).")
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


def _drawing(file: Path, units: str | None, process: str | None, thickness: float, as_json: bool) -> int:
    from meshflow.job.drawing_check import check_drawing
    from meshflow.stock.cutting import bed_of
    from meshflow.stock.load import load_stock

    stock = load_stock()
    way = None if process is None else stock.process(process)
    bed = None if way is None else bed_of(way, stock.machines.values())
    found = check_drawing(file, process=way, thickness_mm=thickness, bed=bed, units=units)
    if as_json:
        click.echo(json.dumps(found.to_json(), indent=2, allow_nan=False))
        return 0 if found.usable else 1
    wide, high = found.extent_mm
    click.echo(
        f"{found.file}: {wide:.1f} x {high:.1f} mm, {_counted(found.parts, 'outer contour')}, "
        f"{_counted(found.inner, 'inner contour')}, {found.cut_mm:.0f} mm to cut"
    )
    show_findings(found.findings)
    fit = "look at these" if found.findings else "fit to cut"
    click.echo(fit if found.usable else "not fit to cut")
    return 0 if found.usable else 1


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
