"""Automatic check: run the battery down under a steady load, and count what comes out.

Each sample, in this order: (1) a machine that went off in the middle has told its end; (2) a hot pack ends
it; (3) what was found waits for the charger; (4) a pack and its level must be told; (5) the charger is asked
out; (6) full load until the knee, the least volts of a cell or the least level; (7) then some rest: its volts
count too.
"""

from collections.abc import Mapping

from verify.machine import Sample
from verify.measure import combine
from verify.measure.assumed import Assumed
from verify.measure.capacity import EndHow, EndLevel
from verify.measure.coverage import ONE_SIDED_Z
from verify.measure.interval import Interval
from verify.probe.assumed_options import assumed_of
from verify.probe.drain_count import GAVE_WAY_LEVEL, DrainCount
from verify.probe.full_load import SeenLoad
from verify.probe.handed_on import GAUGE_LEVEL, LEVEL_AT_END, hand_on, hand_on_level
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_point import label_volts
from verify.probe.rest_level import rest_of
from verify.probe.watching import (
    MOST_BLINKS,
    NO_CHARGER_INPUT,
    OFTEN_LOST,
    Asking,
    gauge_of,
    hot_stop,
    not_found,
    powered,
    refuse_others,
    seconds_between,
    seconds_option,
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Instant, Reading, Unit, parse_quantity
from verify.values.errors import WrongUseError

__all__ = ["drain"]

_LEAST_CELL_V = 3.0
_LEAST_LEVEL = 0.05
_REST_S = 120.0
_LONGEST_S = 4 * 3600.0
_LOAD_COMES_S = 10.0  # before, what is drawn tells nothing of how long it takes
_BAND = (0.8, 1.35)  # what a time left may be off: the load, and a level that is not even [assumption]
_SOURCE = "battery gauge, on the battery"
_SWITCHED_OFF = "If somebody switched it off, ask this again."


def drain(options: Mapping[str, str], context: Context) -> Probe:
    """Read the capacity counted while the battery runs down, over the one that its gauge claims.

    Unit: %, for each pack; well below 100: its level falls too fast, or it is empty before its level is.
    Wants the charger out; full load until a cell's volts fall off (the knee), a loaded cell is at 3.00 V
    ("cell-least"), or the level is at 5 % ("to", at least 3 %); then 2 min of rest ("rest"), then wants the
    charger in. A machine that goes off by itself ends it too: the watch is taken up when it runs again.
    Aside: charge and energy that went out, the level where it ended and how that is known: the proven start
    of a charge.
    Options besides: assumed errors "gain", "offset", "level", "unproven", "cell".
    Unknown where current, level or claimed capacity cannot be told, or less than 10 points were drained.
    Source: coulomb counting; knee: published open-circuit curves; limits of volts and level: common practice,
    no source. Caution: save open work first. A pack that hisses, smells or swells is left alone. It gets hot.
    """
    refuse_others("drain", options, "to", "cell-least", "rest", "gain", "offset", "level", "unproven", "cell")
    return _Drain(
        least_level=_option(options, "to", Unit.ONE, _LEAST_LEVEL, at_least=0.03, at_most=0.5),
        least_v=_option(options, "cell-least", Unit.VOLT, _LEAST_CELL_V, at_least=2.8, at_most=3.6),
        rest_s=seconds_option(options, "rest", _REST_S),
        assumed=assumed_of(options),
        context=context,
    )


def _option(
    options: Mapping[str, str], name: str, unit: Unit, default: float, *, at_least: float, at_most: float
) -> float:
    if name not in options:
        return default
    value = parse_quantity(options[name]).to(unit).value
    if not at_least <= value <= at_most:
        raise WrongUseError(
            f'"{name}" is "{options[name]}".',
            next_step=f"It must be from {at_least:g} to {at_most:g} {unit}.",
        )
    return value


class _Drain:
    def __init__(
        self, *, least_level: float, least_v: float, rest_s: float, assumed: Assumed, context: Context
    ) -> None:
        self._least_level, self._least_v, self._rest_s = least_level, least_v, rest_s
        self._assumed, self._context = assumed, context
        self._label_v = label_volts(context.label)
        self._out = Asking(want=Want.CHARGER_OUT)
        self._back = Asking(want=Want.CHARGER_IN)
        self._at_s = 0.0
        self._before: Instant | None = None
        self._packs: dict[str, DrainCount] = {}
        self._volts: dict[str, list[tuple[float, float]]] = {}
        self._rests_from_s: float | None = None
        self._drawn_w = 0.0
        self._seen = SeenLoad()
        self._found: Finding | None = None
        self._blinks = self._unread = 0

    def step(self, sample: Sample) -> Working | Finding:
        before, self._before = self._before, sample.at
        # (1)
        if before is not None and sample.at.started_since(before) and self._packs and self._found is None:
            self._found = self._end(went_off=self._rests_from_s is None)
        # (2)
        stop = hot_stop(sample)
        if stop is not None:
            why = "Stopped: the battery is too hot."
            ended = self._found or self._end(went_off=False)
            return Finding(readings=self._unknown(why).readings, text=why, aside=ended.aside, stop=stop)
        # (3)
        if self._found is not None:
            return self._charger_back(sample, self._found)
        # (4)
        if not sample.packs:
            return self._no_pack(sample)
        self._blinks = 0
        power_in = powered(sample)
        if power_in is None and not self._packs:
            self._unread += 1
            if self._unread > MOST_BLINKS:
                return self._unknown(sample.reasons.get("adapters") or NO_CHARGER_INPUT)
            return Working(text="Reading the battery.")
        # (5)
        if power_in is True:
            return self._ask_out(sample)
        self._out.done()
        step_s = 0.0 if before is None else seconds_between(before, sample.at)
        if step_s is None and self._rests_from_s is None:
            # Nobody knows how long nobody looked: it counts anew from here. A gap that is known is bridged.
            self._packs.clear()
        self._at_s += step_s or 0.0
        at_s = self._at_s
        resting = self._rests_from_s is not None
        for pack in sample.packs:
            if pack.name not in self._packs:
                self._packs[pack.name] = DrainCount(pack, label_v=self._label_v, assumed=self._assumed)
            self._packs[pack.name].see(pack, at_s, loaded=not resting)
        # (7)
        if self._rests_from_s is not None:
            return self._rest(sample, at_s - self._rests_from_s)
        # (6)
        self._seen.see(sample.cpu.load, step_s or 0.0)
        return self._drain(sample, at_s)

    def _no_pack(self, sample: Sample) -> Working | Finding:
        self._blinks += 1
        if self._blinks <= MOST_BLINKS:
            return Working(
                text="The battery is not seen at the moment.",
                load=bool(self._packs) and self._rests_from_s is None,
            )
        # Seen from outside only: what runs on the machine itself goes off with it.
        if self._packs and not sample.adapters and sample.cpu.load is None:
            self._found = self._end(went_off=self._rests_from_s is None)
            return self._charger_back(sample, self._found)
        return self._unknown(why_no_pack(sample))

    def _ask_out(self, sample: Sample) -> Working | Finding:
        if self._rests_from_s is not None:
            # It is drained: the charger came a little early.
            self._found = self._end(went_off=False)
            return self._found
        asked = self._out.ask(sample, "Save open work first. The battery is going to be drained.")
        if self._out.times_lost >= OFTEN_LOST:
            return self._unknown("The charger came back again and again. Leave it out till the tool asks.")
        self._packs.clear()
        return asked or self._unknown("The charger was to be pulled, and was not.")

    def _drain(self, sample: Sample, at_s: float) -> Working | Finding:
        counts = tuple(self._packs.values())
        level = min((count.level for count in counts if count.level is not None), default=None)
        least_v = min((count.cell_v for count in counts if count.cell_v is not None), default=None)
        low = level is not None and level <= self._least_level
        for count in counts:
            count.weak = count.cell_v is not None and count.cell_v <= self._least_v
        if low or any(count.weak or count.steepest for count in counts):
            self._rests_from_s = at_s
            return Working(
                text="Drained. The battery rests; leave the charger out.", seconds_left=self._rest_s
            )
        if level is None and least_v is None:
            return self._unknown(
                "The battery reports neither level nor voltage: nobody would see when it is empty."
            )
        if at_s >= _LONGEST_S:
            self._found = self._end(went_off=False)
            return self._charger_back(sample, self._found)
        shown = "an unknown level" if level is None else f"{100 * level:.0f} %"
        how = "Draining slowly, the full load is not on" if self._seen.lost else "Draining at full load"
        cell = "" if least_v is None else f", a cell at {least_v:.2f} V"
        return Working(
            text=f"{how}: {shown}{cell}. Leave the charger out.",
            seconds_band=None if at_s < _LOAD_COMES_S else self._left(counts, level),
            load=True,
            often=True,
        )

    def _left(self, counts: tuple[DrainCount, ...], level: float | None) -> tuple[float, float] | None:
        drawn_w = -sum(trusted(count.pack, "power_w") or 0.0 for count in counts)
        full_wh = sum(trusted(count.pack, "full_charge_wh") or 0.0 for count in counts)
        if drawn_w <= 0 or full_wh <= 0 or level is None:
            return None
        # Smoothed: a load that has just come shows half of itself.
        self._drawn_w = drawn_w if self._drawn_w <= 0 else self._drawn_w + 0.1 * (drawn_w - self._drawn_w)
        seconds = max(0.0, level - self._least_level) * full_wh / self._drawn_w * 3600
        return seconds * _BAND[0] + self._rest_s, seconds * _BAND[1] + self._rest_s

    def _rest(self, sample: Sample, rested_s: float) -> Working | Finding:
        for pack in sample.packs:
            volts, current_a = trusted(pack, "voltage_v"), trusted(pack, "current_a")
            if rested_s >= self._rest_s / 2 and volts is not None and current_a is not None:
                self._volts.setdefault(pack.name, []).append((volts, current_a))
        if rested_s >= self._rest_s:
            self._found = self._end(went_off=False)
            return self._charger_back(sample, self._found)
        return Working(
            text="Drained. The battery rests; leave the charger out.", seconds_left=self._rest_s - rested_s
        )

    def _charger_back(self, sample: Sample, found: Finding) -> Working | Finding:
        """Wait for the charger: a drained battery is not left so."""
        if powered(sample) is True:
            return found
        return self._back.ask(sample, found.text) or found

    def _unknown(self, reason: str) -> Finding:
        names = tuple(count.pack for count in self._packs.values())
        if not names:
            return not_found(Unit.PERCENT, _SOURCE, reason)
        readings = tuple(unknown(Unit.PERCENT, gauge_of(pack), reason) for pack in names)
        return Finding(readings=readings, text=reason)

    def _end(self, *, went_off: bool) -> Finding:
        parts = [self._of(count, went_off=went_off) for count in self._packs.values()]
        return Finding(
            readings=tuple(part.readings[0] for part in parts),
            text=" ".join(part.text for part in parts),
            aside=tuple(one for part in parts for one in part.aside),
        )

    def _of(self, count: DrainCount, *, went_off: bool) -> Finding:
        pack = count.pack
        by_volts: Interval | None = None
        if self._volts.get(pack.name):
            by_volts = rest_of(
                pack, self._volts[pack.name], self._context, self._assumed, loaded=count.loaded
            )[0]
        end, how = count.end(by_volts, went_off=went_off) or (None, "")
        by_cells = end is not None and end.how is not EndHow.GAUGE
        weak = count.weak and not by_cells and (count.level or 0.0) > GAVE_WAY_LEVEL
        share = count.share(end, gave_way=went_off or weak)
        aside = self._aside(count, end, how)
        source = f"{gauge_of(pack)}, what went out over the level lost, of the claimed capacity"
        at = f"at {100 * (count.level or 0.0):.0f} %"
        off = f"The machine went off by itself {at}. {_SWITCHED_OFF} " if went_off else ""
        if weak:
            off = f"Under load a cell was down to {self._least_v:.2f} V {at}: tired cells. "
        if isinstance(share, str):
            return Finding(
                readings=(unknown(Unit.PERCENT, source, share),), text=f"{off}{share}", aside=aside
            )
        # Facing the limit, which lies below: what is in doubt above does not count against it.
        side = share.value - share.low if share.value >= 0.9 else share.high - share.value
        reading = Reading(
            value=100 * share.value,
            unit=Unit.PERCENT,
            standard_uncertainty=min(100 * side / ONE_SIDED_Z, 1000.0),
            source=source,
        )
        return Finding(readings=(reading,), text=f"{off}{self._said(count, end, share)}", aside=aside)

    def _said(self, count: DrainCount, end: EndLevel | None, share: Interval) -> str:
        counted = count.counted
        out = "" if counted is None else f"{counted.out_ah:.2f} Ah came out. "
        told = "" if count.level is None else f" Its gauge says {100 * count.level:.0f} % at the end."
        how = (
            ""
            if end is None or end.how is EndHow.GAUGE
            else " It is nearly empty: that proves the start of a charge."
        )
        high = f"{100 * share.high:.0f}" if share.high < 10 else "more"
        return (
            f"{out}That is {100 * share.value:.0f} % of what its gauge claims for it "
            f"({100 * share.low:.0f} to {high} %).{told}{how}"
        )

    def _aside(self, count: DrainCount, end: EndLevel | None, how: str) -> tuple[Reading, ...]:
        pack, counted = count.pack, count.counted
        aside = []
        if counted is not None and counted.source is not None:
            gain = combine(counted.out_ah * self._assumed.gain / 3**0.5, counted.sampling_ah)
            aside.append(
                hand_on(
                    pack, "charge that went out", counted.out_ah, Unit.AMPERE_HOUR, standard_uncertainty=gain
                )
            )
            if counted.out_wh is not None:
                aside.append(hand_on(pack, "energy that went out", counted.out_wh, Unit.WATT_HOUR))
        if end is not None:
            aside.append(hand_on_level(pack, LEVEL_AT_END, end.level, half_width=end.half_width, more=how))
        if count.level is not None:
            aside.append(hand_on_level(pack, GAUGE_LEVEL, count.level))
        return tuple(aside)
