"""Automatic check: whether each temperature sensor that told something on arrival still does."""

import re
from collections import Counter
from collections.abc import Mapping

from verify.machine import ItemKind, Sample
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL
from verify.probe.inventory_work import TIES, disturbed_by, touched
from verify.probe.model import Context, Finding, Probe, Working
from verify.probe.watching import counted, not_found, refuse_others
from verify.values import Unit

_SOURCE = "temperature sensors silent since arrival"
_LOOKS = 3  # one that is silent in all of them is silent [common practice, no source]
_TIE = TIES[ItemKind.TEMPERATURE_SENSOR]


def sensors_as_arrived(options: Mapping[str, str], context: Context) -> Probe:
    """Count the temperature sensors that told a temperature on arrival and tell none now.

    Unit: pieces. Only the board's own: one in a drive or card may sleep, and counts with its part. A sensor
    that a driver named anew is not missed. In doubt where no work of the ticket reaches them. Unknown
    without readings of the arrival, or where not a single one tells anything now.
    Source: what a number can mean: Linux Documentation/hwmon/sysfs-interface.rst; that a silent sensor is a
    lead that is off: common practice, no source.
    Caution: machine off, charger out and battery unplugged before a sensor's lead is pressed home.
    """
    refuse_others("sensors-as-arrived", options)
    return _Sensors(context)


class _Sensors:
    def __init__(self, context: Context) -> None:
        self._work = context.work
        arrival = context.arrival_inventory
        items = () if arrival is None else arrival.items
        self._taken = bool(context.arrival_readings)
        self._in_parts = {
            item.identity for item in items if item.kind is ItemKind.TEMPERATURE_SENSOR and item.behind
        }
        self._before = Counter(
            name
            for one in context.arrival_readings
            if one.unit is Unit.CELSIUS and one.value is not None
            if (name := _unnumbered(one.source)) not in self._in_parts
        )
        self._told: Counter[str] = Counter()
        self._looks = 0

    def step(self, sample: Sample) -> Working | Finding:
        now = Counter(
            name
            for sensor in sample.temperatures
            if sensor.celsius is not None
            if (name := _unnumbered(f"{sensor.chip} {sensor.label}".strip())) not in self._in_parts
        )
        if not self._before:
            there = f"{sum(now.values())} temperature sensors tell something now."
            why = "No sensor told a temperature on arrival." if self._taken else NOTHING_ON_ARRIVAL
            return not_found(Unit.COUNT, _SOURCE, f"{why} {there}")
        self._told |= now
        self._looks += 1
        lost = sorted((self._before - self._told).elements())
        if lost and self._looks < _LOOKS:
            return Working(text="Reading the temperature sensors.", fraction=self._looks / _LOOKS)
        if not self._told:
            why = sample.reasons.get("temperatures", "No sensor tells a temperature now.")
            return not_found(Unit.COUNT, _SOURCE, why)
        # Those that nobody knew may be the same ones, named anew by their driver.
        anew = sum((self._told - self._before).values())
        lost = lost[: max(0, len(lost) - anew)]
        of = sum(self._before.values())
        if not lost:
            return Finding(
                readings=(counted(0, _SOURCE),), text=f"All {of} temperature sensors of the arrival tell one."
            )
        text = f"No temperature any more: {', '.join(lost)}. {disturbed_by(_TIE, self._work)}"
        doubt = None if touched(_TIE, self._work) else text
        return Finding(readings=(counted(len(lost), _SOURCE, doubt),), text=text)


def _unnumbered(source: str) -> str:
    """Return a sensor's name without the number of its chip: it says in which order the drivers came."""
    chip, _, label = source.partition(" ")
    return f"{re.sub(r'_[0-9]+$', '', chip)} {label}".strip()
