"""``meshflow nest``: parts on sheets."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, show_files, show_findings, show_table
from meshflow_cli.options import DrawingUnit, Length, dxf_option, out_option


@click.command("nest")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    "sheets",
    multiple=True,
    metavar="LENGTHxWIDTH",
    help="Sheet in mm, length along x, or a stock id; as often as there are sizes.",
)
@click.option(
    "--hide",
    "hides",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Drawing of a hide or offcut to nest on, one of each.",
)
@click.option(
    "--clearance",
    "clearance_mm",
    type=Length(),
    default="0",
    show_default=True,
    metavar="LENGTH",
    help="Clear distance from the flaws of hides.",
)
@out_option
@click.option(
    "--margin", type=Length(), default="10", show_default=True, metavar="LENGTH", help="Clear edge of the sheet."
)
@click.option(
    "--spacing", type=Length(), default="3", show_default=True, metavar="LENGTH", help="Clear distance between parts."
)
@click.option(
    "--apart", multiple=True, metavar="NAME[,NAME]=LENGTH", help="Clear distance of two parts, or of one's own copies."
)
@click.option("--quantity", "quantities", multiple=True, metavar="NAME=N", help="How many of a part; 1 if not said.")
@click.option("--most", multiple=True, metavar="NAME=N", help="Copies laid where room is left anyway, all counted.")
@click.option(
    "--least-grade", "grades", multiple=True, metavar="NAME=N", help="Least good grade that will do for a part."
)
@click.option("--turns", default="0,90,180,270", show_default=True, metavar="DEGREES", help="Allowed turns.")
@click.option(
    "--turn-play",
    "turn_play_deg",
    type=click.FloatRange(0, 180),
    default=0,
    show_default=True,
    metavar="DEGREES",
    help="How far a turn may be off, either way.",
)
@click.option("--fine-turns", is_flag=True, help="Turn to the fraction of a degree within the play; takes longer.")
@click.option(
    "--pair", "pairs", multiple=True, metavar="NAME", help="A part cut in pairs, left and right: quantity of each."
)
@click.option("--mirror/--no-mirror", default=False, show_default=True, help="Whether parts may be turned over.")
@click.option(
    "--effort", default=4, show_default=True, type=click.IntRange(1, 100_000), metavar="N", help="Rounds of search."
)
@click.option(
    "--seconds",
    type=click.FloatRange(min=0, min_open=True),
    metavar="S",
    callback=lambda ctx, param, value: _finite(ctx, param, value),
    help="Time cap; the answer then varies.",
)
@click.option(
    "--seed", default=1, show_default=True, type=click.IntRange(0, 2**63 - 1), metavar="N", help="Of the search."
)
@click.option(
    "--keep-offcuts",
    "least_offcut_mm",
    type=Length(),
    metavar="DIAMETER",
    help="Draw what is left, if a circle of this size fits.",
)
@click.option(
    "--locked",
    "locked_in",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The nest.json of an earlier nest: copies stay where they lie in it.",
)
@click.option(
    "--lock",
    multiple=True,
    metavar="NAME[:COPY]",
    help="Which of them stay; all copies of the parts if not said.",
)
@click.option(
    "--keep-small",
    type=click.Choice(["length", "area"]),
    default="length",
    show_default=True,
    help="Of the last sheet: the length used, or the area of the rectangle used.",
)
@click.option("--in-holes", is_flag=True, help="Lay small parts into holes of larger ones; they are cut first.")
@click.option("--units", type=DrawingUnit(), metavar="UNIT", help="Unit of drawings that do not say.")
@click.option(
    "--gap", "gap_mm", type=Length(), default="0.05", show_default=True, metavar="LENGTH", help="Gap taken as closed."
)
@click.option("--leave-out", is_flag=True, help="Leave parts out whose drawings are no good, and nest the rest.")
@click.option("--process", metavar="PROCESS", help="What cuts the parts; else what a drawing says of itself.")
@dxf_option
def command(
    files: tuple[Path, ...],
    sheets: tuple[str, ...],
    out: Path,
    quantities: tuple[str, ...],
    apart: tuple[str, ...],
    most: tuple[str, ...],
    grades: tuple[str, ...],
    turns: str,
    mirror: bool,
    margin: float,
    spacing: float,
    dxf: str,
    **chosen: Any,
) -> int:
    """Lay parts out on sheets.

    Ctrl-C ends the search: the best layout so far is checked and written. A second one ends at once and writes nothing.

    Each file, DXF or SVG, holds one part, named after the file. A placement in nest.json mirrors the drawing if it says
    so, then turns it counter-clockwise about its origin, then moves it.
    """
    from meshflow.job.nest_files import nest_files
    from meshflow.stock.load import load_stock

    if not sheets and not chosen["hides"]:
        raise click.UsageError("there is nothing to nest on. Give a --sheet or a --hide.")
    if chosen["lock"] and chosen["locked_in"] is None:
        raise click.UsageError("--lock needs --locked: the nest.json in which these copies lie.")
    wanted, allowed = _numbers(quantities, "--quantity"), _turns(turns)
    with progress_line() as progress:
        nest, published = nest_files(
            files,
            out=out,
            sheets=[load_stock().sheet(text) for text in sheets],
            margin_mm=margin,
            spacing_mm=spacing,
            quantities=wanted,
            apart=_distances(apart),
            most=_numbers(most, "--most"),
            least_grades=_numbers(grades, "--least-grade"),
            turns_deg=allowed,
            may_mirror=mirror,
            dxf_version=dxf,  # type: ignore[arg-type]  # click.Choice holds it to the versions there are
            progress=progress,
            **chosen,
        )
    try:
        _say(nest)
        show_files(str(out), published.files, published.left, whose="this nest")
    except KeyboardInterrupt:
        click.echo("stopped; the nest is written.", err=True)
        return 130
    if nest.stopped_by == "interrupt":
        return 130
    return 1 if nest.unplaced or any(note.code == "N105" for note in nest.notes) else 0


def _numbers(texts: tuple[str, ...], option: str) -> dict[str, int]:
    wanted: dict[str, int] = {}
    for text in texts:
        name, equals, count = text.rpartition("=")
        if not (equals and name and count.isascii() and count.isdigit() and len(count) < 10):
            raise click.BadParameter(f'"{text}" is not NAME=NUMBER.', param_hint=option)
        if name in wanted:
            raise click.BadParameter(f"{name} is given twice.", param_hint=option)
        wanted[name] = int(count)
    return wanted


def _distances(texts: tuple[str, ...]) -> dict[tuple[str, str], float]:
    wanted: dict[tuple[str, str], float] = {}
    for text in texts:
        names, equals, length = text.rpartition("=")
        pair = [name.strip() for name in names.split(",")]
        if not (equals and all(pair) and len(pair) <= 2):
            raise click.BadParameter(f'"{text}" is not NAME,NAME=LENGTH.', param_hint="--apart")
        key = (min(pair), max(pair))
        if key in wanted:
            raise click.BadParameter(f"{' and '.join(sorted({*pair}))} are given twice.", param_hint="--apart")
        wanted[key] = Length().convert(length, None, None)
    return wanted


def _turns(text: str) -> tuple[float, ...]:
    try:
        turns = tuple(float(turn) for turn in text.split(",") if turn.strip())
    except ValueError:
        turns = (math.nan,)
    if not all(map(math.isfinite, turns)):
        raise click.BadParameter(f'"{text}" is not a list of degrees.', param_hint="--turns")
    return turns


def _finite(ctx: click.Context, param: click.Parameter, value: float | None) -> float | None:
    if value is not None and not math.isfinite(value):
        raise click.BadParameter("it is not a number of seconds.", ctx=ctx, param=param)
    return value


def _of_the_usable(usable: Any) -> str:
    bound = "no layout of these parts covers more"
    if usable.upper_bound - usable.covered >= 1e-4:  # the bound is rounded up to this
        bound += f" than {100 * usable.upper_bound:.1f} %"
    return f"{100 * usable.covered:.1f} % of {usable.area_mm2 / 1e4:.1f} dm2 usable; {bound}"


def _used(layout: Any) -> str:
    if layout.used_width_mm is None:
        return f"{layout.used_length_mm:.0f} mm of length"
    return f"{layout.used_length_mm:.0f} x {layout.used_width_mm:.0f} mm"


def _say(nest: Any) -> None:
    rows = [("sheet", "size", "pieces", "used")]
    for number, layout in enumerate(nest.sheets, start=1):
        sheet = layout.sheet
        size = f"{sheet.length_mm:g} x {sheet.width_mm:g} mm"
        if sheet.outline is not None:
            size = f"{sheet.id}, {sheet.length_mm:.0f} x {sheet.width_mm:.0f} mm"
        used = f"{_used(layout)}, {100 * layout.utilisation:.1f} % of it covered"
        rows.append((str(number), size, str(len(layout.placements)), used))
        if layout.usable is not None:
            rows.append(("", "", "", _of_the_usable(layout.usable)))
    if nest.sheets:
        show_table(rows)
    count = len(nest.sheets)
    stopped = "Ctrl-C: the best so far" if nest.stopped_by == "interrupt" else nest.stopped_by
    click.echo(
        f"{count} sheet{'' if count == 1 else 's'}, at least {nest.sheets_lower_bound} needed; "
        f"verified; stopped by {stopped}"
    )
    show_findings(nest.notes)
