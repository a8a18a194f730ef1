"""``meshflow tool strip``: a short tool through which a long strip is fed by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.commands.relief import _Range as HeightRange
from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import Length, dxf_option, out_option

F = TypeVar("F", bound=Callable[..., Any])


class _Frame(click.ParamType):  # type: ignore[type-arg]
    """Width and height of a frame: two lengths with an x or a comma between them."""

    name = "frame"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Return both in millimetres."""
        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        words = str(value).replace(",", "x").lower().split("x")
        if len(words) != 2:
            self.fail(f'"{value}" is no size: say WIDTHxHEIGHT, such as 400x300.', param, ctx)
        width, height = (Length(positive=True).convert(word.strip(), param, ctx) for word in words)
        return width, height


def _length(flag: str, name: str, words: str, *, positive: bool = False, **more: Any) -> Callable[[F], F]:
    return click.option(flag, name, type=Length(positive=positive), metavar="LENGTH", help=words, **more)


@click.command("strip")
@click.argument("relief", type=click.Path(path_type=Path))
@out_option
@_length("--thickness", "thickness_mm", "Thickness of the strip.", positive=True, required=True)
@click.option(
    "--material", default="copper", show_default=True, metavar="NAME", help="Metal of the strip: id or family."
)
@click.option("--temper", default="", metavar="NAME", help="State in which it is bought; else the softest known.")
@click.option("--press", metavar="NAME", help="Press of the stock; see `meshflow stock machines`.")
@click.option(
    "--detail",
    type=click.Choice(["auto", "shallow", "crisp", "coined"]),
    default="auto",
    show_default=True,
    help="Soft outlines, sharp ones, or thickness that flows.",
)
@_length("--length", "length_mm", "Ornament wanted.", positive=True)
@_length("--ring", "ring_mm", "Instead of a length: diameter of the round it closes about.", positive=True)
@click.option(
    "--ring-side",
    type=click.Choice(["outside", "inside"]),
    default="outside",
    show_default=True,
    help="Where the ornament of the ring is seen from.",
)
@click.option(
    "--frame",
    "frame_mm",
    type=_Frame(),
    metavar="WxH",
    help="Instead of a length: a mitred frame, over the outer edge of the ornament.",
)
@_length("--period", "period_mm", "Repeat of the ornament along x; else it is found.", positive=True)
@click.option("--as-seen", is_flag=True, help="Do not make the repeats of the relief alike first.")
@click.option("--per-blow", "repeats_per_blow", type=int, metavar="N", help="Repeats from blow to blow.")
@click.option("--register", "register_repeats", type=int, metavar="N", help="Struck repeats that place the strip.")
@click.option(
    "--placed-by",
    "register",
    type=click.Choice(["repeat", "pilot", "stop"]),
    default="repeat",
    show_default=True,
    help="What places the strip.",
)
@_length("--pilot", "pilot_mm", "Diameter of pilots.", positive=True, default="3", show_default=True)
@_length("--error", "step_error_mm", "How far off the strip lies at one blow.")
@_length("--edge", "edge_mm", "Edge on each side that is trimmed off.")
@_length("--way-in", "way_in_mm", "Zone in which the ornament fades to the flat strip.")
@_length("--way-out", "way_out_mm", "Zone in which the punch lifts off the struck strip.")
@_length("--side-blend", "side_blend_mm", "How far beside the ornament the strip comes down to its edge.")
@click.option(
    "--nominal",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    show_default=True,
    help="Face of the strip that has the shape of the relief: the outer one is seen.",
)
@_length("--clearance", "clearance_mm", "Added to the thickness all over.", default="0", show_default=True)
@click.option("--draft", "draft_deg", type=float, metavar="DEG", help="Least angle of walls to the plumb line.")
@_length("--cutter", "cutter_radius_mm", "Radius of the ball-nosed cutter; 0 for none.")
@_length(
    "--guide-clearance",
    "guide_clearance_mm",
    "What the channel is wider than the strip.",
    positive=True,
    default="0.2",
    show_default=True,
)
@_length("--stock-length", "stock_length_mm", "Length of the strips to be had.", positive=True)
@_length("--hold", "hold_mm", "Left at the end of each strip to hold it by.", default="80", show_default=True)
@click.option(
    "--neutral", "neutral_factor", type=float, metavar="K", help="Neutral line of the bent strip, share of t."
)
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
    material: str,
    temper: str,
    press: str | None,
    detail: Any,
    name: str,
    as_seen: bool,
    pitch_mm: Any,
    range_mm: Any,
    stock_file: Path | None,
    **chosen: Any,
) -> int:
    """Make a short tool through which a long strip is fed by hand.

    RELIEF is the folder that `meshflow relief` wrote, its height.npz, or a grey picture.
    """
    from meshflow.job.tool_strip import make_strip_file
    from meshflow.stock import load_stock
    from meshflow.tooling.strike import StrikeOptions
    from meshflow.tooling.strip_options import StripOptions

    options = StripOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_strip_file(
            relief,
            options,
            out=out,
            material=material,
            temper=temper,
            press=press,
            strike=StrikeOptions(detail=detail),
            name=name,
            as_seen=as_seen,
            pitch_mm=pitch_mm,
            range_mm=range_mm,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            versions=(dxf,),
            progress=progress,
        )
    show_tool(tool, "strip tool", out, published)
    return 0
