"""Single keys from the terminal, never waited for longer than asked.

From a pipe, characters come the same way; its end is the key END.
"""

import codecs
import os
import sys
import time
from collections import deque
from types import TracebackType
from typing import Self

from verify.values.errors import WrongUseError

END = "\x04"
ENTER = "\n"
BACK = "\x7f"

if sys.platform == "win32":
    import msvcrt

    class Keys:
        """Keys of the Windows console."""

        def __enter__(self) -> Self:
            return self

        def __exit__(
            self,
            kind: type[BaseException] | None,
            error: BaseException | None,
            trace: TracebackType | None,
        ) -> None:
            pass

        def next(self, timeout_s: float) -> str | None:
            """Return the next key, or None where none came within `timeout_s`."""
            end = time.monotonic() + timeout_s
            while not msvcrt.kbhit():
                if time.monotonic() >= end:
                    return None
                time.sleep(0.02)
            key = msvcrt.getwch()
            return {"\r": ENTER, "\x08": BACK, "\x1a": END}.get(key, key)

else:
    import select
    import termios
    import tty

    class Keys:
        """Keys of a terminal, or characters of a pipe."""

        def __init__(self) -> None:
            if sys.stdin is None:
                raise WrongUseError(
                    "There is no keyboard: the input is closed.",
                    next_step="Run it in a terminal, or take the answers from a file with --answers.",
                )
            self._descriptor = sys.stdin.fileno()
            self._before: list[object] | None = None
            self._decoder = codecs.getincrementaldecoder("utf-8")("ignore")
            self._waiting: deque[str] = deque()
            self._ended = False

        def __enter__(self) -> Self:
            if os.isatty(self._descriptor):
                self._before = termios.tcgetattr(self._descriptor)
                tty.setcbreak(self._descriptor)
            return self

        def __exit__(
            self,
            kind: type[BaseException] | None,
            error: BaseException | None,
            trace: TracebackType | None,
        ) -> None:
            if self._before is not None:
                termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)  # type: ignore[arg-type] # as tcgetattr gave it
                self._before = None

        def next(self, timeout_s: float) -> str | None:
            """Return the next key, or None where none came within `timeout_s`."""
            if self._waiting:
                return self._waiting.popleft()
            if self._ended:
                return END
            ready, _, _ = select.select([self._descriptor], [], [], timeout_s)
            if not ready:
                return None
            data = os.read(self._descriptor, 1024)
            if not data:
                self._ended = True
                return END
            text = self._decoder.decode(data)
            if text == "\x1b":
                return text
            if text.startswith("\x1b"):
                # An arrow or function key: nothing of ours, and not the letters it is made of.
                return None
            self._waiting.extend({"\r": ENTER, "\x08": BACK}.get(key, key) for key in text)
            return self._waiting.popleft() if self._waiting else None
