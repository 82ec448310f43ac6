"""What one check of the heat hands on to a later one: readings beside its finding, known by what they say.

A reading's source is one of the sentences here, and for a fan its name behind it; it stands in the record as
any other.
"""

from collections.abc import Iterable, Mapping

from verify.measure.interval import Interval
from verify.values import Reading, Unit

__all__ = [
    "AFTER",
    "BASE_CLOCK",
    "FAN_AFTER",
    "FAN_LOADED",
    "FAN_REST",
    "FAST",
    "LEAST_CLOCK",
    "LOADED_FOR",
    "REST",
    "SLOW",
    "STEADY",
    "THROTTLED",
    "all_told",
    "banded",
    "named",
    "runs_of",
    "told",
]

REST = "processor at rest, before the load"
STEADY = "processor, where full load ends"
FAST = "time constant of the chip"
SLOW = "time constant of the heat sink"
AFTER = "processor, some minutes after the load"
LOADED_FOR = "full load, how long"
LEAST_CLOCK = "lowest clock under full load"
BASE_CLOCK = "base clock as the system tells it"
THROTTLED = "clock taken back for heat under load"
FAN_REST = "fan at rest"
FAN_LOADED = "fan at most under full load"
FAN_AFTER = "fan after the load"


def banded(band: Interval | None, unit: Unit, source: str, why: str) -> Reading:
    """Return a figure with its band as a reading, or why there is none."""
    if band is None:
        return Reading(value=None, unit=unit, source=source, reason=why or "It could not be told.")
    return Reading(
        value=round(band.value, 2),
        unit=unit,
        standard_uncertainty=round(band.standard_uncertainty, 3),
        source=source,
    )


def runs_of(
    earlier: Mapping[str, tuple[Reading, ...]], checks: Iterable[str]
) -> tuple[tuple[Reading, ...], ...]:
    """Return what each earlier check of the heat under load told; of all where `checks` names none."""
    names = tuple(checks) or tuple(earlier)
    return tuple(
        earlier[name] for name in names if name in earlier and told(earlier[name], LOADED_FOR) is not None
    )


def told(readings: Iterable[Reading], source: str) -> Reading | None:
    """Return the reading of that sentence, None where there is none."""
    return next((reading for reading in readings if reading.source == source), None)


def all_told(readings: Iterable[Reading], source: str) -> dict[str, Reading]:
    """Return the readings of that sentence by the name behind it."""
    start = f"{source}: "
    return {one.source[len(start) :]: one for one in readings if one.source.startswith(start)}


def named(source: str, name: str) -> str:
    """Return the sentence with a name behind it."""
    return f"{source}: {name}"
