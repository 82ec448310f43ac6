"""The last bins of a charge, and what they tell of its phase: taper, constant current or constant power.

In the taper the current falls while the voltage stays at its highest; else ln I against ln V over the
charge tells constant power (slope −1) from constant current (0). Steps of the machine's own load while it
charges are no taper: there the voltage falls with the current, and at once.
"""

import math
from collections import deque
from enum import StrEnum
from itertools import pairwise
from statistics import median

import msgspec

from verify.measure.theil_sen import theil_sen

__all__ = ["Bin", "ChargeBins", "PhaseKind"]

_WINDOW = 8  # bins that tell whether the current falls
_LEAST_BINS = 4
_NEWEST = 5  # of them, in which the voltage must not rise any more
_LAG = 15  # bins apart, to tell constant power from constant current
_REMEMBERED = 90  # bins that tell it
_FALLS_PER_H, _STEADY_PER_H = -0.4, -0.15  # relative slopes of the current: taper, and no longer one
_AT_TOP, _OFF_TOP = 0.0015, 0.005  # below the highest voltage, as a share: constant, and no longer so
_RISES_PER_H = 0.015  # relative slope of the voltage: below it, constant
_RISEN = 0.0007  # a voltage that rises by more, as a share, is not constant yet
_ABRUPT = 0.8  # of the whole fall between three bins: a step, no taper
_LOAD_STEP = 0.08
_LEAST_VOLTS_MOVED = 0.02  # in ln V: below it constant power and current look alike
_LEAST_PAIRS = 20  # once old ones are forgotten: about 25
_SURE = 3.5  # standard deviations by which constant power must show
_POWER, _STILL_POWER = -0.5, -0.35  # the slope of ln I against ln V: −1 at constant power, 0 at current
_AGREE = 2  # bins that must agree before a phase changes
_TAPERED_C = 0.12  # a taper that stops below it has ended; above, something cut it off


class PhaseKind(StrEnum):
    """What the pack does."""

    REST = "at rest"
    DISCHARGE = "on battery"
    TRICKLE = "gentle charge"
    CONSTANT_POWER = "constant power"
    CONSTANT_CURRENT = "constant current"
    CONSTANT_VOLTAGE = "constant voltage"
    FULL = "full"
    HOLDING = "held"
    GAP = "not seen"


class Bin(msgspec.Struct):
    """Sums over its looks, and what had gone in before it."""

    start_s: float
    start_ah: float
    looks: int = 0
    time_sum: float = 0.0
    flow_sum: float = 0.0
    volt_sum: float = 0.0
    volts: int = 0

    def take(self, at_s: float, flow: float, voltage_v: float | None) -> None:
        """Take in a look."""
        self.looks += 1
        self.time_sum += at_s
        self.flow_sum += flow
        if voltage_v is not None:
            self.volt_sum += voltage_v
            self.volts += 1

    @property
    def middle_s(self) -> float:
        """The mean time of its looks, in s."""
        return self.time_sum / self.looks

    @property
    def flow(self) -> float:
        """The mean flow, in A."""
        return self.flow_sum / self.looks

    @property
    def voltage_v(self) -> float | None:
        """The mean voltage, in V; None where none was told."""
        return self.volt_sum / self.volts if self.volts else None


class ChargeBins:
    """The last bins of one charge, and what they tell of its phase."""

    def __init__(self) -> None:
        self._bins: deque[Bin] = deque(maxlen=_LAG + 1)
        self._highest_v = self._risen_v = 0.0
        self._risen: Bin | None = None
        # Sums of 1, x², x·y and y² of ln V and ln I, each bin against the one 15 before it.
        self._n = self._xx = self._xy = self._yy = 0.0
        self._told = False
        self._votes = 0
        self._voted: PhaseKind | None = None
        self.left_trickle = False

    @property
    def before_last(self) -> Bin | None:
        """The bin before the last one."""
        return self._bins[-2] if len(self._bins) > 1 else None

    def ended_low(self, capacity_ah: float | None) -> bool:
        """Tell whether the current had fallen to where chargers end."""
        if not self._bins:
            return True
        return capacity_ah is None or self._bins[-1].flow <= _TAPERED_C * capacity_ah

    def take(self, done: Bin) -> None:
        """Take in a bin."""
        bins = self._bins
        bins.append(done)
        volts = done.voltage_v
        if volts is None or done.flow <= 0:
            return
        self._highest_v = max(self._highest_v, volts)
        if volts > self._risen_v * (1 + _RISEN):
            self._risen_v, self._risen = volts, done
        oldest = bins[0]
        if len(bins) > _LAG and oldest.voltage_v and oldest.flow > 0:
            x, y = math.log(volts / oldest.voltage_v), math.log(done.flow / oldest.flow)
            if abs(y) < _LOAD_STEP and all(
                abs(two.flow - one.flow) < _LOAD_STEP * one.flow for one, two in pairwise(bins)
            ):
                keep = 1 - 1 / _REMEMBERED
                self._n, self._yy = keep * self._n + 1, keep * self._yy + y * y
                self._xx, self._xy = keep * self._xx + x * x, keep * self._xy + x * y

    def kind(self, now: PhaseKind | None, rest_a: float) -> tuple[PhaseKind, float, float, bool] | None:
        """Return the phase of the last bins: kind, since when, charge then, and whether it begins anew.

        None where they do not tell, or have not agreed for long enough.
        """
        found = self._look(now, rest_a)
        if found is None or found is now:
            self._votes, self._voted = 0, None
            return None
        self._votes = self._votes + 1 if found is self._voted else 1
        self._voted = found
        if self._votes < _AGREE:
            return None
        self._votes, self._voted = 0, None
        if PhaseKind.CONSTANT_VOLTAGE in (found, now):
            first = self._first_at_top() if found is PhaseKind.CONSTANT_VOLTAGE else self._bins[-_AGREE]
            return found, first.start_s, first.start_ah, True
        # The first time that current and power are told apart holds for the whole phase.
        anew, self._told = self._told, True
        first = self._bins[-1]
        return found, first.start_s, first.start_ah, anew

    def _look(self, now: PhaseKind | None, rest_a: float) -> PhaseKind | None:
        bins = list(self._bins)[-_WINDOW:]
        if len(bins) < _LEAST_BINS or any(one.flow <= 0 for one in bins):
            return None
        logs = [(one.middle_s / 3600, math.log(one.flow)) for one in bins]
        slope = theil_sen(logs) or 0.0
        volts = bins[-1].voltage_v
        at_top = volts is None or volts >= self._highest_v * (1 - _AT_TOP)
        off_top = volts is not None and volts < self._highest_v * (1 - _OFF_TOP)
        rise = _rise(bins[-_NEWEST:])
        if now is PhaseKind.CONSTANT_VOLTAGE and not off_top and rise < 4 * _RISES_PER_H:
            # Near its end a taper moves in the steps of the gauge; only a current that rises leaves it.
            grown = bins[-1].flow > 1.15 * min(one.flow for one in bins) and bins[-1].flow > 5 * rest_a
            if slope <= _STEADY_PER_H or not grown:
                return now
        if slope < _FALLS_PER_H and at_top and not _abrupt(logs) and rise < _RISES_PER_H:
            return PhaseKind.CONSTANT_VOLTAGE
        if self._n < _LEAST_PAIRS or self._xx < _LEAST_VOLTS_MOVED**2:
            return None if now is not PhaseKind.CONSTANT_VOLTAGE else PhaseKind.CONSTANT_CURRENT
        slope = self._xy / self._xx
        if now is PhaseKind.CONSTANT_POWER:
            return now if slope < _STILL_POWER else PhaseKind.CONSTANT_CURRENT
        # Each bin is the end of one pair and the beginning of another: half as many are independent.
        rest = max(0.0, self._yy - slope * self._xy) / self._n
        power = slope < _POWER and slope + _SURE * math.sqrt(2 * rest / self._xx) < 0
        return PhaseKind.CONSTANT_POWER if power else PhaseKind.CONSTANT_CURRENT

    def _first_at_top(self) -> Bin:
        """Return the bin from which the voltage stands, or else the current has begun to fall."""
        bins = list(self._bins)
        if self._risen is not None:
            return self._risen
        early = median(one.flow for one in bins[: max(1, len(bins) // 2)])
        return next((one for one in bins if one.flow < 0.985 * early), bins[-1])


def _rise(bins: list[Bin]) -> float:
    """Return the relative slope of the voltage, an hour; 0 where it is not told throughout."""
    pairs = [(one.middle_s / 3600, math.log(one.voltage_v)) for one in bins if one.voltage_v]
    return (theil_sen(pairs) or 0.0) if len(pairs) == len(bins) else 0.0


def _abrupt(logs: list[tuple[float, float]]) -> bool:
    """Tell whether two neighbouring bins hold nearly all of the fall: a step, no taper."""
    falls = [one[1] - two[1] for one, two in pairwise(logs)]
    return max(one + two for one, two in pairwise(falls)) > _ABRUPT * max(sum(falls), 1e-9)
