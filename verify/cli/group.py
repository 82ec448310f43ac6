"""The commands as one click group; each is imported only when it is called."""

import importlib

import click

from verify import VERSION
from verify.cli.front import COMMANDS, help_text


class _LateCommands(click.Group):
    """Knows its commands by name and imports each only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name][0]).command
        return command

    def get_help(self, ctx: click.Context) -> str:
        del ctx
        return help_text().rstrip("\n")


@click.group(cls=_LateCommands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="handback", message="%(prog)s %(version)s")
def handback() -> None:
    """Decide, and be able to show, whether a repaired laptop may be handed back."""
