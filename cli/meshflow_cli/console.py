"""What is shown while a command works: a progress line on a terminal, plain lines when piped.

Progress goes to standard error, so that standard output holds results only.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

from meshflow.model.finding import Finding

__all__ = ["progress_line", "show_findings"]

PATIENCE = 1.0  # seconds without a word before progress is shown


@contextmanager
def progress_line() -> Iterator[Callable[[str, float], None]]:
    """Give a callable that shows progress once a command has taken over a second."""
    if sys.stderr.isatty():
        yield from _live()
    else:
        yield _plain()


def _live() -> Iterator[Callable[[str, float], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    began = time.monotonic()
    columns = (TextColumn("{task.description}"), BarColumn(bar_width=24), TimeElapsedColumn())
    bar = Progress(*columns, console=Console(stderr=True), transient=True)
    task = bar.add_task("working", total=1.0)

    def report(what: str, share: float) -> None:
        bar.update(task, description=what, completed=share)
        if not bar.live.is_started and time.monotonic() - began > PATIENCE:
            bar.start()

    try:
        yield report
    finally:
        bar.stop()


def _plain() -> Callable[[str, float], None]:
    said, last = "", time.monotonic()

    def report(what: str, share: float) -> None:
        nonlocal said, last
        now = time.monotonic()
        if what != said and now - last > PATIENCE:
            click.echo(f"{what} ...", err=True)
            said, last = what, now

    return report


def show_findings(findings: tuple[Finding, ...]) -> None:
    """Print findings, one a line, with what to do."""
    for finding in findings:
        where = f"{finding.where}: " if finding.where else ""
        click.echo(f"  {finding.severity:<8} {finding.code}  {where}{finding.text} {finding.remedy}".rstrip())
