"""``meshflow tool former``: a block to mould wet leather or raise metal over."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import Length, Smooth, dxf_option, out_option, units_option
from meshflow_cli.places import Point

F = TypeVar("F", bound=Callable[..., Any])


def _length(flag: str, name: str, words: str, *, positive: bool = False, **more: Any) -> Callable[[F], F]:
    return click.option(flag, name, type=Length(positive=positive), metavar="LENGTH", help=words, **more)


@click.command("former")
@click.argument("file", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option("--region", default="all", show_default=True, metavar="SEL", help="Which surface: label=1, axis=z ...")
@click.option("--smooth", type=Smooth(), default="auto", show_default=True, help="Feature length kept, auto or none.")
@_length("--thickness", "thickness_mm", "Thickness of the leather or sheet.", required=True)
@_length("--padding", "padding_mm", "Lining and padding under it.", default="0", show_default=True)
@click.option(
    "--side",
    type=click.Choice(["outer", "middle", "inner"]),
    default="outer",
    show_default=True,
    help="Face of the leather or sheet that was scanned.",
)
@click.option(
    "--work",
    type=click.Choice(["over", "into"]),
    default="over",
    show_default=True,
    help="Over a block that fills the piece, or into a hollow one.",
)
@click.option("--direction", type=Point(), metavar="X,Y,Z", help="Way it comes off; else the one with least undercut.")
@click.option("--draft", "draft_deg", type=float, default=0.0, metavar="DEG", help="List faces with less draft.")
@_length("--land", "land_mm", "Flat rim beyond the edge, for tacks or clamps.")
@_length("--base", "base_mm", "Wood under the lowest place.", positive=True)
@click.option("--vents", type=int, default=6, show_default=True, metavar="N", help="Most vent holes; 0 for none.")
@_length("--vent", "vent_mm", "Diameter of a vent hole.", positive=True)
@_length("--hollow", "hollow_mm", "Least depth of a hollow with a vent.", positive=True, default="1", show_default=True)
@click.option(
    "--machine", default="mill", show_default=True, metavar="NAME", help="Split for this machine; empty for one piece."
)
@_length("--dowel", "dowel_mm", "Diameter of dowels in the joints; 0 for none.", default="8", show_default=True)
@_length("--dowel-depth", "dowel_depth_mm", "Depth in each block.", default="15", show_default=True)
@_length("--pitch", "pitch_mm", "Between samples of the face.", positive=True)
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
@click.option("--name", default="", metavar="NAME", help="Name of the tool; else that of the file.")
@dxf_option
def command(
    file: Path,
    out: Path,
    units: str | None,
    region: str,
    smooth: Any,
    dxf: str,
    name: str,
    stock_file: Path | None,
    **chosen: Any,
) -> int:
    """Make a former: a block to mould wet leather or raise metal over.

    FILE is a scan; the face of the block lies inside it by the thickness and the padding.
    """
    from meshflow.job.tool_former import make_former_file
    from meshflow.stock import load_stock
    from meshflow.tooling.former_options import FormerOptions

    if chosen["direction"] is not None:
        chosen["direction"] = tuple(float(value) for value in chosen["direction"])
    options = FormerOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_former_file(
            file,
            options,
            out=out,
            units=units,
            region=region,
            smooth=smooth,
            name=name,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            versions=(dxf,),
            progress=progress,
        )
    show_tool(tool, "former", out, published)
    return 0
