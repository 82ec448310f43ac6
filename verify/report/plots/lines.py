"""Lines over time: up to four panels one above the other, which share the time. Pure.

Told apart without colour: by the dash of the line, whose sample stands with its name above the panel.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import msgspec

from verify.report.numbers import signed
from verify.report.plots.envelope import envelope, usual_pause
from verify.report.plots.scale import Scale, round_ticks
from verify.report.plots.svg import figure, line, path, rect, text
from verify.values.errors import InvalidValueError

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["Band", "Line", "Panel", "Span", "TimeUnit", "lines_over_time"]

# The view box. Letters are about 20 units high on a phone, 13 on paper and on a large screen.
_WIDTH, _LEFT, _RIGHT = 640.0, 62.0, 14.0
_TOP, _HEAD, _PANEL, _FOOT = 48.0, 58.0, 116.0, 58.0
_SPAN_ROW = 34.0
_LETTER = 11.0  # the width that a letter of 20 units takes at most on average
_COLUMNS = 280  # a column is about two units: finer than a printer's dot on a card
_MOST_LINES, _MOST_PANELS = 3, 4
_USUAL_PANELS = 3
_LOW_HEAD, _LOW_PANEL = 58.0, 88.0  # where there are more than three panels
_MOST_NAME = 16
_LOOKS = ("one", "two", "three")
_ROOM = 0.08  # of the range, above and below


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a panel. values: one for each time of the chart; NaN or not finite: a gap.

    reckoned: it was not read but worked out, so where it stops nothing is missing.
    """

    name: str
    values: Sequence[float]
    reckoned: bool = False


class Band(msgspec.Struct, frozen=True, kw_only=True):
    """An interval across a panel, with the words beside it."""

    low: float
    high: float
    words: str


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    """One panel. low, high: ends that its scale has at least. limit: a line, with the words beside it."""

    name: str
    lines: tuple[Line, ...]
    low: float | None = None
    high: float | None = None
    limit: tuple[float, str] | None = None
    band: Band | None = None


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """A named stretch of time along the bottom, in s from the start."""

    name: str
    start_s: float
    end_s: float


class TimeUnit(msgspec.Struct, frozen=True, kw_only=True):
    """The unit that the time is written in, and how many seconds it has."""

    name: str
    seconds: float


def lines_over_time(
    times_s: Sequence[float],
    panels: tuple[Panel, ...],
    *,
    unit: TimeUnit,
    title: str,
    says: str,
    spans: tuple[Span, ...] = (),
) -> "Markup":
    """Return the drawing. times_s: from the start, not falling, in s. says: the drawing in plain words.

    Raises InvalidValueError where there is nothing to draw: no time that passes, no panel or more than four,
    no line or more than three in a panel, no known value in one.
    """
    if not times_s or times_s[-1] <= times_s[0] or not 1 <= len(panels) <= _MOST_PANELS:
        raise InvalidValueError("There is nothing to draw over time.")
    across = Scale(low=times_s[0], high=times_s[-1], start=_LEFT, end=_WIDTH - _RIGHT)
    head, deep = (_HEAD, _PANEL) if len(panels) <= _USUAL_PANELS else (_LOW_HEAD, _LOW_PANEL)
    below = _TOP + len(panels) * (head + deep) - head
    height = below + _FOOT + (_SPAN_ROW if spans else 0.0)
    pause = usual_pause(times_s)

    def shapes() -> Iterator["Markup"]:
        for number, panel in enumerate(panels):
            top = _TOP + number * (head + deep)
            yield from _panel(panel, times_s, across, Scale(low=0, high=1, start=top + deep, end=top), pause)
        foot = below
        if spans:
            yield from _spans(spans, across, below)
            foot += _SPAN_ROW
        yield from _time_axis(across, foot, unit)

    return figure(shapes(), width=_WIDTH, height=height, title=title, says=says)


def _panel(
    panel: Panel, times_s: Sequence[float], across: Scale, place: Scale, pause: float
) -> "Iterator[Markup]":
    """Return one panel. place: from its bottom to its top."""
    top = place.end
    if not 1 <= len(panel.lines) <= _MOST_LINES:
        raise InvalidValueError("A panel has one to three lines.")
    drawn = [envelope(times_s, one.values, columns=_COLUMNS, pause=pause) for one in panel.lines]
    values = [value for stretches in drawn for stretch in stretches for _, value in stretch]
    if not values:
        raise InvalidValueError("A panel without a known value cannot be drawn.")
    up = _upwards(panel, values, place)
    yield text(0, top - 20, panel.name, look="strong")
    if len(panel.lines) > 1:
        yield from _key([one.name for one in panel.lines], top - 20)
    for tick in round_ticks(up.low, up.high, most=4):
        yield line(across.start, up.at(tick), across.end, up.at(tick), look="grid")
        yield text(across.start - 8, up.at(tick) + 5, _plain(tick), look="quiet", anchor="end")
    if panel.band is not None:
        yield from _band(panel.band, panel.limit, across, up)
    if panel.limit is not None:
        at, said = panel.limit
        yield line(across.start, up.at(at), across.end, up.at(at), look="limit")
        # At the left, where a charge is low and a processor cool; below the line where above is no room.
        words_at = up.at(at) - 6 if up.at(at) - top > 22 else up.at(at) + 20
        yield text(across.start + 6, words_at, said, look="quiet halo")
    for look, stretches in zip(_LOOKS, drawn, strict=False):
        for stretch in stretches:
            places = [(across.at(time), up.at(value)) for time, value in stretch]
            if len(places) == 1:  # a point alone is a short stroke, else it would not be seen
                ((x, y),) = places
                places = [(x - 1, y), (x + 1, y)]
            yield path(places, look=f"course {look}")


def _band(band: Band, limit: tuple[float, str] | None, across: Scale, up: Scale) -> "Iterator[Markup]":
    """Return the interval with dotted edges; its words at the right, where the limit has none."""
    high, low = up.at(band.high), up.at(band.low)
    yield rect(across.start, high, across.end - across.start, low - high, look="band")
    for y in (high, low):
        yield line(across.start, y, across.end, y, look="edge dotted")
    free = high - up.end > 22 and (limit is None or not 0 <= high - up.at(limit[0]) < 24)
    yield text(across.end - 4, high - 6 if free else low + 20, band.words, look="quiet halo", anchor="end")


def _upwards(panel: Panel, values: list[float], place: Scale) -> Scale:
    ends = [*values, *(end for end in (panel.low, panel.high) if end is not None)]
    if panel.limit is not None:
        ends.append(panel.limit[0])
    if panel.band is not None:
        ends += [panel.band.low, panel.band.high]
    low, high = min(ends), max(ends)
    room = max((high - low) * _ROOM, abs(high) * 1e-3, 0.05)  # a line that never moves gets a scale as well
    # No room beyond an end that was asked for: nothing is above 100 %.
    below = low if low == panel.low else low - room
    above = high if high == panel.high else high + room
    return Scale(low=below, high=above, start=place.start, end=place.end)


def _key(names: list[str], y: float) -> "Iterator[Markup]":
    """Return a sample of each line with its name, to the right above the panel."""
    x = _WIDTH - _RIGHT
    for look, name in reversed(list(zip(_LOOKS, names, strict=False))):
        short = name if len(name) <= _MOST_NAME else f"{name[: _MOST_NAME - 1]}…"
        x -= len(short) * _LETTER
        yield text(x, y, short, look="quiet")
        yield line(x - 42, y - 5, x - 8, y - 5, look=f"course {look}")
        x -= 42 + 16


def _spans(spans: tuple[Span, ...], across: Scale, top: float) -> "Iterator[Markup]":
    """Return a band for each, with its name inside where there is room for it."""
    for span in spans:
        left = across.at(max(span.start_s, across.low))
        right = across.at(min(span.end_s, across.high))
        if right <= left:
            continue
        yield rect(left, top + 8, right - left, _SPAN_ROW - 8, look="span")
        if len(span.name) * _LETTER <= right - left:
            yield text((left + right) / 2, top + 27, span.name, look="quiet", anchor="middle")


def _time_axis(across: Scale, top: float, unit: TimeUnit) -> "Iterator[Markup]":
    yield line(across.start, top, across.end, top, look="axis")
    low, high = across.low / unit.seconds, across.high / unit.seconds
    for tick in round_ticks(low, high, most=7):
        x = across.at(tick * unit.seconds)
        yield line(x, top, x, top + 6, look="axis")
        # At the ends it leans inwards: it must not leave the drawing.
        anchor = "end" if x > across.end - 12 else "middle"
        yield text(x, top + 26, _plain(tick), look="quiet", anchor=anchor)
    yield text(across.end, top + 50, unit.name, look="quiet", anchor="end")


def _plain(number: float) -> str:
    """Write a round number: no decimals that say nothing, a true minus sign."""
    return signed(f"{number + 0.0:.6g}")
