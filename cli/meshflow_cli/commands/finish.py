"""``meshflow finish``: surface, mass, plating, annealing, polishing of a piece."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings, show_table
from meshflow_cli.options import Length, units_option


@click.command("finish")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Folder to write finishing.json to.")
@units_option
@click.option("--material", required=True, metavar="MATERIAL", help="Id or family of the stock.")
@click.option(
    "--thickness",
    "thickness_mm",
    type=Length(),
    default="0",
    metavar="LENGTH",
    help="Of the sheet; left out for a closed body.",
)
@click.option("--plate", default="", metavar="BATH", help="ag, au_i, au_iii, cu_i, cu_ii, ni, or a bath of your own.")
@click.option("--microns", type=float, metavar="UM", help="Thickness of the coat.")
@click.option("--density", "density_A_dm2", type=float, metavar="A/DM2", help="Current density, by the bath's maker.")
@click.option("--efficiency", type=float, metavar="SHARE", help="Of the current, 0 to 1; else the stock's.")
@click.option("--rack", "rack_share", type=float, metavar="SHARE", help="Wire and hooks, over the piece's area.")
@click.option("--count", type=int, default=1, show_default=True, metavar="N", help="Pieces in the bath together.")
@click.option("--polish/--no-polish", default=True, show_default=True, help="Whether it is polished.")
@click.option("--anneal/--no-anneal", default=True, show_default=True, help="Whether it is annealed.")
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
def command(file: Path, out: Path | None, units: str | None, stock_file: Path | None, **chosen: Any) -> int:
    """Say what finishing takes: area, mass, plating, annealing.

    FILE is a drawing of the flat piece (DXF, SVG), or a mesh: with --thickness a sheet surface, without it a body.
    """
    from meshflow.job.finish import finish_file
    from meshflow.stock import load_stock
    from meshflow.tooling.finishing_options import FinishingOptions

    options = FinishingOptions(**chosen)
    with progress_line() as progress:
        found, published = finish_file(
            file,
            options,
            out=out,
            units=units,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            progress=progress,
        )
    click.echo(f"{found.name}: finishing")
    show_table([(line.label, line.value, line.how) for line in found.sheet], indent="  ")
    show_findings(found.notes)
    for caution in found.cautions:
        say(f"  {caution}", indent="  ")
    if published is not None:
        show_files(str(out), published.files, published.left, whose="this piece")
    return 0
