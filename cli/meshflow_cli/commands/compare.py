"""``meshflow compare``: a piece held against what it should be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, say, show_files, show_findings
from meshflow_cli.options import Length, out_option, units_option


@click.command("compare")
@click.argument("a", type=click.Path(path_type=Path))
@click.argument("b", type=click.Path(path_type=Path))
@out_option
@units_option
@click.option("--fit", is_flag=True, help="Lay A on B by best fit first; otherwise both are compared as they lie.")
@click.option(
    "--tolerance",
    type=Length(positive=True),
    metavar="LENGTH",
    help="Largest distance allowed; exit code 1 when the piece is out of it.",
)
def command(a: Path, b: Path, out: Path, units: str | None, fit: bool, tolerance: float | None) -> int:
    """Hold a piece against what it should be."""
    from meshflow.job.compare import compare_files

    with progress_line() as progress:
        answer, published = compare_files(
            a, b, out=out, units=units, fit=fit, tolerance_mm=tolerance, progress=progress
        )
    _say(answer)
    show_files(str(out), published.files, published.left, whose="this comparison")
    return 0 if answer.passed else 1


def _say(answer: Any) -> None:
    say(f"{answer.a.file} against {answer.b.file}: {answer.words}", indent="  ")
    fit = answer.alignment
    if fit is not None and not fit.failed:
        click.echo(f"  best fit  residual {fit.residual_mm:.4g} mm over {fit.kept} of {fit.pairs} points")
    for name, distances in (("a on b", answer.a_on_b), ("b on a", answer.b_on_a)):
        low, high = distances.span_mm
        click.echo(
            f"  {name}    {low:.4g} to {high:.4g} mm; p05 {distances.percentile(5):.4g}, "
            f"p50 {distances.percentile(50):.4g}, p95 {distances.percentile(95):.4g}, rms {distances.rms_mm:.4g} mm; "
            f"{distances.covered:.1%} compared"
        )
    show_findings(answer.notes)
