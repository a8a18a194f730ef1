"""``meshflow demo``: the carousel workshop's job, ready to run."""

from __future__ import annotations

from pathlib import Path

import click

from meshflow_cli.commands.run import run_and_say


@click.command("demo")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def command(folder: Path) -> int:
    """Copy the demo job to a folder and run it.

    The results go to its folder out. A demo that is already there is run again; changed files are not overwritten.
    """
    from meshflow.job.demo import copy_demo

    job = copy_demo(folder)
    click.echo(f"the demo job is {job}; running it")
    return run_and_say(job, folder / "out")
