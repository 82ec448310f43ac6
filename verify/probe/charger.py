"""Automatic checks of the charger: is it seen, and how much goes into the pack."""

from collections.abc import Mapping

from verify.machine import Pack, PackState, Sample
from verify.machine.series import Moment, slope_w
from verify.measure import rectangular
from verify.measure.open_circuit import FULL_CELL_V, charge_end_v
from verify.measure.phases import PhaseKind
from verify.measure.rate import judge_rate
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_point import capacity_ah_of, cells_of
from verify.probe.watching import (
    LONGEST_STEP_S,
    MOST_BLINKS,
    NO_CHARGER_INPUT,
    OFTEN_LOST,
    Asking,
    Watched,
    held_back,
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

SEEN_WITHIN_S = 120.0
"""A charger that was asked for is not there when not seen after this time [common practice, no source]."""

_SETTLE_S = 60.0  # rates lag by up to 60 s after a change of charger (observed in the field)
_WATCH_S = 60.0
_LEVEL_LOW, _LEVEL_HIGH = 0.10, 0.80  # outside, a sound pack takes less by design
_POWER_HALF_WIDTH = 0.03  # of the reading, a gauge's current sensor [common practice, no source]
_SLOPE_HALF_WIDTH = 0.10  # of the slope of a stored energy over 2 min [common practice, no source]
_DISAGREE = 0.5
_AT_TOP_V = 0.03  # a cell so close to the voltage it is charged to is in its taper [common practice]
_FEWEST_STEPS = 4  # a stored energy that moved in fewer steps has no slope to speak of [common practice]


def charger_seen(options: Mapping[str, str], context: Context) -> Probe:
    """Count the charger inputs that give power, after asking for the charger.

    Unit: pieces. Ends with 0 where none is seen within 120 s. Unknown where no input can be read.
    Source: the system's list of power supplies; the 120 s are common practice, no source.
    Caution: look at plug, lead and case first; a damaged or opened mains adapter is for a skilled person.
    """
    del context
    refuse_others("charger-seen", options)
    return _ChargerSeen()


class _ChargerSeen:
    _source = "list of power supplies"

    def __init__(self) -> None:
        self._asking = Asking(want=Want.CHARGER_IN, patience_s=SEEN_WITHIN_S)

    def step(self, sample: Sample) -> Working | Finding:
        if sample.charger_seen:
            count = sum(1 for adapter in sample.adapters if adapter.online)
            return self._found(count, "The charger is seen.")
        working = self._asking.ask(sample, "The charger is not seen yet.")
        if working is not None:
            return working
        if sample.charger_seen is None:
            reason = sample.reasons.get("adapters") or NO_CHARGER_INPUT
            return not_found(Unit.COUNT, self._source, reason)
        return self._found(0, f"No charger was seen within {SEEN_WITHIN_S:.0f} s of asking for it.")

    def _found(self, count: int, text: str) -> Finding:
        reading = Reading(value=count, unit=Unit.COUNT, standard_uncertainty=0, source=self._source)
        return Finding(readings=(reading,), text=text)


def charge_power(options: Mapping[str, str], context: Context) -> Probe:
    """Read the net power into all packs over their full capacity, as a rate: the median over a while.

    Unit: C (1 C fills the pack in one hour; net power in W over full capacity in Wh, so a little above the
    rate by current; over design capacity where the full one is unknown or in doubt). Wants the charger in;
    settles 60 s ("settle"), then watches 60 s ("watch"). Begins anew where nobody watched for 90 s. Where the
    reported power is unknown, or differs by half from the slope of the stored energy over 2 min, the slope
    counts. Unknown outside 10 to 80 % of charge, full, held by a visible charge limit or all the time, where
    half of the samples tell nothing, or where the charger goes away five times. The watts, and what limits
    them, are told beside it.
    Source: common practice, no source; ±3 % of the gauge's current sensor, rectangular, likewise.
    Caution: do not leave a first charge unattended; a pack at 60 °C stops it.
    """
    del context
    refuse_others("charge-power", options, "settle", "watch")
    return _ChargePower(
        settle_s=seconds_option(options, "settle", _SETTLE_S),
        watch_s=seconds_option(options, "watch", _WATCH_S),
    )


class _ChargePower:
    _source = "battery gauge, power over full capacity"

    def __init__(self, *, settle_s: float, watch_s: float) -> None:
        self._settle_s = settle_s
        self._watch_s = watch_s
        self._asking = Asking(want=Want.CHARGER_IN)
        self._begin()
        self._begun = 0
        self._blinks = 0

    def _begin(self) -> None:
        self._watched = Watched()
        self._rates: list[float] = []
        self._missed: list[str] = []
        self._moments: dict[str, list[Moment]] = {}
        self._all_hold = True
        self._limits = ""

    def step(self, sample: Sample) -> Working | Finding:
        stop = hot_stop(sample)
        if stop is not None:
            reason = "Stopped: the battery is too hot."
            return Finding(readings=(unknown(Unit.C_RATE, self._source, reason),), text=reason, stop=stop)
        if not sample.packs:
            self._blinks += 1
            if self._blinks > MOST_BLINKS:
                return self._unknown(why_no_pack(sample))
            return Working(text="The battery is not seen at the moment.")
        self._blinks = 0
        if powered(sample) is not True:
            return self._wait(sample)
        self._asking.done()
        step_s = self._watched.see(sample.at)
        if step_s is None or step_s > LONGEST_STEP_S:
            self._begun += 1
            if self._begun >= OFTEN_LOST:
                return self._unknown(
                    "The watch was broken off too often. Leave the machine awake, try again."
                )
            self._begin()
            self._watched.see(sample.at)
        self._remember(sample.packs)
        elapsed_s, whole_s = self._watched.seconds, self._settle_s + self._watch_s
        if elapsed_s >= self._settle_s:
            never = _why_never(sample.packs)
            if never is not None:
                return self._unknown(never)
            self._take(sample.packs)
        if elapsed_s < whole_s:
            return Working(
                text="Watching how much goes into the battery.",
                fraction=elapsed_s / whole_s,
                seconds_left=whole_s - elapsed_s,
            )
        return self._end()

    def _wait(self, sample: Sample) -> Working | Finding:
        waiting = self._asking.ask(sample, "Waiting for the charger.")
        self._begin()
        if self._asking.times_lost >= OFTEN_LOST:
            return self._unknown(
                f"The charger went away {self._asking.times_lost} times. Look at its plug, lead and port."
            )
        return waiting or self._unknown("The charger was asked for and not seen.")

    def _take(self, packs: tuple[Pack, ...]) -> None:
        rate, reason = _net_rate(packs)
        if rate is None:
            self._missed.append(reason)
        else:
            self._rates.append(rate)
            self._limits = " ".join(_limited(pack) for pack in packs)

    def _remember(self, packs: tuple[Pack, ...]) -> None:
        """Keep what tells the slope of the stored energy."""
        self._all_hold = self._all_hold and all(pack.state is PackState.HOLDING for pack in packs)
        for pack in packs:
            moments = self._moments.setdefault(pack.name, [])
            rises = not moments or self._watched.seconds > moments[-1].elapsed_s
            if rises and trusted(pack, "remaining_wh") is not None:
                moments.append(Moment(elapsed_s=self._watched.seconds, pack=pack))

    def _slope(self) -> float | None:
        """Return the rate by the slope where that, and not the reported power, is to be believed."""
        power_w = full_wh = 0.0
        for moments in self._moments.values():
            slope = slope_w(moments)
            # What a wrong gauge has stored is no energy.
            full = trusted(moments[-1].pack, "full_charge_wh") if moments else None
            steps = len({moment.pack.remaining_wh for moment in moments})
            if slope is None or full is None or steps < _FEWEST_STEPS:
                return None
            power_w, full_wh = power_w + slope, full_wh + full
        if full_wh <= 0:
            return None
        by_slope = power_w / full_wh
        if len(self._missed) < len(self._rates):
            told = _median(self._rates)
            if abs(by_slope - told) <= _DISAGREE * max(abs(by_slope), abs(told)):
                return None
        return by_slope

    def _unknown(self, reason: str) -> Finding:
        return not_found(Unit.C_RATE, self._source, reason)

    def _end(self) -> Finding:
        if self._all_hold:
            return self._unknown(
                "The battery holds: it is not told to charge now, or it waits. Whether it charges, the watch "
                "of the charge tells."
            )
        slope = self._slope()
        if slope is not None:
            return Finding(
                readings=(
                    Reading(
                        value=slope,
                        unit=Unit.C_RATE,
                        standard_uncertainty=rectangular(_SLOPE_HALF_WIDTH * abs(slope)),
                        source="battery gauge, slope of its stored energy over full capacity",
                    ),
                ),
                text=f"The stored energy rises by {slope:.2f} of the capacity an hour; "
                "the power that the battery reports is unknown, or wrong.",
            )
        if len(self._missed) >= len(self._rates):
            return self._unknown(self._missed[-1])
        rate = _median(self._rates)
        if rate < 0:
            text = "The charger is in, and still the battery is drained: the charger gives less than is used."
        elif rate == 0:
            text = "The charger is in, and nothing goes into the battery."
        else:
            text = f"The battery takes {rate:.2f} of its capacity an hour. {self._limits}".rstrip()
        reading = Reading(
            value=rate,
            unit=Unit.C_RATE,
            standard_uncertainty=rectangular(_POWER_HALF_WIDTH * abs(rate)),
            source=self._source,
        )
        return Finding(readings=(reading,), text=text)


def _limited(pack: Pack) -> str:
    """Say how many watts go in, and what limits them as far as that shows."""
    cells, volts = cells_of(pack), trusted(pack, "voltage_v")
    ends_v = charge_end_v((trusted(pack, "design_voltage_v") or 0.0) / cells) if cells else None
    at_top = cells is not None and volts is not None and volts / cells >= (ends_v or FULL_CELL_V) - _AT_TOP_V
    return judge_rate(
        power_w=trusted(pack, "power_w"),
        current_a=trusted(pack, "current_a"),
        kind=PhaseKind.CONSTANT_VOLTAGE if at_top else PhaseKind.CONSTANT_CURRENT,
        design_ah=capacity_ah_of(pack),
        design_wh=trusted(pack, "design_wh"),
        level=trusted(pack, "state_of_charge"),
        limit=pack.charge_limit,
        temperature_c=trusted(pack, "temperature_c"),
        powered=True,
    ).sentence


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def _why_never(packs: tuple[Pack, ...]) -> str | None:
    """Return why waiting would not help; None where it may."""
    for pack in packs:
        why = held_back(pack)
        if why is not None:
            return why
    level = level_of_all(packs)
    if level is None or _LEVEL_LOW <= level <= _LEVEL_HIGH:
        return None
    return (
        f"The battery is at {100 * level:.0f} %: what it takes can only be told between "
        f"{100 * _LEVEL_LOW:.0f} and {100 * _LEVEL_HIGH:.0f} %."
    )


def level_of_all(packs: tuple[Pack, ...]) -> float | None:
    """Return the level of all packs together, 0 to 1; None where one of them does not tell."""
    full_wh = remaining_wh = 0.0
    for pack in packs:
        full, level = trusted(pack, "full_charge_wh"), trusted(pack, "state_of_charge")
        if full is None or level is None:
            return None
        full_wh += full
        remaining_wh += full * level
    return remaining_wh / full_wh if full_wh > 0 else None


def _capacity_wh(pack: Pack) -> float | None:
    """Return what a rate is a share of: the full capacity, or the design capacity where that is in doubt."""
    full_wh = trusted(pack, "full_charge_wh")
    return trusted(pack, "design_wh") if full_wh is None else full_wh


def _net_rate(packs: tuple[Pack, ...]) -> tuple[float | None, str]:
    """Return the net rate of all packs together; None and why it cannot be told."""
    power_w = full_wh = 0.0
    for pack in packs:
        for field in ("power_w", "state_of_charge"):
            value, reason = known(pack, field)
            if value is None or reason is not None:
                return None, reason or ""
        capacity_wh = _capacity_wh(pack)
        if capacity_wh is None:
            return None, known(pack, "full_charge_wh")[1] or ""
        power_w += pack.power_w or 0.0
        full_wh += capacity_wh
    return (power_w / full_wh, "") if full_wh > 0 else (None, "The battery reports no capacity.")
