"""Entry point: commands are loaded when they are called, so that ``--help`` is instant.

Exit codes: 0 done, 1 refused (the reasons are printed), 2 wrong usage; 130 interrupted and 141 nobody listens any
more, as shells have it.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import click

import meshflow
from meshflow.errors import MeshflowError

__all__ = ["main"]

COMMANDS = {
    "check": "Say whether a scan or a drawing is fit to use, and why not.",
    "mend": "Repair a scan within a bound on the deviation.",
    "align": "Set a scan on its datum, or lay it on another scan.",
    "mirror": "Find the middle of a scan; make its mirror image or its whole.",
    "resize": "Bring a scan to the size of a mount or a wearer.",
    "measure": "Take measures of a scan, for the record.",
    "compare": "Hold a piece against what it should be.",
    "photo": "Bring a photograph of a flat thing to true size.",
    "section": "Cut profiles, girths or gauges from a scan.",
    "offset": "Write the surface some millimetres outside or inside a scan.",
    "panels": "Split a scan into a few panels that lie nearly flat.",
    "relief": "Lift the ornament of a scan off its base: heights, lines, pictures.",
    "flatten": "Lay one piece of a scan flat: drawing, pictures, figures.",
    "tool": "Make a tool: to strike, form, cut or cast with.",
    "finish": "Say what finishing takes: area, mass, plating, annealing.",
    "nest": "Lay parts out on sheets.",
    "paper": "Print a drawing at true size on sheets of paper.",
    "run": "Run a whole job file.",
    "verify": "Check the folder of a job: hashes, outlines, sheets, nests.",
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


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(meshflow.__version__, prog_name="meshflow")
def cli() -> None:
    """From a surface scan to flat patterns, nested sheets and cut files."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        What stands behind ``meshflow``; that of the process when left out.
    """
    _say_what_cannot_be_printed()
    # Before numpy is loaded. Our linear systems are many and small: sharing each among threads made a whole job twice
    # to eight times slower on a busy machine, and sums would depend on the number of cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code = _exit_code(arguments)
        _flush()
    except BrokenPipeError:
        code = _quietly_gone()
    except KeyboardInterrupt:  # it came while another ending was being said
        code = 130
    sys.exit(code)


def _exit_code(arguments: Sequence[str] | None) -> int:
    """Run the command; every error becomes a sentence and a code."""
    try:
        code = cli.main(arguments, prog_name="meshflow", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return 2 if isinstance(error, click.UsageError) else 1
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped; what was there before is unchanged.", err=True)
        return 130
    except MeshflowError as error:
        click.echo(str(error), err=True)
        return 1
    except SystemExit:
        # Here click leaves by itself in two cases: it has completed a command line for a shell, or our reader has gone.
        if "_MESHFLOW_COMPLETE" in os.environ:
            raise
        raise BrokenPipeError from None
    except BrokenPipeError:
        raise
    except OSError as error:
        reason = error.strerror or str(error) or type(error).__name__
        click.echo(f"{error.filename}: {reason}." if error.filename else f"{reason}.", err=True)
        return 1
    except Exception as error:
        return _fault(error)
    return code if isinstance(code, int) else 0


def _fault(error: Exception) -> int:
    """Say that meshflow itself failed, and where: a traceback is for us, a sentence for the maker."""
    from meshflow.job.faults import as_refusal

    refusal = as_refusal(error, "")
    click.echo(str(refusal), err=True)
    for frame in getattr(refusal, "frames", ()):
        click.echo(f"  {frame}", err=True)
    return 1


def _say_what_cannot_be_printed() -> None:
    """Let a terminal that lacks a letter show its number instead of failing on it."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def _flush() -> None:
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()


def _quietly_gone() -> int:
    """Leave without a word when the reader of our output has gone, as with ``meshflow stock | head``."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            os.dup2(nowhere, stream.fileno())
        except (AttributeError, OSError, ValueError):
            continue  # not a real stream: nothing would be flushed to it at exit
    return 141
