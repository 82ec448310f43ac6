"""Open a local page in this computer's browser, by a child process that keeps the terminal free."""

import os
import subprocess
import sys
from pathlib import Path

from verify.values.errors import MachineError

__all__ = ["open_page"]

_OPEN = "import sys, webbrowser; sys.exit(not webbrowser.open(sys.argv[1]))"
_WAIT_S = 3.0  # handing it over takes a moment; a browser that then stays is none of ours


def open_page(path: Path) -> None:
    """Hand the page to the browser.

    Raises MachineError, with the page's place, where none can be opened from here.
    """
    here = f"Open it by hand: {path}"
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        # A browser made of text would take the terminal over.
        raise MachineError("There are no windows here to show a page in.", next_step=here)
    try:
        opener = subprocess.Popen(
            [sys.executable, "-I", "-c", _OPEN, path.absolute().as_uri()],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        code = opener.wait(_WAIT_S)
    except subprocess.TimeoutExpired:
        return
    except OSError as error:
        raise MachineError(
            f"No browser could be opened: {error.strerror or error}.", next_step=here
        ) from error
    if code != 0:
        raise MachineError("No browser could be opened.", next_step=here)
