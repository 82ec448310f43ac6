"""What the long watches of a run read, as curves: the charge, a drain before it, the warmth under full load.

From the record and the traces that it names. Several attempts: the last one that counts.
"""

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import msgspec

from verify.probe.handed_on import CAPACITY_AH, CAPACITY_WH, PHASE, handed, told_by
from verify.record.model import Attempt, Record, Result, Trace
from verify.report.numbers import about, lasting
from verify.report.pictures import Standing
from verify.report.plots.envelope import MOST, usual_pause
from verify.report.plots.lines import Line, Panel, Span, TimeUnit, lines_over_time
from verify.report.plots.rows import Column, rows_of
from verify.report.traces import Courses, courses_in
from verify.report.words import COURSES
from verify.values import Reading, Unit

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["CourseView", "course_views"]

_FEWEST = 3  # looks: two of them are no curve
_MOST_LINES = 3
_ADD_UP = 0.05  # phases are drawn where their sum is the length of the watch within this share
_SECONDS_BELOW_S, _MINUTES_BELOW_S = 180.0, 3 * 3600.0


class CourseView(msgspec.Struct, frozen=True, kw_only=True):
    """A watch over time. drawing None: says why it cannot be shown. rows: figures, their names in head."""

    ask: str
    says: tuple[str, ...]
    drawing: "Markup | None" = None
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


class _Told(msgspec.Struct, frozen=True, kw_only=True):
    """What one kind of watch draws."""

    title: str
    panels: tuple[Panel, ...]
    says: tuple[str, ...]
    columns: tuple[Column, ...]
    spans: tuple[Span, ...] = ()


def course_views(
    record: Record, traces: Mapping[str, bytes], standing: Mapping[str, Standing]
) -> tuple[CourseView, ...]:
    """Return a view for each watch that has a curve, in the order of the checks.

    traces: bytes by the trace's name; standing: of each trace of the record, by its name. A watch of fewer
    than three looks has no curve and no view; one whose trace is missing, or is not the one that was sealed,
    has a view that says so.
    """
    views = []
    for result in record.results:
        tell = _TELLERS.get(result.check)
        found = _counting(record, result) if tell is not None else None
        if tell is None or found is None:
            continue
        attempt, trace = found
        if standing[trace.name] is not Standing.SHOWN:
            says = COURSES[standing[trace.name].value].format(name=trace.name)
            views.append(CourseView(ask=result.ask, says=(says,)))
            continue
        view = _view(result, tell(courses := courses_in(traces[trace.name]), result, attempt), courses)
        if view is not None:
            views.append(view)
    return tuple(views)


def _counting(record: Record, result: Result) -> tuple[Attempt, Trace] | None:
    """Return the last attempt that counts, with its trace; None where there is none."""
    mine = [trace for trace in record.traces if trace.check == result.check]
    # From the end: each attempt of an automatic check sealed a trace.
    for attempt, trace in zip(reversed(result.attempts), reversed(mine), strict=False):
        if not attempt.out_of_date:
            return attempt, trace
    return None


def _view(result: Result, told: _Told, courses: Courses) -> CourseView | None:
    times_s = courses.times_s
    panels = tuple(panel for panel in told.panels if panel.lines)
    if len(times_s) < _FEWEST or times_s[-1] <= times_s[0] or not panels:
        return None
    says = (*told.says, *_gaps(courses, panels))
    unit = _unit(times_s[-1])
    return CourseView(
        ask=result.ask,
        says=says,
        drawing=lines_over_time(
            times_s, panels, unit=unit, title=told.title, says=" ".join(says), spans=told.spans
        ),
        head=(COURSES["time_in"].format(unit=unit.name), *(column.name for column in told.columns)),
        rows=rows_of(times_s, told.columns, unit_s=unit.seconds, unknown=COURSES["unknown"]),
    )


def _charge(courses: Courses, result: Result, attempt: Attempt) -> _Told:
    limit = result.limit.lower if result.limit is not None else None
    at_least = limit.value if limit is not None and limit.unit is Unit.PERCENT else None
    panels, columns = _pack_panels(courses, power=COURSES["power_in"], sign=1.0)
    if panels[0].lines:
        line = (
            None if at_least is None else (at_least, COURSES["limit"].format(value=f"{at_least:g}", unit="%"))
        )
        panels[0] = msgspec.structs.replace(panels[0], high=100.0, limit=line)
    says = _pack_says(courses, most=COURSES["most_in"], sign=1.0)
    spans: tuple[Span, ...] = ()
    for name in courses.packs:
        phases = _phases(attempt.readings, name)
        says += _phases_told(phases, name, several=len(courses.packs) > 1)
        if len(courses.packs) == 1:
            spans = _spans(phases, courses.times_s[-1])
        says += _counted(attempt.readings, name)
    return _Told(
        title=COURSES["charge"], panels=tuple(panels), says=tuple(says), columns=columns, spans=spans
    )


def _drain(courses: Courses, result: Result, attempt: Attempt) -> _Told:
    del result, attempt  # its limit is a share of what is claimed, no level
    panels, columns = _pack_panels(courses, power=COURSES["power_out"], sign=-1.0)
    says = _pack_says(courses, most=COURSES["most_out"], sign=-1.0)
    return _Told(title=COURSES["drain"], panels=tuple(panels), says=tuple(says), columns=columns)


def _pack_panels(courses: Courses, *, power: str, sign: float) -> tuple[list[Panel], tuple[Column, ...]]:
    """Return level, power and voltage of the packs; a panel without lines where nothing is known."""
    packs = list(courses.packs.items())[:_MOST_LINES]
    powers = {name: [sign * value + 0.0 for value in pack.power_w] for name, pack in packs}
    channels = (
        (COURSES["level"], {name: pack.level for name, pack in packs}, 0.0, 1),
        (power, powers, 0.0, 1),
        (COURSES["voltage"], {name: pack.voltage_v for name, pack in packs}, None, 2),
    )
    panels, columns = [], []
    for title, series, low, decimals in channels:
        known = {name: values for name, values in series.items() if _known(values)}
        panels.append(
            Panel(
                name=title,
                lines=tuple(Line(name=name, values=values) for name, values in known.items()),
                low=low,
            )
        )
        for name, values in known.items():
            head = title if len(packs) == 1 else COURSES["of_one"].format(what=title, name=name)
            columns.append(Column(name=head, values=values, decimals=decimals))
    return panels, tuple(columns)


def _pack_says(courses: Courses, *, most: str, sign: float) -> list[str]:
    """Return a sentence for each pack: from which level to which, how long, power and voltage."""
    said = []
    for name, pack in list(courses.packs.items())[:_MOST_LINES]:
        levels, volts = _known(pack.level), _known(pack.voltage_v)
        watts = [sign * value for value in _known(pack.power_w)]
        pieces = [COURSES["lasted"].format(time=lasting(courses.times_s[-1]))]
        if levels:
            first, last = about(levels[0]), about(levels[-1])
            pieces = [COURSES["from_to"].format(first=first, last=last, time=lasting(courses.times_s[-1]))]
        pieces.append(most.format(value=about(max(watts))) if watts else COURSES["no_power"])
        if volts:
            pieces.append(COURSES["volts"].format(low=f"{min(volts):.2f}", high=f"{max(volts):.2f}"))
        words = COURSES["and"].join(pieces)
        alone = len(courses.packs) == 1
        said.append(COURSES["alone" if alone else "named"].format(name=name, words=words))
    if len(courses.packs) > _MOST_LINES:
        said.append(COURSES["more"].format(count=len(courses.packs) - _MOST_LINES))
    return said


def _heat(courses: Courses, result: Result, attempt: Attempt) -> _Told:
    del attempt
    celsius = _known(courses.processor_c)
    says, limit = [], None
    if celsius:
        says.append(
            COURSES["warmed"].format(
                first=about(celsius[0]), most=about(max(celsius)), time=lasting(courses.times_s[-1])
            )
        )
        limit, said = _heat_limit(courses.critical_c, result)
        says += said
    fans = {name: values for name, values in courses.fans_rpm.items() if _known(values)}
    for name, values in fans.items():
        speeds = _known(values)
        says.append(COURSES["turned"].format(name=name, low=f"{min(speeds):.0f}", high=f"{max(speeds):.0f}"))
    drawn = dict(list(fans.items())[:_MOST_LINES])
    if len(fans) > len(drawn):
        says.append(COURSES["more"].format(count=len(fans) - len(drawn)))
    warm = (Line(name=COURSES["processor"], values=courses.processor_c),) if celsius else ()
    turning = tuple(Line(name=name, values=values) for name, values in drawn.items())
    columns = [Column(name=COURSES["processor"], values=courses.processor_c, decimals=0)] if celsius else []
    columns += [
        Column(name=COURSES["of_one"].format(what=COURSES["fans"], name=name), values=values, decimals=0)
        for name, values in drawn.items()
    ]
    return _Told(
        title=COURSES["heat"],
        panels=(
            Panel(name=COURSES["processor"], lines=warm, limit=limit),
            Panel(name=COURSES["fans"], lines=turning, low=0.0),
        ),
        says=tuple(says),
        columns=tuple(columns),
    )


def _heat_limit(critical_c: float | None, result: Result) -> tuple[tuple[float, str] | None, list[str]]:
    """Return the line of the limit and what to say of it; the limit is a margin to the critical one, in K."""
    if critical_c is None or not abs(critical_c) <= MOST:
        return None, []
    lower = result.limit.lower if result.limit is not None else None
    if lower is None or lower.unit is not Unit.KELVIN:
        words = COURSES["critical"].format(value=f"{critical_c:g}", unit="°C")
        return (critical_c, words), [COURSES["critical_is"].format(value=f"{critical_c:g}")]
    most_c = critical_c - lower.value
    words = COURSES["limit"].format(value=f"{most_c:g}", unit="°C")
    said = COURSES["limit_is"].format(value=f"{most_c:g}", margin=f"{lower.value:g}")
    return (most_c, words), [said]


class _Phase(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    charge: str
    minutes: float | None


def _phases(readings: Sequence[Reading], pack: str) -> list[_Phase]:
    start = f"battery gauge {pack}: {PHASE}, "
    found = []
    for reading in readings:
        if reading.source.startswith(start):
            name, _, charge = told_by(reading).partition(": ")
            found.append(_Phase(name=name, charge=charge, minutes=reading.value))
    return found


def _phases_told(phases: list[_Phase], pack: str, *, several: bool) -> list[str]:
    if not phases:
        return []
    told = [
        COURSES["phase_charge" if phase.charge else "phase"].format(
            name=phase.name,
            time=COURSES["unknown_time"] if phase.minutes is None else lasting(60 * phase.minutes),
            charge=phase.charge,
        )
        for phase in phases
    ]
    words = COURSES["phases"].format(phases=COURSES["and"].join(told))
    return [COURSES["named" if several else "alone"].format(name=pack, words=words.removesuffix("."))]


def _spans(phases: list[_Phase], length_s: float) -> tuple[Span, ...]:
    """Return where the phases lie, one after the other; none where they do not add up to the watch."""
    lengths_s = [60 * phase.minutes for phase in phases if phase.minutes is not None]
    whole = len(lengths_s) == len(phases) and all(0 <= one <= MOST for one in lengths_s)
    if not whole or abs(sum(lengths_s) - length_s) > _ADD_UP * length_s:
        return ()
    found, at_s = [], 0.0
    for phase, one_s in zip(phases, lengths_s, strict=True):
        found.append(Span(name=phase.name, start_s=at_s, end_s=at_s + one_s))
        at_s += one_s
    return tuple(found)


def _counted(readings: tuple[Reading, ...], pack: str) -> list[str]:
    """Return what was counted, in words."""
    said = []
    for what, key in ((CAPACITY_WH, "counted_wh"), (CAPACITY_AH, "counted_ah")):
        reading = handed({"": readings}, pack, what)
        if reading is not None and reading.value is not None:
            said.append(COURSES[key].format(value=f"{reading.value:.4g}", more=told_by(reading)))
    return said


def _gaps(courses: Courses, panels: tuple[Panel, ...]) -> list[str]:
    """Say why the lines break, where they do."""
    pause_s = usual_pause(courses.times_s)
    pauses = sum(1 for before, after in pairwise(courses.times_s) if after - before > pause_s)
    told = (("restarts", courses.restarts), ("pauses", pauses), ("unread", courses.unread))
    said = [
        COURSES[f"{what}_one" if count == 1 else what].format(count=count) for what, count in told if count
    ]
    most_known = len(courses.times_s) - courses.restarts - courses.unread
    lines = [line for panel in panels for line in panel.lines]
    if any(sum(1 for value in line.values if _is_known(value)) < most_known for line in lines):
        said.append(COURSES["untold"])
    return said


def _unit(length_s: float) -> TimeUnit:
    if length_s < _SECONDS_BELOW_S:
        return TimeUnit(name=COURSES["seconds"], seconds=1.0)
    if length_s < _MINUTES_BELOW_S:
        return TimeUnit(name=COURSES["minutes"], seconds=60.0)
    return TimeUnit(name=COURSES["hours"], seconds=3600.0)


def _known(values: Sequence[float]) -> list[float]:
    return [value for value in values if _is_known(value)]


def _is_known(value: float | None) -> bool:
    return value is not None and -MOST <= value <= MOST  # NaN lies nowhere


_TELLERS: Mapping[str, Callable[[Courses, Result, Attempt], _Told]] = {
    "charge-to-full": _charge,
    "drain": _drain,
    "heat-margin": _heat,
    "long-heat": _heat,
    "board-heat": _heat,
}
"""By check: how what it watched is told."""
