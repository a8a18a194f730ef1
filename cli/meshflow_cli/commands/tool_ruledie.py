"""``meshflow tool ruledie``: a steel-rule die for leather, card and cloth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import DrawingUnit, Length, dxf_option, out_option

F = TypeVar("F", bound=Callable[..., Any])


def _length(flag: str, name: str, words: str, **more: Any) -> Callable[[F], F]:
    return click.option(flag, name, type=Length(positive=True), metavar="LENGTH", help=words, **more)


@click.command("ruledie")
@click.argument("outline", type=click.Path(path_type=Path))
@out_option
@click.option("--units", type=DrawingUnit(), metavar="UNIT", help="Unit of a drawing that does not say.")
@click.option("--material", required=True, metavar="MATERIAL", help="Id or family of the stock.")
@_length("--thickness", "thickness_mm", "Of the leather.", required=True)
@_length("--rule", "rule_mm", "Thickness of the rule; else by the leather.")
@_length("--rule-height", "rule_height_mm", "Height of the rule.")
@click.option(
    "--bevel",
    type=click.Choice(["both", "outside"]),
    default="both",
    show_default=True,
    help="Where the rule is ground: outside only gives the piece a straight edge.",
)
@_length("--bridge", "bridge_mm", "Width of a bridge.")
@_length("--bridge-pitch", "bridge_pitch_mm", "Length of rule for each bridge.")
@_length("--least-bend", "least_bend_mm", "Tightest inside radius the rule is bent to.")
@_length("--board", "board_mm", "Thickness of the board.")
@_length("--margin", "margin_mm", "Board beyond the outline.")
@click.option("--kerf", "kerf_mm", type=Length(), metavar="LENGTH", help="Width of the laser's cut in the board.")
@click.option(
    "--force", "force_N_per_mm", type=float, metavar="N", help="Force for each mm of rule, as you measured it."
)
@click.option(
    "--side",
    type=click.Choice(["back", "edges"]),
    default="back",
    show_default=True,
    help="Side of the board that is drawn.",
)
@click.option(
    "--leather",
    type=click.Choice(["face_up", "face_down"]),
    default="face_up",
    show_default=True,
    help="How the leather lies under the die.",
)
@click.option("--letters", "lettering", metavar="TEXT", help="Line on the board; else the name; empty for none.")
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
@click.option("--name", default="", metavar="NAME", help="Name of the tool; else that of the file.")
@dxf_option
def command(
    outline: Path, out: Path, units: str | None, dxf: str, name: str, stock_file: Path | None, **chosen: Any
) -> int:
    """Make a steel-rule die for leather, card or cloth: the board to slot by laser, the rule to bend.

    OUTLINE is a DXF or SVG of the finished piece, net size.
    """
    from meshflow.job.tool_of_drawing import make_ruledie_file
    from meshflow.stock import load_stock
    from meshflow.tooling.ruledie_options import RuleDieOptions

    options = RuleDieOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_ruledie_file(
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
    show_tool(tool, "rule die", out, published)
    return 0
