"""Whether what a pack tells in the course of a charge can be believed, and what it means where it stopped.

Firmware of sound packs was seen (in the field) to report a power at random or one that never follows, a level
that stands still or leaps, and to hold a charge by a limit that shows nowhere. All thresholds are common
practice, no source.
"""

import math

from verify.machine import Pack, PackState
from verify.machine.series import Moment, flow_disagrees
from verify.measure.full import LEVEL_WITH_WORD, LEVEL_WITHOUT_WORD
from verify.probe.watching import trusted

__all__ = ["Belief", "why_stopped"]

_SERIES_S = 300.0  # so long a series tells whether the reported power is true
_SUMMED_EVERY_S = 30.0  # a watch of a day is taken up again sample by sample
_LEAP, _MOST_LEAPS, _LEAP_STEP_S = 0.10, 3, 90.0  # a gauge that learns moves by less, or once
_LIMIT_LOWEST = 0.30  # no charge limit is set lower


class Belief:
    """What the looks at one pack add up to. rate_wrong: its reported power misses what it stored."""

    def __init__(self) -> None:
        self.rate_wrong = False
        self._moments: list[Moment] = []
        self._summed_s = -math.inf
        self._before: tuple[float, float] | None = None
        self._leaps = 0
        self._stood: tuple[float, float] | None = None

    def see(self, pack: Pack, level: float | None, at_s: float) -> None:
        """Take in one look; at_s on a clock that does not fall, level where it is trusted."""
        moments = self._moments
        if trusted(pack, "remaining_wh") is not None and (not moments or at_s > moments[-1].elapsed_s):
            moments.append(Moment(elapsed_s=at_s, pack=pack))
        while moments and at_s - moments[0].elapsed_s > _SERIES_S:
            del moments[0]
        if not self.rate_wrong and at_s - self._summed_s >= _SUMMED_EVERY_S:
            self._summed_s = at_s
            self.rate_wrong = flow_disagrees(moments) is True
        if level is None:
            return
        if self._before is not None:
            before_s, before = self._before
            self._leaps += at_s - before_s <= _LEAP_STEP_S and abs(level - before) > _LEAP
        self._before = at_s, level

    def unseen(self) -> None:
        """Note that nobody saw the time up to the next look: nothing is held across it."""
        self._moments.clear()
        self._before = None

    def stands(self, level: float, seconds: float) -> None:
        """Note that the level has stood still for so long while current flowed."""
        # A full pack's level stands at the taper, as it should.
        if level < LEVEL_WITH_WORD:
            self._stood = level, seconds

    def rises(self) -> None:
        """Note that the level rose."""
        self._stood = None

    @property
    def why_not(self) -> str | None:
        """Return why its level cannot be believed and what to do, or None."""
        if self._leaps > _MOST_LEAPS:
            return (
                f"The level leapt {self._leaps} times: the battery cannot count. Shut down, take charger and "
                "battery off, wait a minute, then charge again."
            )
        if self._stood is not None:
            level, seconds = self._stood
            return (
                f"It said {100 * level:.0f} % for {seconds / 60:.0f} min while current flowed: it does not "
                "count. Start the machine again, then charge again."
            )
        return None


def why_stopped(pack: Pack) -> str | None:
    """Return why a pack that stopped below full may be sound all the same and what to do, or None.

    A pack that says "charging" while nothing flows has no such excuse before the end of the charge.
    """
    level = pack.state_of_charge
    if level is None:
        return None
    if pack.state is PackState.UNKNOWN:
        return pack.reasons.get("state") or "Whether it charges is not told."
    if (
        pack.state not in (PackState.HOLDING, PackState.FULL)
        or not _LIMIT_LOWEST <= level < LEVEL_WITHOUT_WORD
    ):
        return None
    if level >= LEVEL_WITH_WORD:
        return (
            f"It takes no more at {100 * level:.0f} %: the end of the charge, or many machines begin only "
            "below that. Run it on its battery to below 80 %, then charge again."
        )
    if pack.doubt("state") is not None:
        return None
    return (
        f"It holds at {100 * level:.0f} %, and no limit is visible; one set in the firmware would not show. "
        "Look there and in the maker's program, lift it, then charge again."
    )
