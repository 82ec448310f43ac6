"""A scale of time on which long stretches without anything to see are folded to a break of fixed width."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise

import msgspec

__all__ = ["Fold", "FoldedScale", "folded"]

# What is folded [all: common practice, no source].
_IDLE_S = 30 * 60.0
_WATCHED_S = 4 * 3600.0
_SHARE = 0.08  # of what is not folded yet: shorter, and it takes little room
_MOST_FOLDS = 12
_LEFT_OPEN_S, _LEFT_OPEN = 300.0, 0.1  # on either side, so that beginnings and ends are seen
_FOLD, _MOST_WIDTH = 30.0, 0.35  # units each; of the whole, all together


class Fold(msgspec.Struct, frozen=True, kw_only=True):
    """A break: from when to when, and where it is drawn."""

    low_s: float
    high_s: float
    start: float
    end: float


class FoldedScale(msgspec.Struct, frozen=True, kw_only=True):
    """From a time to a place. knees: times and places, both rising, between which it goes evenly."""

    knees: tuple[tuple[float, float], ...]
    folds: tuple[Fold, ...]
    per_second: float

    def at(self, time_s: float) -> float:
        """Return the place of a time; beyond the ends: the end."""
        place = bisect_right(self.knees, time_s, key=lambda knee: knee[0])
        if place == 0:
            return self.knees[0][1]
        if place == len(self.knees):
            return self.knees[-1][1]
        (low, start), (high, end) = self.knees[place - 1], self.knees[place]
        return start + (time_s - low) / (high - low) * (end - start)


def folded(
    moments_s: Iterable[float],
    watched: Sequence[tuple[float, float]],
    *,
    length_s: float,
    start: float,
    end: float,
) -> FoldedScale:
    """Return the scale from 0 to length_s, above 0, drawn from start to end.

    moments_s: when something happened. watched: stretches in which something went on; those are folded only
    where they are far longer.
    """
    inside = {min(max(one, 0.0), length_s) for one in moments_s}
    idle = [(low, high) for low, high in pairwise(sorted({0.0, length_s, *inside})) if high > low]
    left_s = length_s
    chosen: list[tuple[float, float]] = []
    for low, high in sorted(idle, key=lambda one: one[0] - one[1]):
        goes_on = any(begun <= low and high <= over for begun, over in watched)
        least_s = _WATCHED_S if goes_on else _IDLE_S
        if len(chosen) == _MOST_FOLDS or high - low <= max(least_s, _SHARE * left_s):
            continue
        open_s = min(_LEFT_OPEN_S, _LEFT_OPEN * (high - low))
        chosen.append((low + open_s, high - open_s))
        left_s -= high - low - 2 * open_s
    width = min(_FOLD, _MOST_WIDTH * (end - start) / len(chosen)) if chosen else 0.0
    per_second = (end - start - width * len(chosen)) / left_s
    knees, folds = [(0.0, start)], []
    for low, high in sorted(chosen):
        at_s, place = knees[-1]
        place += (low - at_s) * per_second
        folds.append(Fold(low_s=low, high_s=high, start=place, end=place + width))
        knees += [(low, place), (high, place + width)]
    return FoldedScale(knees=(*knees, (length_s, end)), folds=tuple(folds), per_second=per_second)
