"""``meshflow flatten``: one piece of a scan, laid flat."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings, words
from meshflow_cli.options import Length, Percent, SignedLength, Smooth, dxf_option, out_option, units_option
from meshflow_cli.places import PlaneOf


class _Darts(click.ParamType):  # type: ignore[type-arg]
    """``auto``, ``none``, or the largest number of darts."""

    name = "darts"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str | int:
        """Return the word or the number."""
        if value in ("auto", "none"):
            return str(value)
        try:
            most = int(value)
        except ValueError:
            most = 0
        if not 1 <= most <= 24:
            self.fail(f'"{value}" is not auto, none, or a number from 1 to 24.', param, ctx)
        return most


@click.command("flatten")
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
@click.option("--material", metavar="NAME", help="Material id or family; see `meshflow stock materials`.")
@click.option(
    "--thickness",
    type=Length(),
    default="0",
    metavar="LENGTH",
    help="Of the material: 0.8 (mm), 0.8mm, '1/32 in', '9 oz leather' ...",
)
@click.option("--process", metavar="PROCESS", help="What cuts it; says what that cannot cut.")
@click.option(
    "--objective",
    type=click.Choice(["isometric", "least_worst", "woven", "formed"]),
    help="What laying flat makes least: mean strain, worst strain, work of threads, work of sheet; by default what "
    "suits the material.",
)
@click.option("--grain", "grain_deg", type=float, metavar="DEG", help="Grain on the flat, counter-clockwise from x.")
@click.option(
    "--darts",
    type=_Darts(),
    default="none",
    show_default=True,
    metavar="auto|N|none",
    help="Cut darts until the limit holds: as many as help, or at most N.",
)
@click.option("--symmetric", type=PlaneOf(), metavar="PLANE", help="Darts in pairs about the plane nx,ny,nz,d.")
@click.option("--keep-out", default="", metavar="SELECTOR", help="What no dart may run through, such as ornament.")
@click.option(
    "--finger",
    "finger_mm",
    type=Length(),
    metavar="LENGTH",
    help="Least width left between darts, and between a dart and the rim; by default four thicknesses, 3 mm at least.",
)
@click.option(
    "--limit", type=Percent(), metavar="PCT", help="Greatest stretch and gather, instead of the material's: 5 is 5 %."
)
@click.option(
    "--side",
    type=click.Choice(["outer", "middle", "inner"]),
    default="middle",
    show_default=True,
    help="Face of the material that was scanned.",
)
@click.option(
    "--offset",
    type=SignedLength(),
    default="0",
    show_default=True,
    metavar="LENGTH",
    help="How far that face lies from the scanned surface, outward: 6 for a cover over 6 mm of padding.",
)
@click.option(
    "--face-up",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    show_default=True,
    help="Face that looks up on the pattern.",
)
@click.option(
    "--smooth",
    type=Smooth(),
    default="auto",
    show_default=True,
    metavar="auto|none|LENGTH",
    help="Waves shorter than this are taken for scan noise; auto smooths what looks like a scan.",
)
@click.option(
    "--tolerance",
    type=Length(positive=True),
    default="0.05",
    show_default=True,
    metavar="LENGTH",
    help="Greatest distance of the contour from the rim.",
)
@click.option(
    "--texture-dpi",
    type=click.FloatRange(10, 2400),
    metavar="N",
    help="Also lay the colours of the scan flat: pixels to an inch of the picture.",
)
@dxf_option
def command(file: Path, out: Path, thickness: float, offset: float, tolerance: float, dxf: str, **chosen: Any) -> int:
    """Lay one piece of a scan flat: drawing, pictures, figures."""
    from meshflow.job.single import flatten_file

    with progress_line() as progress:
        made, published = flatten_file(
            file,
            out=out,
            thickness_mm=thickness,
            offset_mm=offset,
            tolerance_mm=tolerance,
            dxf_version=dxf,  # type: ignore[arg-type]  # click.Choice holds it to the versions there are
            progress=progress,
            **chosen,
        )
    _say(made)
    show_files(str(out), published.files, published.left, whose="this pattern")
    if made.refusals:
        click.echo(f"no drawing was written; look at {out / made.plan.name}.png", err=True)
        return 1
    click.echo(f"look at {out / made.plan.name}.png first")
    return 0


def _say(made: Any) -> None:
    pattern = made.part.pattern
    measured, smoothing = pattern.distortion, pattern.region.smoothing
    click.echo(f"{made.plan.name}: {words(pattern.verdict)}")
    click.echo(f"  stretch  {measured.percentile(0.01):.4f} to {measured.percentile(0.99):.4f} (p01 to p99)")
    click.echo(f"  area     {measured.area_flat.sum():.1f} mm2 flat, {measured.area_surface.sum():.1f} mm2 formed")
    if pattern.lower_bound_stretch > 1.0:
        click.echo(
            f"  bound    no uncut pattern strains its worst place less than {pattern.lower_bound_stretch - 1:.2%}"
        )
    _say_material(pattern)
    if smoothing.length_mm:
        say(
            f"  carrier  smoothed at {smoothing.length_mm:.3g} mm ({smoothing.reason}); moved at most "
            f"{smoothing.moved_max_mm:.3g} mm, took {100 * smoothing.length_removed:.2f} % off lengths",
            indent=" " * 11,
        )
    show_findings(made.notes)


def _say_material(pattern: Any) -> None:
    """Say what the sheet or the threads do on the way into shape."""
    sheet, shear = pattern.forming, pattern.shear
    if sheet is not None:
        thin, thick = sheet.span_mm
        click.echo(f"  sheet    {thin:.3g} to {thick:.3g} mm thick once formed, from {sheet.sheet_mm:.3g} mm")
        say(
            f"  blank    {sheet.one_step_mm2:.0f} mm2 by least work, {sheet.equal_area_mm2:.0f} mm2 by equal area; cut "
            f"{sheet.allowance_mm:.2f} mm outside the first, trim included",
            indent=" " * 11,
        )
    if shear is not None:
        figures = shear.to_json()
        lock = figures["shear_lock_deg"]
        locks = "no lock known" if lock is None else f"locks at {lock:.0f} deg"
        click.echo(f"  shear    {figures['shear_max_deg']:.1f} deg at most; {locks}")
