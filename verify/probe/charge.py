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
from verify.measure import seconds_to_full
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.pack_watch import PackWatch
from verify.probe.watching import (
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
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Unit

STOPPED_S = 600.0
"""Charging that makes no headway for this long has stopped [common practice, no source]."""

_STOPPED_BLIND_S = 1800.0
"""The same where no rate can be read: at the taper a whole per cent takes up to half an hour."""

_STUCK_S = 3 * 3600.0  # a level that stands still this long while current flows is wrong [common practice]
_LONGEST_S = 10 * 3600.0
_MOST_UNSEEN = 3  # a pack may vanish for some samples when the charger changes (observed in the field)
_UNSEEN_GAP_S = 300.0  # a step whose length cannot be told counts as a gap that nothing bridges


def charge_to_full(options: Mapping[str, str], context: Context) -> Probe:
    """Watch the charge until every pack is full; read the level reached.

    Unit: %, for each pack. Wants the charger in. Full is the pack's own word, or 99 % and a tapered rate
    over two windows of 40 s, with the charger in throughout. Charging that stops for 10 min of watched time
    below full ends it with the level reached (30 min where no rate can be read). Unknown where a setting may
    hold the charge, where a level of 99 % or more is all that tells, and for a pack that is gone.
    Aside: the energy that went in, by the gauge's own current sensor.
    Source: end-of-charge detection as gauge manuals describe it; the times are common practice, no source.
    Caution: stay in sight of a first charge. Stops at 60 °C. Swelling, smell or hiss: pull the charger out.
    """
    del context
    refuse_others("charge-to-full", options)
    return _ChargeToFull()


class _ChargeToFull:
    def __init__(self) -> None:
        self._asking = Asking(want=Want.CHARGER_IN)
        self._watches: dict[str, PackWatch] = {}
        self._watched = Watched()
        self._at_s = 0.0
        self._unseen = 0

    def step(self, sample: Sample) -> Working | Finding:
        step_s = self._watched.see(sample.at)
        self._at_s += _UNSEEN_GAP_S if step_s is None else step_s
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
            never = not watches and self._unseen > _MOST_UNSEEN
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
        # (5) and (6)
        if all(watch.ended for watch in watches) or self._stopped():
            return self._end(self._lost(" ".join(self._named(watch, watch.said()) for watch in watches)))
        # (7)
        why = self._too_long()
        return self._working(sample) if why is None else self._end(self._lost(why), why=why)

    def _look(self, packs: tuple[Pack, ...], *, power_in: bool | None) -> None:
        watched_s = self._watched.seconds
        for pack in packs:
            if pack.name not in self._watches:
                self._watches[pack.name] = PackWatch(pack, watched_s=watched_s)
            self._watches[pack.name].see(pack, self._at_s, watched_s=watched_s, power_in=power_in)
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
        aside = tuple(watch.energy() for watch in watches)
        return Finding(readings=readings, text=text, aside=aside, stop=stop)

    def _working(self, sample: Sample) -> Working:
        hottest = hot_pack(sample)
        if hottest is not None and hottest[0] >= WARM_PAUSE_C:
            return Working(text=f"The battery is at {hottest[0]:.0f} °C: pause and let it cool, then go on.")
        slowest = min(
            (watch for watch in self._watches.values() if not watch.ended),
            key=lambda watch: trusted(watch.pack, "state_of_charge") or 0.0,
        )
        level = trusted(slowest.pack, "state_of_charge")
        seconds_left = seconds_to_full(level, slowest.rate_c)
        special = slowest.held or slowest.stuck(self._watched.seconds)
        if special is not None:
            return Working(text=self._lost(self._named(slowest, special)))
        if level is None:
            return Working(text="Charging; the level is not reported.", seconds_left=seconds_left)
        text = self._lost(self._named(slowest, f"Charging: {100 * level:.0f} %."))
        start = slowest.start_level
        fraction = None
        if start is not None and start < 1:
            fraction = min(1.0, max(0.0, (level - start) / (1 - start)))
        return Working(text=text, fraction=fraction, seconds_left=seconds_left)
