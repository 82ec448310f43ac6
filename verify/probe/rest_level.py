"""Automatic check: how full the cells are by their voltage at rest, whatever their gauge says.

Each sample, in this order: (1) a hot pack ends it; (2) a pack must be there; (3) the charger is asked out;
(4) while the current is small and steady for long enough, the median voltage counts; (5) a machine that
does not come to rest ends it without a reading.
"""

import math
from collections import deque
from collections.abc import Mapping
from statistics import fmean, median

from verify.machine import Pack, Sample
from verify.measure.assumed import Assumed
from verify.measure.interval import Interval
from verify.measure.open_circuit import charge_end_v, level_at_rest, not_covered
from verify.probe.assumed_options import assumed_of
from verify.probe.handed_on import (
    CELL_RESISTANCE,
    GAUGE_LEVEL,
    LEVEL_BY_VOLTS,
    hand_on,
    hand_on_level,
    handed,
)
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_point import capacity_ah_of, cells_of, label_volts
from verify.probe.watching import (
    LONGEST_STEP_S,
    MOST_BLINKS,
    Asking,
    Watched,
    gauge_of,
    hot_stop,
    known,
    not_found,
    powered,
    refuse_others,
    seconds_option,
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Reading, Unit

__all__ = ["rest_level", "rest_of"]

_SETTLE_S = 60.0  # after the start of the machine, or a load [common practice, no source]
_GIVE_UP_S = 600.0
_REST_C = 0.30
"""What an idle laptop draws, at most; more is no rest that could be corrected [common practice]."""

_CELL_MOHM = (20.0, 100.0)
"""Resistance of a cell where none was measured: good and question at the bench [common practice]."""

_LONG_DRAW = (1.0, 2.0)
"""What a draw of minutes does to the voltage, against the resistance of a step of seconds [assumption]."""

_LEAST_STEP = 0.2  # in A an Ah of capacity: a smaller step tells no resistance [common practice, no source]
_LONGER_DRAW = (0.9, 1.5)
"""The same, against the resistance of a step of a minute or two [assumption]."""

_FAR = 0.06
"""Beyond what chemistry allows by so much, level and volts contradict each other [common practice]."""

_RESISTANCE_FROM = ("cell-resistance", "holds-under-load")


def rest_level(options: Mapping[str, str], context: Context) -> Probe:
    """Read how far the level that each gauge tells lies outside what the voltage at rest allows.

    Unit: %, points of charge; 0 where it lies within. Wants the charger out; 60 s ("settle") of small,
    steady draw, and gives up after 10 min. The draw is corrected by the resistance of a cell, measured before
    or 20 to 100 mΩ. Aside: the level by volts with its band, the level that the gauge told then, volts a
    cell.
    Options: "settle", and the assumed errors "cell" (V a cell).
    Unknown where voltage, cells in series or the level cannot be told, or a cell is not of a kind with a
    curve.
    Source: open-circuit curves as published for several cells (see there); times are common practice, no
    source.
    Caution: save open work first: a machine whose battery does not carry it goes off at once.
    """
    refuse_others("rest-level", options, "settle", "cell")
    return _RestLevel(
        settle_s=seconds_option(options, "settle", _SETTLE_S), assumed=assumed_of(options), context=context
    )


class _Looks:
    """One pack's looks at rest: at, volts, current, level."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.kept: deque[tuple[float, float, float]] = deque()

    def see(self, pack: Pack, at_s: float, keep_s: float) -> None:
        self.pack = pack
        volts, current_a = trusted(pack, "voltage_v"), trusted(pack, "current_a")
        if current_a is None and volts:
            power_w = trusted(pack, "power_w")
            current_a = None if power_w is None else power_w / volts
        if volts is None or current_a is None:
            return
        self.kept.append((at_s, volts, current_a))
        while len(self.kept) > 1 and self.kept[1][0] <= at_s - keep_s:
            self.kept.popleft()

    def at_rest(self, keep_s: float) -> bool:
        if len(self.kept) < 2 or self.kept[-1][0] - self.kept[0][0] < keep_s:
            return False
        capacity_ah = capacity_ah_of(self.pack) or capacity_ah_of(self.pack, claimed=True)
        most_a = _REST_C * capacity_ah if capacity_ah else 1.0
        return all(abs(current_a) <= most_a for _, _, current_a in self.kept)


class _RestLevel:
    def __init__(self, *, settle_s: float, assumed: Assumed, context: Context) -> None:
        self._settle_s, self._assumed, self._context = settle_s, assumed, context
        self._out = Asking(want=Want.CHARGER_OUT)
        self._blinks = 0
        self._tried = Watched()
        self._begin()

    def _begin(self) -> None:
        self._watched = Watched()
        self._looks: dict[str, _Looks] = {}

    def step(self, sample: Sample) -> Working | Finding:
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            reason = "Stopped: the battery is too hot."
            return Finding(readings=(unknown(Unit.PERCENT, "battery gauge", reason),), text=reason, stop=stop)
        # (2)
        if not sample.packs:
            self._blinks += 1
            if self._blinks > MOST_BLINKS:
                return not_found(Unit.PERCENT, "battery gauge", why_no_pack(sample))
            return Working(text="The battery is not seen at the moment.")
        self._blinks = 0
        # (3)
        if powered(sample) is True:
            self._begin()
            asked = self._out.ask(sample, "The battery has to rest. Leave the machine idle.")
            return asked or self._all_unknown(sample, "The charger was to be pulled, and was not.")
        self._out.done()
        self._tried.see(sample.at)
        step_s = self._watched.see(sample.at)
        if step_s is None or step_s > LONGEST_STEP_S:
            self._begin()
            self._watched.see(sample.at)
        # (4)
        at_s = self._watched.seconds
        for pack in sample.packs:
            self._looks.setdefault(pack.name, _Looks(pack)).see(pack, at_s, self._settle_s)
        blind = all(not looks.kept for looks in self._looks.values())
        if at_s >= self._settle_s and (
            blind or all(one.at_rest(self._settle_s) for one in self._looks.values())
        ):
            return self._end()
        # (5)
        if self._tried.seconds >= _GIVE_UP_S:
            return self._all_unknown(
                sample,
                "It did not come to rest in 10 min. Close all programs, leave it idle, ask this again.",
            )
        return Working(
            text="The battery rests. Leave the machine idle.",
            fraction=min(1.0, at_s / self._settle_s),
            seconds_left=max(0.0, self._settle_s - at_s),
        )

    def _all_unknown(self, sample: Sample, why: str) -> Finding:
        readings = tuple(unknown(Unit.PERCENT, gauge_of(pack), why) for pack in sample.packs)
        return Finding(readings=readings or not_found(Unit.PERCENT, "battery gauge", why).readings, text=why)

    def _end(self) -> Finding:
        readings: list[Reading] = []
        aside: list[Reading] = []
        said = []
        for looks in self._looks.values():
            pack = looks.pack
            band, cell_v, why = rest_of(
                pack, [(volts, amps) for _, volts, amps in looks.kept], self._context, self._assumed
            )
            level = trusted(pack, "state_of_charge")
            source = f"{gauge_of(pack)}, level against volts at rest"
            if band is None:
                readings.append(unknown(Unit.PERCENT, source, why))
                said.append(why)
                continue
            half = (band.high - band.low) / 2
            aside.append(hand_on_level(pack, LEVEL_BY_VOLTS, band.value, half_width=half))
            aside.append(hand_on(pack, "volts of a cell at rest", cell_v, Unit.VOLT))
            rests = f"A cell rests at {cell_v:.3f} V: {100 * band.low:.0f} to {100 * band.high:.0f} %."
            if level is None:
                why = known(pack, "state_of_charge")[1] or "The battery does not report its level."
                readings.append(unknown(Unit.PERCENT, source, why))
                said.append(f"{rests} {why}")
                continue
            aside.append(hand_on_level(pack, GAUGE_LEVEL, level))
            outside = 100 * max(0.0, band.low - level, level - band.high)
            readings.append(
                Reading(value=outside, unit=Unit.PERCENT, standard_uncertainty=None, source=source)
            )
            said.append(f"{rests} Its gauge says {100 * level:.0f} %.{_proves(band, level)}")
        return Finding(readings=tuple(readings), text=" ".join(said), aside=tuple(aside))


def _proves(band: Interval, level: float) -> str:
    """Say what the level by volts is good for as the start of a measurement."""
    if max(band.low - level, level - band.high) > _FAR:
        return " They contradict each other: do not believe its level. Drain it first, then charge."
    if (band.high - band.low) / 2 <= 0.04:
        return " That proves the start of a charge."
    return " Too wide to prove the start of a charge: for that, drain it first."


def rest_of(
    pack: Pack,
    looks: list[tuple[float, float]],
    context: Context,
    assumed: Assumed,
    *,
    loaded: tuple[float, float] | None = None,
) -> tuple[Interval | None, float, str]:
    """Return the level, 0 to 1, that the volts at rest tell, the volts of a cell, and why it is unknown.

    looks: volts of the pack and the small current into it, in A. loaded: the same under the load that ended a
    minute or two before; its step tells the resistance.
    """
    if not looks:
        return None, 0.0, "The battery does not report its voltage and current."
    cells = cells_of(pack, label_volts(context.label))
    if cells is None:
        return None, 0.0, "How many cells stand in series is not known: the nominal voltage does not tell."
    why = not_covered(pack.technology)
    if why:
        return None, 0.0, why
    drawn_a = -fmean(current_a for _, current_a in looks)
    rests_v = median(volts for volts, _ in looks) / cells
    low, high = _ohm_of(pack, context)
    if loaded is not None and -loaded[1] - drawn_a >= _LEAST_STEP * (capacity_ah_of(pack) or math.inf):
        step_ohm = max(0.0, rests_v - loaded[0] / cells) / (-loaded[1] - drawn_a)
        low, high = (step_ohm * times for times in _LONGER_DRAW)
    sags = sorted((drawn_a * low, drawn_a * high))
    cell_v = rests_v + sum(sags) / 2
    ends_at = charge_end_v((trusted(pack, "design_voltage_v") or 0.0) / cells)
    if not 0 < cell_v < 5:
        return None, cell_v, f"{cell_v:.2f} V is no voltage of a cell at rest."
    band = level_at_rest(cell_v, error_v=assumed.cell_v + (sags[1] - sags[0]) / 2, charged_to_v=ends_at)
    return band, cell_v, ""


def _ohm_of(pack: Pack, context: Context) -> tuple[float, float]:
    """Return between what the resistance of a cell lies for a draw of minutes, in ohm."""
    measured = handed(context.earlier, pack.name, CELL_RESISTANCE, checks=_RESISTANCE_FROM)
    low, high = _CELL_MOHM
    if measured is not None and measured.value is not None:
        spread = 2 * (measured.standard_uncertainty or 0.0)
        low, high = max(0.0, measured.value - spread), measured.value + spread
    return low / 1000 * _LONG_DRAW[0], high / 1000 * _LONG_DRAW[1]
