"""``meshflow tool cast``: a pattern for casting."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.console import progress_line, show_tool
from meshflow_cli.options import Length, SignedLength, Smooth, dxf_option, out_option, units_option
from meshflow_cli.places import Point

F = TypeVar("F", bound=Callable[..., Any])


class _Shrink(click.ParamType):  # type: ignore[type-arg]
    """A step and its percent: ``wax=2.5``."""

    name = "shrink"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, float]:
        """Return the step's name and its percent."""
        step, _, percent = str(value).partition("=")
        try:
            return step.strip(), float(percent.strip().removesuffix("%"))
        except ValueError:
            self.fail(f'"{value}" is no step; write STEP=PERCENT, such as wax=2.5.', param, ctx)


def _length(flag: str, name: str, words: str, *, positive: bool = False, **more: Any) -> Callable[[F], F]:
    return click.option(flag, name, type=Length(positive=positive), metavar="LENGTH", help=words, **more)


@click.command("cast")
@click.argument("file", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option("--region", default="all", show_default=True, metavar="SEL", help="Which surface: label=1, axis=z ...")
@click.option("--smooth", type=Smooth(), default="auto", show_default=True, help="Feature length kept, auto or none.")
@click.option("--design", type=click.Path(path_type=Path), metavar="FILE", help="Flat drawing or relief bent onto it.")
@_length("--thickness", "thickness_mm", "Wall of the finished casting.", positive=True, required=True)
@click.option("--face", "face_mm", type=SignedLength(), default="0", metavar="LENGTH", help="Outer face from the scan.")
@click.option(
    "--under", "under_mm", type=SignedLength(), metavar="LENGTH", help="Underside from the scan: what it sits on."
)
@click.option(
    "--follows",
    type=click.Choice(["face", "base"]),
    default="face",
    show_default=True,
    help="What the underside runs along: the outer face, or the form under its ornament.",
)
@click.option(
    "--base",
    type=click.Choice(["auto", "plane", "cylinder", "cone", "sphere", "free"]),
    default="auto",
    show_default=True,
    help="That form.",
)
@click.option("--metal", default="bronze_cast", show_default=True, metavar="ID", help="Material of the stock.")
@click.option(
    "--pattern",
    type=click.Choice(["burnt_out", "moulded", "sand"]),
    default="burnt_out",
    show_default=True,
    help="Burnt out itself, a model for rubber mould and waxes, or pressed into sand.",
)
@click.option("--shrink", type=_Shrink(), multiple=True, metavar="STEP=PERCENT", help="Steps to come; repeatable.")
@click.option(
    "--convention",
    type=click.Choice(["inverse", "table"]),
    default="inverse",
    show_default=True,
    help="1 / (1 - s), or 1 + s as shrink rules are used.",
)
@_length("--polish", "polish_mm", "Taken off the outer face afterwards.", default="0", show_default=True)
@click.option("--polish-on", default="", metavar="SEL", help="Polish these faces alone.")
@_length("--machining", "machining_mm", "Taken off the underside afterwards.", default="0", show_default=True)
@click.option(
    "--post", "posts", type=Point(), multiple=True, metavar="X,Y,Z", help="A post on the underside; repeatable."
)
@_length("--post-size", "post_mm", "Diameter of posts.", positive=True, default="4", show_default=True)
@_length("--post-length", "post_length_mm", "Length of posts.", positive=True, default="12", show_default=True)
@click.option("--hole", "holes", type=Point(), multiple=True, metavar="X,Y,Z", help="A hole through it; repeatable.")
@_length("--hole-size", "hole_mm", "Diameter of holes, finished.", positive=True, default="3", show_default=True)
@_length("--plating", "plating_mm", "Thickness of plating, each face.", default="0", show_default=True)
@_length("--least-wall", "wall_least_mm", "Least wall that runs; else by the stock.")
@click.option(
    "--machine",
    default="printer",
    show_default=True,
    metavar="NAME",
    help="Split for this machine; empty for one piece.",
)
@click.option("--flask", "flask_mm", type=Point(), metavar="X,Y,Z", help="Room in the flask.")
@_length("--key", "key_mm", "Diameter of keys in joints; 0 for none.", default="3", show_default=True)
@_length("--key-depth", "key_depth_mm", "Their length.", default="3", show_default=True)
@_length("--pitch", "pitch_mm", "Between samples of a flat design.", positive=True)
@click.option("--stock", "stock_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
@click.option("--name", default="", metavar="NAME", help="Name of the tool; else that of the file.")
@dxf_option
def command(
    file: Path,
    out: Path,
    units: str | None,
    region: str,
    smooth: Any,
    design: Path | None,
    dxf: str,
    name: str,
    stock_file: Path | None,
    **chosen: Any,
) -> int:
    """Make a pattern for casting, scaled for shrinkage.

    FILE is a scan, or a relief: the folder that `meshflow relief` wrote, or its height.npz.
    """
    from meshflow.job.tool_cast import make_cast_file
    from meshflow.stock import load_stock
    from meshflow.tooling.cast_options import CastOptions

    for key in ("posts", "holes"):
        chosen[key] = tuple(tuple(float(value) for value in place) for place in chosen[key])
    if chosen["flask_mm"] is not None:
        chosen["flask_mm"] = tuple(float(value) for value in chosen["flask_mm"])
    options = CastOptions(**{key: value for key, value in chosen.items() if value is not None})
    with progress_line() as progress:
        tool, published = make_cast_file(
            file,
            options,
            out=out,
            units=units,
            region=region,
            smooth=smooth,
            design=design,
            name=name,
            stock=load_stock(stock_file),
            also_read=() if stock_file is None else (stock_file,),
            versions=(dxf,),
            progress=progress,
        )
    show_tool(tool, "cast pattern", out, published)
    return 0
