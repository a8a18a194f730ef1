"""``meshflow demo``: the carousel workshop's job, ready to run."""

from __future__ import annotations

from pathlib import Path

import click

from meshflow_cli.commands.run import run_and_say


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path))
def command(folder: Path) -> int:
    """Copy the demo job to a folder and run it."""
    from meshflow.job.single import copy_demo

    job = copy_demo(folder)
    click.echo(f"copied the demo job to {job}")
    return run_and_say(job, folder / "out")
