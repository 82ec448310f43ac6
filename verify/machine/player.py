"""Play a sound file by the system's own player: a child process, never a shell.

A player that is there and cannot play (no sound service, no device) is left for the next one. Nothing here
waits: `look` tells how it stands, and `stop` ends it.
"""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Sequence
from enum import StrEnum
from pathlib import Path

__all__ = ["Playing", "SystemPlayer", "system_players"]

_GRACE_S = 4.0  # a device that sleeps takes a second or two to wake; common practice, no source
_END_S = 2.0
_ERROR_BYTES = 2048

# What each system brings along. The file's path is added at the end.
_LINUX = (("pw-play",), ("paplay",), ("aplay", "-q"))
_MACOS = (("afplay",),)
_WINDOWS = "import sys, winsound; winsound.PlaySound(sys.argv[1], winsound.SND_FILENAME)"


class Playing(StrEnum):
    """How it stands. FAILED: no player could play it to its end; `why_not` says why."""

    NOTHING = "nothing"
    PLAYS = "plays"
    ENDED = "ended"
    FAILED = "failed"


def system_players(platform: str = sys.platform) -> tuple[tuple[str, ...], ...]:
    """Return the commands of the players that are there, the one to try first first."""
    if platform == "win32":
        return ((sys.executable, "-I", "-c", _WINDOWS),)  # never run here
    known = _MACOS if platform == "darwin" else _LINUX
    found = ((shutil.which(name), rest) for name, *rest in known)
    return tuple((path, *rest) for path, rest in found if path is not None)


class SystemPlayer:
    """Plays one file at a time."""

    def __init__(self, commands: Iterable[Sequence[str]] | None = None) -> None:
        """Use these commands, tried in their order; None: the system's own."""
        self._given = None if commands is None else tuple(tuple(each) for each in commands)
        self._left: list[tuple[str, ...]] = []
        self._child: subprocess.Popen[bytes] | None = None
        self._path = Path()
        self._lasts_s = self._end_s = 0.0
        self._stands = Playing.NOTHING
        self.why_not = ""

    def play(self, path: Path, *, lasts_s: float) -> Playing:
        """Begin to play a WAV file of this length in place of what plays; return how it stands."""
        self.stop()
        self._path, self._lasts_s = path.absolute(), lasts_s
        self._left = list(system_players() if self._given is None else self._given)
        self.why_not = "" if self._left else "This computer has no player that the tool knows."
        self._start_next()
        return self._stands

    def look(self) -> Playing:
        """Return how it stands now."""
        child = self._child
        if child is None:
            return self._stands
        code = child.poll()
        if code is None:
            if time.monotonic() < self._end_s:
                return Playing.PLAYS
            self._end("it did not come to an end.")
            self._start_next()
        elif code == 0:
            self._end("")
            self._stands = Playing.ENDED
        else:
            self._end(_told(child))
            self._start_next()
        return self._stands

    def stop(self) -> None:
        """End what plays, and wait until it has ended."""
        self._left = []
        self._end("")
        self._stands = Playing.NOTHING

    def _start_next(self) -> None:
        self._stands = Playing.FAILED
        while self._left and self._child is None:
            command = self._left.pop(0)
            try:
                # A session of its own: keys pressed in the terminal are not for it.
                self._child = subprocess.Popen(
                    [*command, str(self._path)],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.PIPE,
                    start_new_session=True,
                )
            except OSError as error:
                self.why_not = f"The player cannot be started: {error.strerror or error}."
                continue
            self._end_s = time.monotonic() + self._lasts_s + _GRACE_S
            self._stands = Playing.PLAYS

    def _end(self, why: str) -> None:
        child, self._child = self._child, None
        if child is None:
            return
        if why:
            self.why_not = f"The player could not play it: {why}"
        if child.poll() is None:
            _kill(child)
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(_END_S)  # one that hangs in its device's driver is left to the system
        if child.stderr is not None:
            child.stderr.close()


def _kill(child: "subprocess.Popen[bytes]") -> None:
    """Kill the player and what it started: on POSIX they are a session of their own."""
    if sys.platform == "win32":
        child.kill()
    else:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)


def _told(child: "subprocess.Popen[bytes]") -> str:
    """Return the last line that an ended player wrote, else its exit code."""
    told = b"" if child.stderr is None else _read_now(child.stderr.fileno())
    lines = told.decode("utf-8", "replace").split("\n")
    last = next((line.strip() for line in reversed(lines) if line.strip()), "")
    return f"{last.rstrip('.')[:160]}." if last else f"it ended with {child.returncode}."


def _read_now(descriptor: int) -> bytes:
    """Return what was written; a helper that the player left behind may still hold the pipe open."""
    if sys.platform == "win32":
        return b""  # a pipe cannot be asked there without waiting
    os.set_blocking(descriptor, False)
    with contextlib.suppress(OSError):
        return os.read(descriptor, _ERROR_BYTES)
    return b""
