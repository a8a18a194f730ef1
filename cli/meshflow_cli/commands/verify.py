"""``meshflow verify``: whether a job's folder is still what was written, and whether that is right."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from meshflow_cli.console import progress_line, show_findings, show_table


@click.command("verify")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the check as JSON.")
def command(folder: Path, as_json: bool) -> int:
    """Check the folder of a job: hashes, outlines, sheets, nests.

    Every drawing is read again by a reader of its own, every outline laid back on its surface, every nest checked anew,
    every solid of a tool measured again.
    Exit code 1 when anything is wrong.
    """
    from meshflow.job.verify import verify_folder

    with progress_line() as progress:
        found = verify_folder(folder, progress=progress)
    if as_json:
        click.echo(json.dumps(found.to_json(), indent=2, allow_nan=False))
    else:
        _say(found)
    return 0 if found.passed else 1


def _say(found: Any) -> None:
    if found.contours:
        rows = [("drawing", "contours", "off its surface", "allowed")]
        rows += [
            (check.file, str(check.contours), f"{check.error_mm:.4f} mm", f"{check.allowed_mm:.4f} mm")
            for check in found.contours
        ]
        show_table(rows)
    show_findings(found.findings)
    counts = [(found.files, "file"), (found.drawings, "drawing"), (found.nests, "nest")]
    counts += [(count, word) for count, word in ((found.solids, "solid"), (found.reliefs, "relief")) if count]
    said = ", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts)
    click.echo(f"{said} as they were written; largest error of an outline {found.error_mm:.4f} mm")
    click.echo("verified" if found.passed else "not verified")
