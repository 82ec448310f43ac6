"""The run on one axis of time: a lane for each stage and each long watch, numbers over what happened. Pure.

Told apart without colour: stages are filled, watches framed, out of date is dashed, each kind of mark has a
shape of its own.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import msgspec

from verify.report.letters import width_of
from verify.report.numbers import lasting
from verify.report.plots.folded import FoldedScale, folded
from verify.report.plots.lanes import Bar, Label, groups_of, name_on_lane, not_meeting
from verify.report.plots.svg import figure, line, path, rect, strokes, text
from verify.report.run_times import Kind, RunTimes, Watch
from verify.report.words import RUN

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["AxisLane", "draw_run", "scale_of"]

# The view box; letters are 20 units high on a phone.
_WIDTH, _LEFT, _RIGHT = 640.0, 6.0, 634.0
_MARKS, _LANE, _BAR = 52.0, 32.0, 25.0
_FOOT_ROW = 26.0
_LEAST_BAR = 2.5
_STEPS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400)
_APART = 118.0  # of two times on the axis


class AxisLane(msgspec.Struct, frozen=True, kw_only=True):
    """A lane: its name and what lies on it, each from when to when; start None: not known."""

    name: str
    stage: str = ""
    watches: tuple[Watch, ...] = ()


def scale_of(times: RunTimes) -> FoldedScale:
    """Return where a time of the run lies across; what is idle for long is folded."""
    moments = [
        *times.checks_s,
        *(one.at_s for one in times.marks),
        *(end for one in times.unseen for end in (one.start_s, one.end_s)),
        *(one.start_s for one in times.watches if one.start_s is not None),
    ]
    watched = [(one.start_s, one.end_s) for one in times.watches if one.start_s is not None]
    length_s = max(times.end_s, 1.0)
    return folded(
        # By order each moment is a place of its own: nothing is idle.
        range(int(length_s) + 1) if times.by_order else moments,
        watched,
        length_s=length_s,
        start=_LEFT,
        end=_RIGHT,
    )


def draw_run(
    times: RunTimes, lanes: Sequence[AxisLane], scale: FoldedScale, *, title: str, says: str
) -> "Markup":
    """Return the drawing. lanes: of the stages, then of the watches, from above; scale: `scale_of`."""
    top = _MARKS if times.marks else _LEFT
    below = top + len(lanes) * _LANE
    height = below + 12.0 + _FOOT_ROW * (3 if scale.folds else 1 if times.by_order else 2)
    return figure(
        [
            *_guides(times, scale, top, below),
            *_lanes(times, lanes, scale, top),
            *_foot(times, scale, below),
        ],
        width=_WIDTH,
        height=height,
        title=title,
        says=says,
    )


def _guides(times: RunTimes, scale: FoldedScale, top: float, below: float) -> "Iterator[Markup]":
    """Return the marks with their numbers, and a thin line down from each."""
    places = [scale.at(mark.at_s) for mark in times.marks]
    yield strokes(places, top - 8, below, look="grid")
    for mark, x in zip(times.marks, places, strict=True):
        yield _SHAPES[mark.kind](x, top - 18)
    for label in groups_of(places, low=_LEFT, high=_RIGHT):
        yield _words(label, 20.0, look="strong halo number")


def _lanes(
    times: RunTimes, lanes: Sequence[AxisLane], scale: FoldedScale, first: float
) -> "Iterator[Markup]":
    tops = {lane.stage: first + row * _LANE + 4 for row, lane in enumerate(lanes) if lane.stage}
    names: list[Markup] = []
    for row, lane in enumerate(lanes):
        top = first + row * _LANE + 4
        bars = sorted(_bars(times, lane, scale), key=lambda bar: bar.left)
        for bar in bars:
            yield rect(bar.left, top, bar.right - bar.left, _BAR, look=bar.look)
        for gap in times.unseen:
            if any(gap.check == watch.check for watch in lane.watches):
                left, right = scale.at(gap.start_s), scale.at(gap.end_s)
                yield rect(left, top, max(right - left, _LEAST_BAR), _BAR, look="hole")
        label = name_on_lane(lane.name, bars, low=_LEFT, high=_RIGHT)
        if label is not None:
            names.append(_words(label, top + 19, look="halo lane"))
    yield from _going_back(times, tops, scale)
    below = first + len(lanes) * _LANE
    for fold in scale.folds:
        yield rect(fold.start, first, fold.end - fold.start, below - first + 12, look="paper")
        for x in (fold.start, fold.end):
            yield line(x, first, x, below, look="grid dotted")
            yield line(x - 3, below + 20, x + 3, below + 4, look="axis")
    yield from names


def _bars(times: RunTimes, lane: AxisLane, scale: FoldedScale) -> Iterator[Bar]:
    for stretch in times.stretches:
        if lane.stage and stretch.stage == lane.stage:
            yield _bar(scale, stretch.start_s, stretch.end_s, "span")
    for watch in lane.watches:
        look = "stale" if watch.stale else "watch"
        yield _bar(scale, watch.end_s if watch.start_s is None else watch.start_s, watch.end_s, look)


def _bar(scale: FoldedScale, start_s: float, end_s: float, look: str) -> Bar:
    left, right = scale.at(start_s), scale.at(end_s)
    if right - left < _LEAST_BAR:
        left = max(right - _LEAST_BAR, _LEFT)
        right = left + _LEAST_BAR
    return Bar(left=left, right=right, look=look)


def _going_back(times: RunTimes, tops: Mapping[str, float], scale: FoldedScale) -> "Iterator[Markup]":
    """Return a dashed line for each time it was opened again, from the stage it had to where it went."""
    for mark in times.marks:
        after = next((place for place, one in enumerate(times.stretches) if one.start_s >= mark.at_s), None)
        if mark.kind is not Kind.AGAIN or not after:
            continue
        had, back = times.stretches[after - 1].stage, times.stretches[after].stage
        if had not in tops or back not in tops or tops[back] >= tops[had]:
            continue
        x, low, high = scale.at(mark.at_s), tops[had] + _BAR / 2, tops[back] + _BAR / 2
        yield line(x, low, x, high, look="limit back")
        yield path([(x - 5, high + 9), (x, high), (x + 5, high + 9)], look="back")


def _foot(times: RunTimes, scale: FoldedScale, below: float) -> "Iterator[Markup]":
    axis = below + 12.0
    edges = [_LEFT, *(end for fold in scale.folds for end in (fold.start, fold.end)), _RIGHT]
    for left, right in zip(edges[::2], edges[1::2], strict=True):
        yield line(left, axis, right, axis, look="axis")
    yield strokes([scale.at(one) for one in times.checks_s], axis - 7, axis, look="tick")
    row = axis + _FOOT_ROW - 4
    if times.by_order or times.origin is None:
        yield text(_LEFT, row, RUN["by_order_axis"], look="quiet")
        return
    ticks = list(_ticks(times.origin, times.end_s, scale))
    clocks = not_meeting([(x, when.strftime("%H:%M")) for x, when in ticks], low=_LEFT, high=_RIGHT)
    for label in clocks:
        yield _words(label, row, look="quiet")
    shown = {label.text for label in clocks}
    for x, when in ticks:
        if when.strftime("%H:%M") in shown:
            yield line(x, axis, x, axis + 5, look="axis")
    days: dict[str, float] = {}
    for x, when in ticks:
        days.setdefault(when.date().isoformat(), x)
    zone_from = _RIGHT - width_of(RUN["zone"])
    row += _FOOT_ROW - 2
    dates = [(x + width_of(day) / 2 - width_of("00:00") / 2, day) for day, x in days.items()]
    for label in not_meeting(dates, low=_LEFT, high=zone_from - 12):
        yield _words(label, row, look="quiet")
    yield text(_RIGHT, row, RUN["zone"], look="quiet", anchor="end")
    if scale.folds:
        row += _FOOT_ROW - 2
        told = [
            ((fold.start + fold.end) / 2, RUN["fold"].format(time=lasting(fold.high_s - fold.low_s)))
            for fold in scale.folds
        ]
        for label in not_meeting(told, low=_LEFT, high=_RIGHT):
            yield _words(label, row, look="quiet")


def _ticks(origin: datetime, length_s: float, scale: FoldedScale) -> Iterator[tuple[float, datetime]]:
    """Return round times of the day with their places, outside of what is folded."""
    days = math.ceil(_APART / scale.per_second / _STEPS_S[-1])  # where a clock stood years back
    step_s = next((one for one in _STEPS_S if one * scale.per_second >= _APART), days * _STEPS_S[-1])
    midnight = origin.replace(hour=0, minute=0, second=0, microsecond=0)
    before_s = (origin - midnight).total_seconds()
    lows = [0.0, *(fold.high_s for fold in scale.folds)]
    highs = [*(fold.low_s for fold in scale.folds), length_s]
    found: list[tuple[float, datetime]] = []
    for low, high in zip(lows, highs, strict=True):
        first = -((-before_s - low) // step_s) * step_s - before_s
        places = [first + step_s * number for number in range(max(0, int((high - first) // step_s) + 1))]
        # A stretch too short for a round time has the time that it begins at.
        places = places or [low]
        found += [(scale.at(place), origin + timedelta(seconds=place)) for place in places]
    yield from found


def _words(label: Label, y: float, *, look: str) -> "Markup":
    return text(label.x, y, label.text, look=look, anchor=label.anchor)


def _step(x: float, y: float) -> "Markup":
    return line(x, y - 9, x, y + 9, look="event")


def _again(x: float, y: float) -> "Markup":
    return path([(x + 6, y - 8), (x - 7, y), (x + 6, y + 8)], look="event", closed=True)


def _hazard(x: float, y: float) -> "Markup":
    return path([(x, y - 9), (x + 8, y), (x, y + 9), (x - 8, y)], look="event ink", closed=True)


def _made_safe(x: float, y: float) -> "Markup":
    return path([(x, y - 9), (x + 8, y), (x, y + 9), (x - 8, y)], look="event", closed=True)


def _grew(x: float, y: float) -> "Markup":
    return path([(x - 8, y), (x + 8, y), (x, y), (x, y - 8), (x, y + 8)], look="event")


def _unseen(x: float, y: float) -> "Markup":
    return rect(x - 6, y - 6, 12, 12, look="event dotted")


_SHAPES = {
    Kind.STEP: _step,
    Kind.AGAIN: _again,
    Kind.HAZARD: _hazard,
    Kind.MADE_SAFE: _made_safe,
    Kind.GREW: _grew,
    Kind.UNSEEN: _unseen,
}
