"""Single keys from the terminal; whoever waits for one is woken when something else happens.

From a pipe, characters come the same way; its end is the key END.
"""

import codecs
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
SUSPEND = "\x1a"
ANEW = "\x0c"
"""The screen is to be drawn anew: asked for, or the terminal was somebody else's meanwhile."""

# Arrow and function keys (ECMA-48, 5.4: control sequences): nothing of ours, and not the letters that they
# are made of.
# The Linux console's F1 to F5 have a bracket more (console_codes(4)).
_NO_KEY = re.compile("\x1b(?:\\[\\[[A-E]|\\[[0-?]*[ -/]*[@-~]|O.)")
_BEGUN = re.compile("\x1b(?:\\[\\[|\\[[0-?]*[ -/]*|O)?$")
_EACH_KEY = re.compile(f"{_NO_KEY.pattern}|\x1b[^\x1b]|.", re.DOTALL)
_REST_S = 0.03  # the rest of such a key comes at once; common practice, no source

_BURST = 2  # keys that wait behind the one that is taken; common practice, no source

# Pasted text comes between these two, where a terminal can do it (private mode 2004 of the terminals that
# descend from the X Window System's; its "Control Sequences", section "Bracketed Paste Mode").
_PASTE_BEGINS, _PASTE_ENDS = "\x1b[200~", "\x1b[201~"
_TELL_PASTES, _TELL_NO_PASTES = "\x1b[?2004h", "\x1b[?2004l"


class Pasted(str):
    """Text that was pasted: what nobody pressed key by key, on one line."""

    __slots__ = ()


if sys.platform == "win32":
    import msvcrt

    _LOOK_S = 0.02
    _ANEW_S = 0.5  # no console can be waited for together with a pipe

    class Keys:
        """Keys of the Windows console."""

        by_hand = True
        every = False

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
                second = msvcrt.getwch()
                return f"\x00{second}" if self.every else None
            return {"\r": ENTER, "\x08": BACK, "\x1a": END}.get(key, key)

        def burst(self) -> bool:
            """Tell whether more keys came at once than fingers press: cannot be told here."""
            return False

        def forget(self) -> list[str]:
            """Drop the keys that were pressed already, and return them."""
            dropped = []
            while msvcrt.kbhit():
                dropped.append(msvcrt.getwch())
            return dropped

        def suspend(self) -> None:
            """Nothing: there are no jobs to be stopped and gone on with."""

else:
    import select
    import signal
    import termios
    import threading
    import tty

    def _take_note(number: int, frame: FrameType | None) -> None:
        """Do nothing: that there is somebody to take the signal brings its number to who waits for keys."""
        del number, frame

    class Keys:
        """Keys of a terminal, or characters of a pipe.

        woken: a file descriptor that can be read when something else happened. every: also give those that
        answer nothing (arrows, function keys), each as the characters that it sends.
        """

        every = False

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
            self._wakeup_before = -1
            self._pasting: str | None = None

        @property
        def by_hand(self) -> bool:
            """Whether fingers press the keys: it is a terminal."""
            return self._before is not None

        def __enter__(self) -> Self:
            if os.isatty(self._descriptor):
                self._before = termios.tcgetattr(self._descriptor)
                self._take_terminal()
                self._notice_signals()
            return self

        def _take_terminal(self) -> None:
            """Have single keys, Ctrl-Z as one of them, and pasted text told apart."""
            tty.setcbreak(self._descriptor)
            mode = termios.tcgetattr(self._descriptor)
            nothing = os.fpathconf(self._descriptor, "PC_VDISABLE") & 0xFF
            mode[6][termios.VSUSP] = bytes([nothing])
            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, mode)
            self._tell(_TELL_PASTES)

        def _give_terminal_back(self) -> None:
            if self._before is not None:
                self._tell(_TELL_NO_PASTES)
                termios.tcsetattr(self._descriptor, termios.TCSADRAIN, self._before)  # type: ignore[arg-type] # as tcgetattr gave it

        def _tell(self, sequence: str) -> None:
            """Tell the terminal something, where the output goes to one that understands it."""
            if sys.stdout.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown"):
                sys.stdout.write(sequence)
                sys.stdout.flush()

        def _notice_signals(self) -> None:
            """Let a window of another size, or having been stopped, end the waiting: it is drawn anew."""
            if threading.current_thread() is not threading.main_thread():
                return  # only there can a signal be taken
            self._resized = os.pipe()
            for end in self._resized:
                os.set_blocking(end, False)
            # The signal may come to any thread: only this wakes the one that waits, whichever it was.
            self._wakeup_before = signal.set_wakeup_fd(self._resized[1], warn_on_full_buffer=False)
            for number in (signal.SIGWINCH, signal.SIGCONT):
                signal.signal(number, _take_note)

        def __exit__(
            self,
            kind: type[BaseException] | None,
            error: BaseException | None,
            trace: TracebackType | None,
        ) -> None:
            if self._resized is not None:
                for number in (signal.SIGWINCH, signal.SIGCONT):
                    signal.signal(number, signal.SIG_DFL)
                signal.set_wakeup_fd(self._wakeup_before)
                ends, self._resized = self._resized, None
                for end in ends:
                    os.close(end)
            self._give_terminal_back()
            self._before = None

        def burst(self) -> bool:
            """Tell whether more keys came at once than fingers press: text pasted into a plain terminal."""
            return self.by_hand and len(self._waiting) >= _BURST

        def suspend(self) -> None:
            """Give the terminal back and stop, as Ctrl-Z asks for; return when gone on with."""
            if self._before is not None:
                self._give_terminal_back()
                os.kill(0, signal.SIGTSTP)
                # Here again; or nobody there to go on with it, and then the system does not stop us.
                self._take_terminal()

        def forget(self) -> list[str]:
            """Drop the keys that were pressed already, and return them.

            Only at a terminal: what comes out of a pipe was never meant for what somebody sees.
            """
            if self._before is None:
                return []
            dropped = list(self._waiting)
            self._waiting.clear()
            while not self._ended and select.select([self._descriptor], [], [], 0)[0]:
                dropped += self._keys_of(self._read())
            return dropped

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
            # A byte each, the signal's number.
            signals = os.read(resized, 4096) if resized is not None and resized in ready else b""
            if signal.SIGCONT in signals:
                # The shell has set the terminal to its own liking meanwhile.
                self._take_terminal()
                return ANEW
            if self._descriptor not in ready:
                return None
            text = self._read()
            while _BEGUN.search(text) and select.select([self._descriptor], [], [], _REST_S)[0]:
                text += self._read()
            self._waiting.extend(self._keys_of(text))
            return self._waiting.popleft() if self._waiting else None

        def _keys_of(self, text: str) -> list[str]:
            """Return what was pressed, key by key, and what was pasted, each as a whole."""
            keys: list[str] = []
            while text:
                if self._pasting is None:
                    pressed, begun, text = text.partition(_PASTE_BEGINS)
                    alone = _EACH_KEY.findall(pressed) if self.every else _NO_KEY.sub("", pressed)
                    keys += [{"\r": ENTER, "\x08": BACK}.get(key, key) for key in alone]
                    self._pasting = "" if begun else None
                else:
                    whole, ended, text = (self._pasting + text).partition(_PASTE_ENDS)
                    self._pasting = None if ended or self._ended else whole
                    if ended:
                        keys.append(Pasted(" ".join(_NO_KEY.sub("", whole).split())))
            return [key for key in keys if key]

        def _read(self) -> str:
            data = os.read(self._descriptor, 1024)
            self._ended = not data
            return self._decoder.decode(data) if data else END
