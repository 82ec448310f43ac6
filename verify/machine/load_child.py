"""One core's load: a program of its own, standard library only, started by `verify.machine.load`.

Arguments: the parent's process id, the instant at which it must end, the longest lease, both in s.
Standard input brings one line a renewal: the instant at which the lease ends. All instants are those of
`_now`. It works in slices of 50 ms and ends, with its own code, on: a lease that ran out, an input that was
closed, the end of its time, the parent gone.
"""

import _thread
import os
import sys
import time

LEASE_LOST, INPUT_CLOSED, TIME_OVER, PARENT_GONE = 20, 21, 22, 23

SLICE_S = 0.05
_LOW_PRIORITY = 10
_PR_SET_PDEATHSIG = 1  # prctl(2)
_SIGKILL = 9


def _now() -> float:
    """Return the time that counts sleep where the system has it: a lease must not outlive a suspend."""
    source = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if source is None else time.clock_gettime(source)


def _die_with(parent: int) -> None:
    """Ask the kernel to kill this process when the thread that started it ends (Linux only)."""
    try:
        import ctypes

        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, _SIGKILL, 0, 0, 0)
    except (ImportError, OSError, AttributeError):
        pass  # lease and input end it all the same
    if os.getppid() != parent:
        # It died before the kernel was asked.
        os._exit(PARENT_GONE)


def _work(until_s: float) -> None:
    number = 1.0
    while _now() < until_s:
        for _ in range(2000):
            number = number * 1.000001 + 1e-9
            if number > 2.0:
                number -= 1.0


class _Lease:
    """When the leave to work ends, kept up to date by a thread that reads the input."""

    def __init__(self, longest_s: float) -> None:
        self._longest_s = longest_s
        self._given = _thread.allocate_lock()
        self._given.acquire()
        self.end_s = 0.0

    def listen(self) -> None:
        rest = b""
        while data := _read():
            *lines, rest = (rest + data).split(b"\n")
            if lines:
                instant_s = float(lines[-1])
                if instant_s != instant_s:  # not a number: later than nothing, and earlier than nothing
                    os._exit(LEASE_LOST)
                # Never longer than a lease from now, whatever the line says.
                self.end_s = min(instant_s, _now() + self._longest_s)
                if self._given.locked():
                    self._given.release()
        os._exit(INPUT_CLOSED)

    def wait_for_first(self) -> bool:
        """Wait for the first renewal, for as long as a lease; without it nothing ever works."""
        return self._given.acquire(timeout=self._longest_s)


def _read() -> bytes:
    try:
        return os.read(0, 4096)
    except OSError:
        return b""


def main(parent: int, end_s: float, lease_s: float) -> None:
    """Wait for the first renewal, then work until something ends it."""
    if sys.platform.startswith("linux"):
        _die_with(parent)
    if hasattr(os, "nice"):
        os.nice(_LOW_PRIORITY)
    lease = _Lease(lease_s)
    _thread.start_new_thread(lease.listen, ())
    if not lease.wait_for_first():
        os._exit(LEASE_LOST)
    while True:
        now_s = _now()
        if now_s >= end_s:
            os._exit(TIME_OVER)
        if now_s >= lease.end_s:
            os._exit(LEASE_LOST)
        _work(min(now_s + SLICE_S, lease.end_s, end_s))


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3]))
