"""``meshflow schema``: the form of a job file, for editors."""

from __future__ import annotations

import click


@click.command("schema")
def command() -> int:
    """Print the JSON schema of a job file, for editors."""
    from meshflow.job.outputs import json_text
    from meshflow.job.schema import json_schema

    click.echo(json_text(json_schema()), nl=False)
    return 0
