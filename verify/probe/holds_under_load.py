"""Automatic check: whether the cells carry the machine at full load, at a level in the middle.

Each sample, in this order: (1) a machine that started again in the middle had stopped by itself; (2) a hot
pack ends it; (3) what was found waits for the charger to be in again; (4) a battery and its level must be
told; (5) the charger is asked out; (6) on the battery at rest first, so that what is known by then lies on
the disk before the load; (7) then under load, for as long as the check says.
"""

from collections.abc import Mapping

from verify.machine import Pack, Sample
from verify.measure import resolution
from verify.probe.charger import level_of_all
from verify.probe.full_load import LOST_S, SeenLoad, load_option
from verify.probe.load_fall import PackUnderLoad
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import (
    LONGEST_STEP_S,
    MOST_BLINKS,
    NO_CHARGER_INPUT,
    OFTEN_LOST,
    Asking,
    counted,
    hot_stop,
    not_found,
    powered,
    refuse_others,
    seconds_between,
    seconds_option,
    trusted,
    why_no_pack,
)
from verify.values import Instant, Reading, Unit

_SETTLE_S = 20.0  # more than the 10 s after which a trace is put on the disk
_WATCH_S = 60.0
_LEAST_LEVEL = 0.10  # below, a sound pack may give way too [common practice, no source]
_TELLS_FROM, _TELLS_TO = 0.20, 0.80  # outside, a pack that holds proves little [common practice, no source]
_LOW_LOOKS = 3  # a gauge may tell a wrong level just after the plug (observed in the field)
_MOST_BEGINNINGS = 3  # cut short by sleep, or by hands that put the charger in [common practice, no source]
_MOST_STARTS = 2  # starts of the machine between the charger asked out and out [common practice, no source]
_STEP_PERCENT = 1.0
_SOURCE = "battery gauge, on the battery"


def holds_under_load(options: Mapping[str, str], context: Context) -> Probe:
    """Count what shows that the battery does not carry the machine under load.

    Unit: pieces. One each, for each pack: a level that leaps by more than 3 points in 30 s, or falls 3 points
    further than the energy that went out explains; from 20 % on, a cell on average below 3.0 V. One where the
    machine stopped by itself: the watch is taken up after a restart, and no level that is shown then counts;
    where no system tells its boots, it begins anew.
    Wants the charger out; 20 s at rest ("settle"), then "load" (10 s to 30 min) at full load, or without it
    60 s ("watch") at whatever load there is; then wants the charger in. Aside: the level at the start in %,
    volts of a cell at rest and least, and the resistance of a cell from the step of the load, in mΩ.
    Unknown below 10 % of charge, where no level can be read, and where the load ended early: it ends by
    itself where the processor, or a pack at 60 °C, gets too hot.
    Source: 3.0 V a cell is trade knowledge, from memory; times and points are common practice, no source.
    Caution: save open work first. Lithium: a pack that hisses, smells or swells is left alone. It gets hot.
    """
    del context
    refuse_others("holds-under-load", options, "load", "settle", "watch")
    loaded = "load" in options
    return _HoldsUnderLoad(
        settle_s=seconds_option(options, "settle", _SETTLE_S),
        watch_s=load_option(options) if loaded else seconds_option(options, "watch", _WATCH_S),
        loaded=loaded,
    )


class _HoldsUnderLoad:
    def __init__(self, *, settle_s: float, watch_s: float, loaded: bool) -> None:
        self._settle_s, self._watch_s, self._loaded = settle_s, watch_s, loaded
        self._out = Asking(want=Want.CHARGER_OUT)
        self._back = Asking(want=Want.CHARGER_IN)
        self._before: Instant | None = None
        self._found: Finding | None = None
        self._asked_out = False
        self._starts = self._blinks = self._lows = self._unread = self._beginnings = 0
        self._begin()

    def _begin(self) -> None:
        """Forget what was seen on the battery."""
        self._since: Instant | None = None
        self._level = self._first_level = 0.0
        self._packs: dict[str, PackUnderLoad] = {}
        self._seen = SeenLoad()
        self._under_load = False

    def step(self, sample: Sample) -> Working | Finding:
        before, self._before = self._before, sample.at
        # (1)
        if before is not None and sample.at.started_since(before):
            ended = self._started_again(sample)
            if ended is not None:
                return ended
        # (2)
        stop = hot_stop(sample)
        if stop is not None:
            ended = self._unknown("Stopped: the battery is too hot.")
            return Finding(readings=ended.readings, text=ended.text, stop=stop)
        # (3)
        if self._found is not None:
            return self._charger_back(sample, self._found)
        # (4)
        if not sample.packs:
            return self._no_pack(sample)
        self._blinks = 0
        level = _level(sample.packs)
        power_in = powered(sample)
        if level is None or (power_in is None and self._since is None):
            return self._untold(sample, level)
        self._unread = 0
        # (5)
        if level >= _LEAST_LEVEL:
            self._lows = 0
        if self._since is None and level < _LEAST_LEVEL:
            self._lows += 1
            if self._lows < _LOW_LOOKS:
                return Working(text=f"At {100 * level:.0f} %. Looking again.")
            return self._unknown(
                f"At {100 * level:.0f} % a load tells nothing. Ask this again once it has charged to 20 %."
            )
        if power_in is True:
            return self._ask_out(sample)
        return self._watch(sample, before, level)

    def _started_again(self, sample: Sample) -> Finding | None:
        if self._found is not None:
            return self._found
        if self._since is not None:
            return self._stopped(_level(sample.packs))
        self._starts += self._asked_out
        if self._starts < _MOST_STARTS:
            return None
        return self._unknown(
            "The machine started again while the charger was to be pulled, more than once. "
            "Did it go off as the charger went? Then its battery does not carry it."
        )

    def _stopped(self, level_now: float | None) -> Finding:
        how = "under full load" if self._under_load and self._loaded else "on the battery"
        shows = "" if level_now is None else f" Now it shows {100 * level_now:.0f} %: that proves nothing."
        return self._finding(
            1,
            f"The machine stopped by itself at {100 * self._level:.0f} %, {how}.{shows} "
            "If somebody switched it off, ask this again.",
        )

    def _no_pack(self, sample: Sample) -> Working | Finding:
        self._blinks += 1
        if self._blinks <= MOST_BLINKS:
            return self._again("The battery is not seen at the moment.")
        # Seen from outside only: what runs on the machine itself goes off with it.
        off = not sample.adapters and sample.cpu.load is None
        if self._since is not None and off:
            return self._stopped(None)
        return self._unknown(why_no_pack(sample))

    def _untold(self, sample: Sample, level: float | None) -> Working | Finding:
        self._unread += 1
        if self._unread <= MOST_BLINKS:
            return self._again("Reading the battery.")
        if level is None:
            return self._unknown(_why_no_level(sample.packs))
        return self._unknown(sample.reasons.get("adapters") or NO_CHARGER_INPUT)

    def _again(self, text: str) -> Working:
        # The load goes on over a moment of nonsense: without it the watch would begin anew.
        return Working(text=text, load=self._loaded and self._under_load)

    def _ask_out(self, sample: Sample) -> Working | Finding:
        if self._since is not None:
            self._begin()
        self._asked_out = True
        asked = self._out.ask(sample, "Save open work first.")
        if self._out.times_lost >= OFTEN_LOST:
            return self._unknown("The charger came back again and again. Leave it out till the tool asks.")
        return asked or self._unknown("The charger was to be pulled, and was not.")

    def _watch(self, sample: Sample, before: Instant | None, level: float) -> Working | Finding:
        self._out.done()
        step_s = 0.0 if self._since is None or before is None else seconds_between(before, sample.at)
        longest_s = LOST_S if self._under_load and self._loaded else LONGEST_STEP_S
        if self._since is not None and (step_s is None or step_s > longest_s):
            self._begin()
            step_s = 0.0
        if self._since is None:
            self._beginnings += 1
            if self._beginnings > _MOST_BEGINNINGS:
                return self._unknown("It was cut short again and again. Leave the machine awake, try again.")
            self._since, self._first_level = sample.at, level
        self._level = level
        on_battery_s = sample.at.elapsed_s - self._since.elapsed_s
        for pack in sample.packs:
            self._packs.setdefault(pack.name, PackUnderLoad(pack.name)).see(pack, on_battery_s)
        # (6)
        if on_battery_s < self._settle_s:
            return Working(
                text=f"On the battery at {100 * level:.0f} %. The load comes next."
                if self._loaded
                else f"On the battery at {100 * level:.0f} %.",
                seconds_left=self._settle_s - on_battery_s + self._watch_s,
                often=self._loaded,
            )
        # (7)
        return self._load(sample, step_s or 0.0, on_battery_s)

    def _load(self, sample: Sample, step_s: float, on_battery_s: float) -> Working | Finding:
        if self._loaded and self._under_load:
            self._seen.see(sample.cpu.load, step_s)
        self._under_load = True
        done_s = self._seen.seconds if self._loaded else on_battery_s - self._settle_s
        if done_s >= self._watch_s:
            self._found = self._judged()
            return self._charger_back(sample, self._found)
        if self._loaded and self._seen.lost:
            signs = self._signs()
            self._found = (
                self._judged()
                if signs
                else self._unknown(
                    f"The full load was seen for {done_s:.0f} s of {self._watch_s:.0f} s: it ended early, or "
                    "never came. Ask this again with nothing else running."
                )
            )
            return self._charger_back(sample, self._found)
        load = "Full load on the battery" if self._loaded else "On the battery"
        return Working(
            text=f"{load}: {100 * self._level:.0f} %. Leave the charger out.",
            fraction=done_s / self._watch_s,
            seconds_left=self._watch_s - done_s,
            load=self._loaded,
        )

    def _charger_back(self, sample: Sample, found: Finding) -> Working | Finding:
        """Wait for the charger, as nobody else asks for it soon, then end."""
        if powered(sample) is True:
            return found
        return self._back.ask(sample, found.text) or found

    def _signs(self) -> list[str]:
        # Nearly empty, the volts of a sound pack fall too.
        by_volts = self._first_level >= _TELLS_FROM
        return [sign for pack in self._packs.values() for sign in pack.signs(by_volts=by_volts)]

    def _judged(self) -> Finding:
        signs = self._signs()
        if signs:
            return self._finding(len(signs), " ".join(signs))
        how = f"{self._watch_s:.0f} s of full load" if self._loaded else f"{self._watch_s:.0f} s"
        first, last = 100 * self._first_level, 100 * self._level
        text = f"It held for {how} on the battery, {first:.0f} to {last:.0f} %."
        if not _TELLS_FROM <= self._first_level <= _TELLS_TO:
            text += " At that level it tells little; 20 to 80 % tells most."
        return self._finding(0, text)

    def _finding(self, count: int, text: str) -> Finding:
        return Finding(readings=(counted(count, _SOURCE),), text=text, aside=self._aside())

    def _aside(self) -> tuple[Reading, ...]:
        level = Reading(
            value=100 * self._first_level,
            unit=Unit.PERCENT,
            standard_uncertainty=resolution(_STEP_PERCENT),
            source=f"{_SOURCE}: level at the start",
        )
        volts = [
            Reading(value=value, unit=Unit.VOLT, source=f"battery gauge {pack.name}: a cell, {which}")
            for pack in self._packs.values()
            for which, value in (("at rest", pack.rest_v), ("least", pack.least_v))
            if value is not None
        ]
        return (level, *volts, *(pack.resistance() for pack in self._packs.values()))

    def _unknown(self, reason: str) -> Finding:
        return not_found(Unit.COUNT, _SOURCE, reason)


def _level(packs: tuple[Pack, ...]) -> float | None:
    """Return the level of all packs together, 0 to 1; None where it is not told."""
    return trusted(packs[0], "state_of_charge") if len(packs) == 1 else level_of_all(packs)


def _why_no_level(packs: tuple[Pack, ...]) -> str:
    reasons = [pack.reasons.get("state_of_charge") for pack in packs]
    return next((reason for reason in reasons if reason), "The battery does not report its level.")
