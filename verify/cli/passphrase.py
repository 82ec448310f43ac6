"""Where a passphrase comes from: a file, the environment, or the person at the terminal."""

import os
import sys
from pathlib import Path

import click

from verify.values.errors import SigningKeyError

VARIABLE = "HANDBACK_PASSPHRASE"


def passphrase_for(what: str, *, file: Path | None, confirm: bool) -> str:
    """Return the passphrase, never empty. what: what it is for, shown at the prompt.

    Raises SigningKeyError where none is given and there is no terminal to ask at.
    """
    if file is not None:
        given = _first_line(file)
    elif VARIABLE in os.environ:
        given = os.environ[VARIABLE]
    elif sys.stdin.isatty():
        given = str(click.prompt(what, hide_input=True, confirmation_prompt=confirm, err=True))
    else:
        raise SigningKeyError(
            "A passphrase is needed, and there is no terminal to ask at.",
            next_step=f"Give --passphrase-file FILE, or set {VARIABLE}.",
        )
    if not given:
        raise SigningKeyError("The passphrase is empty.", next_step="Give one that is not.")
    return given


def _first_line(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig").split("\n", 1)[0].rstrip("\r")
    except (OSError, UnicodeError) as error:
        raise SigningKeyError(
            f"The passphrase cannot be read from {file}: {error}.", next_step="Give another file."
        ) from error
