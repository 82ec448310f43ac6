"""What went into and out of a pack, counted over samples that need not be even, and how well it is known.

Charge is counted, not energy: what comes out again of charge is more than 99 % of it [common practice], of
energy it depends on the current. Where the pack tells power and voltage only, current is their quotient;
where it tells no voltage either, a nominal voltage may be given.

What makes the count uncertain, beside the sensor's gain and offset (`Assumed`):
* sampling: when between two looks the current changed is unknown, |I2 - I1| Δt / 2 either way, independent
  from step to step;
* looks missed between two of about the same current: bridged by a trapezoid, max(|I1|, |I2|) Δt either way;
* a longer gap (sleep, switched off): between nothing and the larger current all the time. Where none went in
  before it, the charger may have been put in no longer before the next look than a machine takes to start;
  what kept the charge away in one such gap may have done so in all: their errors add up as they are;
* resolution: half a step all the time, as a steady current is always rounded the same way.
"""

import math
from typing import TypeAlias

import msgspec

from verify.measure.counting import LONGEST_GAP_S
from verify.measure.point import Point
from verify.measure.tally import Tally

__all__ = ["MOST_GAPS", "ChargeCount", "Counted", "Gap"]

MOST_GAPS = 20
"""So many gaps are listed, the first ones; all are counted and bridged."""

_LARGE_GAPS = 3  # so many keep their own rectangle; the many small ones add up to a normal error
_MISSED_S = 120.0  # a machine sleeps longer than that [common practice, no source]
_ALIKE = 0.8
_STARTS_S = 60.0  # from the charger put in to the first look after a start [common practice, no source]
_NOTHING = 0.05  # of the current after it: nothing went in before
# Of the half-width, within a one-sided 95 % bound: nothing at all and all the time are as likely as what is
# between, and what kept the charge away in one gap may have done so in all.
_BOTH_ENDS = 0.90
_PACE_AT_MOST_S = 120.0  # a log slower than this is nothing but gaps [common practice, no source]
_PACES_IN_GAP = 2.5
_CHANGES_TELL = 20  # so many changes of a figure, and the smallest is its step
_COARSEST_DIGITS, _FINEST_DIGITS = 2, 6  # a steady 2.0 A need not be told in tenths only
_MOST_OF_TIME = 0.98  # so much of the time must have told its energy
_NOMINAL_ERROR = 0.08  # of a cell's voltage, 3.4 to 4.0 V over most of a charge, against its mean

_HOUR_S = 3600.0


def _missed(one: float, two: float, length_s: float) -> bool:
    """Tell whether only looks are missing: the same flowed before and after, too short for a sleep."""
    same = one * two > 0 and min(abs(one), abs(two)) >= _ALIKE * max(abs(one), abs(two))
    return same and length_s <= _MISSED_S


def _bridged(one: float, two: float, length_s: float, *, usual: bool) -> tuple[float, float]:
    """Return what flowed in a gap between two rates, times s, and the half-width of its error.

    usual: whether looks are no closer elsewhere.
    """
    if usual or _missed(one, two, length_s):
        return (one + two) / 2 * length_s, max(abs(one), abs(two)) * length_s
    least, most = min(one, two, 0.0) * length_s, max(one, two, 0.0) * length_s
    if two > 0 and one <= _NOTHING * two:
        least, most = min(one, 0.0) * length_s, two * min(length_s, _STARTS_S)
    return (least + most) / 2, (most - least) / 2 / _BOTH_ENDS


class Gap(msgspec.Struct, frozen=True, kw_only=True):
    """A time that nobody saw: from `start_s` on, for `length_s`."""

    start_s: float
    length_s: float


class Counted(msgspec.Struct, frozen=True, kw_only=True):
    """What a count has come to.

    in_ah, out_ah: 0 or more. in_wh, out_wh: the same in energy; None where it was not told all the time.
    squared_a2h: ∫ I² dt, what a resistance turns into heat. time_s: from the first counted look to the last;
    bridged_s of it are gaps. sampling_ah: standard deviation. gaps_ah: half-widths of the largest gaps'
    errors. resolution_ah: half-width. extra_gain: half-width of a gain error beside the sensor's own, from a
    voltage that was not told. source: "current", "power and voltage", "power at a nominal voltage", or None
    where charge is unknown. ignored: looks whose time did not rise. pulled, put_back: how often power from
    outside went and came.
    """

    in_ah: float
    out_ah: float
    in_wh: float | None
    out_wh: float | None
    squared_a2h: float
    time_s: float
    bridged_s: float
    sampling_ah: float
    gaps_ah: tuple[float, ...]
    resolution_ah: float
    extra_gain: float
    source: str | None
    gaps: tuple[Gap, ...]
    gap_count: int
    ignored: int
    pulled: int
    put_back: int

    @property
    def net_ah(self) -> float:
        """What went in less what came out, in Ah."""
        return self.in_ah - self.out_ah

    @property
    def net_wh(self) -> float | None:
        """What went in less what came out, in Wh at the terminals; None where energy was not told."""
        return None if self.in_wh is None or self.out_wh is None else self.in_wh - self.out_wh


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


_Look: TypeAlias = tuple[float, float | None, float | None]  # at, current in A, power in W


def _between(before: float | None, after: float | None, otherwise: float) -> float:
    """Return what a recording counted between two looks."""
    return otherwise if before is None or after is None else after - before


class _Step:
    """The step of a figure: from its smallest change, or, while few were seen, from its decimals."""

    def __init__(self) -> None:
        self._before: float | None = None
        self._smallest = math.inf
        self._changes = 0
        self._digits = _COARSEST_DIGITS

    def see(self, value: float) -> None:
        if value == self._before:
            return
        while self._digits < _FINEST_DIGITS:
            scaled = value * 10**self._digits
            if abs(scaled - round(scaled)) < 1e-6:
                break
            self._digits += 1
        if self._before is not None:
            change = abs(value - self._before)
            if change > 1e-9:
                self._changes += 1
                self._smallest = min(self._smallest, change)
        self._before = value

    @property
    def step(self) -> float:
        if self._before is None:
            return 0.0
        decimal = 10.0**-self._digits
        return self._smallest if self._changes >= _CHANGES_TELL else min(decimal, self._smallest)


class ChargeCount:
    """The sums so far, look by look: a watch of hours keeps no list of them.

    nominal_v: of the pack, above 0; taken where power is told and voltage is not; None to count no charge
    then. gap_s: the longest time between looks that is not a gap; a log with an even, slower pace has its
    own.
    """

    def __init__(self, *, nominal_v: float | None = None, gap_s: float = LONGEST_GAP_S) -> None:
        self._nominal_v = nominal_v
        self._gap_s = gap_s
        self._last_s: float | None = None
        self._before: _Look | None = None
        self._tally: Tally | None = None
        self._first_s: float | None = None
        self._pace_s: float | None = None
        self._in_ah = self._out_ah = self._in_wh = self._out_wh = 0.0
        self._squared_a2h = 0.0
        self._bridged_s = 0.0
        self._sampling = 0.0
        self._small_gaps = 0.0
        self._alike_ah = 0.0
        self._large_gaps: list[float] = []
        self._gaps: list[Gap] = []
        self._gap_count = 0
        self._steps = {"current": _Step(), "power": _Step()}
        self._told: set[str] = set()
        self._volts = (0.0, 0)
        self._last_v: float | None = None
        self._energy_s = 0.0
        self._powered: bool | None = None
        self._pulled = self._put_back = self._ignored = 0
        self._unseen = False
        self.after_gap = False
        """Whether nobody saw what flowed between the last two looks."""

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look, however short it is."""
        self._unseen = True

    def see(self, point: Point) -> None:
        """Take in one look. A time that does not rise is ignored, and counted as such."""
        if not math.isfinite(point.at_s) or (self._last_s is not None and point.at_s <= self._last_s):
            self._ignored += 1
            return
        self._last_s = point.at_s
        self.after_gap = False
        self._see_charger(point)
        current_a, power_w = self._rates(point)
        if current_a is None and power_w is None:
            # A look that tells nothing: the time up to the next one that does is taken as one step.
            return
        if self._first_s is None:
            self._first_s = point.at_s
        if self._before is not None:
            self._add(self._before, (point.at_s, current_a, power_w), self._tally, point.tally)
        self._before = point.at_s, current_a, power_w
        self._tally = point.tally

    def _see_charger(self, point: Point) -> None:
        powered = point.powered
        if powered is None:
            return
        self._pulled += self._powered is True and not powered
        self._put_back += self._powered is False and powered
        self._powered = powered

    def _rates(self, point: Point) -> tuple[float | None, float | None]:
        """Return current in A and power in W, each where it is told or follows from what is."""
        current_a, power_w, voltage_v = (
            _finite(one) for one in (point.current_a, point.power_w, point.voltage_v)
        )
        if voltage_v is not None and voltage_v > 0:
            self._volts = self._volts[0] + voltage_v, self._volts[1] + 1
            self._last_v = voltage_v
        if current_a is not None:
            self._steps["current"].see(current_a)
            self._told.add("current")
            if power_w is None and self._last_v is not None:
                power_w = current_a * self._last_v
        elif power_w is not None:
            self._steps["power"].see(power_w)
            volts = self._last_v or self._nominal_v
            if volts is not None:
                current_a = power_w / volts
                self._told.add("power and voltage" if self._last_v else "power at a nominal voltage")
        return current_a, power_w

    def _add(self, one: _Look, two: _Look, before: Tally | None, after: Tally | None) -> None:
        length_s = two[0] - one[0]
        hours = length_s / _HOUR_S
        first = self._pace_s is None
        gap, usual = self._is_gap(length_s)
        self.after_gap = gap and (first or not usual)
        if gap:
            self._bridged_s += length_s
            self._gap_count += 1
            if len(self._gaps) < MOST_GAPS:
                self._gaps.append(Gap(start_s=one[0], length_s=length_s))
        if one[2] is not None and two[2] is not None:
            energy_wh = (one[2] + two[2]) / 2 * hours
            if gap:
                energy_wh = _bridged(one[2], two[2], length_s, usual=usual)[0] / _HOUR_S
            elif before is not None and after is not None:
                energy_wh = _between(before.energy_wh, after.energy_wh, energy_wh)
            self._in_wh += max(energy_wh, 0.0)
            self._out_wh += max(-energy_wh, 0.0)
            self._energy_s += length_s
        if one[1] is None or two[1] is None:
            return
        charge_ah = (one[1] + two[1]) / 2 * hours
        squared_a2h = (one[1] ** 2 + one[1] * two[1] + two[1] ** 2) / 3 * hours
        sampling_ah2 = ((two[1] - one[1]) * hours / 2) ** 2 / 3
        if gap:
            sampling_ah2 = 0.0
            charge_as, width_as = _bridged(one[1], two[1], length_s, usual=usual)
            charge_ah, squared_a2h = charge_as / _HOUR_S, charge_as**2 / length_s / _HOUR_S
            self._add_gap(width_as / _HOUR_S, alike=not (usual or _missed(one[1], two[1], length_s)))
        elif before is not None and after is not None and after.charge_ah is not None:
            charge_ah = _between(before.charge_ah, after.charge_ah, charge_ah)
            sampling_ah2 = after.sampling_ah2 - before.sampling_ah2
        self._in_ah += max(charge_ah, 0.0)
        self._out_ah += max(-charge_ah, 0.0)
        self._squared_a2h += squared_a2h
        self._sampling += sampling_ah2

    def _is_gap(self, length_s: float) -> tuple[bool, bool]:
        """Tell whether it is a gap, and whether looks are no closer elsewhere."""
        pace_s = self._pace_s
        if self._unseen:
            # It tells nothing of the pace.
            self._unseen = False
            return True, False
        if pace_s is None:
            self._pace_s = length_s
            return length_s > max(self._gap_s, _PACE_AT_MOST_S), True
        # A running median: a little up or down each time, whatever the size, so that one gap moves it little.
        self._pace_s = min(pace_s * 1.1, length_s) if length_s > pace_s else max(pace_s / 1.1, length_s)
        longest_s = max(self._gap_s, _PACES_IN_GAP * min(pace_s, _PACE_AT_MOST_S))
        return length_s > longest_s, length_s <= _PACES_IN_GAP * pace_s

    def _add_gap(self, width_ah: float, *, alike: bool) -> None:
        if alike:
            self._alike_ah += width_ah
            return
        self._large_gaps.append(width_ah)
        if len(self._large_gaps) > _LARGE_GAPS:
            smallest = min(self._large_gaps)
            self._large_gaps.remove(smallest)
            self._small_gaps += smallest * smallest / 3

    @property
    def net_ah(self) -> float:
        """What went in less what came out so far, in Ah; 0 while nothing was counted."""
        return self._in_ah - self._out_ah

    @property
    def current_a(self) -> float | None:
        """The current of the last look, in A, told or from power and voltage; into the pack positive."""
        return None if self._before is None else self._before[1]

    def result(self) -> Counted | None:
        """Return the sums; None before two looks told a rate."""
        if self._before is None or self._first_s is None or self._before[0] == self._first_s:
            return None
        time_s = self._before[0] - self._first_s
        # The weakest that was needed anywhere.
        weakest = ("power at a nominal voltage", "power and voltage", "current")
        source = next((one for one in weakest if one in self._told), None)
        whole = self._energy_s > time_s * _MOST_OF_TIME
        return Counted(
            in_ah=self._in_ah,
            out_ah=self._out_ah,
            in_wh=self._in_wh if whole else None,
            out_wh=self._out_wh if whole else None,
            squared_a2h=self._squared_a2h,
            time_s=time_s,
            bridged_s=self._bridged_s,
            sampling_ah=math.sqrt(self._sampling + self._small_gaps),
            gaps_ah=tuple(sorted(filter(None, (self._alike_ah, *self._large_gaps)), reverse=True)),
            resolution_ah=self._step_a(source) / 2 * time_s / _HOUR_S,
            extra_gain=_NOMINAL_ERROR if source == "power at a nominal voltage" else 0.0,
            source=source,
            gaps=tuple(self._gaps),
            gap_count=self._gap_count,
            ignored=self._ignored,
            pulled=self._pulled,
            put_back=self._put_back,
        )

    def _step_a(self, source: str | None) -> float:
        if source == "current":
            return self._steps["current"].step
        total, looks = self._volts
        volts = total / looks if looks else self._nominal_v
        return self._steps["power"].step / volts if volts else 0.0
