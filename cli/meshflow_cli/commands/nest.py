"""``meshflow nest``: parts on sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, cast

import click

from meshflow_cli.console import progress_line, show_findings


@click.command("nest")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--sheet", "sheets", multiple=True, required=True, help="LENGTHxWIDTH in mm (length along x), or a stock id."
)
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder to write to.")
@click.option("--margin", default=10.0, show_default=True, help="Clear edge of the sheet [mm].")
@click.option("--spacing", default=3.0, show_default=True, help="Clear distance between parts [mm].")
@click.option("--quantity", "quantities", multiple=True, metavar="NAME=N", help="How many of a part; 1 if not said.")
@click.option("--turns", default="0,90,180,270", show_default=True, help="Allowed turns [deg].")
@click.option("--mirror/--no-mirror", default=False, show_default=True, help="Whether parts may be turned over.")
@click.option("--effort", default=4, show_default=True, type=click.IntRange(1, 100_000), help="Rounds of search.")
@click.option("--seconds", type=click.FloatRange(min=0, min_open=True), help="Time cap.")
@click.option("--seed", default=1, show_default=True, type=click.IntRange(min=0), help="Seed of the search.")
@click.option("--units", help="Unit of drawings that do not say.")
@click.option("--dxf", type=click.Choice(["R12", "R2000", "R2010", "R2018"]), default="R2010", show_default=True)
def command(
    files: tuple[Path, ...],
    sheets: tuple[str, ...],
    out: Path,
    quantities: tuple[str, ...],
    turns: str,
    mirror: bool,
    margin: float,
    spacing: float,
    dxf: str,
    **chosen: Any,
) -> int:
    """Lay the parts of DXF files out on sheets; a file's stem names its part."""
    from meshflow.job.single import nest_files, sheet_of

    with progress_line() as progress:
        nest, written = nest_files(
            files,
            out=out,
            sheets=[sheet_of(text) for text in sheets],
            margin_mm=margin,
            spacing_mm=spacing,
            quantities=dict(_quantity(text) for text in quantities),
            turns_deg=_turns(turns),
            may_mirror=mirror,
            dxf_version=cast('Literal["R12", "R2000", "R2010", "R2018"]', dxf),
            progress=progress,
            **chosen,
        )
    for number, layout in enumerate(nest.sheets, start=1):
        click.echo(
            f"sheet {number}: {layout.sheet.id}, {len(layout.placements)} pieces, "
            f"{100 * layout.utilisation:.1f} % of {layout.used_length_mm:.0f} mm used"
        )
    click.echo(f"{len(nest.sheets)} sheets, at least {nest.sheets_lower_bound} needed; stopped by {nest.stopped_by}")
    show_findings(nest.notes)
    for name in written:
        click.echo(f"  wrote {out / name}")
    return 1 if nest.unplaced else 0


def _quantity(text: str) -> tuple[str, int]:
    name, equals, count = text.rpartition("=")
    if not equals or not name or not count.isdigit():
        raise click.BadParameter(f'"{text}" is not NAME=NUMBER.', param_hint="--quantity")
    return name, int(count)


def _turns(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(turn) for turn in text.split(",") if turn.strip())
    except ValueError as error:
        raise click.BadParameter(f'"{text}" is not a list of degrees.', param_hint="--turns") from error
