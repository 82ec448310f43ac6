"""A battery's capacity as bars: measured with its 95 % interval, by its own account, on its label."""

import math
from typing import TYPE_CHECKING

import msgspec

from verify.record.model import Record
from verify.report.capacities import CapacityFigures, capacity_figures
from verify.report.numbers import signed
from verify.report.plots import svg
from verify.report.plots.scale import Scale
from verify.report.words import CAPACITY_BARS

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["CapacityView", "capacity_views", "draw_capacity"]

_WIDTH, _END = 420.0, 412.0  # of the view box; where the longest bar ends
_TOLD_AT = 158.0  # where the figures begin, behind the longest name
_LETTER = 8.0  # what a letter of 14 takes at most, on average
_BAR, _NAME, _WHISKER, _GAP = 14.0, 21.0, 15.0, 12.0
_CAP = 4.0  # half a whisker's end


class CapacityView(msgspec.Struct, frozen=True, kw_only=True):
    """The drawing, and its figures in words. name: the battery's, where there are several."""

    name: str
    drawing: "Markup"
    rows: tuple[tuple[str, str], ...]


def capacity_views(record: Record) -> tuple[CapacityView, ...]:
    """Return a drawing for each battery of which a capacity is known; none where nothing is."""
    figures = capacity_figures(record)
    return tuple(
        CapacityView(name=one.name if len(figures) > 1 else "", drawing=draw_capacity(one), rows=_rows(one))
        for one in figures
    )


def draw_capacity(figures: CapacityFigures) -> "Markup":
    """Draw the bars from zero on, one scale for all; a figure not above zero stands in words alone."""
    known = (figures.measured, figures.high, figures.low, figures.claimed, figures.label)
    highest = max((one for one in (*known, figures.accepted_from) if one is not None), default=0.0)
    scale = Scale(low=0.0, high=highest if highest > 0 else 1.0, start=1.0, end=_END)
    shapes: list[Markup] = []
    y, any_bar = 0.0, False
    bars = (
        ("measured", figures.measured, "accent"),
        ("claimed", figures.claimed, "outline"),
        ("label", figures.label, "dotted"),
    )
    for name, value, look in bars:
        shapes += [
            svg.text(0, y + 14, CAPACITY_BARS[name], look="strong halo"),
            svg.text(_TOLD_AT, y + 14, _beside(figures, name), look="halo"),
        ]
        y += _NAME
        if value is not None and value > 0:
            shapes.append(svg.rect(1, y, scale.at(value) - 1, _BAR, look=look))
            y += _BAR
            if name == "measured" and figures.low is not None:
                shapes += _whisker(figures, scale, y + 7)
                y += _WHISKER
            any_bar = True
        y += _GAP
    limit = figures.accepted_from
    if limit is not None and limit > 0 and any_bar:
        x, words = scale.at(limit), _accepted(figures)
        wide = min(_LETTER * len(words), _WIDTH)
        late = x > _WIDTH / 2
        # Drawn first: names and figures stand before the line.
        shapes.insert(0, svg.line(x, _NAME - 2, x, y - 6, look="limit"))
        place = max(x, wide) if late else min(x, _WIDTH - wide)
        shapes.append(svg.text(place, y + 9, words, look="quiet", anchor="end" if late else "start"))
        y += 15
    return svg.figure(
        shapes,
        width=_WIDTH,
        height=y,
        title=CAPACITY_BARS["title"],
        says=" ".join(CAPACITY_BARS["says"].format(what=what, told=told) for what, told in _rows(figures)),
    )


def _whisker(figures: CapacityFigures, scale: Scale, y: float) -> "list[Markup]":
    """Return the interval below its bar: closed at both ends, or open above with a point at its end."""
    low = scale.at(max(figures.low or 0.0, 0.0))
    high = _END if figures.high is None else scale.at(max(figures.high, 0.0))
    shapes = [
        svg.line(low, y, high, y, look="whisker"),
        svg.line(low, y - _CAP, low, y + _CAP, look="whisker"),
    ]
    if figures.high is None:
        head = [(high - 2 * _CAP, y - _CAP), (high, y), (high - 2 * _CAP, y + _CAP)]
        return [*shapes, svg.path(head, look="whisker")]
    return [*shapes, svg.line(high, y - _CAP, high, y + _CAP, look="whisker")]


def _rows(figures: CapacityFigures) -> tuple[tuple[str, str], ...]:
    """Return every figure in words, the share of the label beside it."""
    rows = [(CAPACITY_BARS[name], _told(figures, name)) for name in ("measured", "claimed", "label")]
    if figures.accepted_from is not None:
        rows.append((CAPACITY_BARS["limit"], _accepted(figures)))
    return tuple(rows)


def _told(figures: CapacityFigures, name: str) -> str:
    value = {"measured": figures.measured, "claimed": figures.claimed, "label": figures.label}[name]
    if value is None:
        return CAPACITY_BARS[f"no_{name}"]
    told = CAPACITY_BARS["value"].format(value=_number(value), unit=figures.unit.value)
    if name == "measured":
        told += _interval(figures) or CAPACITY_BARS["not_stated"]
    if name != "label" and figures.label:
        share = 100 * (value / figures.label)
        told += CAPACITY_BARS["share"].format(percent=_number(share, 0)) if math.isfinite(share) else ""
    return told


def _beside(figures: CapacityFigures, name: str) -> str:
    """Return what stands beside a bar's name: short enough for its line."""
    value = {"measured": figures.measured, "claimed": figures.claimed, "label": figures.label}[name]
    if value is None:
        return CAPACITY_BARS[f"no_{name}"]
    told = CAPACITY_BARS["value"].format(value=_number(value), unit=figures.unit.value)
    whole = told + (_interval(figures) if name == "measured" else "")
    return whole if _TOLD_AT + _LETTER * len(whole) <= _WIDTH else told


def _interval(figures: CapacityFigures) -> str:
    if figures.low is None:
        return ""
    low = _number(max(figures.low, 0.0))
    if figures.high is None:
        return CAPACITY_BARS["open"].format(low=low)
    return CAPACITY_BARS["interval"].format(low=low, high=_number(figures.high))


def _accepted(figures: CapacityFigures) -> str:
    value = CAPACITY_BARS["value"].format(
        value=_number(figures.accepted_from or 0.0), unit=figures.unit.value
    )
    words = CAPACITY_BARS["accepted_share" if figures.limit else "accepted"]
    return words.format(value=value, limit=figures.limit)


def _number(value: float, decimals: int = 1) -> str:
    text = f"{value:.{decimals}f}" if abs(value) < 1e5 else f"{value:.3g}"
    return signed(text)
