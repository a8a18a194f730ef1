"""Entry point: commands are loaded when they are called, so that ``--help`` is instant.

Exit codes: 0 done, 1 refused (the reasons are printed), 2 wrong usage, 130 interrupted.
"""

from __future__ import annotations

import importlib
import sys

import click

import meshflow
from meshflow.errors import MeshflowError

__all__ = ["main"]

COMMANDS = {
    "check": "Say whether a scan is fit to use, and what is wrong with it.",
    "flatten": "Lay one piece of a scan flat: drawing, pictures, figures.",
    "nest": "Lay parts out on sheets.",
    "run": "Run a whole job file.",
    "demo": "Copy the demo job to a folder and run it.",
    "stock": "List materials, sheets, processes or machines.",
    "schema": "Print the JSON schema of a job file, for editors.",
}


class _LazyGroup(click.Group):
    """Knows the names and first lines of the commands; loads a command's module when it is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"meshflow_cli.commands.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(meshflow.__version__, prog_name="meshflow")
def cli() -> None:
    """From a surface scan to flat patterns, nested sheets and cut files."""


def main() -> None:
    """Run the command line and leave with its exit code."""
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(2 if isinstance(error, click.UsageError) else 1)
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped.", err=True)
        sys.exit(130)
    except MeshflowError as error:
        click.echo(str(error), err=True)
        sys.exit(1)
    except (OSError, MemoryError) as error:
        # The disk is full, a pipe was closed, the memory is used up: a sentence helps, a traceback does not.
        reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
        name = getattr(error, "filename", None)
        click.echo(f"{name}: {reason}." if name else f"{reason}.", err=True)
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else 0)
