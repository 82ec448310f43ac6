"""The back end for every other system: what psutil tells there, and "unknown, because" for the rest.

psutil knows a battery's level and whether a charger is in; no capacity, voltage, power or cycles. So the
checks that need those become manual ones, or stay undecided.
"""

import math
import os
import sys
from collections.abc import Mapping
from types import ModuleType, SimpleNamespace
from typing import Any

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.heat import fan_speed, sensor_limit, sensor_temperature
from verify.machine.inventory import Inventory, Item, ItemKind
from verify.machine.model import (
    NO_BATTERY,
    Adapter,
    Awake,
    Cpu,
    Fan,
    Identity,
    Load,
    Pack,
    PackState,
    Sample,
    Temperature,
)
from verify.values import Clock

__all__ = ["PsutilMachine"]

_NOT_HERE = "Cannot be read on this system. Use the maker's own means, or look at the label."
_UNREAD = [
    "remaining_wh",
    "full_charge_wh",
    "design_wh",
    "health",
    "power_w",
    "voltage_v",
    "design_voltage_v",
    "current_a",
    "cycle_count",
    "temperature_c",
    "manufacturer",
    "model",
    "serial",
    "technology",
    "charge_limit",
]
_UNREAD_GROUPS = (
    "items",
    "pci",
    "usb",
    "input",
    "sound",
    "video",
    "display",
    "network",
    "storage",
    "supplies",
)
# Known of psutil: functions that are missing, numbers of empty files, systems that it half knows.
_FAILURES = (OSError, ValueError, RuntimeError, AttributeError, TypeError, ArithmeticError, LookupError)
_NO_CHARGER_WORD = "The system does not say whether a charger is in."


class PsutilMachine:
    """A machine read through psutil alone.

    library: psutil or what stands in for it; functions that it lacks on this system are answered "unknown".
    """

    name = "psutil"
    simulated = False

    def __init__(self, clock: Clock, *, library: ModuleType | SimpleNamespace | None = None) -> None:
        if library is None:
            import psutil

            library = psutil
        self.clock = clock
        self._library = library
        self._load_begun = False

    def identity(self) -> Identity:
        """Tell the system's name; psutil knows nothing else of the machine."""
        fields = ("maker", "model", "version", "serial", "board", "firmware", "chassis", "virtual")
        return Identity(system=_system(), reasons=dict.fromkeys(fields, _NOT_HERE))

    def sample(self) -> Sample:
        """Read everything that psutil can tell, once."""
        at = self.clock.now()
        reasons: dict[str, str] = {}
        packs, adapters = self._power(reasons)
        temperatures = self._temperatures()
        fans = self._fans()
        if not temperatures:
            reasons["temperatures"] = "No temperature can be read on this system."
        if not fans:
            reasons["fans"] = "No fan speed can be read on this system. Listen, feel the outlet."
        reasons["lid"] = "Whether the lid is open cannot be read on this system."
        return Sample(
            at=at,
            packs=packs,
            adapters=adapters,
            temperatures=temperatures,
            fans=fans,
            cpu=self._processor(),
            reasons=reasons,
        )

    def marks(self) -> Mapping[str, str]:
        """Tell none: psutil does not say which network adapter is built in, and knows no serials."""
        return {}

    def inventory(self, *, salt: str) -> Inventory:
        """Tell memory, processors, fans and sensors; what else there is, psutil cannot tell."""
        del salt
        groups: tuple[tuple[ItemKind, tuple[Temperature | Fan, ...]], ...] = (
            (ItemKind.FAN, self._fans()),
            (ItemKind.TEMPERATURE_SENSOR, self._temperatures()),
        )
        reasons = dict.fromkeys(
            (*_UNREAD_GROUPS, "modules", "channels", "clock_ahead_s", "panels"), _NOT_HERE
        )
        total = getattr(self._ask("virtual_memory"), "total", None)
        cpus = self._ask("cpu_count")
        if total is None:
            reasons["memory_bytes"] = _NOT_HERE
        if cpus is None:
            reasons["cpus"] = _NOT_HERE
        return Inventory(
            at=self.clock.now(),
            items=tuple(
                Item(kind=kind, identity=f"{sensor.chip} {sensor.label}", seen_in="monitors")
                for kind, sensors in groups
                for sensor in sensors
            ),
            memory_bytes=total,
            cpus=cpus,
            reasons=reasons,
        )

    def start_load(self, *, longest_s: float) -> Load:
        """Make ready to load all cores of this computer."""
        from verify.machine.load import ProcessLoad

        return ProcessLoad(self.clock, longest_s=longest_s)

    def keep_awake(self, why: str) -> Awake:
        """Keep this computer from going to sleep."""
        from verify.machine.awake import keep_awake

        return keep_awake(why)

    def _ask(self, function: str, **arguments: object) -> Any:
        """Call a function of psutil; None where it is missing here, fails, or has nothing to tell."""
        try:
            return self._call(function, **arguments)
        except _FAILURES:
            return None

    def _call(self, function: str, **arguments: object) -> Any:
        """Call a function of psutil; raises one of _FAILURES where it is missing here or fails."""
        return getattr(self._library, function)(**arguments)

    def _power(self, reasons: dict[str, str]) -> tuple[tuple[Pack, ...], tuple[Adapter, ...]]:
        try:
            battery = self._call("sensors_battery")
        except _FAILURES:
            reasons["batteries"] = "Whether there is a battery cannot be read on this system."
            reasons["adapters"] = _NO_CHARGER_WORD
            return (), ()
        if battery is None:
            reasons["batteries"] = NO_BATTERY
            reasons["adapters"] = _NO_CHARGER_WORD
            return (), ()
        plugged = battery.power_plugged if isinstance(battery.power_plugged, bool) else None
        why = dict.fromkeys(_UNREAD, _NOT_HERE)
        level = _level(battery.percent)
        if level is None:
            why["state_of_charge"] = f"The system gives {battery.percent} %, which stands for “not known”."
        state = PackState.UNKNOWN
        if plugged is False:
            state = PackState.DISCHARGING
        else:
            # Not full at 100 % either: a gauge may stand there while current still flows.
            why["state"] = (
                _NO_CHARGER_WORD if plugged is None else "A charger is in; whether it charges is not told."
            )
        pack = Pack(name="battery", state=state, state_of_charge=level, reasons=why)
        return (pack,), (Adapter(name="charger", online=plugged),)

    def _temperatures(self) -> tuple[Temperature, ...]:
        readings = []
        for chip, sensors in (self._ask("sensors_temperatures") or {}).items():
            for index, sensor in enumerate(sensors, start=1):
                celsius: float | None = None
                reason: str | None = "The sensor gives no number."
                if _is_number(sensor.current):
                    celsius, reason = sensor_temperature(sensor.current)
                readings.append(
                    Temperature(
                        chip=chip,
                        label=sensor.label or f"temp{index}",
                        celsius=celsius,
                        high=sensor_limit(sensor.high if _is_number(sensor.high) else None),
                        critical=sensor_limit(sensor.critical if _is_number(sensor.critical) else None),
                        reason=reason,
                    )
                )
        return tuple(readings)

    def _fans(self) -> tuple[Fan, ...]:
        readings = []
        for chip, sensors in (self._ask("sensors_fans") or {}).items():
            for index, sensor in enumerate(sensors, start=1):
                rpm: int | None = None
                reason: str | None = "The sensor gives no number."
                if _is_number(sensor.current):
                    rpm, reason = fan_speed(int(sensor.current))
                readings.append(Fan(chip=chip, label=sensor.label or f"fan{index}", rpm=rpm, reason=reason))
        return tuple(readings)

    def _processor(self) -> Cpu:
        reasons = {}
        load = self._ask("cpu_percent", interval=None)
        fraction = load / 100 if _is_number(load) and 0 <= load <= 100 else None
        if not self._load_begun:
            # The first answer is a meaningless 0.0, says psutil's own documentation.
            fraction, self._load_begun = None, True
            reasons["load"] = "A load needs a second reading."
        elif fraction is None:
            reasons["load"] = _NOT_HERE
        frequency = self._ask("cpu_freq")
        now_mhz, max_mhz = _clock(frequency, "current"), _clock(frequency, "max")
        if now_mhz is None:
            reasons["frequency_mhz"] = _NOT_HERE
        if max_mhz is None:
            reasons["frequency_max_mhz"] = _NOT_HERE
        # What psutil calls the lowest clock is no base clock, and it knows no counter of throttling.
        reasons["frequency_base_mhz"] = reasons["throttle_count"] = _NOT_HERE
        cores = self._ask("cpu_count")
        if cores is None:
            reasons["logical_cores"] = _NOT_HERE
        return Cpu(
            logical_cores=cores,
            load=fraction,
            frequency_mhz=now_mhz,
            frequency_max_mhz=max_mhz,
            reasons=reasons,
        )


def _system() -> str:
    uname = getattr(os, "uname", None)
    if uname is None:
        return sys.platform
    kernel = uname()
    return f"{kernel.sysname} {kernel.release}"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _level(percent: object) -> float | None:
    """Return the level 0 to 1; 255 is how one system writes "not known"."""
    if not isinstance(percent, int | float) or not _is_number(percent):
        return None
    return min(1.0, percent / 100) if 0 <= percent <= bounds.LEVEL_MAX * 100 else None


def _clock(frequency: object, field: str) -> float | None:
    """Return a clock in MHz; some versions of psutil give GHz where the contract says MHz."""
    value = getattr(frequency, field, None)
    if not isinstance(value, int | float) or not _is_number(value):
        return None
    megahertz = value * 1000 if 0 < value < 10 else float(value)
    return megahertz if within(megahertz, bounds.CLOCK_MHZ) else None
