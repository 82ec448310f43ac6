"""Keep the computer from going to sleep while something is watched.

Each system's own means, held by a process that ends with this one, even where this one is killed. Where it
is missing or refuses, the answer says what to set by hand.
"""

import os
import select
import shutil
import subprocess
import sys

from verify.machine.model import Awake

__all__ = ["CannotHold", "keep_awake"]

_WAIT_S = 5.0
_HELD = b"held\n"
_BY_HAND = "Switch off sleep, and sleep on closing the lid, in this computer's power settings."


class CannotHold:
    """It may go to sleep at any time; `why_not` says what to set by hand."""

    held = False

    def __init__(self, why: str) -> None:
        self.why_not = f"{why} {_BY_HAND}"

    def release(self) -> None:
        """Nothing to let go."""


class _HeldByProcess:
    """Kept awake for as long as the process runs; it ends when its input closes, so with this process."""

    def __init__(self, holder: subprocess.Popen[bytes]) -> None:
        self._holder: subprocess.Popen[bytes] | None = holder
        self._why = "Let go again."

    @property
    def held(self) -> bool:
        if self._holder is not None and self._holder.poll() is not None:
            self.release()
            self._why = f"The system ended it. {_BY_HAND}"
        return self._holder is not None

    @property
    def why_not(self) -> str:
        return "" if self.held else self._why

    def release(self) -> None:
        holder, self._holder = self._holder, None
        if holder is not None:
            _end(holder)


def keep_awake(why: str) -> Awake:
    """Ask the system to stay awake: no sleep when idle, none when the lid closes where it can be asked.

    why: a short phrase that the system may show.
    """
    system: str = sys.platform  # not narrowed: a type checker sees every system's branch
    match system:
        case "linux":
            return _by_login_manager(why)
        case "darwin":
            return _by_caffeinate()
        case "win32":
            return _HeldByState()
        case _:
            return CannotHold("This system cannot be asked to stay awake.")


def _by_login_manager(why: str) -> Awake:
    """Hold a block on idle, sleep and the lid switch (systemd-inhibit(1)).

    The command that it runs gives back what it is sent: so it is known to be held, and it ends when its
    input closes.
    """
    program, echo = shutil.which("systemd-inhibit"), shutil.which("cat")
    if program is None or echo is None:
        return CannotHold("This computer has no systemd-inhibit to be kept awake with.")
    # "handle-lid-switch" is honoured whatever the login manager's settings say of the lid (logind.conf(5)).
    command = [
        program,
        "--what=idle:sleep:handle-lid-switch",
        "--mode=block",
        "--who=Handback",
        f"--why={why}",
    ]
    try:
        holder = subprocess.Popen(
            [*command, echo],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            start_new_session=True,
        )
    except OSError as error:
        return CannotHold(f"This computer cannot be kept awake: {error.strerror or error}.")
    if _answers(holder):
        return _HeldByProcess(holder)
    holder.kill()
    told = b"" if holder.stderr is None else _rest(holder.stderr.fileno())
    _end(holder)
    said = told.decode("utf-8", "replace").strip().splitlines()
    because = f": {said[-1].rstrip('.')}" if said else ""
    return CannotHold(f"The system refuses to be kept awake{because}.")


def _answers(holder: subprocess.Popen[bytes]) -> bool:
    """Tell whether the command runs: it gives back what it is sent."""
    if holder.stdin is None or holder.stdout is None:
        return False
    try:
        holder.stdin.write(_HELD)
    except OSError:
        return False
    ready, _, _ = select.select([holder.stdout], [], [], _WAIT_S)
    return bool(ready) and os.read(holder.stdout.fileno(), len(_HELD)) == _HELD


def _rest(descriptor: int) -> bytes:
    """Return what there is to read now, without waiting for more."""
    ready, _, _ = select.select([descriptor], [], [], 0.2)
    return os.read(descriptor, 4096) if ready else b""


def _end(holder: subprocess.Popen[bytes]) -> None:
    """Close the holder's input, which ends it, and wait for it."""
    for pipe in (holder.stdin, holder.stdout, holder.stderr):
        if pipe is not None:
            pipe.close()
    try:
        holder.wait(_WAIT_S)
    except subprocess.TimeoutExpired:
        holder.kill()
        holder.wait()


def _by_caffeinate() -> Awake:
    """Hold off idle sleep for as long as this process lives (caffeinate(8)). Never run here."""
    try:
        holder = subprocess.Popen(
            ["caffeinate", "-i", "-w", str(os.getpid())],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError as error:
        return CannotHold(f"This computer cannot be kept awake: {error.strerror or error}.")
    return _HeldByCaffeinate(holder)


class _HeldByCaffeinate(_HeldByProcess):
    """As above; this one has no input to close, and is ended by a signal. Never run here."""

    def release(self) -> None:
        if self._holder is not None:
            self._holder.terminate()
        super().release()


class _HeldByState:
    """Windows: idle sleep is held off for as long as the asking thread lives. Never run here."""

    # SetThreadExecutionState (winbase.h): ES_CONTINUOUS, ES_SYSTEM_REQUIRED.
    _CONTINUOUS, _SYSTEM_REQUIRED = 0x80000000, 0x00000001

    def __init__(self) -> None:
        self.held = self._ask(self._CONTINUOUS | self._SYSTEM_REQUIRED)

    @property
    def why_not(self) -> str:
        return "" if self.held else f"The system does not keep itself awake now. {_BY_HAND}"

    def release(self) -> None:
        self._ask(self._CONTINUOUS)
        self.held = False

    @staticmethod
    def _ask(state: int) -> bool:
        import ctypes

        library = getattr(ctypes, "windll", None)
        return library is not None and library.kernel32.SetThreadExecutionState(state) != 0
