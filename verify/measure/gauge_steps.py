"""In what steps a gauge tells a quantity, and how often it tells it anew: seen from its values alone."""

import math
from collections import deque

__all__ = ["GaugeSteps"]

_ENOUGH = 20
"""So many changes show the smallest step; before, the decimals that are written do."""

_EVIDENCE = 3  # so many real changes tell how often a value is told anew
_KEPT = 9  # the latest intervals between changes
_DRIFT = 1.5  # a change of one step may be a slow drift across it; more than that is a value told anew
_FINEST = 1e-6


def _decimal_step(value: float) -> float:
    """Return the power of ten, 1 to 1e-6, that the value is written in; 0 where it is finer than that."""
    for power in range(7):
        scaled = value * 10.0**power
        if abs(scaled - round(scaled)) < 1e-6 * max(1.0, abs(scaled) * 1e-6):
            return 10.0**-power
    return 0.0


class GaugeSteps:
    """One quantity of one gauge: `see` each value; `step` and `period_s` are what they show."""

    def __init__(self) -> None:
        self._changed_s = math.nan
        self._value = math.nan
        self._smallest = math.inf
        self._decimals = 1.0
        self._changes = 0
        self._real = 0
        self._intervals: deque[float] = deque(maxlen=_KEPT)

    def see(self, at_s: float, value: float, *, jump: bool = False) -> None:
        """Take in a value.

        at_s: in s, rising. jump: a step of the load, which tells nothing of the gauge.
        """
        before, self._value = self._value, value
        if value == before:
            return
        if before != before:  # the first value
            self._decimals = _decimal_step(value)
            return
        change = abs(value - before)
        if self._changes < _ENOUGH:
            self._decimals = min(self._decimals, _decimal_step(value))
        if not jump:
            self._changes += 1
            self._smallest = min(self._smallest, change)
            if change > _DRIFT * self.step:
                self._real += 1
        if self._changed_s == self._changed_s:
            self._intervals.append(at_s - self._changed_s)
        self._changed_s = at_s

    @property
    def step(self) -> float:
        """The step in which values are told, 0 where they are finer than a millionth."""
        step = self._smallest if self._changes >= _ENOUGH else self._decimals
        return step if step >= _FINEST else 0.0

    @property
    def period_s(self) -> float | None:
        """The time between values told anew, in s: a lower quartile. None where too few changes show it."""
        if self._real < _EVIDENCE or len(self._intervals) < _EVIDENCE:
            return None
        ranked = sorted(self._intervals)
        return ranked[len(ranked) // 4]
