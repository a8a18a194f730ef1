"""``meshflow panels``: a whole scan, or a region of one, as a few flat patterns."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings, show_table, words
from meshflow_cli.options import Length, Percent, Smooth, dxf_option, out_option, units_option


@click.command("panels")
@click.argument("file", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option("--limit", type=Percent(), metavar="PCT", help="Greatest strain of a panel: 5 is 5 %.")
@click.option("--count", type=click.IntRange(min=1), metavar="N", help="At most so many panels, whatever they strain.")
@click.option(
    "--seam",
    "seams",
    multiple=True,
    metavar="PLACE",
    help="Where you want a seam, instead of --count: plane=nx,ny,nz,d or line=FILE; once for each.",
)
@click.option(
    "--region", default="all", show_default=True, metavar="SELECTOR", help="What is to be split, as for flatten."
)
@click.option("--material", metavar="NAME", help="Material id or family; see `meshflow stock materials`.")
@click.option("--thickness", type=Length(), default="0", metavar="LENGTH", help="Of the material: 0.8 (mm), 0.8mm ...")
@click.option(
    "--side",
    type=click.Choice(["outer", "middle", "inner"]),
    default="middle",
    show_default=True,
    help="Face of the material that was scanned.",
)
@click.option(
    "--face-up",
    type=click.Choice(["outer", "inner"]),
    default="outer",
    show_default=True,
    help="Face that looks up on the patterns.",
)
@click.option(
    "--smooth",
    type=Smooth(),
    default="auto",
    show_default=True,
    metavar="auto|none|LENGTH",
    help="Waves shorter than this are taken for scan noise; the longer, the fewer panels.",
)
@click.option(
    "--tolerance",
    type=Length(positive=True),
    default="0.05",
    show_default=True,
    metavar="LENGTH",
    help="Greatest distance of a contour from its rim.",
)
@dxf_option
def command(
    file: Path, out: Path, limit: float | None, count: int | None, thickness: float, tolerance: float, dxf: str,
    **chosen: Any,
) -> int:  # fmt: skip
    """Split a scan into a few panels that lie nearly flat."""
    from meshflow.job.panels import findings_of, panels_file

    asked = bool(chosen["seams"])
    if (asked and count is not None) or (not asked and (limit is None) == (count is None)):
        raise click.UsageError("Say either --limit PCT or --count N, or where you want the seams (--seam PLACE).")
    with progress_line() as progress:
        cover, published = panels_file(
            file,
            out=out,
            limit=limit,
            count=count,
            thickness_mm=thickness,
            tolerance_mm=tolerance,
            dxf_version=dxf,  # type: ignore[arg-type]  # click.Choice holds it to the versions there are
            progress=progress,
            **chosen,
        )
    _say(file, cover)
    show_findings(findings_of(cover))
    for refused in cover.refused:
        say(f"  not made: {refused.plan.name}: {refused.error}", indent="    ")
    show_files(str(out), published.files, published.left, whose="this cover")
    return 0 if cover.complete else 1


def _say(file: Path, cover: Any) -> None:
    found = cover.panels
    panels = "1 panel" if found.count == 1 else f"{found.count} panels"
    click.echo(f"{file.name}: {panels}, {found.seam_mm:.0f} mm of seams between them")
    if cover.smoothing.length_mm:
        say(
            f"  carrier  smoothed at {cover.smoothing.length_mm:.3g} mm ({cover.smoothing.reason}); moved at most "
            f"{cover.smoothing.moved_max_mm:.3g} mm",
            indent=" " * 11,
        )
    verdicts = {made.plan.region: words(made.part.pattern.verdict) for made in cover.made}
    rows = [("label", "strain p99", "verdict")]
    for panel, strain in enumerate(found.strain.tolist(), start=1):
        rows.append((str(panel), _strain(strain), verdicts.get(f"label={panel}", "not made")))
    show_table(rows, indent="  ")
    if cover.seams:
        show_table([("seam", "joins", "length", "on the patterns"), *map(_seam_row, cover.seams)], indent="  ")


def _strain(strain: float) -> str:
    return f"{100 * strain:.2f} %" if math.isfinite(strain) else "cannot lie flat"


def _seam_row(seam: Any) -> tuple[str, str, str, str]:
    one, two = seam.flat_mm
    flat = f"{one:.1f} and {two:.1f} mm" if one + two == one + two else "not made"
    return (seam.name, "{} and {}".format(*seam.panels), f"{seam.formed_mm:.1f} mm", flat)
