"""What went wrong while a pack charged, and when.

Stalls, a charger that went, one that is too weak, a slow charge.

Leaps and stands of the level are the gauge's own affair and are found where the gauge is judged.
"""

from collections import deque
from enum import StrEnum

import msgspec

from verify.measure.phases import CHARGING, PhaseKind
from verify.measure.point import Point

__all__ = ["SAID", "ChargeEvent", "ChargeEventKind", "ChargeEvents"]

STALL_S = 600.0
"""Power from outside, not full, and nothing goes in for so long: a stall [common practice, no source]."""

DRAINED_S = 30.0
"""A pack that gives current so long while power comes from outside: the charger is too weak [common
practice].
"""

SLOW_C, SLOW_S = 0.2, 600.0
"""Less goes in between 10 and 80 % for so long: a slow charge, if pack and charger could [common
practice].
"""

_SLOW_LEVELS = (0.10, 0.80)
_SLOW_WARMTH_C = (10.0, 45.0)
_MOST_EVENTS = 100


class ChargeEventKind(StrEnum):
    """What happened."""

    STALL = "stall"
    DROPOUT = "charger went"
    DRAINED = "charger too weak"
    SLOW = "slow charge"


SAID = {
    ChargeEventKind.STALL: "The charger is in, the battery is not full, and nothing goes in.",
    ChargeEventKind.DROPOUT: "The charger went while the battery charged. Look at its plug, lead and port.",
    ChargeEventKind.DRAINED: "The battery was drained with the charger in: it gives too little.",
    ChargeEventKind.SLOW: "Less than 0.2 C went in between 10 and 80 %: look at the charger's watts.",
}
"""What each is, in plain words."""


class ChargeEvent(msgspec.Struct, frozen=True, kw_only=True):
    """One event. start_s, end_s: on the points' clock; end_s None while it goes on."""

    kind: ChargeEventKind
    start_s: float
    end_s: float | None

    @property
    def sentence(self) -> str:
        """What it is, in plain words."""
        return SAID[self.kind]


class _Lasting:
    """Since when a condition has held, and whether that was told."""

    def __init__(self, kind: ChargeEventKind, least_s: float) -> None:
        self.kind, self._least_s = kind, least_s
        self._since_s: float | None = None
        self._last_s = 0.0

    def see(self, at_s: float, *, holds: bool) -> ChargeEvent | None:
        """Take in a look; return the event where it has ended and was long enough."""
        ended = None
        if holds:
            self._since_s = at_s if self._since_s is None else self._since_s
            self._last_s = at_s
        elif self._since_s is not None:
            if self._last_s - self._since_s >= self._least_s:
                ended = ChargeEvent(kind=self.kind, start_s=self._since_s, end_s=at_s)
            self._since_s = None
        return ended

    def unseen(self) -> ChargeEvent | None:
        """End it where it was last seen: nobody saw what came then; return it where it was long enough."""
        seen = self.open()
        self._since_s = None
        return None if seen is None else msgspec.structs.replace(seen, end_s=self._last_s)

    def open(self) -> ChargeEvent | None:
        """Return the event where it goes on and is long enough by now."""
        if self._since_s is None or self._last_s - self._since_s < self._least_s:
            return None
        return ChargeEvent(kind=self.kind, start_s=self._since_s, end_s=None)


class ChargeEvents:
    """The events of a watch, look by look, in constant memory; the latest 100 are kept.

    capacity_ah: what C is reckoned from; where unknown a slow charge is not told.
    """

    def __init__(self, *, capacity_ah: float | None = None) -> None:
        self._slow_a = None if capacity_ah is None else SLOW_C * capacity_ah
        self._done: deque[ChargeEvent] = deque(maxlen=_MOST_EVENTS)
        self._stall = _Lasting(ChargeEventKind.STALL, STALL_S)
        self._dropout = _Lasting(ChargeEventKind.DROPOUT, 0.0)
        self._drained = _Lasting(ChargeEventKind.DRAINED, DRAINED_S)
        self._slow = _Lasting(ChargeEventKind.SLOW, SLOW_S)
        self._charged = False

    def see(self, point: Point, kind: PhaseKind | None) -> None:
        """Take in a look, with the phase that the pack is in; None ends what lasts."""
        powered = point.powered
        if kind in CHARGING:
            self._charged = True
        elif kind is PhaseKind.FULL:
            self._charged = False
        out = powered is False and self._charged
        seen = kind is not None and kind is not PhaseKind.GAP
        self._note(self._stall, point, holds=seen and powered is True and kind is PhaseKind.HOLDING)
        self._note(self._dropout, point, holds=seen and out)
        self._note(self._drained, point, holds=seen and powered is True and kind is PhaseKind.DISCHARGE)
        self._note(self._slow, point, holds=seen and self._is_slow(point, kind))

    def unseen(self) -> None:
        """Say that nobody saw what was before the next look: nothing lasts across it."""
        for lasting in (self._stall, self._dropout, self._drained, self._slow):
            ended = lasting.unseen()
            if ended is not None:
                self._done.append(ended)

    def _is_slow(self, point: Point, kind: PhaseKind | None) -> bool:
        current_a, level, warmth_c = point.current_a, point.level, point.temperature_c
        if self._slow_a is None or current_a is None or level is None or kind not in CHARGING:
            return False
        cold, warm = _SLOW_WARMTH_C
        outside = warmth_c is not None and not cold <= warmth_c <= warm
        return not outside and _SLOW_LEVELS[0] <= level <= _SLOW_LEVELS[1] and current_a < self._slow_a

    def _note(self, lasting: _Lasting, point: Point, *, holds: bool) -> None:
        ended = lasting.see(point.at_s, holds=holds)
        if ended is not None:
            self._done.append(ended)

    def result(self) -> tuple[ChargeEvent, ...]:
        """Return the events in the order of their beginning; those that go on have no end."""
        lasting = (self._stall, self._dropout, self._drained, self._slow)
        going_on = [event for event in (one.open() for one in lasting) if event is not None]
        return tuple(sorted((*self._done, *going_on), key=lambda event: event.start_s))
