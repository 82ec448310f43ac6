"""From errors to a sentence and an exit code; the only place that exits.

Every command returns its exit code, or None for 0.
"""

import sys
from collections.abc import Sequence

import click

from verify.values.errors import (
    AlteredError,
    FileFormatError,
    HandbackError,
    InvalidValueError,
    OrderError,
    SigningKeyError,
    WrongUseError,
)

GOOD, NOT_GOOD, WRONG_USE, NOT_ESTABLISHED = 0, 1, 2, 3
_INTERRUPTED = 130


def exit_code(error: HandbackError) -> int:
    """Return 1 for a finding, 2 for wrong use, 3 where nothing could be established."""
    match error:
        case AlteredError():
            return NOT_GOOD
        case WrongUseError() | FileFormatError() | InvalidValueError() | OrderError() | SigningKeyError():
            return WRONG_USE
        case _:
            return NOT_ESTABLISHED


def _say(error: HandbackError) -> None:
    click.echo(f"handback: {error.what}", err=True)
    if error.next_step:
        click.echo(f"          {error.next_step}", err=True)


def _keep_trace() -> str:
    """Write the present traceback to a file for whoever mends it, and return where it lies."""
    import tempfile
    import traceback

    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="handback-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            traceback.print_exc(file=file)
    except OSError:
        return "what you did before it"
    return file.name


def run_command(group: click.Group, arguments: Sequence[str] | None) -> None:
    """Run the group on the arguments (None: the process's own) and exit with the code."""
    try:
        code = group.main(args=arguments, prog_name="handback", standalone_mode=False)
    except HandbackError as error:
        _say(error)
        code = exit_code(error)
    except click.ClickException as error:
        error.show()
        code = WRONG_USE
    except click.exceptions.Exit as error:
        code = error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nhandback: stopped. What was answered is kept; run it again to go on.", err=True)
        code = _INTERRUPTED
    except SystemExit:
        # So click and rich end where the reader of our output went away: nobody saw what came of it.
        code = NOT_ESTABLISHED
    except OSError as error:
        click.echo(f"handback: {error.strerror or error}: {error.filename or 'no file named'}.", err=True)
        click.echo("          Check the folder, its rights and the free space, then run it again.", err=True)
        code = NOT_ESTABLISHED
    except Exception as error:  # noqa: BLE001 - the top of every command: a fault of the tool itself
        click.echo(f"handback: a fault in the tool itself ({type(error).__name__}: {error}).", err=True)
        click.echo(f"          What was answered is kept. Please report it with {_keep_trace()}.", err=True)
        code = NOT_ESTABLISHED
    sys.exit(code if isinstance(code, int) else GOOD)
