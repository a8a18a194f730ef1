"""``meshflow flatten``: one piece of a scan, laid flat."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, cast

import click

from meshflow_cli.console import progress_line, show_findings


@click.command("flatten")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder to write to.")
@click.option("--units", help="Unit of the file: mm, cm, m, in ...; GLB and 3MF carry their own.")
@click.option("--region", default="all", show_default=True, help="Which faces: all, label:3, group:NAME, ...")
@click.option("--seam", help="Where a ring is opened: x,y,z or plane:nx,ny,nz,d; else the shortest way.")
@click.option("--material", help="Material id or family; see `meshflow stock materials`.")
@click.option("--thickness", default="0 mm", show_default=True, help="Thickness: 0.8, 0.8mm, '9 oz leather' ...")
@click.option(
    "--side",
    type=click.Choice(["outer", "middle", "inner"]),
    default="middle",
    show_default=True,
    help="Face of the material that was scanned.",
)
@click.option(
    "--face-up",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    show_default=True,
    help="Face that looks up on the pattern.",
)
@click.option("--smooth", default="auto", show_default=True, help="Feature length of the carrier, none, or auto.")
@click.option(
    "--tolerance",
    default=0.05,
    show_default=True,
    type=click.FloatRange(min=0, min_open=True),
    help="Greatest distance of the contour from the rim [mm].",
)
@click.option("--dxf", type=click.Choice(["R12", "R2000", "R2010", "R2018"]), default="R2010", show_default=True)
def command(file: Path, out: Path, thickness: str, smooth: str, dxf: str, tolerance: float, **chosen: Any) -> int:
    """Lay one piece of a scan flat: drawing, pictures, figures."""
    from meshflow.job.single import flatten_file

    with progress_line() as progress:
        made, files = flatten_file(
            file,
            out=out,
            thickness_mm=_length(thickness, "--thickness"),
            smooth=_smooth(smooth),
            tolerance_mm=tolerance,
            dxf_version=cast('Literal["R12", "R2000", "R2010", "R2018"]', dxf),
            progress=progress,
            **chosen,
        )
    _say(made, files, out)
    return 1 if made.refusals else 0


def _length(text: str, option: str) -> float:
    from meshflow.errors import UnitError
    from meshflow.units import length_mm

    try:
        return float(text)
    except ValueError:
        pass
    try:
        return length_mm(text)
    except UnitError as error:
        raise click.BadParameter(str(error), param_hint=option) from error


def _smooth(text: str) -> float | Literal["auto", "none"]:
    if text in ("auto", "none"):
        return cast('Literal["auto", "none"]', text)
    return _length(text, "--smooth")


def _say(made: Any, files: list[str], out: Path) -> None:
    from meshflow.job.results import notes_of

    pattern = made.part.pattern
    measured, smoothing = pattern.distortion, pattern.region.smoothing
    click.echo(
        f"{made.plan.name}: {pattern.verdict}; stretch {measured.percentile(0.01):.4f} to "
        f"{measured.percentile(0.99):.4f} (p01 to p99), {measured.area_flat.sum():.1f} mm2 flat"
    )
    if smoothing.length_mm:
        click.echo(
            f"  carrier: smoothed at {smoothing.length_mm:.3g} mm ({smoothing.reason}); moved at most "
            f"{smoothing.moved_max_mm:.3g} mm, took off {100 * smoothing.length_removed:.2f} % of length"
        )
    show_findings(notes_of(made.part))
    for name in files:
        click.echo(f"  wrote {out / name}")
