"""One pack under a watch: does it charge, is it full, is it held, stuck or gone."""

from statistics import median

from verify.machine import Pack, PackState
from verify.machine.model import FULL_YET_FLOWS
from verify.measure import ChargePoint, FullWatch, Integral, advance, resolution
from verify.measure.full import LEVEL_WITHOUT_WORD, TAPER_C
from verify.probe.pack_belief import Belief, why_stopped
from verify.probe.watching import gauge_of, held_back, known, trusted, unknown
from verify.values import Reading, Unit

STANDS_STILL_S = 600.0
"""A level that stands still this long while current flows is told [common practice, no source]."""

_GONE_S = 60.0  # a pack may vanish for a moment when the charger changes (observed in the field)
_GONE_SAMPLES = 2
_HEADWAY_LEVEL = 0.002
_HEADWAY_C = 0.02
_LEVEL_STEP_PERCENT = 1.0
_LOOKS_AT_FULL = 5  # a level that does not fit "full" is looked at so often [common practice, no source]


def _rate_c(pack: Pack) -> float | None:
    """Return the rate into the pack in C, by current where it can be told, else by power."""
    design_wh, design_v = trusted(pack, "design_wh"), trusted(pack, "design_voltage_v")
    current_a, power_w = trusted(pack, "current_a"), trusted(pack, "power_w")
    full_wh = design_wh or trusted(pack, "full_charge_wh")
    if current_a is not None and design_v and design_wh:
        return current_a * design_v / design_wh
    return power_w / full_wh if power_w is not None and full_wh else None


class PackWatch:
    """What is known of one pack since the watch began; times in s since then.

    gone: it is not listed any more. rate_c: at the last look. headway_s, risen_s: the watched time at which
    it last charged, and at which its level last rose.
    """

    def __init__(self, pack: Pack, *, watched_s: float) -> None:
        self.name = pack.name
        self.pack = pack
        self.start_level = trusted(pack, "state_of_charge")
        self.full = FullWatch()
        self.reached = False
        self.gone = False
        self.rate_c: float | None = None
        self.headway_s = self.risen_s = self._seen_s = watched_s
        self._missed = 0
        self._energy = Integral()
        self._mark = self.start_level
        self._belief = Belief()
        self._at_full: list[float | None] = []

    def see(self, pack: Pack, at_s: float, *, watched_s: float, power_in: bool | None) -> None:
        """Take in one look."""
        self.pack = pack
        self.gone, self._missed, self._seen_s = False, 0, watched_s
        level, self.rate_c = trusted(pack, "state_of_charge"), _rate_c(pack)
        self._belief.see(pack, level, at_s)
        doubt = pack.doubt("state") or ""
        if self._belief.rate_wrong:
            self.rate_c = None
            doubt = "" if doubt.startswith(FULL_YET_FLOWS) else doubt
        trusted_state = PackState.UNKNOWN if doubt else pack.state
        point = ChargePoint(
            at_s=at_s,
            powered=power_in,
            says_full=trusted_state is PackState.FULL and held_back(pack) is None,
            level=level,
            rate_c=self.rate_c,
        )
        self.full = advance(self.full, point)
        # A pack that was full stays so while another is charged, as long as the charger stays in.
        was_reached = self.reached
        self.reached = power_in is True and (was_reached or self.full.reached)
        self._at_full = [*self._at_full, level][-_LOOKS_AT_FULL:] if self.reached else []
        self._energy.add(at_s, trusted(pack, "power_w"))
        risen = level is not None and (self._mark is None or level >= self._mark + _HEADWAY_LEVEL)
        if risen:
            self._mark = level
        if risen or level is None or power_in is not True:
            self.risen_s = watched_s
        if risen:
            self._belief.rises()
        elif self._flows and level is not None and watched_s - self.risen_s >= STANDS_STILL_S:
            self._belief.stands(level, watched_s - self.risen_s)
        # A pack that has just become full gives the next one its turn.
        if risen or self._flows or power_in is not True or (self.reached and not was_reached):
            self.headway_s = watched_s

    @property
    def _flows(self) -> bool:
        return self.rate_c is not None and self.rate_c >= _HEADWAY_C

    def unseen(self) -> None:
        """Note that the machine was started anew: nobody saw the time up to the next look."""
        self._energy.lose("The machine was started anew: what flowed meanwhile was not seen.")
        self.full = FullWatch()
        self._belief.unseen()

    def miss(self, watched_s: float) -> None:
        """Note that it is not listed at this look."""
        self._missed += 1
        if self._missed >= _GONE_SAMPLES and watched_s - self._seen_s >= _GONE_S:
            self.gone, self.reached = True, False

    @property
    def ended(self) -> bool:
        """Whether nothing more is to be awaited of it: it is full, or gone."""
        if self.reached and not self.gone and len(self._at_full) < _LOOKS_AT_FULL:
            # A single wrong reading is not what is told of a whole charge.
            last = self._at_full[-1] if self._at_full else None
            return last is not None and last >= LEVEL_WITHOUT_WORD
        return self.reached or self.gone

    def stuck(self, watched_s: float) -> str | None:
        """Return what to say where current flows and the level stands still for long; else None."""
        level, power_w = trusted(self.pack, "state_of_charge"), trusted(self.pack, "power_w")
        if self.ended or level is None or power_w is None or not self._flows:
            return None
        if watched_s - self.risen_s >= STANDS_STILL_S:
            minutes = (watched_s - self.risen_s) / 60
            return (
                f"It has said {100 * level:.0f} % for {minutes:.0f} min, and still {power_w:.0f} W go in. "
                "See that nothing gets hot or swells."
            )
        if level >= LEVEL_WITHOUT_WORD and self.rate_c is not None and self.rate_c > TAPER_C:
            return f"It says {100 * level:.0f} %, and still {power_w:.0f} W go in: not full yet."
        return None

    @property
    def held(self) -> str | None:
        """Which setting may hold the charge, and what to do; None where none shows."""
        return None if self.ended else held_back(self.pack)

    @property
    def _disbelieved(self) -> str | None:
        """Why the level that it stopped at, or reached, says nothing of the pack; None where it does."""
        return self._belief.why_not or (None if self.reached else why_stopped(self.pack))

    @property
    def _gone_why(self) -> str:
        return f"{self.name} is not seen any more. Switch off before you touch its plug."

    def reading(self) -> Reading:
        """Return the level reached, in %."""
        source = f"{gauge_of(self.pack)}, level"
        why = self._gone_why if self.gone else self.held
        if why is not None:
            return unknown(Unit.PERCENT, source, why)
        level, doubt = known(self.pack, "state_of_charge")
        told = [one for one in self._at_full if one is not None]
        if told and len(self._at_full) >= _LOOKS_AT_FULL:
            level, doubt = median(told), None
        doubt = doubt or self._disbelieved
        if level is None:
            said = "It says full, but not how full. " if self.reached else ""
            return unknown(Unit.PERCENT, source, f"{said}{doubt or ''}")
        if not self.reached and level >= LEVEL_WITHOUT_WORD and self.rate_c is None:
            # A gauge may stand at 100 % while current still flows.
            doubt = doubt or "Whether current still flows cannot be read, so whether it is full is not known."
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
        return self._energy.per_hour(unit=Unit.WATT_HOUR, source=source)

    def said(self) -> str:
        """Say in a sentence or two where the pack stands."""
        if self.gone:
            return self._gone_why
        if self.held is not None:
            return self.held
        energy = self.energy()
        went_in = "" if energy.value is None else f" {energy.value:.1f} Wh went in."
        if self._disbelieved is not None:
            return f"{self._disbelieved}{went_in}"
        level = trusted(self.pack, "state_of_charge")
        if self.reached and (level is None or level >= LEVEL_WITHOUT_WORD):
            return f"The battery is full.{went_in}"
        if self.reached and level is not None:
            return f"The battery says that it is full at {100 * level:.0f} %.{went_in}"
        at = "an unknown level" if level is None else f"{100 * level:.0f} %"
        if self.pack.state is PackState.DISCHARGING:
            return f"The charger is in, and still the battery is drained, now at {at}: a weak charger."
        if self.rate_c is None:
            return f"The level has stopped at {at}; whether current flows cannot be read."
        return f"Charging stopped at {at}, and no limit is visible.{went_in}"
