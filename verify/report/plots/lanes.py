"""Bars over time, each name on a lane of its own, and numbers over marks: no two texts ever meet. Pure."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import msgspec

from verify.report.letters import clipped, width_of

__all__ = ["Bar", "Label", "groups_of", "name_on_lane", "not_meeting"]

_PAD = 7.0  # between a text and what it must not meet
_LEAST_ROOM = 60.0  # a name cut shorter says nothing


class Bar(msgspec.Struct, frozen=True, kw_only=True):
    """One bar of a lane, left to right. look: its class."""

    left: float
    right: float
    look: str = "span"


class Label(msgspec.Struct, frozen=True, kw_only=True):
    """A text and the room that it takes across. anchor: start, middle or end, where narrow letters gather."""

    text: str
    left: float
    right: float
    anchor: str = "middle"

    @property
    def x(self) -> float:
        """Where its anchor lies."""
        if self.anchor == "middle":
            return (self.left + self.right) / 2
        return self.left if self.anchor == "start" else self.right


def name_on_lane(name: str, bars: Sequence[Bar], *, low: float, high: float) -> Label | None:
    """Return where the name stands: in the first room that has place for it, else cut in the widest.

    Rooms: in the first bar, behind it, before it, then all others.
    None where there is no room even for a few letters.
    """
    rooms = list(_rooms(bars, low, high))
    need = width_of(name) + 2 * _PAD
    first = bars[0].left if bars else low
    last = bars[0].right if bars else low
    rooms.sort(
        key=lambda room: (
            not (room[0] >= first and room[1] <= last),
            not room[0] >= last,
            abs(room[0] - last),
        )
    )
    for left, right in rooms:
        if right - left >= need:
            # Before its bar it leans to it.
            leans = right <= first
            at = right - need if leans else left
            anchor = "end" if leans else "start"
            return Label(text=name, left=at + _PAD, right=at + need - _PAD, anchor=anchor)
    widest = max(rooms, key=lambda room: room[1] - room[0], default=None)
    if widest is None or widest[1] - widest[0] < _LEAST_ROOM:
        return None
    cut = clipped(name, widest[1] - widest[0] - 2 * _PAD)
    left = widest[0] + _PAD
    return Label(text=cut, left=left, right=left + width_of(cut), anchor="start") if cut else None


def _rooms(bars: Sequence[Bar], low: float, high: float) -> Iterator[tuple[float, float]]:
    """Return what lies between two edges of bars."""
    edges = {low, high}
    for bar in bars:
        edges.update(min(max(place, low), high) for place in (bar.left, bar.right))
    return pairwise(sorted(edges))


def groups_of(places: Sequence[float], *, low: float, high: float) -> tuple[Label, ...]:
    """Return the numbers from 1 on over their places, those that would meet as one: "3–5".

    places: rising. Each stands over its place, or its group's middle, within low and high.
    """
    groups: list[tuple[int, int, Label]] = []
    for number in range(1, len(places) + 1):
        group = number, number, _numbers(number, number, places, low, high)
        while groups and group[2].left - groups[-1][2].right < _PAD:
            first = groups.pop()[0]
            group = first, number, _numbers(first, number, places, low, high)
        groups.append(group)
    return tuple(label for _, _, label in groups)


def _numbers(first: int, last: int, places: Sequence[float], low: float, high: float) -> Label:
    text = f"{first}" if first == last else f"{first}–{last}"
    width = width_of(text)
    left = min(max((places[first - 1] + places[last - 1] - width) / 2, low), high - width)
    return Label(text=text, left=left, right=left + width)


def not_meeting(labels: Sequence[tuple[float, str]], *, low: float, high: float) -> tuple[Label, ...]:
    """Return those labels, each with its middle where it is asked for, that do not meet one before them."""
    found: list[Label] = []
    for middle, text in labels:
        width = width_of(text)
        left = min(max(middle - width / 2, low), high - width)
        if not found or left - found[-1].right >= 2 * _PAD:
            found.append(Label(text=text, left=left, right=left + width))
    return tuple(found)
