"""Automatic check: charge to full, and watch how that goes.

Each sample, in this order: (1) a hot pack stops it; (2) packs that are gone; (3) the charger, asked for
again whenever it is out, which starts the windows again; (4) each pack's own watch; (5) all full: done;
(6) charging stopped for 10 min below full: done with the level reached, or without a reading where a
visible charge limit holds it; (7) far too long: done without a reading.
"""

from collections.abc import Mapping

from verify.machine import Pack, PackState, Sample
from verify.measure import (
    ChargePoint,
    FullWatch,
    advance,
    energy_in,
    resolution,
    seconds_to_full,
)
from verify.measure.full import LEVEL_WITHOUT_WORD
from verify.probe.model import Context, Finding, Probe, Want, Working
from verify.probe.watching import (
    WARM_PAUSE_C,
    Asking,
    gauge_of,
    hot_pack,
    hot_stop,
    known,
    not_found,
    powered,
    refuse_others,
    seconds_between,
    trusted,
    unknown,
    why_no_pack,
)
from verify.values import Instant, Reading, Unit

STOPPED_S = 600.0
"""Charging that makes no headway for this long has stopped [common practice, no source]."""

_LONGEST_S = 10 * 3600.0
_GONE_S = 60.0  # a pack may vanish for a moment when the charger changes (observed in the field)
_HEADWAY_LEVEL = 0.002
_HEADWAY_C = 0.02
_LEVEL_STEP_PERCENT = 1.0


def charge_to_full(options: Mapping[str, str], context: Context) -> Probe:
    """Watch the charge until every pack is full; read the level reached.

    Unit: %, for each pack. Wants the charger in. Full is the pack's own word, or 99 % and a tapered rate
    over two windows of 40 s, with the charger in throughout. Charging that stops for 10 min below full ends
    it with the level reached; held by a visible charge limit it is unknown, and says what to do.
    Aside: the energy that went in, by the gauge's own current sensor.
    Source: end-of-charge detection as gauge manuals describe it; 10 min are common practice, no source.
    Caution: stay in sight of a first charge. Stops at 60 °C. Swelling, smell or hiss: pull the charger out.
    """
    del context
    refuse_others("charge-to-full", options)
    return _ChargeToFull()


def _rate_c(pack: Pack) -> float | None:
    """Return the rate into the pack in C, by current where it can be told, else by power."""
    design_wh, design_v = trusted(pack, "design_wh"), trusted(pack, "design_voltage_v")
    current_a, power_w = trusted(pack, "current_a"), trusted(pack, "power_w")
    full_wh = design_wh or trusted(pack, "full_charge_wh")
    if current_a is not None and design_v and design_wh:
        return current_a * design_v / design_wh
    return power_w / full_wh if power_w is not None and full_wh else None


def _limit(pack: Pack) -> float | None:
    """Return the visible charge limit where it stands below full."""
    limit = pack.charge_limit
    return limit if limit is not None and limit < LEVEL_WITHOUT_WORD else None


class _PackWatch:
    """What is known of one pack since the watch began; times in s since then."""

    def __init__(self, pack: Pack) -> None:
        self.name = pack.name
        self.pack = pack
        self.start_level = trusted(pack, "state_of_charge")
        self.full = FullWatch()
        self.reached = False
        self._times_s: list[float] = []
        self._powers_w: list[float | None] = []
        self._mark = self.start_level

    def see(self, pack: Pack, at_s: float, *, power_in: bool | None) -> bool:
        """Take in one look; return whether charging made headway."""
        self.pack = pack
        level, rate_c = trusted(pack, "state_of_charge"), _rate_c(pack)
        trusted_state = PackState.UNKNOWN if pack.doubt("state") else pack.state
        point = ChargePoint(
            at_s=at_s,
            powered=power_in,
            says_full=trusted_state is PackState.FULL and _limit(pack) is None,
            level=level,
            rate_c=rate_c,
        )
        self.full = advance(self.full, point)
        # A pack that was full stays so while another is charged, as long as the charger stays in.
        self.reached = power_in is True and (self.reached or self.full.reached)
        self._times_s.append(at_s)
        self._powers_w.append(trusted(pack, "power_w"))
        risen = level is not None and (self._mark is None or level >= self._mark + _HEADWAY_LEVEL)
        if risen:
            self._mark = level
        return risen or (rate_c is not None and rate_c >= _HEADWAY_C)

    @property
    def held_at(self) -> float | None:
        """The visible limit that holds the charge, if one does."""
        held = not self.reached and self.pack.state in (PackState.HOLDING, PackState.FULL)
        return _limit(self.pack) if held else None

    def reading(self) -> Reading:
        """Return the level reached, in %."""
        source = f"{gauge_of(self.pack)}, level"
        if self.held_at is not None:
            reason = (
                f"Charging is held at {100 * self.held_at:.0f} % by a charge limit set in the machine. "
                "Lift the limit, charge again, and put it back at the end."
            )
            return unknown(Unit.PERCENT, source, reason)
        level, doubt = known(self.pack, "state_of_charge")
        if level is None and self.reached:
            # Full by the pack's own word: the whole of what it holds.
            level, doubt, source = 1.0, None, f"{gauge_of(self.pack)}, its own word"
        if level is None:
            return unknown(Unit.PERCENT, source, doubt or "")
        return Reading(
            value=100 * level,
            unit=Unit.PERCENT,
            standard_uncertainty=resolution(_LEVEL_STEP_PERCENT),
            source=source,
            reason=doubt,
        )

    def energy(self) -> Reading:
        """Return the net energy that went in since the watch began."""
        start = "" if self.start_level is None else f", from {100 * self.start_level:.0f} % on"
        source = f"{gauge_of(self.pack)}, its own current sensor: net energy that went in{start}"
        return energy_in(self._times_s, self._powers_w, source=source)

    def said(self) -> str:
        """Say in one sentence where the pack stands."""
        energy = self.energy()
        went_in = "" if energy.value is None else f" {energy.value:.1f} Wh went in."
        if self.reached:
            return f"The battery is full.{went_in}"
        if self.held_at is not None:
            return (
                f"Charging is held at {100 * self.held_at:.0f} % by a charge limit. Lift it and charge again."
            )
        level = trusted(self.pack, "state_of_charge")
        at = "an unknown level" if level is None else f"{100 * level:.0f} %"
        if self.pack.state is PackState.DISCHARGING:
            return f"The charger is in, and still the battery is drained, now at {at}: a weak charger."
        return f"Charging stopped at {at}, and no limit is visible.{went_in}"


class _ChargeToFull:
    def __init__(self) -> None:
        self._asking = Asking(want=Want.CHARGER_IN)
        self._watches: dict[str, _PackWatch] = {}
        self._before: Instant | None = None
        self._at_s = 0.0
        self._headway_s = 0.0
        self._seen_s = 0.0

    def step(self, sample: Sample) -> Working | Finding:
        self._count_time(sample.at)
        # (1)
        stop = hot_stop(sample)
        if stop is not None:
            return self._end(
                "Stopped: the battery is too hot.", why="Stopped: the battery is too hot.", stop=stop
            )
        # (2)
        if not sample.packs:
            return self._gone(sample)
        self._seen_s = self._at_s
        # (3) and (4)
        power_in = powered(sample)
        if self._look(sample.packs, power_in=power_in) or power_in is not True:
            self._headway_s = self._at_s
        if power_in is not True:
            waiting = self._asking.ask(sample, "Waiting for the charger.")
            if waiting is not None:
                return waiting
            reason = "The charger was asked for and not seen."
            return self._end(reason, why=reason)
        self._asking.done()
        # (5) and (6)
        done = all(watch.reached for watch in self._watches.values())
        if done or self._at_s - self._headway_s >= STOPPED_S:
            return self._end(" ".join(watch.said() for watch in self._watches.values()))
        # (7)
        if self._at_s >= _LONGEST_S:
            reason = f"Not full after {_LONGEST_S / 3600:.0f} h of watching."
            return self._end(reason, why=reason)
        return self._working(sample)

    def _count_time(self, now: Instant) -> None:
        passed_s = 0.0 if self._before is None else seconds_between(self._before, now)
        # Time that cannot be told counts as a gap that nothing bridges.
        self._at_s += STOPPED_S / 2 if passed_s is None else passed_s
        self._before = now

    def _gone(self, sample: Sample) -> Working | Finding:
        if self._watches and self._at_s - self._seen_s < _GONE_S:
            return Working(text="The battery is not seen at the moment.")
        return self._end(why_no_pack(sample), why=why_no_pack(sample))

    def _look(self, packs: tuple[Pack, ...], *, power_in: bool | None) -> bool:
        headway = False
        for pack in packs:
            watch = self._watches.setdefault(pack.name, _PackWatch(pack))
            headway = watch.see(pack, self._at_s, power_in=power_in) or headway
        return headway

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
            (watch for watch in self._watches.values() if not watch.reached),
            key=lambda watch: trusted(watch.pack, "state_of_charge") or 0.0,
        )
        level = trusted(slowest.pack, "state_of_charge")
        if slowest.held_at is not None:
            return Working(
                text=f"Charging is held at {100 * slowest.held_at:.0f} % by a charge limit. Lift it to go on."
            )
        seconds_left = seconds_to_full(level, _rate_c(slowest.pack))
        if level is None:
            return Working(text="Charging; the level is not reported.", seconds_left=seconds_left)
        text = f"Charging: {100 * level:.0f} %."
        start = slowest.start_level
        fraction = None
        if start is not None and start < 1:
            fraction = min(1.0, max(0.0, (level - start) / (1 - start)))
        return Working(text=text, fraction=fraction, seconds_left=seconds_left)
