"""``meshflow mirror``: left from right."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings
from meshflow_cli.options import mesh_out_option, units_option
from meshflow_cli.places import PlaneOf, Point


@click.command("mirror")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@mesh_out_option(required=False)
@click.option("--image", is_flag=True, help="Make the other hand: the mirror image of the whole scan; needs --plane.")
@click.option(
    "--keep", type=Point(), metavar="X,Y,Z", help="Make the piece whole from the side of the plane this point is on."
)
@click.option("--complete", is_flag=True, help="Fill in from the other side what was not measured.")
@click.option("--average", is_flag=True, help="Even out left and right.")
@click.option(
    "--plane",
    type=PlaneOf(),
    metavar="NX,NY,NZ,D",
    help="The plane, all points with nx x + ny y + nz z = d; found from the scan when left out.",
)
@click.option("--near", type=PlaneOf(), metavar="NX,NY,NZ,D", help="Look near this plane, where the piece has several.")
@click.option("--json", "as_json", is_flag=True, help="Print plane and residual as JSON.")
def command(
    file: Path, units: str | None, out: Path | None, plane: Any, near: Any, as_json: bool, **chosen: Any
) -> int:
    """Find the middle of a scan; make its mirror image or its whole."""
    from meshflow.job.mirror import mirror_file

    wanted = [name for name, value in chosen.items() if value not in (None, False)]
    if len(wanted) > 1:
        raise click.UsageError(f"Say one of {' and '.join('--' + name for name in wanted)}.")
    if wanted and out is None:
        raise click.UsageError("Say where to write: --out FILE.")
    if out is not None and not wanted:
        raise click.UsageError("Say what to make: --image, --keep, --complete or --average.")
    if plane is not None and near is not None:
        raise click.UsageError("Say either --plane, which is taken as it is, or --near, where to look.")
    if wanted == ["image"] and plane is None:
        raise click.UsageError("Say in which plane: --plane 1,0,0,0 turns left into right.")
    make: Any = {"keep": "whole"}.get(wanted[0], wanted[0]) if wanted else "plane"
    with progress_line() as progress:
        made = mirror_file(
            file,
            make=make,
            out=out,
            units=units,
            plane=plane,
            near=near,
            keep=chosen["keep"],
            progress=progress,
        )
    if as_json:
        click.echo(json.dumps(made.to_json(), indent=2, allow_nan=False))
    else:
        _say(made)
    return 1 if made.found is not None and made.found.failed else 0


def _say(made: Any) -> None:
    found = made.found
    say(f"{made.source.file}: plane {made.plane}{'' if found is not None else ', as given'}")
    if found is not None:
        say(
            f"  residual  {found.residual_mm:.3g} mm rms between the scan and its mirror image; "
            f"{found.matched:.0%} of the area has a counterpart"
        )
        if found.failed:
            say(f"  {found.failed}")
    show_findings(made.notes)
    if made.written is not None:
        if made.mirrored_share > 0:
            say(f"  mirrored  {made.mirrored_share:.1%} of the surface, marked as such")
        if not made.evidence_kept:
            say("  but STL cannot say which faces those are: write .ply or .3mf to keep the mark")
        say(f"  wrote {made.written}")
