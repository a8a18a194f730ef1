"""``meshflow paper``: a drawing on paper at true size."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import say, show_findings
from meshflow_cli.options import DrawingUnit, Length, OutFile

PAPERS = ("A4", "A3", "A2", "A1", "A0", "Letter")


class _Bars(click.ParamType):  # type: ignore[type-arg]
    """What the two bars of a print measure."""

    name = "bars"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[tuple[float, float], ...]:
        """Return the readings [mm]."""
        from meshflow.drawing.paper import bars_of
        from meshflow.errors import OptionError

        if isinstance(value, tuple):
            return value  # click hands a converted value over again
        try:
            return bars_of(str(value))
        except OptionError as error:
            self.fail(str(error), param, ctx)


@click.command("paper")
@click.argument("drawing", type=click.Path(path_type=Path))
@click.option("--out", required=True, type=OutFile(".pdf"), metavar="FILE", help="File to write: .pdf.")
@click.option(
    "--paper",
    type=click.Choice(PAPERS),
    default="A4",
    show_default=True,
    help="Paper to print on, upright or lying.",
)
@click.option(
    "--overlap",
    "overlap_mm",
    type=Length(positive=True),
    default="10",
    show_default=True,
    metavar="LENGTH",
    help="Strip that neighbouring sheets share.",
)
@click.option(
    "--bars",
    "readings",
    type=_Bars(),
    multiple=True,
    metavar="ACROSSxUP",
    help="What the bars of 100 mm of the last print measure, such as 99.2x100.1; again for a print so corrected.",
)
@click.option("--units", type=DrawingUnit(), metavar="UNIT", help="Unit of a drawing that does not say.")
def command(drawing: Path, out: Path, readings: tuple[tuple[tuple[float, float], ...], ...], **chosen: Any) -> int:
    """Print a drawing at true size on sheets of paper.

    DXF or SVG in, PDF out. Print it at 100 %, measure both bars, and give what you read: the next print comes out
    right.
    """
    from meshflow.job.print_paper import paper_file

    bars = [bar for reading in readings for bar in reading]
    written, notes = paper_file(drawing, out=out, printed_bars=bars, **chosen)
    show_findings(notes)
    say(f"wrote {written}", indent="  ")
    say("Print it at 100 %, then measure both bars before anything is cut from it.", indent="  ")
    return 0
