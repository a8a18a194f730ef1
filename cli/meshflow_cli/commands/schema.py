"""``meshflow schema``: the form of a job file, for editors."""

from __future__ import annotations

import click


@click.command("schema")
def command() -> int:
    """Print the JSON schema of a job file, for editors."""
    from meshflow.job.single import schema_text

    click.echo(schema_text(), nl=False)
    return 0
