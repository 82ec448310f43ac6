"""Whether a full load may go on: one rule for real and simulated machines, and its limits.

Each sample, in this order: (1) it is of this boot, newer than the one before, and its lease of 3 s has not
run out; (2) no pack is too hot; (3) a processor temperature can be trusted; (4) it is below the sensor's
limit; (5) it has moved since the load began, if it was cool then. Whatever fails ends the load, and says so.

A reading is fresh by the sample's own instant: a read that hangs brings no sample, and the lease runs out.
A sensor that shows one value for ever is told by (5) only: the processor of every laptop warms by a step or
more within seconds of full load, but once it is warm it may well stand still, so later nothing is told by it.
"""

from collections.abc import Iterable

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.model import Sample, Temperature
from verify.values import Instant

__all__ = ["BELOW_CRITICAL_K", "LEASE_S", "PACK_STOP_C", "Lease", "load_limit_c", "processor_sensors"]

LEASE_S = 3.0
"""How long a load may go on after the instant of the last good reading, in s."""

BELOW_CRITICAL_K = 5.0
"""A load ends this far below the temperature at which the hardware would act, in K [common practice]."""

FALLBACK_C = 95.0
"""The limit of a sensor that states none, in °C [common practice, no source]."""

PACK_STOP_C = 60.0
"""Pack temperature that stops charge and load (published charging guideline for portable lithium packs)."""

CRITICAL_C = (60.0, 125.0)
"""A critical temperature outside is not set, or wrong, in °C [common practice, no source]."""

STILL_S = 4.0
"""A cool sensor that has not moved by so long after full load began is not trusted [common practice]."""

WARM_C = 60.0
"""From here on a processor may be as warm as it gets, as after an earlier load, in °C [common practice]."""

# Kernel drivers whose sensors sit in the processor; firmware zones do not say what they measure.
_PROCESSOR_CHIPS = frozenset(
    {"coretemp", "k10temp", "zenpower", "cpu_thermal", "cpu-thermal", "x86_pkg_temp"}
)


def processor_sensors(sensors: Iterable[Temperature]) -> list[tuple[Temperature, float]]:
    """Return the sensors in the processor whose reading can be trusted, each with its temperature in °C."""
    return [
        (sensor, sensor.celsius)
        for sensor in sensors
        if sensor.chip in _PROCESSOR_CHIPS
        and sensor.reason is None
        and sensor.celsius is not None
        and within(sensor.celsius, bounds.CELSIUS)
    ]


def load_limit_c(sensor: Temperature) -> float:
    """Return the temperature at which a load ends, in °C.

    The lower of the driver's own limit (temp*_max) and 5 K below critical (temp*_crit); 95 °C where the
    sensor states neither. Source: Linux Documentation/hwmon/sysfs-interface.rst for what the two mean.
    """
    limits = [
        *([sensor.high] if sensor.high is not None and within(sensor.high, CRITICAL_C) else []),
        *(
            [sensor.critical - BELOW_CRITICAL_K]
            if sensor.critical is not None and within(sensor.critical, CRITICAL_C)
            else []
        ),
    ]
    return min(limits, default=FALLBACK_C)


class Lease:
    """The leave to load, renewed sample by sample; once refused it stays refused."""

    def __init__(self, *, now: Instant, longest_s: float) -> None:
        self._began = now
        self._longest_s = longest_s
        self._renewed_at: Instant | None = None
        self._first: dict[tuple[str, str], float] = {}
        self._working_since_s = 0.0
        self._moved = False
        self.refused = ""
        """Why the load must end; empty while it may go on."""
        self.left_s = min(LEASE_S, longest_s)
        """How long it may go on from the `now` of the last call, in s."""

    def renew(self, sample: Sample, now: Instant) -> bool:
        """Take in a sample; return whether the load may go on, for `left_s` from now."""
        self.refused = self.refused or self._why_not(sample, now)
        if not self.refused:
            age_s = now.elapsed_s - sample.at.elapsed_s
            self._renewed_at = sample.at
            self.left_s = min(LEASE_S - age_s, self._began.elapsed_s + self._longest_s - now.elapsed_s)
        return not self.refused

    def _why_not(self, sample: Sample, now: Instant) -> str:
        # (1)
        if now.boot_id != self._began.boot_id or sample.at.boot_id != self._began.boot_id:
            return "The machine started again."
        if now.elapsed_s - self._began.elapsed_s >= self._longest_s:
            return "Its time is over."
        before = self._began if self._renewed_at is None else self._renewed_at
        # A sample from before the load was asked for may be the first, if it is fresh; none serves twice.
        used = self._renewed_at is not None and sample.at.elapsed_s <= self._renewed_at.elapsed_s
        if used or not 0 <= now.elapsed_s - sample.at.elapsed_s < LEASE_S:
            return "The reading is not a fresh one."
        if now.elapsed_s - before.elapsed_s >= LEASE_S:
            return f"No fresh reading came for {LEASE_S:.0f} s."
        # (2)
        for pack in sample.packs:
            if pack.temperature_c is not None and pack.temperature_c >= PACK_STOP_C:
                return f"The battery is at {pack.temperature_c:.0f} °C."
        # (3)
        sensors = processor_sensors(sample.temperatures)
        if not sensors:
            why = sample.reasons.get("temperatures") or "No processor temperature can be read."
            return f"Without a temperature no load: {why}"
        # (4)
        for sensor, celsius in sensors:
            if celsius >= load_limit_c(sensor):
                return (
                    f"The processor is at {celsius:.0f} °C; the load ends at {load_limit_c(sensor):.0f} °C."
                )
        # (5)
        return (
            "" if self._has_moved(sensors, now) else "The processor's temperature does not move under load."
        )

    def _has_moved(self, sensors: list[tuple[Temperature, float]], now: Instant) -> bool:
        """Tell whether some sensor moved, or it is too early to tell."""
        if not self._first:
            self._working_since_s = now.elapsed_s
        for sensor, celsius in sensors:
            first = self._first.setdefault((sensor.chip, sensor.label), celsius)
            self._moved = self._moved or celsius != first or first >= WARM_C
        return self._moved or now.elapsed_s - self._working_since_s < STILL_S
