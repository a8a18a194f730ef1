"""``meshflow photo``: a photograph of a flat thing at true size."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import say, show_files, show_findings
from meshflow_cli.options import Length, out_option

_SIZE = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[xX]\s*(\d+(?:\.\d+)?)\s*")


class _Points(click.ParamType):  # type: ignore[type-arg]
    """Points of a plane."""

    name = "points"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, float], ...]:
        """Return the points."""
        from meshflow.errors import OptionError
        from meshflow.job.photo import points_of

        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        try:
            return points_of(str(value))
        except OptionError as error:
            self.fail(str(error), param, ctx)


class _Size(click.ParamType):  # type: ignore[type-arg]
    """Width and height [mm]."""

    name = "size"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Return both."""
        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        found = _SIZE.fullmatch(str(value))
        if found is None:
            self.fail(f'"{value}" is no size: say width x height in mm, such as 300x200.', param, ctx)
        return float(found[1]), float(found[2])


@click.command("photo")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--points",
    required=True,
    type=_Points(),
    metavar="X,Y ...",
    help="Two points, or the four corners of a rectangle as one reads, in pixels from the upper left corner.",
)
@out_option
@click.option("--apart", "apart_mm", type=Length(positive=True), metavar="LENGTH", help="Distance of the two points.")
@click.option("--size", "size_mm", type=_Size(), metavar="WIDTHxHEIGHT", help="Size of the rectangle in mm.")
@click.option(
    "--places",
    type=_Points(),
    default="",
    metavar="X,Y ...",
    help="Where the points are on the thing, for any shape, in mm, y up.",
)
@click.option(
    "--dpi",
    type=click.FloatRange(10, 2400),
    default=150,
    show_default=True,
    metavar="N",
    help="Pixels to an inch of the picture.",
)
@click.option(
    "--trace",
    type=click.Path(path_type=Path),
    metavar="DRAWING",
    help="Lines drawn over the photograph, DXF or SVG; they come out in mm.",
)
@click.option(
    "--trace-width",
    type=click.FloatRange(min=0, min_open=True),
    metavar="N",
    help="Width of the photograph in the drawing's own units; else one unit is a pixel.",
)
def command(file: Path, out: Path, **chosen: Any) -> int:
    """Bring a photograph of a flat thing to true size.

    Scaled by two points of known distance, or rectified by four points of a known shape. Writes the picture, and what
    was drawn over it, in millimetres.
    """
    from meshflow.job.photo import photo_file

    flat, published = photo_file(file, out=out, **chosen)
    picture, way = flat.picture, flat.way
    click.echo(f"{file.name}: {picture.width_mm:.1f} x {picture.height_mm:.1f} mm at {25.4 / picture.pixel_mm:.0f} dpi")
    say(f"a slip of one pixel is {way.click_mm:.2f} mm at the points", indent="  ")
    if len(way.points) > 4:
        say(f"the points fit within {way.residual_mm:.2f} mm", indent="  ")
    say("Only what lies in the plane of the points is true; a lens that bends straight lines bends these too.")
    show_findings(flat.notes)
    show_files(str(out), published.files, published.left, whose="this photograph")
    return 0
