"""Automatic check: what a battery loses while the machine is off, or asleep.

The level is read until the machine goes, and again when it is back. Each sample, in this order: (1) where the
machine stood still long enough since the last one, that is judged; (2) it is asked to be left, for as long as
somebody may be expected to.
"""

from collections.abc import Mapping
from math import sqrt

import msgspec

from verify.machine import Pack, Sample
from verify.measure import combine, resolution
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import (
    FIRST_YEAR,
    Watched,
    gauge_of,
    not_found,
    refuse_others,
    seconds_option,
    trusted,
    why_no_pack,
)
from verify.values import Instant, Reading, Unit

_SOURCE = "charge lost in 24 h"
_DAY_S, _HOUR_S = 86400.0, 3600.0
_LEAST_S = 8 * _HOUR_S
"""A shorter rest says little, in s [common practice, no source]."""

_LONGEST_S = 14 * _DAY_S  # a clock that went on by more has jumped [common practice, no source]
_PATIENCE_S = 2 * _DAY_S  # of watched time in which nobody leaves it [common practice, no source]
_MOST_SILENT = 5  # looks without any level [common practice, no source]
_CLOCK_S = 60.0  # two clocks in one shop that agree [common practice, no source]
_MORE_POINTS = 1.0  # a gauge at rest may correct itself by so much [common practice, no source]
_RUNNING_S, _RUNNING_W = 240.0, 15.0
"""Going off and starting again: how long, and what it draws where it does not say so [common practice]."""


class Rest(msgspec.Struct, frozen=True, kw_only=True):
    """How long a machine stood still between two samples, in s. off: it was started anew; else it slept.

    why: why the time cannot be told; empty where it can.
    """

    seconds: float
    off: bool
    why: str = ""


def charge_lost(options: Mapping[str, str], context: Context) -> Probe:
    """Read what each battery loses while the machine is off or asleep, in points of its level in 24 h.

    Unit: %, for each pack. "least" (8 h) is the shortest rest that is judged. Asleep: the time that one
    boot's clocks saw pass without working. Off: the wall clock's time, where it is neither behind a time
    that the run knows nor behind what the run saw pass on another computer. Unknown where the level before
    or after is not told, where power came in meanwhile, and where the time cannot be told, or the boots.
    Aside: the loss in W, the energy before and after in Wh, the time in h.
    Source: 2 points in 12 h off are common practice, no source.
    Caution: a battery that was near liquid rests on bare metal or stone, near nothing that burns.
    """
    refuse_others("charge-lost", options, "least")
    return _ChargeLost(context, least_s=seconds_option(options, "least", _LEAST_S))


class _ChargeLost:
    def __init__(self, context: Context, *, least_s: float) -> None:
        self._context, self._least_s = context, least_s
        self._watched = Watched()
        self._before: Sample | None = None
        self._short_s: float | None = None
        self._silent = 0

    def step(self, sample: Sample) -> Working | Finding:
        self._watched.see(sample.at)
        if not sample.packs:
            return not_found(Unit.PERCENT, _SOURCE, why_no_pack(sample))
        if all(trusted(pack, "state_of_charge") is None for pack in sample.packs):
            self._silent += 1
            if self._silent >= _MOST_SILENT:
                return not_found(Unit.PERCENT, _SOURCE, "No battery tells its level.")
        before, self._before = self._before, sample
        # (1)
        rest = None if before is None else self._rest(before.at, sample.at)
        if before is not None and rest is not None:
            if rest.why:
                return not_found(Unit.PERCENT, _SOURCE, rest.why)
            if rest.seconds >= self._least_s:
                return self._end(before, sample, rest)
            self._short_s = rest.seconds
        # (2)
        if self._watched.seconds >= _PATIENCE_S:
            return not_found(Unit.PERCENT, _SOURCE, "The machine was asked to be left off, and was not.")
        text = f"Then leave it for {self._least_s / _HOUR_S:g} h or more."
        if self._short_s is not None:
            text = f"It rested for {self._short_s / _HOUR_S:.1f} h only. {text}"
        return Working(text=text, want=Want.REST)

    def _rest(self, before: Instant, now: Instant) -> Rest | None:
        """Return how long the machine stood still between two samples; None where it went on."""
        if before.boot_id == now.boot_id:
            if before.awake_s is None or now.awake_s is None:
                return None
            asleep_s = (now.elapsed_s - before.elapsed_s) - (now.awake_s - before.awake_s)
            return Rest(seconds=asleep_s, off=False) if asleep_s >= _CLOCK_S else None
        seconds = (now.wall - before.wall).total_seconds()
        said_at = self._context.said_at
        why = ""
        if min(before.wall.year, now.wall.year) < FIRST_YEAR or seconds <= 0:
            why = "The machine's clock did not run on: how long it was off cannot be told."
        elif said_at is not None and (said_at - now.wall).total_seconds() > _CLOCK_S:
            why = "The machine's clock is behind a time that this run knows: set it, and leave it off again."
        elif self._context.witnessed_s - seconds > _CLOCK_S or seconds > _LONGEST_S:
            why = "The machine's clock jumped while it was off: how long that was cannot be told."
        elif not now.started_since(before):
            # Perhaps the tool alone was ended.
            if seconds < self._least_s:
                return None
            why = "Whether the machine was off meanwhile is not told here: compare its level by hand."
        return Rest(seconds=max(0.0, seconds), off=True, why=why)

    def _end(self, before: Sample, now: Sample, rest: Rest) -> Finding:
        packs = {pack.name: pack for pack in before.packs}
        found = [self._pack(packs.get(pack.name), pack, now, rest) for pack in now.packs]
        said = "off" if rest.off else "asleep"
        texts = " ".join(text for _, _, text in found)
        aside = [one for _, more, _ in found for one in more]
        aside.append(
            Reading(value=rest.seconds / _HOUR_S, unit=Unit.HOUR, source=f"machine {said}, by its own clock")
        )
        return Finding(
            readings=tuple(reading for reading, _, _ in found),
            text=f"{rest.seconds / _HOUR_S:.1f} h {said}. {texts}",
            aside=tuple(aside),
        )

    def _pack(
        self, then: Pack | None, now: Pack, sample: Sample, rest: Rest
    ) -> tuple[Reading, tuple[Reading, ...], str]:
        """Return one pack's loss, what stands beside it, and a sentence."""
        source = f"{gauge_of(now)}, {_SOURCE}"

        def none(why: str) -> tuple[Reading, tuple[Reading, ...], str]:
            return Reading(value=None, unit=Unit.PERCENT, source=source, reason=why), (), f"{now.name}: {why}"

        if then is None:
            return none("It was not seen before the rest.")
        level_then, level_now = trusted(then, "state_of_charge"), trusted(now, "state_of_charge")
        full_wh = trusted(now, "full_charge_wh")
        wh_then, wh_now = trusted(then, "remaining_wh"), trusted(now, "remaining_wh")
        if level_then is None or level_now is None:
            return none("Its level is not told.")
        if sample.charger_seen is True:
            return none("The charger is in: what was lost has been put back, at least in part.")
        step = 1.0  # points: a level in whole per cent
        lost = 100 * (level_then - level_now)
        if full_wh and wh_then is not None and wh_now is not None:
            # One full charge for both: a gauge may learn another at a start.
            lost, step = 100 * (wh_then - wh_now) / full_wh, 0.0
        if lost < -_MORE_POINTS:
            return none("It holds more than before: power came in meanwhile.")
        days = rest.seconds / _DAY_S
        per_day = max(0.0, lost) / days
        drawn_w = trusted(now, "power_w")
        running_wh = (_RUNNING_W if not drawn_w else abs(drawn_w)) * _RUNNING_S / _HOUR_S
        running = 100 * running_wh / full_wh if full_wh else 0.0
        reading = Reading(
            value=per_day,
            unit=Unit.PERCENT,
            standard_uncertainty=combine(sqrt(2) * resolution(step), resolution(running)) / days,
            source=source,
        )
        aside: list[Reading] = []
        text = f"{now.name}: {100 * level_then:.1f} % before, {100 * level_now:.1f} % now."
        if wh_then is not None and wh_now is not None:
            lost_w = max(0.0, wh_then - wh_now) / (rest.seconds / _HOUR_S)
            aside = [
                Reading(
                    value=wh_then, unit=Unit.WATT_HOUR, source=f"{gauge_of(now)}, energy before the rest"
                ),
                Reading(value=wh_now, unit=Unit.WATT_HOUR, source=f"{gauge_of(now)}, energy after the rest"),
                Reading(value=lost_w, unit=Unit.WATT, source=f"{gauge_of(now)}, mean loss at rest"),
            ]
            text += f" That is {1000 * lost_w:.0f} mW."
        return reading, tuple(aside), text
