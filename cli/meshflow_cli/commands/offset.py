"""``meshflow offset``: the surface of a lining, a cover or a casting."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings
from meshflow_cli.options import SignedLength, mesh_out_option, units_option


@click.command("offset")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@click.option(
    "--by", required=True, type=SignedLength(), metavar="LENGTH", help="How far, outward; a minus goes inward."
)
@mesh_out_option(required=True)
def command(file: Path, units: str | None, by: float, out: Path) -> int:
    """Write the surface some millimetres outside or inside a scan."""
    from meshflow.job.offset import offset_file

    if by == 0.0:
        raise click.BadParameter("0 moves nothing.", param_hint="--by")
    with progress_line() as progress:
        made = offset_file(file, by_mm=by, out=out, units=units, progress=progress)
    _say(made)
    return 0


def _say(made: Any) -> None:
    surface = made.surface
    way = "outward" if made.distance_mm > 0 else "inward"
    size = " x ".join(f"{length:.1f}" for length in surface.extent_mm)
    click.echo(f"{surface.source.file}: {abs(made.distance_mm):g} mm {way}; {size} mm")
    share = made.bridged_mm2 / made.area_mm2 if made.area_mm2 else 0.0
    say(f"  bridged    {made.bridged_mm2:.1f} mm2, {share:.2%} of the area of the scan: no room there", indent=" " * 13)
    click.echo(f"  crossings  {made.crossing:,} faces run through each other that did not before")
    show_findings(surface.notes)
    click.echo(f"  wrote {made.written}")
