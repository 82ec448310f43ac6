"""A simulated machine's full load: the same lease and limits as a real one, on the virtual clock."""

from verify.machine.load_limit import Lease
from verify.machine.model import Sample
from verify.values import Clock
from verify.values.errors import InvalidValueError

__all__ = ["NoSleep", "SimulatedLoad"]


class SimulatedLoad:
    """Works until `ends_at_s`, which each renewal moves on; nothing works before the first.

    ends_at_s: on the clock's elapsed time; minus infinity before the first renewal and after the end.
    """

    def __init__(self, clock: Clock, *, longest_s: float) -> None:
        if longest_s <= 0:
            raise InvalidValueError(f"A load of {longest_s:g} s is none.")
        now = clock.now()
        self._clock = clock
        self._lease = Lease(now=now, longest_s=longest_s)
        self._lost_at_s = now.elapsed_s + self._lease.left_s
        self._time_over_at_s = now.elapsed_s + longest_s
        self._why = ""
        self.ends_at_s = float("-inf")

    @property
    def running(self) -> bool:
        """Whether it still works, or waits for its first renewal."""
        now_s = self._clock.now().elapsed_s
        if not self._why and now_s >= self._lost_at_s:
            over = self._lost_at_s >= self._time_over_at_s
            self._why = "Its time is over." if over else "No fresh reading came for 3 s."
        return not self._why

    @property
    def why_ended(self) -> str:
        """One sentence on why it ended; empty while it runs."""
        return "" if self.running else self._why

    def renew(self, sample: Sample) -> bool:
        """Renew the lease by a fresh sample that allows it, else end the load; return `running`."""
        if not self.running:
            return False
        now = self._clock.now()
        if not self._lease.renew(sample, now):
            self._why = self._lease.refused
            self.ends_at_s = now.elapsed_s
            return False
        self._lost_at_s = self.ends_at_s = now.elapsed_s + self._lease.left_s
        return True

    def stop(self) -> None:
        """End it."""
        if self.running:
            self._why = "It was stopped."
            self.ends_at_s = self._clock.now().elapsed_s


class NoSleep:
    """A simulated machine sleeps only when its clock is told to: it is always kept awake."""

    held = True
    why_not = ""

    def release(self) -> None:
        """Let it sleep again: it does not."""
        self.held = False
        self.why_not = "Let go again."
