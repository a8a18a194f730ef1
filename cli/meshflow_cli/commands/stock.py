"""``meshflow stock``: what the workshop can choose from."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, cast

import click

KINDS = ("materials", "sheets", "processes", "machines")


@click.command("stock")
@click.argument("kind", required=False, type=click.Choice(KINDS))
@click.option("--stock", "user_file", type=click.Path(path_type=Path), help="The workshop's own stock file.")
def command(kind: str | None, user_file: Path | None) -> int:
    """List materials, sheets, processes or machines, with where each number comes from."""
    from meshflow.stock.load import load_stock

    stock = load_stock(user_file)
    for name in (kind,) if kind else KINDS:
        click.echo(f"{name}:")
        for row in stock.rows(cast('Literal["materials", "sheets", "processes", "machines"]', name)):
            click.echo(f"  {row.id:<18} {row.name:<34} {row.figures}")
            if kind:
                click.echo(f"  {'':<18} [{row.mark}] {row.source}")
    if not kind:
        click.echo("For sources and marks, name one table: meshflow stock materials")
    return 0
