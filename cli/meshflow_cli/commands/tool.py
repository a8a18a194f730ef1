"""``meshflow tool KIND``: tools to strike, form, cut and cast with. Each kind is a command of its own."""

from __future__ import annotations

import importlib

import click

__all__ = ["KINDS", "command"]

KINDS: dict[str, str] = {
    "punch": "a punch and a die that close on the sheet",
    "strip": "a short tool through which a long strip is fed by hand",
    "former": "a block to mould wet leather or raise metal over",
    "cast": "a pattern for casting",
    "blank": "a punch and die that cut a flat piece out of sheet",
    "ruledie": "a steel-rule die for leather",
}


class _Kinds(click.Group):
    """Loads the module of a kind when it is used: ``commands/tool_KIND.py``."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(KINDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in KINDS:
            return None
        module = importlib.import_module(f"meshflow_cli.commands.tool_{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Kinds of tool"):
            formatter.write_dl(list(KINDS.items()))


@click.group("tool", cls=_Kinds)
def command() -> None:
    """Make a tool: to strike, form, cut or cast with."""
