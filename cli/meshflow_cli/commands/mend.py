"""``meshflow mend``: a scan repaired, no further than a bound."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say
from meshflow_cli.options import Length, mesh_out_option, units_option


class _Width(Length):
    """A length, or ``all``."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the length in millimetres; infinite for ``all``."""
        return math.inf if value == "all" else super().convert(value, param, ctx)


@click.command("mend")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@click.option(
    "--max-deviation",
    required=True,
    type=Length(positive=True),
    metavar="LENGTH",
    help="How far the measured surface may move, all steps together.",
)
@mesh_out_option(required=True)
@click.option(
    "--fill-holes",
    type=_Width(),
    default="0",
    metavar="LENGTH|all",
    help="Fill open loops up to this size across, rims too; the new surface is marked as conjecture.",
)
@click.option("--fill-loop", type=int, multiple=True, metavar="N", help="Fill this loop of `check --json`; repeatable.")
@click.option(
    "--islands",
    type=Length(),
    metavar="LENGTH",
    help="Drop loose shells smaller than this across; by default under a twentieth of the main one.",
)
@click.option(
    "--pin-holes",
    type=Length(),
    metavar="LENGTH",
    help="Close gaps of a few edges up to this size across; by default three edges, 0 closes none.",
)
@click.option(
    "--weld", type=Length(), metavar="LENGTH", help="Join corners this near; by default 2e-6 of the piece's size."
)
@click.option("--remove-spikes", is_flag=True, help="Draw single points that stick out back to the surface.")
@click.option("--denoise", is_flag=True, help="Smooth the grain and keep creases.")
@click.option(
    "--reduce",
    "reduce_mm",
    type=Length(),
    default="0",
    metavar="LENGTH",
    help="Thin the mesh out within this distance.",
)
@click.option("--keep-branches", is_flag=True, help="Do not cut the surface where it branches or only touches itself.")
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
def command(file: Path, units: str | None, max_deviation: float, out: Path, as_json: bool, **chosen: Any) -> int:
    """Repair a scan within a bound on the deviation."""
    from meshflow.job.mend import mend_file
    from meshflow.model.mend import MendOptions

    options = MendOptions(
        max_deviation_mm=max_deviation,
        split=not chosen["keep_branches"],
        fill_holes_mm=chosen["fill_holes"],
        fill_loops=chosen["fill_loop"],
        island_mm=chosen["islands"],
        pin_hole_mm=chosen["pin_holes"],
        weld_tolerance_mm=chosen["weld"],
        remove_spikes=chosen["remove_spikes"],
        denoise=chosen["denoise"],
        reduce_mm=chosen["reduce_mm"],
    )
    with progress_line() as progress:
        done = mend_file(file, out=out, options=options, units=units, progress=progress)
    if as_json:
        click.echo(json.dumps(done.mended.to_json(), indent=2, allow_nan=False))
    else:
        _say(done.mended)
        click.echo(f"  wrote {out}")
    return 0


def _say(mended: Any) -> None:
    surface, distance = mended.surface, mended.deviation
    state = f"{'closed' if mended.closed else 'open'}, {'manifold' if mended.manifold else 'not manifold'}"
    click.echo(f"{surface.source.file}: {len(surface.faces):,} faces, {len(surface.vertices):,} vertices, {state}")
    for step in mended.steps:
        say(f"  {step.name:<16} {step.text}", indent=" " * 19)
    if not mended.steps:
        click.echo("  nothing to mend")
    say(
        f"  deviation        {distance.max_mm:.4g} mm at most, {distance.mean_mm:.4g} mm in the mean, of "
        f"{mended.options.max_deviation_mm:.4g} mm allowed ({distance.samples:,} points, both ways)",
        indent=" " * 19,
    )
    if mended.dropped_faces:
        click.echo(f"  dropped          {mended.dropped_faces:,} faces as dirt; they do not count as deviation")
    if mended.conjectured_share > 0:
        share = f"{mended.conjectured_share:.1%}" if mended.conjectured_share >= 1e-3 else "under 0.1%"
        click.echo(f"  conjecture       {share} of the surface is a guess and marked as such")
