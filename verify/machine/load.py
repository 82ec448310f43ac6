"""A full load by child processes, one a logical core, that end without their parent's help.

Each child ends on: a lease that is not renewed, its input closed, the end of its time, the parent's death
(on Linux by the kernel; elsewhere the closed input tells it). So a parent that is killed, stopped, or hangs
in a read leaves no load behind.
"""

import os
import subprocess
import sys
from pathlib import Path

from verify.machine import load_child
from verify.machine.load_limit import LEASE_S, Lease
from verify.machine.model import Sample
from verify.values import Clock, SystemClock
from verify.values.errors import InvalidValueError, MachineError

__all__ = ["ProcessLoad"]

_GRACE_S = 0.5
_ENDINGS = {
    load_child.LEASE_LOST: f"No fresh reading came for {LEASE_S:.0f} s.",
    load_child.TIME_OVER: "Its time is over.",
}


class ProcessLoad:
    """Load on every core this process may use; nothing works before the first `renew`.

    clock: that of the samples. longest_s: above 0. Start it on a thread that outlives it: on Linux the
    children die with the thread that started them.
    Raises MachineError where a child cannot be started.
    """

    def __init__(self, clock: Clock, *, longest_s: float) -> None:
        if longest_s <= 0:
            raise InvalidValueError(f"A load of {longest_s:g} s is none.")
        self._clock = clock
        # The children count real time, whatever the clock of the samples is.
        self._real = SystemClock()
        self._lease = Lease(now=clock.now(), longest_s=longest_s)
        self._why = ""
        self._children: list[subprocess.Popen[bytes]] = []
        end_s = self._real.now().elapsed_s + longest_s
        try:
            for _ in range(_cores()):
                self._children.append(_start(end_s))
        except OSError as error:
            self.stop()
            raise MachineError(
                f"The load could not be started: {error.strerror or error}.",
                next_step="Close other programs, then try again.",
            ) from error

    @property
    def running(self) -> bool:
        """Whether every child still works, or waits for its first renewal."""
        if self._children and any(child.poll() is not None for child in self._children):
            codes = [child.returncode for child in self._children if child.returncode is not None]
            self._end(_ENDINGS.get(codes[0], "A part of the load ended by itself."))
        return bool(self._children)

    @property
    def why_ended(self) -> str:
        """One sentence on why it ended; empty while it runs."""
        return "" if self.running else self._why

    @property
    def children(self) -> tuple[int, ...]:
        """The process ids of the children."""
        return tuple(child.pid for child in self._children)

    def renew(self, sample: Sample) -> bool:
        """Renew the lease by a fresh sample that allows it, else end the load; return `running`."""
        if not self.running:
            return False
        if not self._lease.renew(sample, self._clock.now()):
            self._end(self._lease.refused)
            return False
        line = f"{self._real.now().elapsed_s + self._lease.left_s!r}\n".encode()
        for child in self._children:
            assert child.stdin is not None
            try:
                child.stdin.write(line)
            except OSError:  # it has just ended: `running` tells why
                break
        return self.running

    def stop(self) -> None:
        """End it, and wait until no child is left."""
        self._end("It was stopped.")

    def _end(self, why: str) -> None:
        self._why = self._why or why
        children, self._children = self._children, []
        for child in children:
            assert child.stdin is not None
            child.stdin.close()
        for child in children:
            try:
                child.wait(_GRACE_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()


def _cores() -> int:
    allowed = getattr(os, "sched_getaffinity", None)
    return (os.cpu_count() or 1) if allowed is None else len(allowed(0))


def _start(end_s: float) -> subprocess.Popen[bytes]:
    # A session of its own: keys pressed in the terminal are not for it.
    child = subprocess.Popen(
        [
            sys.executable,
            "-I",
            "-S",
            str(Path(load_child.__file__)),
            str(os.getpid()),
            repr(end_s),
            repr(LEASE_S),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        bufsize=0,
        start_new_session=True,
    )
    if sys.platform != "win32" and child.stdin is not None:
        # A child that was stopped does not read: never wait for it.
        os.set_blocking(child.stdin.fileno(), False)
    return child
