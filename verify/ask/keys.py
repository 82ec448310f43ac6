"""Single keys from the terminal; whoever waits for one is woken when something else happens.

From a pipe, characters come the same way; its end is the key END.
"""

import codecs
import contextlib
import os
import re
import sys
import time
from collections import deque
from types import FrameType, TracebackType
from typing import Self

from verify.values.errors import WrongUseError

END = "\x04"
ENTER = "\n"
BACK = "\x7f"

# Arrow and function keys (ECMA-48, 5.4: control sequences): nothing of ours, and not the letters that they
# are made of.
_NO_KEY = re.compile("\x1b(?:\\[[0-?]*[ -/]*[@-~]|O.)")
_BEGUN = re.compile("\x1b(?:\\[[0-?]*[ -/]*|O)?$")
_REST_S = 0.03  # the rest of such a key comes at once; common practice, no source

if sys.platform == "win32":
    import msvcrt

    _LOOK_S = 0.02
    _ANEW_S = 0.5  # no console can be waited for together with a pipe

    class Keys:
        """Keys of the Windows console."""

        def __init__(self, woken: int | None = None) -> None:
            del woken

        def __enter__(self) -> Self:
            return self

        def __exit__(
            self,
            kind: type[BaseException] | None,
            error: BaseException | None,
            trace: TracebackType | None,
        ) -> None:
            pass

        def next(self, timeout_s: float | None) -> str | None:
            """Return the next key, or None where none came in time, or something else may have happened."""
            end = time.monotonic() + (_ANEW_S if timeout_s is None else min(timeout_s, _ANEW_S))
            while not msvcrt.kbhit():
                if time.monotonic() >= end:
                    return None
                time.sleep(_LOOK_S)
            key = msvcrt.getwch()
            if key in ("\x00", "\xe0"):
                # An arrow or function key: its second half says which.
                msvcrt.getwch()
                return None
            return {"\r": ENTER, "\x08": BACK, "\x1a": END}.get(key, key)

else:
    import select
    import signal
    import termios
    import threading
    import tty

    class Keys:
        """Keys of a terminal, or characters of a pipe.

        woken: a file descriptor that can be read when something else happened.
        """

        def __init__(self, woken: int | None = None) -> None:
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
            self._woken = woken
            self._resized: tuple[int, int] | None = None

        def __enter__(self) -> Self:
            if os.isatty(self._descriptor):
                self._before = termios.tcgetattr(self._descriptor)
                tty.setcbreak(self._descriptor)
                self._notice_resizing()
            return self

        def _notice_resizing(self) -> None:
            """Let a window that is made larger or smaller end the waiting: it is drawn anew."""
            if threading.current_thread() is not threading.main_thread():
                return  # only there can a signal be taken
            self._resized = os.pipe()
            for end in self._resized:
                os.set_blocking(end, False)
            signal.signal(signal.SIGWINCH, self._ring)

        def _ring(self, number: int, frame: FrameType | None) -> None:
            del number, frame
            if self._resized is not None:
                # It may be full of calls already.
                with contextlib.suppress(BlockingIOError):
                    os.write(self._resized[1], b".")

        def __exit__(
            self,
            kind: type[BaseException] | None,
            error: BaseException | None,
            trace: TracebackType | None,
        ) -> None:
            if self._resized is not None:
                signal.signal(signal.SIGWINCH, signal.SIG_DFL)
                ends, self._resized = self._resized, None
                for end in ends:
                    os.close(end)
            if self._before is not None:
                termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)  # type: ignore[arg-type] # as tcgetattr gave it
                self._before = None

        def next(self, timeout_s: float | None) -> str | None:
            """Return the next key, or None where none came in time, or something else happened.

            timeout_s: None: wait for as long as it takes.
            """
            if self._waiting:
                return self._waiting.popleft()
            if self._ended:
                return END
            resized = None if self._resized is None else self._resized[0]
            watched = [each for each in (self._descriptor, self._woken, resized) if each is not None]
            ready, _, _ = select.select(watched, [], [], timeout_s)
            if resized in ready and resized is not None:
                os.read(resized, 4096)
            if self._descriptor not in ready:
                return None
            text = self._read()
            while _BEGUN.search(text) and select.select([self._descriptor], [], [], _REST_S)[0]:
                text += self._read()
            keys = _NO_KEY.sub("", text)
            self._waiting.extend({"\r": ENTER, "\x08": BACK}.get(key, key) for key in keys)
            return self._waiting.popleft() if self._waiting else None

        def _read(self) -> str:
            data = os.read(self._descriptor, 1024)
            self._ended = not data
            return self._decoder.decode(data) if data else END
