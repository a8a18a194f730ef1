"""``meshflow measure``: measures of a scan, for the record."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from meshflow_cli.console import progress_line, say, show_findings, show_table
from meshflow_cli.options import OutFile, units_option

F = TypeVar("F", bound=Callable[..., Any])


class _Wanted(click.ParamType):  # type: ignore[type-arg]
    """What one kind of measure needs to know."""

    def __init__(self, kind: str) -> None:
        self.name = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the measure that is wanted."""
        from meshflow.errors import MeshflowError
        from meshflow.job.measure import Wanted

        try:
            return Wanted(self.name, str(value))  # type: ignore[arg-type]  # each option has one of the kinds
        except MeshflowError as error:
            self.fail(str(error), param, ctx)


def _measure(kind: str, metavar: str, text: str) -> Callable[[F], F]:
    return click.option(f"--{kind}", type=_Wanted(kind), multiple=True, metavar=metavar, help=f"{text} Repeatable.")


@click.command("measure")
@click.argument("file", type=click.Path(path_type=Path))
@units_option
@_measure("distance", '"X,Y,Z X,Y,Z"', "Straight from point to point.")
@_measure("along", '"X,Y,Z X,Y,Z"', "The shortest way along the surface.")
@_measure("girth", '"NX,NY,NZ,D [X,Y,Z]"', "Round the piece in a plane, into every hollow.")
@_measure("tape", '"NX,NY,NZ,D [X,Y,Z]"', "The same, bridging the hollows as a tape measure does.")
@_measure("area", "SELECTOR", "Area of a region; all for the whole surface.")
@_measure("thickness", "X,Y,Z", "Straight in from a point to the other side.")
@click.option("--out", type=OutFile(".json"), metavar="FILE", help="Write the measures to this JSON file.")
@click.option("--json", "as_json", is_flag=True, help="Print the measures as JSON.")
def command(file: Path, units: str | None, out: Path | None, as_json: bool, **asked: Any) -> int:
    """Take measures of a scan, for the record."""
    from meshflow.job.measure import KINDS, measure_file

    wanted = [one for kind in KINDS for one in asked[kind]]
    if not wanted:
        raise click.UsageError(f"Say what to measure: {', '.join('--' + kind for kind in KINDS)}.")
    with progress_line() as progress:
        found = measure_file(file, wanted, out=out, units=units, progress=progress)
    if as_json:
        click.echo(json.dumps(found.to_json(), indent=2, allow_nan=False))
    else:
        _say(found)
        if out is not None:
            say(f"  wrote {out}")
    return 0


def _say(found: Any) -> None:
    click.echo(f"{found.source.file}:")
    rows = [("measure", "", "how")]
    for one in found.taken:
        value = f"{one.measure.value:,.2f} {one.measure.unit}"
        rows.append((f"{one.wanted.kind} {one.wanted.text}", value, one.measure.what))
    show_table(rows, indent="  ")
    show_findings(found.notes)
