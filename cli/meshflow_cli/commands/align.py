"""``meshflow align``: a scan set on its datum, or laid on another."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings
from meshflow_cli.options import mesh_out_option, units_option
from meshflow_cli.places import Points


@click.command("align")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@mesh_out_option(required=True)
@click.option(
    "--points",
    type=Points(3),
    metavar='"X,Y,Z X,Y,Z X,Y,Z"',
    help="Three points of the scan, in mm: the origin, one on the x axis, one in the xy plane.",
)
@click.option("--axes", is_flag=True, help="Set it on its principal axes: x the longest, its middle in the origin.")
@click.option("--onto", type=click.Path(path_type=Path), metavar="OTHER", help="Lay it on this other scan by best fit.")
@click.option("--json", "as_json", is_flag=True, help="Print motion and fit as JSON.")
def command(file: Path, units: str | None, out: Path, points: Any, axes: bool, onto: Path | None, as_json: bool) -> int:
    """Set a scan on its datum, or lay it on another scan."""
    from meshflow.job.align import align_file

    if (points is not None) + axes + (onto is not None) != 1:
        raise click.UsageError("Say where it shall lie: one of --points, --axes and --onto.")
    with progress_line() as progress:
        made = align_file(file, out=out, units=units, points=points, axes=axes, onto=onto, progress=progress)
    if as_json:
        click.echo(json.dumps(made.to_json(), indent=2, allow_nan=False))
    else:
        _say(made)
    return 0


def _say(made: Any) -> None:
    if made.fit is not None:
        head, fit = f"laid on {made.onto}", made.fit
        say(f"{made.source.file}: {head}")
        say(f"  residual  {fit.residual_mm:.3g} mm rms; {fit.kept:,} of {fit.pairs:,} points kept, the rest left out")
    elif made.axes is not None:
        say(f"{made.source.file}: set on its principal axes")
        x, y, z = made.axes.spread_mm
        say(f"  spread    {x:.4g}, {y:.4g}, {z:.4g} mm rms along x, y, z")
    else:
        say(f"{made.source.file}: set on three points")
    x, y, z = made.motion.shift + 0.0
    say(f"  moved     turned by {made.turned_deg:.4g} degrees, then by {x:.4g}, {y:.4g}, {z:.4g} mm")
    show_findings(made.notes)
    say(f"  wrote {made.written}")
