"""What several automatic checks share: time that was watched, unknown readings, the charger, a hot pack.

Only watched time counts against patience or for a stall: a machine that slept, or a run that was closed for
the night, has not been watched.
"""

from collections.abc import Callable, Mapping

from verify.machine import Pack, PackState, Sample
from verify.machine.load_limit import PACK_STOP_C
from verify.machine.model import CHARGING_OFF, NO_BATTERY
from verify.measure.full import LEVEL_WITHOUT_WORD
from verify.probe.model import Finding, Want, Working
from verify.values import Instant, Reading, Unit, parse_quantity
from verify.values.errors import WrongUseError

LONGEST_STEP_S = 90.0
"""Between two samples further apart nobody watched, in s [the slowest reading is one a minute]."""

GAUGE = "battery gauge"
"""How the sources begin of what a battery's gauge tells; its name follows."""

FIRST_YEAR = 2024
"""No run of this tool is older: a clock before this stands at its epoch."""

_LONGEST_AWAY_S = 12 * 3600.0  # a clock that moved by more was set anew, or a night has passed

_UNTOLD_STEP_S = 10.0  # what a step counts whose length cannot be told, so that every watch ends
_UNWATCHED_STEP_S = 30.0  # what one counts that nobody watched: below any patience, and a slow reader ends

OFTEN_LOST = 5
"""A charger that went away so often by itself has a bad contact [common practice, no source]."""

PATIENCE_S = 900.0
"""How long a check waits for hands before it ends without a reading, in s [common practice, no source]."""

HOT_STOP_C = PACK_STOP_C
"""Pack temperature that stops a charge (published charging guideline for portable lithium packs)."""

WARM_PAUSE_C = 45.0
"""Pack temperature from which charging should pause (the same guideline's upper edge of normal)."""

_AGAIN_LOOKS, _AGAIN_S = 3, 20.0  # a firmware's moment of nonsense is shorter [common practice, no source]

MOST_BLINKS = 3
"""A pack may vanish for so many samples when the charger changes (observed in the field)."""

_NEAR_LIMIT = 0.05  # a pack rests this close below its limit [common practice, no source]

NO_CHARGER_INPUT = "Whether a charger is in cannot be read here."


def seconds_between(earlier: Instant, later: Instant) -> float | None:
    """Return the time between two instants, in s; None across a restart or where time runs backwards."""
    if earlier.boot_id != later.boot_id or later.elapsed_s < earlier.elapsed_s:
        return None
    return later.elapsed_s - earlier.elapsed_s


def seconds_across(earlier: Instant, later: Instant) -> float | None:
    """Return the time across a restart, in s, by the wall clock; None where that does not tell it.

    It does where it moved by 0 to 12 h and stood at its epoch neither before nor after.
    """
    if earlier.boot_id == later.boot_id or min(earlier.wall.year, later.wall.year) < FIRST_YEAR:
        return None
    seconds = (later.wall - earlier.wall).total_seconds()
    return seconds if 0 < seconds <= _LONGEST_AWAY_S else None


def unknown(unit: Unit, source: str, reason: str) -> Reading:
    """Return a reading without value."""
    return Reading(value=None, unit=unit, source=source, reason=reason)


def counted(value: int, source: str, doubt: str | None = None) -> Reading:
    """Return a count of pieces; doubt: why it is not sure, or None."""
    return Reading(
        value=float(value), unit=Unit.COUNT, standard_uncertainty=0.0, source=source, reason=doubt or None
    )


def not_found(unit: Unit, source: str, reason: str) -> Finding:
    """Return a finding that says only why nothing could be read."""
    return Finding(readings=(unknown(unit, source, reason),), text=reason)


def why_no_pack(sample: Sample) -> str:
    """Return why no pack is listed, as the machine says."""
    return sample.reasons.get("batteries") or NO_BATTERY


def gauge_of(pack: Pack) -> str:
    """Return the source of a reading that this pack's gauge gave."""
    return f"{GAUGE} {pack.name}"


def known(pack: Pack, field: str) -> tuple[float | None, str | None]:
    """Return a field's value and why it is unknown or doubted."""
    value: float | None = getattr(pack, field)
    if value is None:
        return None, pack.reasons.get(field) or f"The battery does not report its {_PLAIN[field]}."
    return value, pack.doubt(field)


def trusted(pack: Pack, field: str) -> float | None:
    """Return a field's value, None where it is unknown or doubted."""
    value: float | None = getattr(pack, field)
    return None if value is None or pack.doubt(field) is not None else value


_PLAIN = {
    "voltage_v": "voltage",
    "design_voltage_v": "nominal voltage",
    "full_charge_wh": "full capacity",
    "design_wh": "design capacity",
    "remaining_wh": "remaining energy",
    "state_of_charge": "level",
    "power_w": "power",
    "current_a": "current",
    "temperature_c": "temperature",
}


def powered(sample: Sample) -> bool | None:
    """Return whether power comes from outside; where no input can be read, what the packs do tells it."""
    if sample.charger_seen is not None:
        return sample.charger_seen
    states = {pack.state for pack in sample.packs if pack.doubt("state") is None}
    if states & {PackState.CHARGING, PackState.FULL}:
        return True
    return False if PackState.DISCHARGING in states else None


def hot_pack(sample: Sample) -> tuple[float, str] | None:
    """Return the hottest trusted pack temperature, in °C, with the pack's name; None where none is known."""
    temperatures = [
        (pack.temperature_c, pack.name)
        for pack in sample.packs
        if pack.temperature_c is not None and pack.doubt("temperature_c") is None
    ]
    return max(temperatures, default=None)


def hot_stop(sample: Sample) -> str | None:
    """Return what to do at once where a pack is at 60 °C or more, else None."""
    hottest = hot_pack(sample)
    if hottest is None or hottest[0] < HOT_STOP_C:
        return None
    return (
        f"The battery is at {hottest[0]:.0f} °C. Pull the charger out, switch off, keep clear of anything "
        "that burns. Smoke, hiss or swelling: leave, warn others, call the fire service."
    )


def held_back(pack: Pack) -> str | None:
    """Return which setting may keep the pack from charging now, and what to do; None where none shows."""
    if pack.state not in (PackState.HOLDING, PackState.FULL):
        return None
    if CHARGING_OFF in (pack.doubt("state") or ""):
        return f"{CHARGING_OFF}. Switch it on and charge again; set it back at the end."
    limit, level = pack.charge_limit, pack.state_of_charge
    if limit is None or limit >= LEVEL_WITHOUT_WORD:
        return None
    if level is not None and level < limit - _NEAR_LIMIT:
        return (
            f"It does not charge at {100 * level:.0f} %, below the charge limit of {100 * limit:.0f} %. "
            "Lift the limit and charge again: that shows whether the limit is the cause."
        )
    return (
        f"Charging is held at {100 * limit:.0f} % by a charge limit set in the machine. "
        "Lift the limit and charge again; set it back at the end."
    )


class Watched:
    """Counts the time that was watched, from the first sample on."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self._before: Instant | None = None

    def see(self, now: Instant) -> float | None:
        """Count up to this sample; return the step in s, None where its length cannot be told."""
        step_s = 0.0 if self._before is None else seconds_between(self._before, now)
        self._before = now
        if step_s is None:
            self.seconds += _UNTOLD_STEP_S
        else:
            self.seconds += step_s if step_s <= LONGEST_STEP_S else _UNWATCHED_STEP_S
        return step_s


def is_told(finding: Finding) -> bool:
    """Tell whether everything that was found has a value, and none is in doubt."""
    return all(reading.value is not None and reading.reason is None for reading in finding.readings)


class UntilTold:
    """A check that one sample answers, looked at again for a while where that sample does not tell.

    Firmware gives single wrong values, and a pack may be gone for a moment after a change of charger
    (observed in the field). told: whether a finding needs no second look.
    """

    def __init__(
        self, look: Callable[[Sample], Finding], *, told: Callable[[Finding], bool] = is_told
    ) -> None:
        self._look, self._told = look, told
        self._watched = Watched()
        self._looks = 0

    def step(self, sample: Sample) -> Working | Finding:
        """Look once more; after three looks and 20 s it is as it is."""
        self._watched.see(sample.at)
        self._looks += 1
        finding = self._look(sample)
        if self._told(finding) or (self._looks >= _AGAIN_LOOKS and self._watched.seconds >= _AGAIN_S):
            return finding
        return Working(text=f"Looking again. {finding.text}")


class Asking:
    """A wait for hands that ends: `ask` says it again until patience is over.

    times_lost: how often what was there went away again.
    """

    def __init__(self, *, want: Want, patience_s: float = PATIENCE_S) -> None:
        self._want = want
        self._patience_s = patience_s
        self._waited = Watched()
        self._there = False
        self.times_lost = 0

    def ask(self, sample: Sample, text: str) -> Working | None:
        """Ask once more; None when patience is over."""
        self.times_lost += self._there
        self._there = False
        self._waited.see(sample.at)
        return Working(text=text, want=self._want) if self._waited.seconds < self._patience_s else None

    def done(self) -> None:
        """Note that it is there, and forget how long it took: the next wait begins anew."""
        self._there = True
        self._waited = Watched()


def seconds_option(options: Mapping[str, str], name: str, default_s: float) -> float:
    """Read a time from a check's options, in s, above 0.

    Raises InvalidValueError where it is no time, WrongUseError where it is not above 0.
    """
    if name not in options:
        return default_s
    seconds = parse_quantity(options[name]).to(Unit.SECOND).value
    if seconds <= 0:
        raise WrongUseError(f'"{name}" is "{options[name]}": it must be above 0 s.')
    return seconds


def refuse_others(probe: str, options: Mapping[str, str], *allowed: str) -> None:
    """Raise WrongUseError where an option is given that the check does not have."""
    strange = sorted(set(options) - set(allowed))
    if strange:
        has = f"It has: {', '.join(allowed)}." if allowed else "It has none."
        raise WrongUseError(f'The automatic check "{probe}" has no option "{strange[0]}".', next_step=has)
