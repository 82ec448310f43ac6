"""A full load that a check asks for: how long, and whether it was seen."""

from collections.abc import Mapping

from verify.machine.load_limit import LEASE_S
from verify.measure.warming import FULL_FROM, LOST_S
from verify.probe.watching import seconds_option
from verify.values.errors import WrongUseError

__all__ = ["LOST_S", "SeenLoad", "load_option"]

_LEAST_LOAD_S, _MOST_LOAD_S = 10.0, 1800.0
"""A shorter load warms nothing, and ends before a sensor that stands still is found out; a longer one has an
end of its own before a check has one [common practice, no source]."""


def load_option(options: Mapping[str, str]) -> float:
    """Read the option "load", in s, 10 s to 30 min.

    Raises InvalidValueError where it is no time, WrongUseError where it is outside.
    """
    seconds = seconds_option(options, "load", 0.0)
    if not _LEAST_LOAD_S <= seconds <= _MOST_LOAD_S:
        raise WrongUseError(f'"load" is "{options["load"]}": it must be from 10 s to 30 min.')
    return seconds


class SeenLoad:
    """Counts the time that the processor was seen at full load. seconds: so far, in s."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._unseen_s = 0.0

    def see(self, load: float | None, step_s: float) -> None:
        """Take in a look. load: 0 to 1, since the look before it, step_s seconds ago."""
        # Nobody knows what a longer step held: a load's lease is shorter.
        if load is not None and load >= FULL_FROM and step_s <= LEASE_S:
            self._unseen_s = 0.0
            self.seconds += step_s
        else:
            self._unseen_s += step_s

    @property
    def lost(self) -> bool:
        """Whether it has ended, or never came."""
        return self._unseen_s >= LOST_S
