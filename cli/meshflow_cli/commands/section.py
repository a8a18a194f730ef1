"""``meshflow section``: profiles and gauges cut from a scan."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_table
from meshflow_cli.options import Length, dxf_option, out_option, units_option


class _Plane(click.ParamType):  # type: ignore[type-arg]
    """Four numbers: a normal and the distance along it."""

    name = "plane"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float, float]:
        """Return nx, ny, nz, d."""
        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        try:
            nx, ny, nz, d = (float(word) for word in str(value).split(","))
        except ValueError:
            self.fail(f'"{value}" is no plane: say nx,ny,nz,d for all points p with n . p = d in mm.', param, ctx)
        return nx, ny, nz, d


@click.command("section")
@click.argument("file", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option(
    "--plane",
    "planes",
    type=_Plane(),
    multiple=True,
    metavar="NX,NY,NZ,D",
    help="Cut here: all points p with n . p = d in mm; repeatable.",
)
@click.option(
    "--every",
    "every_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="Cut at every whole multiple of this along an axis.",
)
@click.option("--along", type=click.Choice(["x", "y", "z"]), help="That axis; else the one the piece is longest along.")
@click.option(
    "--gauge",
    "gauge_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="Draw gauges with this much plate about the profile.",
)
@click.option(
    "--tolerance",
    "tolerance_mm",
    type=Length(positive=True),
    default="0.05",
    show_default=True,
    metavar="LENGTH",
    help="Greatest distance of the drawing from the section.",
)
@dxf_option
def command(file: Path, out: Path, units: str | None, dxf: str, **chosen: Any) -> int:
    """Cut profiles, girths or gauges from a scan."""
    from meshflow.job.gauges import section_file

    if not chosen["planes"] and chosen["every_mm"] is None:
        raise click.UsageError("Say where to cut: --plane NX,NY,NZ,D or --every LENGTH.")
    if chosen["along"] and chosen["every_mm"] is None:
        raise click.UsageError("--along goes with --every.")
    with progress_line() as progress:
        found, published = section_file(
            file,
            out=out,
            units=units,
            dxf_version=dxf,  # type: ignore[arg-type]  # click.Choice holds it to the versions there are
            progress=progress,
            **chosen,
        )
    _say(file, found)
    show_files(str(out), published.files, published.left, whose="this set")
    return 0


def _say(file: Path, found: Any) -> None:
    count = len(found.cuts)
    click.echo(f"{file.name}: {count} section{'s' if count != 1 else ''}")
    rows = [("section", "curves", "length", "girth", "area inside")]
    for cut in found.cuts:
        closed = sum(curve.closed for curve in cut.section.curves)
        opened = len(cut.section.curves) - closed
        curves = ", ".join(f"{n} {word}" for n, word in ((closed, "closed"), (opened, "open")) if n)
        girth = "-" if cut.girth_mm is None else f"{cut.girth_mm:.2f} mm"
        area = "-" if cut.girth_mm is None else f"{cut.section.area_mm2:.0f} mm2"
        rows.append((cut.label, curves, f"{cut.section.length_mm:.2f} mm", girth, area))
    show_table(rows, indent="  ")
    past = [f"{cut.number:02d}" for cut in found.cuts if found.gauge_mm and cut.leans_back]
    if past:
        say(f"  the profile leans back, so the gauge goes straight past: {', '.join(past)}", indent="    ")
