"""``meshflow flatten``: one piece of a scan, laid flat."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings, words
from meshflow_cli.options import Length, SignedLength, Smooth, dxf_option, out_option, units_option


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
    if smoothing.length_mm:
        say(
            f"  carrier  smoothed at {smoothing.length_mm:.3g} mm ({smoothing.reason}); moved at most "
            f"{smoothing.moved_max_mm:.3g} mm, took {100 * smoothing.length_removed:.2f} % off lengths",
            indent=" " * 11,
        )
    show_findings(made.notes)
