"""Time, passed in. The only module that reads the computer's clocks or sleeps.

An instant has the wall clock (UTC, may jump, may stand at its epoch: never trusted for durations),
the boot-inclusive elapsed time (counts sleep; for durations within one boot), the time awake (does not:
where the two part, the computer slept) and the boot's id.
"""

import os
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

import msgspec

from verify.values.errors import InvalidValueError

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_NO_BOOT = "session-"  # in place of a boot's id, where no system tells one


class Instant(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One moment on all the clocks that a run keeps.

    wall: aware, in UTC. elapsed_s: seconds since an arbitrary start, sleep counted, comparable
    only where boot_id is the same. boot_id: None where nobody told one. awake_s: seconds since an
    arbitrary start, sleep not counted, comparable within one boot; None where no second clock tells it.
    """

    wall: datetime
    elapsed_s: float
    boot_id: str | None = None
    awake_s: float | None = None

    def __post_init__(self) -> None:
        if self.wall.utcoffset() != timedelta(0):
            raise InvalidValueError("A wall clock time must be given in UTC.")

    def started_since(self, earlier: "Instant") -> bool | None:
        """Return whether the computer was started anew since then; None where its boots are not told."""
        ids = (earlier.boot_id, self.boot_id)
        if any(boot_id is None or boot_id.startswith(_NO_BOOT) for boot_id in ids):
            # The same session is the same boot, whatever its id.
            return False if ids[0] == ids[1] and ids[0] is not None else None
        return ids[0] != ids[1]


class Clock(Protocol):
    """Tells the time and waits."""

    def now(self) -> Instant:
        """Return the present instant."""
        ...

    def wait(self, seconds: float) -> None:
        """Let `seconds` (0 or more) pass."""
        ...


class SystemClock:
    """The computer's own clocks."""

    def __init__(self) -> None:
        try:
            self._boot_id = _BOOT_ID.read_text(encoding="ascii").strip()
        except OSError:
            # No system but Linux tells its boot. An id of this session alone: time is counted within the
            # session and never across two, as the machine may have started again in between.
            self._boot_id = f"{_NO_BOOT}{os.urandom(8).hex()}"
        # CLOCK_BOOTTIME counts suspend; where there is none, the monotonic clock has to do.
        self._source = getattr(time, "CLOCK_BOOTTIME", None)

    def now(self) -> Instant:
        """Return the present instant."""
        elapsed_s = time.monotonic() if self._source is None else time.clock_gettime(self._source)
        # Without CLOCK_BOOTTIME the monotonic clock counts sleep on some systems and not on others.
        awake_s = None if self._source is None else time.monotonic()
        return Instant(wall=datetime.now(tz=UTC), elapsed_s=elapsed_s, boot_id=self._boot_id, awake_s=awake_s)

    def wait(self, seconds: float) -> None:
        """Let `seconds` (0 or more) pass."""
        time.sleep(seconds)


class VirtualClock:
    """A clock that stands still until it is moved: simulated machines and tests."""

    def __init__(self, *, start: datetime, boot_id: str = "simulated") -> None:
        self._start = start
        self._elapsed_s = self._awake_s = 0.0
        self._boot_id = boot_id

    def now(self) -> Instant:
        """Return the present instant."""
        wall = self._start + timedelta(seconds=self._elapsed_s)
        return Instant(wall=wall, elapsed_s=self._elapsed_s, boot_id=self._boot_id, awake_s=self._awake_s)

    def wait(self, seconds: float) -> None:
        """Move on by `seconds` (0 or more); nothing sleeps."""
        self.sleep_through(seconds)
        self._awake_s += seconds

    def sleep_through(self, seconds: float) -> None:
        """Move on by `seconds` (0 or more) as a computer that sleeps: the time awake stands still."""
        if seconds < 0:
            raise InvalidValueError("Time does not run backwards.")
        self._elapsed_s += seconds

    def start_again(self, *, boot_id: str) -> None:
        """Be the clock of another boot from here on; no time passes."""
        self._boot_id = boot_id

    def set_wall(self, wall: datetime) -> None:
        """Set the wall clock (aware); no time passes.

        Raises InvalidValueError for a time without its zone.
        """
        if wall.utcoffset() is None:
            raise InvalidValueError("A wall clock time needs its zone.")
        self._start = wall.astimezone(UTC) - timedelta(seconds=self._elapsed_s)
