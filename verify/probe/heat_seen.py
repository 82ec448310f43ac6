"""What a run of full load shows beside the margin: at rest, under load, after it.

Clock: the lowest mean of ten seconds, as a single reading may be a wish or a moment (common practice). Fans:
the last speed at rest, the highest under load, the last one after it.
"""

from verify.machine import Sample
from verify.measure import resolution
from verify.measure.warming import Warmed, Warming
from verify.probe.heat_told import (
    AFTER,
    BASE_CLOCK,
    FAN_AFTER,
    FAN_LOADED,
    FAN_REST,
    FAST,
    LEAST_CLOCK,
    LOADED_FOR,
    REST,
    SLOW,
    STEADY,
    THROTTLED,
    banded,
    named,
)
from verify.values import Reading, Unit

__all__ = ["HeatSeen"]

_CLOCK_S = 10.0
_CLOCK_FROM_S = 3.0  # it may take so long to rise
_BELOW_BASE = 0.97
_STEP_C = 1.0
_NO_FIT = "Nothing was fitted."


class HeatSeen:
    """Fed in three phases; `asides` tells all of it as readings."""

    def __init__(self) -> None:
        self.loaded_s = 0.0
        self._rest: tuple[str, float] | None = None
        self._after_c: float | None = None
        self._base_mhz: float | None = None
        self._no_base = self._no_clock = self._no_count = "It was not told."
        self._fans: dict[str, dict[str, tuple[float | None, str]]] = {
            FAN_REST: {},
            FAN_LOADED: {},
            FAN_AFTER: {},
        }
        self.again()

    def again(self) -> None:
        """Forget what was seen under load: it begins anew."""
        self.loaded_s = self._in_load_s = 0.0
        self.warming, self._cooling = Warming(), Warming()
        self._known = Warmed(why="Too early.")
        self._least_mhz: float | None = None
        self._clocks: list[float] = []
        self._clocks_s = 0.0
        self._first_count: int | None = None
        self._throttled: int | None = None
        self._fans[FAN_LOADED] = {}

    def at_rest(self, sample: Sample, celsius: float, sensor: str) -> None:
        """Take in a sample of a quiet machine before the load; the last one counts."""
        self._rest = sensor, celsius
        self._take_fans(FAN_REST, sample)

    def loaded(self, sample: Sample, celsius: float, step_s: float) -> None:
        """Take in a sample under full load, step_s after the one before."""
        self._in_load_s += step_s
        cpu = sample.cpu
        if cpu.frequency_base_mhz is not None:
            self._base_mhz = cpu.frequency_base_mhz
        self._no_base = cpu.reasons.get("frequency_base_mhz") or self._no_base
        self._no_clock = cpu.reasons.get("frequency_mhz") or self._no_clock
        self._no_count = cpu.reasons.get("throttle_count") or self._no_count
        if cpu.throttle_count is not None:
            if self._first_count is None or cpu.throttle_count < self._first_count:
                self._first_count = cpu.throttle_count
            self._throttled = cpu.throttle_count - self._first_count
        self._take_clock(cpu.frequency_mhz, step_s)
        self._take_fans(FAN_LOADED, sample)
        self.warming.see(
            sample.at.elapsed_s,
            celsius,
            rpm=_fastest(sample),
            throttled=self._taken_back,
            load=cpu.load,
        )

    @property
    def _taken_back(self) -> bool:
        if self._throttled is not None:
            return self._throttled > 0
        below = self._least_mhz is not None and self._base_mhz is not None
        return below and (self._least_mhz or 0.0) < _BELOW_BASE * (self._base_mhz or 0.0)

    def _take_clock(self, megahertz: float | None, step_s: float) -> None:
        if megahertz is None or self._in_load_s <= _CLOCK_FROM_S:
            return
        self._clocks.append(megahertz)
        self._clocks_s += step_s
        if self._clocks_s >= _CLOCK_S:
            mean = sum(self._clocks) / len(self._clocks)
            self._least_mhz = mean if self._least_mhz is None else min(self._least_mhz, mean)
            self._clocks, self._clocks_s = [], 0.0

    def after(self, sample: Sample, celsius: float) -> None:
        """Take in a sample after the load."""
        self._after_c = celsius
        self._cooling.see(sample.at.elapsed_s, celsius, rpm=_fastest(sample))
        self._take_fans(FAN_AFTER, sample)

    def forget_after(self) -> None:
        """Forget what was seen after the load: the machine was not left alone."""
        self._after_c, self._fans[FAN_AFTER] = None, {}

    def _take_fans(self, phase: str, sample: Sample) -> None:
        seen = self._fans[phase]
        for fan in sample.fans:
            name = f"{fan.chip} {fan.label}".strip()
            rpm = None if fan.rpm is None else float(fan.rpm)
            before = seen.get(name, (None, ""))[0]
            if phase == FAN_LOADED and before is not None and (rpm is None or rpm < before):
                continue
            seen[name] = rpm, fan.reason or ""

    @property
    def calmed(self) -> bool:
        """Whether every fan turns clearly slower than it did under load, or stands."""
        loaded, after = self._fans[FAN_LOADED], self._fans[FAN_AFTER]
        return bool(after) and all(
            rpm is not None and rpm <= 0.6 * (loaded.get(name, (None, ""))[0] or 0.0)
            for name, (rpm, _) in after.items()
        )

    def known(self) -> Warmed:
        """Fit what was seen under load: some ms; every half minute at most."""
        self._known = self.warming.result()
        return self._known

    def asides(self) -> tuple[Reading, ...]:
        """Return all of it as readings that no limit judges."""
        known = self.known()
        found = [
            Reading(
                value=round(self.loaded_s, 1), unit=Unit.SECOND, standard_uncertainty=0.0, source=LOADED_FOR
            ),
            banded(known.steady_c, Unit.CELSIUS, STEADY, known.why),
            banded(known.fast_s if known.steady_c else None, Unit.SECOND, FAST, known.why or _NO_FIT),
            banded(known.slow_s if known.steady_c else None, Unit.SECOND, SLOW, known.why or _NO_FIT),
            _plain(self._least_mhz, Unit.MEGAHERTZ, LEAST_CLOCK, self._no_clock),
            _plain(self._base_mhz, Unit.MEGAHERTZ, BASE_CLOCK, self._no_base),
            _plain(
                None if self._throttled is None else float(self._throttled),
                Unit.COUNT,
                THROTTLED,
                self._no_count,
            ),
        ]
        if self._rest is not None:
            sensor, celsius = self._rest
            found.append(_degrees(celsius, named(REST, sensor)))
        if self._after_c is not None:
            cooled = self._cooling.result()
            found.append(_degrees(self._after_c, AFTER))
            found.append(banded(cooled.steady_c, Unit.CELSIUS, f"{AFTER}, where it ends", cooled.why))
        for phase, fans in self._fans.items():
            found += [
                _plain(rpm, Unit.RPM, named(phase, name), why or "It told no speed.", doubt=why or None)
                for name, (rpm, why) in fans.items()
            ]
        return tuple(found)


def _degrees(celsius: float, source: str) -> Reading:
    return Reading(value=celsius, unit=Unit.CELSIUS, standard_uncertainty=resolution(_STEP_C), source=source)


def _plain(value: float | None, unit: Unit, source: str, why: str, *, doubt: str | None = None) -> Reading:
    if value is None:
        return Reading(value=None, unit=unit, source=source, reason=why)
    return Reading(value=round(value, 1), unit=unit, source=source, reason=doubt)


def _fastest(sample: Sample) -> float | None:
    return max((float(fan.rpm) for fan in sample.fans if fan.rpm is not None), default=None)
