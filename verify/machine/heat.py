"""Temperatures and fans: what a sensor's number can mean, and the hardware monitors of a sysfs root.

The hardware monitors are read here and not through psutil: it cannot be given a root, it reads limits and
labels anew every time (some drives answer that with a command of their own, and a watch must not disturb
what it measures), it skips a sensor that fails without a word, and importing it takes as long as the rest
of `handback probe`. Labels and limits do not change: they are read once for each monitor.
Source: Linux Documentation/hwmon/sysfs-interface.rst. An index promises no meaning: sensor 2 may be anything.
"""

import re
from collections.abc import Collection

import msgspec

from verify.machine import bounds
from verify.machine.bounds import within
from verify.machine.model import Fan, Temperature
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["HeatReader", "fan_speed", "sensor_limit", "sensor_temperature"]

_CLASS = "class/hwmon"
_ZONES = "class/thermal"
_INPUT = re.compile(r"(temp|fan)([0-9]+)_input", re.ASCII)
_UNUSED_CELSIUS = (-273.15, -128.0, -127.0)
_FAULT = "The chip says that this sensor is bad or not connected."
_STANDS = "It stands still, or the sensor cannot be read: listen."
_NO_FANS = (
    "No fan speed is shown; the machine may have no fan, or keep it to itself. Listen, feel the outlet."
)


class _Sensor(msgspec.Struct, frozen=True, kw_only=True):
    label: str
    path: str
    fault_path: str | None
    high: float | None = None
    critical: float | None = None


class _Chip(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    inode: int
    temperatures: tuple[_Sensor, ...]
    fans: tuple[_Sensor, ...]


def sensor_temperature(celsius: float) -> tuple[float | None, str | None]:
    """Return the temperature in °C, or None and why it cannot be one."""
    if within(celsius, bounds.CELSIUS):
        return celsius, None
    if celsius in _UNUSED_CELSIUS or celsius == 0:
        return None, f"{celsius:g} °C stands for “no sensor” or “no data”."
    return None, f"{celsius:g} °C cannot be: not connected, or asleep."


def sensor_limit(celsius: float | None) -> float | None:
    """Return a sensor's limit in °C, None where it is not set or cannot be one."""
    return celsius if celsius is not None and within(celsius, bounds.LIMIT_CELSIUS) else None


def fan_speed(rpm: int) -> tuple[int | None, str | None]:
    """Return the speed, or None, and why it is unknown or doubted."""
    if rpm == 0:
        return 0, _STANDS
    if within(rpm, bounds.RPM):
        return rpm, None
    return None, f"{rpm} rpm cannot be a laptop's fan: not connected, or another unit."


class HeatReader:
    """Reads the hardware monitors; remembers their labels and limits, never their values."""

    def __init__(self, sysfs: Sysfs) -> None:
        self._sysfs = sysfs
        self._chips: dict[str, _Chip] = {}

    def read(
        self, supplies: Collection[str]
    ) -> tuple[tuple[Temperature, ...], tuple[Fan, ...], dict[str, str]]:
        """Read every temperature and fan once; reasons under "temperatures" and "fans" where there is none.

        supplies: names of power supplies, whose own monitors are left out: their values are the pack's.
        """
        chips = self._find({name.replace("-", "_") for name in supplies})
        temperatures = [reading for chip in chips for reading in self._temperatures(chip)]
        fans = tuple(self._fan(chip.name, sensor) for chip in chips for sensor in chip.fans)
        if not temperatures:
            temperatures = self._zones()
        reasons = {}
        if not temperatures:
            reasons["temperatures"] = "No temperature sensor is visible to the system."
        if not fans:
            reasons["fans"] = _NO_FANS
        return tuple(temperatures), fans, reasons

    def _find(self, supplies: Collection[str]) -> list[_Chip]:
        chips = []
        for name, inode in sorted(self._sysfs.entries(_CLASS), key=_in_order):
            chip = self._chips.get(name)
            if chip is None or chip.inode != inode:
                chip = self._describe(f"{_CLASS}/{name}", name, inode)
                self._chips[name] = chip
            if chip.name.replace("-", "_") not in supplies:
                chips.append(chip)
        return chips

    def _describe(self, folder: str, entry: str, inode: int) -> _Chip:
        sysfs = self._sysfs
        name = sysfs.text(f"{folder}/name")
        files = _files(sysfs, folder)
        if not any(_INPUT.fullmatch(file) for file in files):
            # Old drivers keep their files one folder further down.
            folder = f"{folder}/device"
            files = _files(sysfs, folder)
            if isinstance(name, Missing):
                name = sysfs.text(f"{folder}/name")
        found: dict[str, list[_Sensor]] = {"temp": [], "fan": []}
        for kind, index in sorted(
            ((match[1], int(match[2])) for match in map(_INPUT.fullmatch, files) if match),
            key=lambda key: key[1],
        ):
            stem = f"{kind}{index}"
            label = sysfs.text(f"{folder}/{stem}_label") if f"{stem}_label" in files else stem
            found[kind].append(
                _Sensor(
                    label=stem if isinstance(label, Missing) or not label else label,
                    path=f"{folder}/{stem}_input",
                    fault_path=f"{folder}/{stem}_fault" if f"{stem}_fault" in files else None,
                    high=_limit(sysfs, folder, f"{stem}_max", files),
                    critical=_limit(sysfs, folder, f"{stem}_crit", files),
                )
            )
        return _Chip(
            name=entry if isinstance(name, Missing) or not name else name,
            inode=inode,
            temperatures=tuple(found["temp"]),
            fans=tuple(found["fan"]),
        )

    def _temperatures(self, chip: _Chip) -> list[Temperature]:
        readings = [self._temperature(chip.name, sensor) for sensor in chip.temperatures]
        # A table of sensors with an impossible entry is the wrong table: none of its numbers counts.
        wrong = next((reading for reading, absurd in readings if absurd), None)
        if wrong is None:
            return [reading for reading, _ in readings]
        why = f"Not trusted: sensor {wrong.label} of the same chip reads an impossible value. {wrong.reason}"
        return [
            reading if reading.celsius is None else msgspec.structs.replace(reading, celsius=None, reason=why)
            for reading, _ in readings
        ]

    def _temperature(self, chip: str, sensor: _Sensor) -> tuple[Temperature, bool]:
        """Read one sensor; also tell whether its number is absurd, which no sentinel explains."""
        celsius, reason, absurd = None, None, False
        if self._is_bad(sensor):
            reason = _FAULT
        else:
            for _ in range(2):  # once more where it cannot be: firmware gives single wrong values
                raw = self._sysfs.number(sensor.path)
                if isinstance(raw, Missing):
                    reason = raw.reason
                    break
                celsius, reason = sensor_temperature(raw / 1000)
                absurd = raw < -40_000 and raw / 1000 not in _UNUSED_CELSIUS and raw > -273_000
                if celsius is not None:
                    break
        reading = Temperature(
            chip=chip,
            label=sensor.label,
            celsius=celsius,
            high=sensor.high,
            critical=sensor.critical,
            reason=reason,
        )
        return reading, absurd

    def _fan(self, chip: str, sensor: _Sensor) -> Fan:
        raw = Missing(reason=_FAULT) if self._is_bad(sensor) else self._sysfs.number(sensor.path)
        rpm, reason = (None, raw.reason) if isinstance(raw, Missing) else fan_speed(raw)
        return Fan(chip=chip, label=sensor.label, rpm=rpm, reason=reason)

    def _is_bad(self, sensor: _Sensor) -> bool:
        return sensor.fault_path is not None and self._sysfs.number(sensor.fault_path) == 1

    def _zones(self) -> list[Temperature]:
        """Read the firmware's thermal zones, for machines that show no hardware monitor."""
        readings = []
        for name, _ in sorted(self._sysfs.entries(_ZONES), key=_in_order):
            if not name.startswith("thermal_zone"):
                continue
            label = self._sysfs.text(f"{_ZONES}/{name}/type")
            sensor = _Sensor(
                label=name if isinstance(label, Missing) or not label else label,
                path=f"{_ZONES}/{name}/temp",
                fault_path=None,
            )
            readings.append(self._temperature(name, sensor)[0])
        return readings


def _files(sysfs: Sysfs, folder: str) -> frozenset[str]:
    names = sysfs.names(folder)
    return frozenset() if isinstance(names, Missing) else frozenset(names)


def _limit(sysfs: Sysfs, folder: str, file: str, files: Collection[str]) -> float | None:
    if file not in files:
        return None
    raw = sysfs.number(f"{folder}/{file}")
    return None if isinstance(raw, Missing) else sensor_limit(raw / 1000)


def _in_order(entry: tuple[str, int]) -> tuple[int, str]:
    """Sort hwmon10 behind hwmon9."""
    return (len(entry[0]), entry[0])
