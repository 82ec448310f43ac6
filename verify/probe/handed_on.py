"""What one check of a pack hands on to a later one: readings beside its finding, known by what they say.

A reading's source is "battery gauge NAME: " and one of the sentences here; it stands in the record as any
other.
"""

import re
from collections.abc import Iterable, Iterator, Mapping

from verify.machine import Pack
from verify.measure import rectangular
from verify.measure.interval import Interval
from verify.probe.watching import gauge_of
from verify.values import Reading, Unit

__all__ = [
    "CAPACITY_AH",
    "CAPACITY_WH",
    "CELL_RESISTANCE",
    "DECIDED",
    "END_LEVEL",
    "EVENT",
    "GAUGE_LEVEL",
    "GAUGE_SIGN",
    "GAUGE_VERDICT",
    "LEAST_WH",
    "LEVEL_AT_END",
    "LEVEL_BY_VOLTS",
    "MOST_WH",
    "PHASE",
    "START_LEVEL",
    "hand_on",
    "hand_on_interval",
    "hand_on_level",
    "handed",
    "handed_all",
    "interval_told",
    "is_handed_on",
    "says",
    "told_by",
]

LEVEL_BY_VOLTS = "level at rest by its volts"
GAUGE_LEVEL = "level that it told then"
LEVEL_AT_END = "level where it was drained to"
CELL_RESISTANCE = "resistance of a cell"
CAPACITY_AH = "charge between empty and full by counting"
CAPACITY_WH = "energy between empty and full at rest by counting"
LEAST_WH = "energy that it holds at least"
MOST_WH = "energy that it holds at most"
DECIDED = "whether it holds enough is decided"
START_LEVEL = "level at the start of the count"
END_LEVEL = "level at the end of the count"
GAUGE_VERDICT = "what its gauge claims is"
GAUGE_SIGN = "sign of its gauge"
PHASE = "phase of the charge"
EVENT = "event of the charge"

_INTERVAL = re.compile(r"95 %: (\d+(?:\.\d+)?) (?:to (\d+(?:\.\d+)?)|or more)")
_HANDED_ON = re.compile(r"battery gauge [^:,]+: ([^,]+)")


def hand_on(
    pack: Pack | str,
    what: str,
    value: float | None,
    unit: Unit,
    *,
    half_width: float | None = None,
    standard_uncertainty: float | None = None,
    more: str = "",
    reason: str | None = None,
) -> Reading:
    """Return the reading; half_width: of a rectangular error. more: after the sentence, as its time scale."""
    whose = gauge_of(pack) if isinstance(pack, Pack) else f"battery gauge {pack}"
    source = f"{whose}: {what}, {more}" if more else f"{whose}: {what}"
    if half_width is not None:
        standard_uncertainty = rectangular(half_width)
    return Reading(
        value=value,
        unit=unit,
        standard_uncertainty=None if value is None else standard_uncertainty,
        source=source,
        reason=reason,
    )


def hand_on_level(
    pack: Pack | str, what: str, level: float, *, half_width: float | None = None, more: str = ""
) -> Reading:
    """Return a level, 0 to 1, as a reading in %; half_width: of a rectangular error, in the same."""
    half = None if half_width is None else 100 * half_width
    return hand_on(pack, what, 100 * level, Unit.PERCENT, half_width=half, more=more)


def hand_on_interval(pack: Pack | str, what: str, found: Interval, unit: Unit) -> Reading:
    """Return a figure whose 95 % interval stands in its source, as its ends need not lie evenly about it."""
    uncertainty = found.standard_uncertainty if found.bounded else None
    more = f"95 %: {found.ends(2)}"
    return hand_on(pack, what, found.value, unit, standard_uncertainty=uncertainty, more=more)


def interval_told(reading: Reading) -> tuple[float, float | None] | None:
    """Return what `hand_on_interval` told: both ends, the upper one None where nothing bounds it."""
    bounds = _INTERVAL.match(told_by(reading))
    if bounds is None:
        return None
    low, high = bounds.groups()
    return float(low), None if high is None else float(high)


def handed(
    earlier: Mapping[str, tuple[Reading, ...]], pack: str, what: str, *, checks: Iterable[str] = ()
) -> Reading | None:
    """Return what an earlier check said of a pack, the first of `checks` (all where empty); None: none."""
    return next(handed_all(earlier, pack, what, checks=checks), None)


def handed_all(
    earlier: Mapping[str, tuple[Reading, ...]], pack: str, what: str, *, checks: Iterable[str] = ()
) -> Iterator[Reading]:
    """Return all that earlier checks said of a pack with one sentence; as `handed`."""
    start = f"battery gauge {pack}: {what}"
    for check in tuple(checks) or tuple(earlier):
        for reading in earlier.get(check, ()):
            if reading.source == start or reading.source.startswith(f"{start}, "):
                yield reading


def told_by(reading: Reading) -> str:
    """Return what stands after the pack and the sentence in a reading's source; empty where nothing does."""
    return reading.source.partition(": ")[2].partition(", ")[2]


def is_handed_on(reading: Reading) -> bool:
    """Return whether a reading of a record was made by `hand_on`."""
    return _HANDED_ON.match(reading.source) is not None


def says(reading: Reading, what: str) -> bool:
    """Return whether a reading was handed on with this sentence, of whatever pack."""
    match = _HANDED_ON.match(reading.source)
    return match is not None and match.group(1) == what
