"""What the long watches of a run read, as curves: the charge, a drain before it, the warmth under full load.

From the record and the traces that it names. Several attempts: the last one that counts.
"""

from collections.abc import Callable, Mapping
from itertools import repeat
from operator import gt, sub
from typing import TYPE_CHECKING

import msgspec

from verify.record.model import Record, Result
from verify.report.pictures import Standing
from verify.report.plots.envelope import usual_pause
from verify.report.plots.heat_course import heat_told
from verify.report.plots.lines import Panel, TimeUnit, lines_over_time
from verify.report.plots.pack_course import charge_told, drain_told
from verify.report.plots.rows import rows_of
from verify.report.plots.told import Compared, Told, Watched, known
from verify.report.traced import Traced, attempt_that_counts, attempts_traced
from verify.report.traces import Courses
from verify.report.words import COURSES

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["CourseView", "course_views"]

_FEWEST = 3  # looks: two of them are no curve
_SECONDS_BELOW_S, _MINUTES_BELOW_S = 180.0, 3 * 3600.0


class CourseView(msgspec.Struct, frozen=True, kw_only=True):
    """A watch over time. drawing None: says why it cannot be shown. rows: figures, their names in head."""

    ask: str
    says: tuple[str, ...]
    drawing: "Markup | None" = None
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    compared: Compared | None = None


def course_views(record: Record, traced: Traced) -> tuple[CourseView, ...]:
    """Return a view for each watch that has a curve, in the order of the checks.

    A watch of fewer than three looks has no curve and no view; one whose trace is missing, is not the one
    that was sealed, or is in a format that is not known, has a view that says so.
    """
    views = []
    for result in record.results:
        tell = _TELLERS.get(result.check)
        found = attempt_that_counts(record, result) if tell is not None else None
        if tell is None or found is None:
            continue
        attempt, trace = found
        courses = traced.courses(trace.name)
        if courses is None:
            standing = traced.standing(trace.name)
            why = "other_format" if standing is Standing.SHOWN else standing.value
            views.append(CourseView(ask=result.ask, says=(COURSES[why].format(name=trace.name),)))
            continue
        watched = Watched(
            record=record,
            result=result,
            attempt=attempt,
            courses=courses,
            earlier=tuple(
                (one, traced.courses(its.name))
                for one, its in attempts_traced(record, result)
                if one.out_of_date
            ),
        )
        view = _view(result, tell(watched), courses)
        if view is not None:
            views.append(view)
    return tuple(views)


def _view(result: Result, told: Told, courses: Courses) -> CourseView | None:
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
        compared=told.compared,
    )


def _gaps(courses: Courses, panels: tuple[Panel, ...]) -> list[str]:
    """Say why the lines break, where they do."""
    pause_s = usual_pause(courses.times_s)
    times_s = courses.times_s
    pauses = sum(map(gt, map(sub, times_s[1:], times_s), repeat(pause_s)))
    told = (("restarts", courses.restarts), ("pauses", pauses), ("unread", courses.unread))
    said = [
        COURSES[f"{what}_one" if count == 1 else what].format(count=count) for what, count in told if count
    ]
    most_known = len(courses.times_s) - courses.restarts - courses.unread
    lines = [line for panel in panels for line in panel.lines if not line.reckoned]
    if any(len(known(line.values)) < most_known for line in lines):
        said.append(COURSES["untold"])
    return said


def _unit(length_s: float) -> TimeUnit:
    if length_s < _SECONDS_BELOW_S:
        return TimeUnit(name=COURSES["seconds"], seconds=1.0)
    if length_s < _MINUTES_BELOW_S:
        return TimeUnit(name=COURSES["minutes"], seconds=60.0)
    return TimeUnit(name=COURSES["hours"], seconds=3600.0)


_TELLERS: Mapping[str, Callable[[Watched], Told]] = {
    "charge-to-full": charge_told,
    "drain": drain_told,
    "heat-margin": heat_told,
    "long-heat": heat_told,
    "board-heat": heat_told,
}
"""By check: how what it watched is told."""
