"""The base from below, with what was measured at each place of its seam and a mark for what it came to."""

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

import msgspec

from verify.judge import Limit, judge, judge_bracket
from verify.record.model import Record, Result
from verify.report.capacities import readings_of
from verify.report.numbers import signed
from verify.report.plots import svg
from verify.report.words import MARKS, SEAM_MAP, VERDICTS
from verify.values import Reading, Unit, Verdict
from verify.values.errors import HandbackError

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["PLACES", "Place", "SeamView", "draw_seams", "places_of", "seam_views"]

PLACES: Mapping[str, tuple[float, float]] = {
    "front left corner": (1.0, 1.0),
    "front middle": (0.5, 1.0),
    "front right corner": (0.0, 1.0),
    "right middle": (0.0, 0.5),
    "rear right corner": (0.0, 0.0),
    "rear middle": (0.5, 0.0),
    "rear left corner": (1.0, 0.0),
    "left middle": (1.0, 0.5),
}
"""Across and down, 0 to 1, on a base that lies upside down with its front edge towards the reader: left and
right, which are those of a machine in use, change sides."""

_WIDTH, _HEIGHT = 420.0, 250.0
_LEFT, _TOP, _ACROSS, _DOWN = 46.0, 26.0, 328.0, 198.0  # the outline
_MARK, _BAD_MARK = 15.0, 19.0
_MOST_LETTERS = 13  # beside a mark; three stand in a row
_LEAF = re.compile(r"Wider than the thickest leaf \((\d+(?:\.\d+)?) mm\)\.")
_RECTANGLE = 3**0.5


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """One place: its name, the gap in mm as it is written, and what it came to; None: nothing judges it."""

    name: str
    gap: str
    verdict: Verdict | None

    @property
    def shape(self) -> str:
        """Return the mark that stands for it."""
        return MARKS[self.verdict or Verdict.NOT_APPLICABLE]


class SeamView(msgspec.Struct, frozen=True, kw_only=True):
    """A check of seams: its question, the drawing, and the places that are not on it."""

    ask: str
    drawing: "Markup"
    elsewhere: tuple[Place, ...]


def seam_views(record: Record) -> tuple[SeamView, ...]:
    """Return a drawing for each check that measured, in mm, at a place of the seam known by its name."""
    views = []
    for result in record.results:
        places = places_of(result)
        drawn = {place.name: place for place in reversed(places) if place.name in PLACES}
        if drawn:
            elsewhere = tuple(place for place in places if drawn.get(place.name) is not place)
            views.append(SeamView(ask=result.ask, drawing=draw_seams(drawn), elsewhere=elsewhere))
    return tuple(views)


def places_of(result: Result) -> tuple[Place, ...]:
    """Return what a measuring check read in mm, place by place, each judged as the check judges it."""
    if result.kind != "measure":
        return ()
    return tuple(
        Place(
            name=reading.source.rpartition(", ")[0] or reading.source,
            gap=_gap(reading),
            verdict=_verdict(reading, result.limit),
        )
        for reading in readings_of(result)
        if reading.unit is Unit.MILLIMETRE
    )


def draw_seams(places: Mapping[str, Place]) -> "Markup":
    """Draw the outline, and at each known place its gap and mark; a place not measured stays bare."""
    outline = svg.rect(_LEFT, _TOP, _ACROSS, _DOWN, look="outline")
    middle, half_down = _LEFT + _ACROSS / 2, _TOP + _DOWN / 2 + 5
    shapes = [
        outline,
        svg.text(middle, _TOP - 12, SEAM_MAP["rear"], look="quiet", anchor="middle"),
        svg.text(middle, _TOP + _DOWN + 22, SEAM_MAP["front"], look="quiet", anchor="middle"),
        svg.text(_LEFT - 12, half_down, SEAM_MAP["right"], look="quiet", anchor="end"),
        svg.text(_LEFT + _ACROSS + 12, half_down, SEAM_MAP["left"], look="quiet"),
    ]
    told = []
    for name, (across, down) in PLACES.items():
        place = places.get(name)
        if place is not None:
            shapes += _drawn(place, across, down)
            told.append(_said(place))
    return svg.figure(
        shapes,
        width=_WIDTH,
        height=_HEIGHT,
        title=SEAM_MAP["title"],
        says=SEAM_MAP["says"].format(places=" ".join(told)),
    )


def _drawn(place: Place, across: float, down: float) -> "tuple[Markup, ...]":
    x, y = _LEFT + across * _ACROSS, _TOP + down * _DOWN
    bad = place.verdict is Verdict.DOES_NOT_CONFORM
    anchor = "start" if across == 0 else "middle" if across == 1 / 2 else "end"
    text_x = x if anchor == "middle" else x + (15 if across == 0 else -15)
    text_y = y + (28 if down == 0 else 5 if down == 1 / 2 else -18)
    size = _BAD_MARK if bad else _MARK
    return (
        svg.rect(x - size / 2, y - size / 2, size, size, look="paper"),
        svg.mark(x, y, size, place.shape),
        svg.text(text_x, text_y, place.gap, look="strong" if bad else "value", anchor=anchor),
    )


def _said(place: Place) -> str:
    gap = SEAM_MAP["with_unit"].format(gap=place.gap) if place.gap != SEAM_MAP["unknown"] else place.gap
    if place.verdict is None:
        return SEAM_MAP["at_recorded"].format(where=place.name, gap=gap)
    return SEAM_MAP["at"].format(where=place.name, gap=gap, verdict=VERDICTS[place.verdict])


def _gap(reading: Reading) -> str:
    if reading.value is None:
        leaf = _LEAF.fullmatch(reading.reason or "")
        words = SEAM_MAP["wider"].format(leaf=leaf.group(1)) if leaf else SEAM_MAP["unknown"]
        return words if len(words) <= _MOST_LETTERS else SEAM_MAP["unknown"]
    span = _leaves(reading)
    if span is not None:
        words = SEAM_MAP["span"].format(low=_number(span[0]), high=_number(span[1]))
        if len(words) <= _MOST_LETTERS:
            return words
    return SEAM_MAP["value"].format(value=_number(reading.value))


def _leaves(reading: Reading) -> tuple[float, float] | None:
    """Return the leaf that entered and the one that did not, of which a reading by leaves was made."""
    if reading.value is None or not reading.standard_uncertainty:
        return None
    half = _RECTANGLE * reading.standard_uncertainty
    low, high = round(reading.value - half, 4), round(reading.value + half, 4)
    return (low + 0.0, high) if 0 <= low < high < float("inf") else None


def _verdict(reading: Reading, limit: Limit | None) -> Verdict | None:
    if limit is None:
        return None
    leaf = _LEAF.fullmatch(reading.reason or "") if reading.value is None else None
    span = (float(leaf.group(1)), None) if leaf else _leaves(reading)
    try:
        if span is None:
            return judge(reading, limit).verdict
        enters, stops = span
        return judge_bracket(enters, stops, limit, Unit.MILLIMETRE).verdict
    except HandbackError:
        return None  # a limit in another unit judges nothing here


def _number(value: float) -> str:
    text = f"{value:.3g}" if abs(value) < 1e4 else f"{value:.2g}"
    return signed(text)
