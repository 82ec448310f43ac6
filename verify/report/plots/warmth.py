"""How warm the machine was before against after: on arrival, in an attempt that is out of date, and now.

Only what was measured; a temperature that one time has and the other has not stands as unknown.
"""

from collections.abc import Callable, Sequence

import msgspec

from verify.judge import write_limited
from verify.probe.heat_told import AFTER, FAN_AFTER, FAN_LOADED, FAN_REST, REST, STEADY, all_told, told
from verify.report.numbers import about, written
from verify.report.plots.told import Compared, Watched, known
from verify.report.traces import Courses
from verify.report.words import NUMBERS, WARMTH
from verify.values import Reading, Unit

__all__ = ["warmth_compared"]


class _Time(msgspec.Struct, frozen=True, kw_only=True):
    """One time at which warmth was read. arrival: readings stand by the sensor's own name then."""

    name: str
    readings: tuple[Reading, ...]
    courses: Courses | None = None
    arrival: bool = False


def warmth_compared(watched: Watched) -> Compared | None:
    """Return the table; None where nothing was read before."""
    arrival = watched.record.arrival
    before: list[_Time] = []
    if arrival is not None and arrival.readings:
        before.append(_Time(name=WARMTH["arrival"], readings=arrival.readings, arrival=True))
    before += [
        _Time(name=WARMTH["earlier"], readings=attempt.readings, courses=courses)
        for attempt, courses in watched.earlier[:1]
    ]
    now = _Time(name=WARMTH["now"], readings=watched.attempt.readings, courses=watched.courses)
    times = [*before, now]
    rows = []
    for name, cell in _rows(times):
        cells = [cell(one) for one in times]
        if any(one is not None for one in cells[:-1]):
            rows.append((name, *(WARMTH["unknown"] if one is None else one for one in cells)))
    if not rows:
        return None
    return Compared(head=(WARMTH["what"], *(one.name for one in times)), rows=tuple(rows))


def _rows(times: Sequence[_Time]) -> list[tuple[str, Callable[[_Time], str | None]]]:
    """Return each row's name, and how its cell is found; None: it was not read then."""
    sensors = _names(times, REST)
    rows: list[tuple[str, Callable[[_Time], str | None]]] = [
        (WARMTH["rest"] if len(sensors) == 1 else WARMTH["rest_of"].format(name=name), _named(REST, name))
        for name in sensors
    ]
    rows.append((WARMTH["most"], _hottest))
    rows += [(WARMTH["ends"], _told(STEADY)), (WARMTH["after"], _told(AFTER))]
    for what, key in ((FAN_REST, "fan_rest"), (FAN_LOADED, "fan_loaded"), (FAN_AFTER, "fan_after")):
        rows += [(WARMTH[key].format(name=name), _named(what, name)) for name in _names(times, what)]
    return rows


def _names(times: Sequence[_Time], what: str) -> list[str]:
    return list(dict.fromkeys(name for one in times for name in all_told(one.readings, what)))


def _named(what: str, name: str) -> Callable[[_Time], str | None]:
    """Return how a sensor's or a fan's figure is found: on arrival at rest by its own name."""

    def cell(time: _Time) -> str | None:
        at_rest = what in (REST, FAN_REST)
        if time.arrival:
            reading = told(time.readings, name) if at_rest else None
        else:
            reading = all_told(time.readings, what).get(name)
        return None if reading is None else _cell(reading)

    return cell


def _told(what: str) -> Callable[[_Time], str | None]:
    def cell(time: _Time) -> str | None:
        reading = told(time.readings, what)
        return None if reading is None else _cell(reading)

    return cell


def _hottest(time: _Time) -> str | None:
    celsius = [] if time.courses is None else known(time.courses.processor_c)
    return WARMTH["degrees"].format(value=about(max(celsius)), unit=Unit.CELSIUS.value) if celsius else None


def _cell(reading: Reading) -> str:
    """Return value and uncertainty, which may part before ±; where it is unknown, why."""
    if reading.value is None:
        return written(reading)
    return write_limited(reading, None, style=NUMBERS).replace(f"{NUMBERS.space}±", " ±")
