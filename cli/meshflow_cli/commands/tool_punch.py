"""``meshflow tool punch``: a punch and a die from a relief."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.commands.relief import _Range as HeightRange
from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import Length, SignedLength, dxf_option, out_option

F = TypeVar("F", bound=Callable[..., Any])


def _length(flag: str, name: str, words: str, *, positive: bool = False, **more: Any) -> Callable[[F], F]:
    return click.option(flag, name, type=Length(positive=positive), metavar="LENGTH", help=words, **more)


@click.command("punch")
@click.argument("relief", type=click.Path(path_type=Path))
@out_option
@_length("--thickness", "thickness_mm", "Thickness of the sheet.", positive=True, required=True)
@click.option(
    "--material", default="copper", show_default=True, metavar="NAME", help="Metal of the sheet: id or family."
)
@click.option("--temper", default="", metavar="NAME", help="State it is bought in; else the softest.")
@click.option("--press", metavar="MACHINE", help="Press of the stock it is held against; else the strongest.")
@click.option(
    "--detail",
    type=click.Choice(["auto", "shallow", "crisp", "coined"]),
    default="auto",
    show_default=True,
    help="Soft outlines, sharp ones, or thickness that flows.",
)
@click.option(
    "--nominal",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    show_default=True,
    help="Face of the panel that has the shape of the relief: the outer one is seen.",
)
@_length("--clearance", "clearance_mm", "Added to the thickness all over.", default="0", show_default=True)
@click.option("--draft", "draft_deg", type=float, metavar="DEG", help="Least angle of walls to the plumb line.")
@_length("--cutter", "cutter_radius_mm", "Radius of the ball-nosed cutter; 0 for none.")
@_length("--reach", "cutter_reach_mm", "How deep the cutter reaches.", positive=True)
@_length("--blend", "blend_mm", "How far beyond the rim the sheet comes down to the land.")
@_length("--land", "land_mm", "Flat rim that holds the sheet.")
@_length("--land-step", "land_step_mm", "How far the faces stand back beyond it.", default="0", show_default=True)
@_length(
    "--mesh-tolerance",
    "mesh_tolerance_mm",
    "How far, in height, the triangles may be off the faces; 0 keeps every sample.",
    default="0.002",
    show_default=True,
)
@_length("--metal-under", "metal_under_mm", "Least metal from the deepest place to the back.")
@_length("--facing", "facing_mm", "Milled off the two broad faces of the bar together.")
@_length("--dowel", "dowel_mm", "Diameter of the dowels.", positive=True)
@_length("--bolt", "bolt_mm", "Diameter of the bolts, from the back.", positive=True)
@click.option("--letters", "lettering", metavar="TEXT", help="Line on both blocks; else the name; empty for none.")
@_length("--letter-height", "letter_height_mm", "Of its capitals.", positive=True, default="5", show_default=True)
@_length("--engrave", "engraving_mm", "Depth of the lettering in the solids; 0 draws it on the plan alone.")
@_length("--oversize", "oversize_mm", "How far the blank reaches beyond the trim line.")
@click.option(
    "--profile",
    "profiles_mm",
    type=SignedLength(),
    multiple=True,
    metavar="Y",
    help="Cut the closed pair here for the drawing of profiles; repeatable.",
)
@_length("--contours", "contour_step_mm", "Height between contours of the die.", positive=True)
@_length("--pitch", "pitch_mm", "Of a picture: side of a pixel.", positive=True)
@click.option(
    "--range", "range_mm", type=HeightRange(), metavar="LOW,HIGH", help="Of a picture: height of black and white."
)
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
@click.option("--name", default="", metavar="NAME", help="Name of the tool; else that of the relief.")
@dxf_option
def command(
    relief: Path,
    out: Path,
    dxf: str,
    name: str,
    pitch_mm: Any,
    range_mm: Any,
    stock_file: Path | None,
    material: str,
    temper: str,
    press: str | None,
    detail: Any,
    **chosen: Any,
) -> int:
    """Make a punch and a die that close on the sheet.

    RELIEF is the folder that `meshflow relief` wrote, its height.npz, or a grey picture.
    """
    from meshflow.job.tool_punch import make_punch_file
    from meshflow.stock import load_stock
    from meshflow.tooling.punch_options import PunchOptions
    from meshflow.tooling.strike import StrikeOptions

    options = PunchOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_punch_file(
            relief,
            options,
            out=out,
            material=material,
            temper=temper,
            press=press,
            strike=StrikeOptions(detail=detail),
            name=name,
            pitch_mm=pitch_mm,
            range_mm=range_mm,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            versions=(dxf,),
            progress=progress,
        )
    show_tool(tool, "punch and die", out, published)
    return 0
