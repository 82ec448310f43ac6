"""The commands, thin: parse, call one core function, show, return the exit code.

A command's module is imported only when it is called, and for the list of commands nothing is.
"""

import sys
from collections.abc import Sequence

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit: 0 good, 1 not good, 2 wrong use, 3 could not be established.

    arguments: None for the process's own.
    """
    words = sys.argv[1:] if arguments is None else list(arguments)
    for stream in (sys.stdout, sys.stderr):
        # A pipe or an old console may know fewer letters than we use: show "?", never fail.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if words in ([], ["-h"], ["--help"]):
        from verify.cli.front import help_text

        sys.stdout.write(help_text())
        sys.exit(0)
    from verify.cli.exits import run_command
    from verify.cli.group import handback

    run_command(handback, words)
