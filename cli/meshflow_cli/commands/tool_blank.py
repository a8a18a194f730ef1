"""``meshflow tool blank``: a punch and die that cut a flat piece out of sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import DrawingUnit, Length, dxf_option, out_option


@click.command("blank")
@click.argument("outline", type=click.Path(path_type=Path))
@out_option
@click.option("--units", type=DrawingUnit(), metavar="UNIT", help="Unit of a drawing that does not say.")
@click.option("--material", required=True, metavar="MATERIAL", help="Id or family of the stock.")
@click.option("--temper", default="", metavar="TEMPER", help="State of hardness; else the strongest known.")
@click.option(
    "--thickness", "thickness_mm", type=Length(positive=True), required=True, metavar="LENGTH", help="Of the sheet."
)
@click.option("--shear", "shear_MPa", type=float, metavar="MPA", help="Shear strength, where you know it better.")
@click.option(
    "--fit",
    "clearance_fit",
    type=click.Choice(["usual", "tight"]),
    default="usual",
    show_default=True,
    help="Clearance by the tables: tight gives less burr and wears more.",
)
@click.option(
    "--clearance", "clearance_mm", type=Length(), metavar="LENGTH", help="On each side, instead of the tables."
)
@click.option(
    "--slope", "slope_mm", type=Length(), default="0", metavar="LENGTH", help="How deep the face is ground aslant."
)
@click.option(
    "--burr",
    type=click.Choice(["back", "face"]),
    default="back",
    show_default=True,
    help="Side of the piece that gets the burr.",
)
@click.option("--relief", "die_relief_deg", type=float, metavar="DEG", help="Taper of the die under its land.")
@click.option("--die-land", "die_land_mm", type=Length(positive=True), metavar="LENGTH", help="Straight part above it.")
@click.option("--dowel", "dowel_mm", type=Length(positive=True), metavar="LENGTH", help="Diameter of the dowels.")
@click.option("--bolt", "bolt_mm", type=Length(positive=True), metavar="LENGTH", help="Diameter of the bolts.")
@click.option("--press", default="", metavar="MACHINE", help="Press of the stock; else the strongest.")
@click.option("--letters", "lettering", metavar="TEXT", help="Line on the plates; else the name; empty for none.")
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
@click.option("--name", default="", metavar="NAME", help="Name of the tool; else that of the file.")
@dxf_option
def command(
    outline: Path, out: Path, units: str | None, dxf: str, name: str, stock_file: Path | None, **chosen: Any
) -> int:
    """Make a punch and die that cut a flat piece out of sheet.

    OUTLINE is a DXF or SVG of the finished piece, net size. Holes are pierced by a second pair.
    """
    from meshflow.job.tool_of_drawing import make_blank_file
    from meshflow.stock import load_stock
    from meshflow.tooling.blank_options import BlankOptions

    options = BlankOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_blank_file(
            outline,
            options,
            out=out,
            name=name,
            units=units,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            versions=(dxf,),
            progress=progress,
        )
    blows = tool.record["blows"]
    show_tool(tool, f"blanking tool, {blows} blow{'s' if blows > 1 else ''}", out, published)
    return 0
