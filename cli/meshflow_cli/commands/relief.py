"""``meshflow relief``: ornament lifted off the form it sits on; heights, lines, pictures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings
from meshflow_cli.options import Length, dxf_option, out_option, units_option


class _Fold(click.ParamType):  # type: ignore[type-arg]  # generic only since click 8.4
    """``auto``, or how many leaves."""

    name = "fold"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str | int:
        """Return the word or the number."""
        if value == "auto":
            return "auto"
        try:
            count = int(value)
        except ValueError:
            count = 0
        if not 2 <= count <= 72:
            self.fail(f'"{value}" is not auto, or a number from 2 to 72.', param, ctx)
        return count


class _Range(click.ParamType):  # type: ignore[type-arg]
    """Two heights [mm]."""

    name = "range"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Return black and white."""
        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        try:
            low, high = (float(word) for word in str(value).split(","))
        except ValueError:
            self.fail(
                f'"{value}" is no range: say the height of black, a comma, that of white, in mm: 0,2.', param, ctx
            )
        if not low < high:
            self.fail(f"white ({high:g}) must be higher than black ({low:g}).", param, ctx)
        return low, high


@click.command("relief")
@click.argument("file", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option(
    "--region",
    default="all",
    show_default=True,
    metavar="SELECTOR",
    help="Which surface: label=3, group=NAME, 'at=x,y,z radius=80', line=FILE, plane=nx,ny,nz,d ... joined by + - &.",
)
@click.option("--seam", metavar="PLACE", help="Where a ring is opened: x,y,z or plane=nx,ny,nz,d; else the shortest.")
@click.option(
    "--base",
    type=click.Choice(["auto", "plane", "cylinder", "cone", "sphere", "free"]),
    default="auto",
    show_default=True,
    help="Form under the ornament.",
)
@click.option(
    "--ornament",
    type=click.Choice(["auto", "raised", "sunk"]),
    default="auto",
    show_default=True,
    help="On which side of the base the ornament stands.",
)
@click.option(
    "--wavelength",
    "wavelength_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="A free base follows waves of this length by half, longer ones more; else the longest that explains all.",
)
@click.option(
    "--ground",
    metavar="POINTS|FILE",
    help="Where the base shows: 'x,y,z x,y,z ...' or a text file with a point a row; for ornament that covers it.",
)
@click.option(
    "--pitch",
    "pitch_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="Distance between samples; else by the mesh. Of a picture: side of a pixel.",
)
@click.option("--turn", "turn_deg", type=float, metavar="DEG", help="Turn the flat counter-clockwise by so much.")
@click.option(
    "--smooth",
    "smooth_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="Smooth the heights: waves of this length are halved, shorter ones go.",
)
@click.option("--fold", type=_Fold(), metavar="N|auto", help="Make the N leaves of a rosette alike.")
@click.option("--mirror", is_flag=True, help="Make the halves alike about the axis that is found.")
@click.option("--repeats", is_flag=True, help="Make the repeats of a strip alike.")
@click.option(
    "--round",
    "round_mm",
    type=Length(positive=True),
    metavar="LENGTH",
    help="With --repeats: length once round of a border that closes on itself.",
)
@click.option("--range", "range_mm", type=_Range(), metavar="LOW,HIGH", help="Of a picture: height of black and white.")
@dxf_option
def command(file: Path, out: Path, dxf: str, **chosen: Any) -> int:
    """Lift the ornament of a scan off its base: heights, lines, pictures.

    FILE is a mesh; or heights made before, height.npz, or retouched as a grey picture, height.png.
    """
    from meshflow.job.relief import relief_file

    with progress_line() as progress:
        drawn, published = relief_file(
            file,
            out=out,
            dxf_version=dxf,  # type: ignore[arg-type]  # click.Choice holds it to the versions there are
            progress=progress,
            **chosen,
        )
    _say(drawn)
    show_files(str(out), published.files, published.left, whose="this relief")
    click.echo(f"look at {out / 'height-shade.png'} first")
    return 0


def _say(drawn: Any) -> None:
    relief, base = drawn.relief, drawn.base
    low, high = relief.height_range_mm
    rows, columns = relief.shape
    click.echo(f"{relief.name}: relief {low:.2f} to {high:.2f} mm over the base")
    if base is not None:
        say(f"  base     {base.kind}, ground within {base.rmse_mm:.3g} mm rms: {base.reason}", indent=" " * 11)
    if drawn.separable is False:
        say("  warning  base and ornament cannot be told apart: the heights are a guess", indent=" " * 11)
    noise = f", noise {relief.noise_mm:.2g} mm" if relief.noise_mm else ""
    click.echo(f"  samples  {columns} x {rows} at {relief.pitch_mm:.4g} mm, {relief.area_mm2:.0f} mm2{noise}")
    for step in drawn.mended:
        say(
            f"  {step.what:<12} moved {step.moved_max_mm:.3g} mm at most, {step.moved_rms_mm:.2g} mm rms",
            indent=" " * 15,
        )
    show_findings(drawn.notes)
