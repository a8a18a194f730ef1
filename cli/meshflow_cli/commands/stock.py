"""``meshflow stock``: what the workshop can choose from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import say

KINDS = ("materials", "sheets", "processes", "machines")


@click.command("stock")
@click.argument("kind", required=False, type=click.Choice(KINDS))
@click.option("--stock", "user_file", metavar="FILE", type=click.Path(path_type=Path), help="The workshop's own file.")
def command(kind: Any, user_file: Path | None) -> int:
    """List materials, sheets, processes or machines.

    One table by itself is shown with the mark and the source of each line.
    """
    from meshflow.stock.load import load_stock

    stock = load_stock(user_file)
    kinds: Any = (kind,) if kind else KINDS
    for name in kinds:
        _show(name, stock.rows(name), sources=bool(kind))
    if not kind:
        click.echo("For sources and marks, name one table: meshflow stock materials")
    return 0


def _show(title: str, rows: list[Any], *, sources: bool) -> None:
    click.echo(f"{title}:")
    wide, named = (max((len(row[place]) for row in rows), default=0) for place in (0, 1))
    for row in rows:
        head = f"  {row.id:<{wide}}  {row.name:<{named}}  "
        say(f"{head}{row.figures}".rstrip(), indent=" " * len(head))
        if sources:
            say(f"  {'':<{wide}}  [{row.mark}] {row.source}", indent=" " * (wide + 4))
