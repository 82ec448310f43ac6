"""The commands, thin: parse, call one core function, show, return the exit code.

A command's module is imported only when it is called: `handback --help` must answer at once.
"""

import importlib
from collections.abc import Sequence

import click

from verify import VERSION
from verify.cli.exits import run_command

__all__ = ["main"]

# Name → (module, one line of help). The line stands here so that --help imports no command.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("verify.cli.demo", "Play two whole repairs on a simulated machine."),
    "start": ("verify.cli.start", "Open a ticket: machine, work, parts."),
    "run": ("verify.cli.run", "Work through a ticket's checks; resume where it was."),
    "status": ("verify.cli.status", "Show open tickets and what each waits for."),
    "sign": ("verify.cli.sign", "Make the report and sign it."),
    "prove": ("verify.cli.prove", "Prove that a report is whole and who signed it."),
    "attach": ("verify.cli.attach", "Put the signed report into the ticket's folder."),
    "probe": ("verify.cli.probe", "Show what this machine tells about itself."),
    "key": ("verify.cli.key", "Make, show and trust signing keys."),
    "checklists": ("verify.cli.checklists", "List the checklists, or show one composed for some work."),
    "lint": ("verify.cli.lint", "Find the mistakes in a checklist file."),
}


class _LateCommands(click.Group):
    """A group that knows its commands by name and imports each only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=_LateCommands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(VERSION, prog_name="handback", message="%(prog)s %(version)s")
def _handback() -> None:
    """Decide, and be able to show, whether a repaired laptop may be handed back.

    A ticket goes: start, run, sign, attach. Try it first: handback demo
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 good, 1 not good, 2 wrong use, 3 could not be established."""
    run_command(_handback, arguments)
