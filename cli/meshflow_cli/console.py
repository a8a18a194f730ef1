"""What is shown while a command works, and how results are laid out.

Results go to standard output, everything else to standard error. On a terminal a progress line appears once a command
has worked for a second, and is gone when it ends; where standard error is piped, plain lines take its place.
"""

from __future__ import annotations

import shutil
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from meshflow.model.finding import Finding

__all__ = ["progress_line", "say", "show_files", "show_findings", "show_table", "show_tool", "words"]

PATIENCE = 1.0  # seconds of work without a word before progress is shown

Report = Callable[[str, float], None]


@contextmanager
def progress_line() -> Iterator[Report]:
    """Give a callable ``(what, share_done)`` that shows progress once a command has taken over a second."""
    if sys.stderr is not None and sys.stderr.isatty():
        yield from _live()
    else:
        yield _plain()


def _live() -> Iterator[Report]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
    from rich.table import Column

    # Fixed widths, so that the bar stands still while the words beside it change.
    columns = (
        BarColumn(bar_width=24),
        TimeElapsedColumn(),
        TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, overflow="ellipsis", ratio=1)),
    )
    bar = Progress(*columns, console=Console(stderr=True), transient=True, expand=True, refresh_per_second=8)
    task = bar.add_task("working", total=1.0)
    # A clock of its own: the first stage may work for long without a word.
    patience = threading.Timer(PATIENCE, bar.start)
    patience.daemon = True
    patience.start()
    try:
        yield lambda what, share: bar.update(task, description=what, completed=share)
    finally:
        patience.cancel()
        patience.join()
        bar.stop()


def _plain() -> Report:
    said, last = "", time.monotonic()

    def report(what: str, share: float) -> None:
        nonlocal said, last
        now = time.monotonic()
        if what != said and now - last > PATIENCE:
            click.echo(f"{what} ...", err=True)
            said, last = what, now

    return report


def words(name: str) -> str:
    """Return an identifier as words: ``lies_flat`` is lies flat."""
    return name.replace("_", " ")


def say(text: str, *, indent: str = "", err: bool = False) -> None:
    """Print a sentence; on a terminal, broken at its width with the following lines set in below the first."""
    stream = sys.stderr if err else sys.stdout
    if stream is not None and stream.isatty():
        width = max(40, min(shutil.get_terminal_size().columns, 110))
        text = textwrap.fill(text, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    click.echo(text, err=err)


def show_findings(findings: Iterable[Finding], *, indent: str = "  ") -> None:
    """Print findings, each with its weight, its code, what was found, and what to do."""
    for finding in findings:
        where = f"{finding.where}: " if finding.where else ""
        head = f"{indent}{finding.severity:<7}  {finding.code}  "
        say(f"{head}{where}{finding.text} {finding.remedy}".rstrip(), indent=" " * len(head))


def show_table(rows: Sequence[Sequence[str]], *, indent: str = "") -> None:
    """Print rows with their columns aligned; the first row is the heading."""
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        click.echo(f"{indent}{'  '.join(cells)}".rstrip())


def show_files(folder: str, files: Sequence[str], left: Sequence[str], *, whose: str) -> None:
    """Print what was written and, on standard error, which drawings of an earlier run are no longer true.

    Parameters
    ----------
    folder : str
        Where the files lie.
    files, left : sequence of str
        Files written, and drawings left from an earlier run.
    whose : str
        What the left ones are not part of, such as "this nest".
    """
    say(f"wrote to {folder}: {', '.join(files)}", indent="  ")
    if left:
        say(f"not of {whose}, left from an earlier run: {', '.join(left)}", indent="  ", err=True)


def show_tool(tool: Any, what: str, out: Path, published: Any) -> None:
    """Print the sheet of a tool, what to look out for, the cautions of the work, and what was written.

    Parameters
    ----------
    tool : Tool
        The tool.
    what : str
        What kind of tool, in words.
    out : Path
        Where its files are.
    published : Published
        The files.
    """
    click.echo(f"{tool.name}: {what}")
    show_table([(line.label, line.value, line.how) for line in tool.sheet], indent="  ")
    show_findings(tool.notes)
    for caution in tool.cautions:
        say(f"  {caution}", indent="  ")
    show_files(str(out), published.files, published.left, whose="this tool")
