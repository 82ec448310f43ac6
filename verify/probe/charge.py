"""Automatic check: charge to full, and watch how that goes.

Each sample, in this order: (1) a hot pack stops it; (2) packs that are gone; (3) the charger, asked for
again whenever it is out, which starts the windows again; (4) each pack's own watch; (5) all full: done;
(6) charging stopped for 10 min below full: done with the level reached, or without a reading where a setting
may hold it, or where a level of 100 % is all that tells; (7) far too long, or a level that stands still for
hours while current flows: done without a reading.
"""

from collections.abc import Mapping

import msgspec

from verify.machine import Pack, Sample
from verify.measure.assumed import Assumed
from verify.measure.full import LEVEL_WITHOUT_WORD
from verify.measure.jeita import EXPECTED, WHAT_TO_DO, Band, band
from verify.probe.assumed_options import ASSUMED_OPTIONS, assumed_of, least_of
from verify.probe.charge_measure import ChargeMeasure
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_watch import PackWatch
from verify.probe.watching import (
    MOST_BLINKS,
    OFTEN_LOST,
    WARM_PAUSE_C,
    Asking,
    Watched,
    gauge_of,
    hot_pack,
    hot_stop,
    not_found,
    powered,
    refuse_others,
    seconds_across,
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Instant, Unit

STOPPED_S = 600.0
"""Charging that makes no headway for this long has stopped [common practice, no source]."""

_STOPPED_BLIND_S = 1800.0
"""The same where no rate can be read: at the taper a whole per cent takes up to half an hour."""

_STUCK_S = 3 * 3600.0  # a level that stands still this long while current flows is wrong [common practice]
_SAID_BEFORE_S = 300.0
_LONGEST_S = 10 * 3600.0
_NO_TIME_S = 1e-3  # what a step moves the measuring clock on where nobody knows how long it was


def charge_to_full(options: Mapping[str, str], context: Context) -> Probe:
    """Watch the charge until every pack is full; read the level reached.

    Unit: %, for each pack. Wants the charger in. Full is the pack's own word, or 99 % and a tapered rate
    over two windows of 40 s, with the charger in throughout. Charging that stops for 10 min of watched time
    below full ends it with the level reached (30 min where no rate can be read). Unknown where a setting may
    hold the charge, where a level of 99 % or more is all that tells, and for a pack that is gone.
    Meanwhile the capacity is counted: charge in over the levels, with its interval, between empty and full
    at rest.
    Aside: the energy that went in; capacity in Ah and Wh, how start and end are known, what the gauge shows
    of itself, phases and events; all by the gauge's own sensors. The time left has a band. As soon as it is
    sure that it holds "least" (90 %) of the label or not, that is said. Options besides: the assumed errors
    "gain", "offset", "level", "unproven", "full", "cell", "meter".
    Source: end-of-charge detection as gauge manuals describe it; the times are common practice, no source.
    Caution: stay in sight of a first charge. Stops at 60 °C, and where the battery's temperature never moves.
    Swelling, smell or hiss: pull the charger out.
    """
    refuse_others("charge-to-full", options, "least", *ASSUMED_OPTIONS)
    return _ChargeToFull(context=context, assumed=assumed_of(options), least=least_of(options))


class _ChargeToFull:
    def __init__(self, *, context: Context, assumed: Assumed, least: float) -> None:
        self._context, self._assumed, self._least = context, assumed, least
        self._measures: dict[str, ChargeMeasure] = {}
        self._asking = Asking(want=Want.CHARGER_IN)
        self._watches: dict[str, PackWatch] = {}
        self._watched = Watched()
        self._at_s = 0.0
        self._before: Instant | None = None
        self._unseen = 0

    def step(self, sample: Sample) -> Working | Finding:
        self._pass(sample.at)
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            reason = "Stopped: the battery is too hot."
            return self._end(reason, why=reason, stop=stop)
        # (2), (3) and (4)
        power_in = powered(sample)
        self._look(sample.packs, power_in=power_in)
        watches = self._watches.values()
        if not sample.packs:
            self._unseen += 1
            never = not watches and self._unseen > MOST_BLINKS
            if never or (watches and all(watch.gone for watch in watches)):
                return self._end(why_no_pack(sample), why=why_no_pack(sample))
            return Working(text="The battery is not seen at the moment.")
        if power_in is not True:
            waiting = self._asking.ask(sample, "Waiting for the charger.")
            if waiting is not None:
                return msgspec.structs.replace(waiting, text=self._lost(waiting.text))
            reason = "The charger was asked for and not seen."
            return self._end(reason, why=reason)
        self._asking.done()
        still = next((told for one in self._measures.values() if (told := one.warmth_stands)), None)
        if still is not None:
            return self._end(still, why=still)
        # (5) and (6)
        if all(watch.ended for watch in watches) or self._stopped():
            outside = _outside(sample.packs)
            if outside is not None and not all(watch.ended for watch in watches):
                return self._end(outside, why=outside)
            return self._end(self._lost(" ".join(self._named(watch, watch.said()) for watch in watches)))
        # (7)
        why = self._too_long()
        return self._working(sample) if why is None else self._end(self._lost(why), why=why)

    def _pass(self, now: Instant) -> None:
        """Move on to this sample. Across a restart nobody looked, and only the wall clock tells how long."""
        before, self._before = self._before, now
        step_s = self._watched.see(now)
        if step_s is not None or before is None:
            self._at_s += step_s or 0.0
            return
        away_s = seconds_across(before, now)
        for watch in self._watches.values():
            watch.unseen()
        for measure in self._measures.values():
            if away_s is None:
                measure.broken()
            else:
                measure.unseen()
        self._at_s += _NO_TIME_S if away_s is None else away_s

    def _look(self, packs: tuple[Pack, ...], *, power_in: bool | None) -> None:
        watched_s = self._watched.seconds
        for pack in packs:
            if pack.name not in self._watches:
                self._watches[pack.name] = PackWatch(pack, watched_s=watched_s)
                self._measures[pack.name] = ChargeMeasure(
                    pack, context=self._context, assumed=self._assumed, least=self._least
                )
            self._watches[pack.name].see(pack, self._at_s, watched_s=watched_s, power_in=power_in)
            self._measures[pack.name].see(pack, self._at_s, power_in=power_in)
        for name in self._watches.keys() - {pack.name for pack in packs}:
            self._watches[name].miss(watched_s)

    def _stopped(self) -> bool:
        """Tell whether no pack has charged for long; packs may take turns."""
        blind = any(watch.rate_c is None for watch in self._watches.values() if not watch.ended)
        headway_s = max(watch.headway_s for watch in self._watches.values())
        return self._watched.seconds - headway_s >= (_STOPPED_BLIND_S if blind else STOPPED_S)

    def _lost(self, text: str) -> str:
        times = self._asking.times_lost
        if times < OFTEN_LOST:
            return text
        return f"{text} The charger went away {times} times: look at its plug, lead and port."

    def _named(self, watch: PackWatch, text: str) -> str:
        return text if len(self._watches) == 1 or text.startswith(watch.name) else f"{watch.name}: {text}"

    def _too_long(self) -> str | None:
        watched_s = self._watched.seconds
        if watched_s >= _LONGEST_S:
            return f"Not full after {_LONGEST_S / 3600:.0f} h of watching."
        for watch in self._watches.values():
            if watch.stuck(watched_s) is not None and watched_s - watch.risen_s >= _STUCK_S:
                return (
                    f"The level has not risen for {_STUCK_S / 3600:.0f} h while current flows: "
                    "the battery cannot count. Pull the charger out."
                )
        return None

    def _end(self, text: str, *, why: str | None = None, stop: str | None = None) -> Finding:
        """End with what every pack reached; `why`: why none of that may be judged."""
        watches = tuple(self._watches.values())
        if why is not None and not watches:
            return Finding(
                readings=not_found(Unit.PERCENT, "battery gauge", why).readings, text=text, stop=stop
            )
        readings = tuple(
            watch.reading() if why is None else unknown(Unit.PERCENT, f"{gauge_of(watch.pack)}, level", why)
            for watch in watches
        )
        aside = [watch.energy() for watch in watches]
        said = [text]
        for watch in watches:
            measure = self._measures[watch.name]
            measured = measure.result
            aside += measure.aside(measured)
            if why is None:
                said.append(self._named(watch, measure.said(measured)))
        return Finding(readings=readings, text=" ".join(filter(None, said)), aside=tuple(aside), stop=stop)

    def _working(self, sample: Sample) -> Working:
        hottest = hot_pack(sample)
        if hottest is not None and hottest[0] >= WARM_PAUSE_C:
            return Working(text=f"The battery is at {hottest[0]:.0f} °C: pause and let it cool, then go on.")
        chilled = _outside(sample.packs)
        if chilled is not None:
            return Working(text=chilled)
        slowest = min(
            (watch for watch in self._watches.values() if not watch.ended),
            key=lambda watch: trusted(watch.pack, "state_of_charge") or 0.0,
        )
        level = trusted(slowest.pack, "state_of_charge")
        measure = self._measures[slowest.name]
        left = measure.seconds_left
        seconds_left = None if left is None else left.value
        band = None if left is None or not left.bounded else (left.low, left.high)
        special = slowest.held or slowest.stuck(self._watched.seconds)
        if special is not None:
            # Near its end it is known best how long the taper goes on.
            tapers = slowest.held is None and level is not None and level >= LEVEL_WITHOUT_WORD
            return Working(
                text=self._lost(self._named(slowest, special)),
                seconds_left=seconds_left if tapers else None,
                seconds_band=band if tapers else None,
            )
        if level is None:
            return Working(
                text="Charging; the level is not reported.", seconds_left=seconds_left, seconds_band=band
            )
        text = self._lost(self._named(slowest, f"Charging: {100 * level:.0f} %."))
        text = f"{text} {measure.decided}" if measure.decided else f"{text}{self._beginning(measure)}"
        start = slowest.start_level
        fraction = None
        if start is not None and start < 1:
            fraction = min(1.0, max(0.0, (level - start) / (1 - start)))
        return Working(text=text, fraction=fraction, seconds_left=seconds_left, seconds_band=band)

    def _beginning(self, measure: ChargeMeasure) -> str:
        return measure.begins() if self._watched.seconds < _SAID_BEFORE_S else ""


def _outside(packs: tuple[Pack, ...]) -> str | None:
    """Return what to expect and to do where a pack is too cold or too warm for a full charge, else None."""
    for pack in packs:
        celsius = trusted(pack, "temperature_c")
        where = Band.NORMAL if celsius is None else band(celsius)
        if where is not Band.NORMAL:
            return f"The battery is at {celsius:.0f} °C. {EXPECTED[where]} {WHAT_TO_DO[where]}"
    return None
