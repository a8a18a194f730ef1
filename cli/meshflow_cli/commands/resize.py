"""``meshflow resize``: a scan brought to the size of a mount or a wearer."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_findings
from meshflow_cli.options import Length, mesh_out_option, units_option
from meshflow_cli.places import PlaneOf


class _Scale(click.ParamType):  # type: ignore[type-arg]
    """One factor, or three with commas between them."""

    name = "scale"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, ...]:
        """Return the factors."""
        try:
            factors = tuple(float(word) for word in str(value).split(","))
        except ValueError:
            factors = ()
        if len(factors) not in (1, 3) or not all(0.0 < factor < 1e6 for factor in factors):
            self.fail(f'"{value}" is no scale: one number over 0, or three with commas, such as 1.03.', param, ctx)
        return factors


@click.command("resize")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@mesh_out_option(required=True)
@click.option("--scale", type=_Scale(), metavar="F|FX,FY,FZ", help="New size over old, for all or along x, y, z.")
@click.option(
    "--girth", type=Length(positive=True), metavar="LENGTH", help="Scale to this girth by the tape; needs --at."
)
@click.option("--at", "plane", type=PlaneOf(), metavar="NX,NY,NZ,D", help="The plane in which the girth is taken.")
@click.option("--pad", type=Length(positive=True), metavar="LENGTH", help="Move the surface outward by this.")
def command(
    file: Path, units: str | None, out: Path, scale: Any, girth: float | None, plane: Any, pad: float | None
) -> int:
    """Bring a scan to the size of a mount or a wearer."""
    from meshflow.job.resize import resize_file

    if (scale is not None) + (girth is not None) + (pad is not None) != 1:
        raise click.UsageError("Say the size: one of --scale, --girth and --pad.")
    if (girth is None) != (plane is None):
        raise click.UsageError("--girth LENGTH and --at PLANE go together.")
    with progress_line() as progress:
        made = resize_file(
            file, out=out, units=units, scale=scale, girth_mm=girth, plane=plane, pad_mm=pad, progress=progress
        )
    _say(made, girth)
    return 0


def _say(made: Any, girth: float | None) -> None:
    before, after = (" x ".join(f"{side:.4g}" for side in size) for size in (made.before_mm, made.surface.extent_mm))
    say(f"{made.surface.source.file}: {before} mm becomes {after} mm")
    if girth is not None:
        say(f"  girth     {made.girth_mm:.4g} mm becomes {girth:.4g} mm")
    show_findings(made.surface.notes)
    say(f"  wrote {made.written}")
