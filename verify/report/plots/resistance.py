"""The resistance of a battery's cells: value with its interval against the limit, on one scale from zero."""

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

import msgspec

from verify.judge import Limit
from verify.measure.rounding import COVERAGE
from verify.probe.handed_on import CELL_RESISTANCE, says, told_by
from verify.record.model import Record, Result
from verify.report.capacities import gauge_name, readings_of, result_of
from verify.report.numbers import given, limit_written, written
from verify.report.plots.lanes import not_meeting
from verify.report.plots.scale import Scale, round_ticks
from verify.report.plots.svg import figure, line, rect, text
from verify.report.words import RESISTANCE, VERDICTS
from verify.values import Reading, Unit

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["ResistanceView", "resistance_views"]

_JUDGED, _SEEN = "cell-resistance", "holds-under-load"
_IN_SERIES = re.compile(r", (\d{1,2}) cells in series$")
_MOST_MOHM = 1e6  # no cell that gives any current has more

_WIDTH, _LEFT, _RIGHT = 640.0, 8.0, 620.0
_TOP, _BAR, _AXIS = 34.0, 26.0, 84.0


class ResistanceView(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of one battery, in sentences. drawing None: there is nothing to draw."""

    says: tuple[str, ...]
    drawing: "Markup | None" = None


def resistance_views(record: Record) -> tuple[ResistanceView, ...]:
    """Return a view for each battery whose resistance was asked for; none where no check asked.

    Of the attempts that count: the check that judges it, else the load that it comes from.
    """
    judged = result_of(record, _JUDGED)
    readings = tuple(one for one in readings_of(judged) if one.unit is Unit.MILLIOHM)
    if not any(one.value is not None for one in readings):
        seen = tuple(one for one in readings_of(result_of(record, _SEEN)) if says(one, CELL_RESISTANCE))
        if any(one.value is not None for one in seen) or not readings:
            readings, judged = seen, None
    return tuple(_view(record, judged, reading) for reading in readings)


def _view(record: Record, judged: Result | None, reading: Reading) -> ResistanceView:
    limit = judged.limit if judged is not None else None
    said = tuple(_says(record, judged, reading))
    value, spread = reading.value, reading.standard_uncertainty
    if value is None or not 0 < value <= _MOST_MOHM or not (spread or 0.0) <= _MOST_MOHM:
        return ResistanceView(says=said)
    half = COVERAGE * (spread or 0.0)
    return ResistanceView(says=said, drawing=_draw(value, half, limit, RESISTANCE["sentences"].join(said)))


def _says(record: Record, judged: Result | None, reading: Reading) -> Iterator[str]:
    name = gauge_name(reading)
    if reading.value is None:
        key = "unknown" if name else "unknown_unnamed"
        yield RESISTANCE[key].format(name=name, why=reading.reason or "")
        return
    limit = judged.limit if judged is not None else None
    how = told_by(reading)
    key = "cell_how" if how else "cell"
    yield RESISTANCE[key].format(name=name, value=written(reading, limit), how=how)
    cells = _in_series(record, name)
    if cells is not None and reading.standard_uncertainty is not None:
        pack = msgspec.structs.replace(
            reading,
            value=cells * reading.value,
            standard_uncertainty=cells * reading.standard_uncertainty,
        )
        yield RESISTANCE["pack"].format(cells=cells, value=written(pack))
    if limit is None or judged is None:
        yield RESISTANCE["not_judged"]
    else:
        yield RESISTANCE["judged"].format(limit=limit_written(limit), verdict=VERDICTS[judged.verdict])
    if reading.reason is not None:
        yield RESISTANCE["doubted"].format(why=reading.reason)
    yield RESISTANCE["method"]


def _in_series(record: Record, name: str) -> int | None:
    """Return how many cells stand in series, where a check of the same battery told it."""
    for result in record.results:
        for reading in readings_of(result):
            found = _IN_SERIES.search(reading.source)
            if found is not None and gauge_name(reading) == name:
                return int(found[1])
    return None


def _draw(value: float, half: float, limit: Limit | None, says_all: str) -> "Markup":
    upper = limit.upper if limit is not None else None
    limit_mohm = upper.to(Unit.MILLIOHM).value if upper is not None else None
    if limit_mohm is not None and not 0 < limit_mohm <= _MOST_MOHM:
        limit_mohm = None
    highest = max(value + half, limit_mohm or 0.0)
    scale = Scale(low=0.0, high=1.15 * highest, start=_LEFT, end=_RIGHT)

    def shapes() -> "Iterator[Markup]":
        yield line(_LEFT, _AXIS, _RIGHT, _AXIS, look="axis")
        ticks = round_ticks(0.0, scale.high, most=6)
        for label in not_meeting([(scale.at(tick), f"{tick:g}") for tick in ticks], low=0.0, high=_WIDTH):
            yield text(label.x, _AXIS + 26, label.text, look="quiet", anchor=label.anchor)
        for tick in ticks:
            yield line(scale.at(tick), _AXIS, scale.at(tick), _AXIS + 6, look="axis")
        yield text(_WIDTH, _AXIS + 50, RESISTANCE["unit"], look="quiet", anchor="end")
        yield rect(_LEFT, _TOP, scale.at(value) - _LEFT, _BAR, look="accent")
        if half > 0:
            low, high, y = scale.at(max(value - half, 0.0)), scale.at(value + half), _TOP + _BAR + 9
            yield line(low, y, high, y, look="whisker")
            for x in (low, high):
                yield line(x, y - 5, x, y + 5, look="whisker")
        if limit_mohm is not None:
            x = scale.at(limit_mohm)
            yield line(x, _TOP - 8, x, _AXIS, look="limit")
            words = RESISTANCE["limit_line"].format(value=given(limit_mohm))
            yield text(x, _TOP - 14, words, look="quiet", anchor="end" if x > _WIDTH / 2 else "start")

    return figure(shapes(), width=_WIDTH, height=_AXIS + 58, title=RESISTANCE["title"], says=says_all)
