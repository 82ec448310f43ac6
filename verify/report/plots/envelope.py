"""Fewer points of a long series, and still all of its extremes: what a plot of so many columns can show.

In each column of time the first, the lowest, the highest and the last point of what was seen stay. A gap is
never bridged: where nothing was read, or for longer than a pause, the line ends and begins anew.
"""

from bisect import bisect_right
from collections.abc import Sequence
from itertools import repeat
from math import isfinite
from operator import gt, le, sub
from statistics import median_low

from verify.values.errors import InvalidValueError

__all__ = ["MOST", "Point", "envelope", "usual_pause"]

MOST = 1e12
"""What lies further from 0 is no reading of a machine: it is a gap, as what is unknown."""

_SHORTEST_PAUSE_S = 60.0  # slower than any watch looks by itself [common practice, no source]
_USUAL_TIMES = 5.0
_STEPS_LOOKED_AT = 2000
_MOST_PIECES = 2

Point = tuple[float, float]
_Piece = list[Point]  # what was seen between two gaps: first, lowest, highest, last


def usual_pause(times_s: Sequence[float]) -> float:
    """Return how long a pause is a gap, in s: five usual steps, a minute at least."""
    every = max(1, len(times_s) // _STEPS_LOOKED_AT)
    pairs = ((times_s[at], times_s[at + 1]) for at in range(0, len(times_s) - 1, every))
    steps = [after - before for before, after in pairs if after > before]
    return max(_SHORTEST_PAUSE_S, _USUAL_TIMES * median_low(steps)) if steps else _SHORTEST_PAUSE_S


def envelope(
    times: Sequence[float], values: Sequence[float | None], *, columns: int, pause: float
) -> tuple[tuple[Point, ...], ...]:
    """Return the series as stretches without a gap, at most eight points a column, in order of time.

    times: finite, not falling. values: as many; None, NaN, infinite or beyond `MOST` is not known. columns:
    1 or more, of even width over the whole of the times. pause: longer between two known points is a gap.
    A column that is broken more than once keeps four points, each a stretch of its own: nothing is bridged.
    Raises InvalidValueError where the times fall or are not finite, or the lengths differ.
    """
    if len(times) != len(values) or columns < 1:
        raise InvalidValueError(f"{len(times)} times, {len(values)} values, {columns} columns: no series.")
    # In C: a day has 86,400 looks. Where no time falls (NaN compares as nothing), the ends bound all of them.
    if times and not (all(map(le, times, times[1:])) and times[0] >= -MOST and times[-1] <= MOST):
        raise InvalidValueError("The times of a series must be finite and must not fall.")
    found: list[list[Point]] = []
    for joins, pieces in _columns(times, values, columns, pause):
        for number, points in enumerate(_shown(pieces)):
            if found and joins and not number:
                found[-1].extend(points)
            else:
                found.append(points)
    return tuple(map(tuple, found))


def _columns(
    times: Sequence[float], values: Sequence[float | None], columns: int, pause: float
) -> list[tuple[bool, list[_Piece]]]:
    """Return, for each column with a known point, whether it goes on from the one before, and its pieces."""
    found: list[tuple[bool, list[_Piece]]] = []
    start = before = times[0] if times else 0.0
    width = (times[-1] - start) / columns if times else 0.0

    def column(time: float) -> int:
        return min(int((time - start) / width), columns - 1) if width > 0 else 0

    broken, first = True, 0
    while first < len(times):
        number = column(times[first])
        last = bisect_right(times, number, lo=first, key=column)
        inside, seen = values[first:last], times[first:last]
        extremes = _clean_extremes(inside)
        even = extremes is not None and not any(map(gt, map(sub, seen[1:], seen), repeat(pause)))
        joins = not (broken or seen[0] - before > pause)
        if extremes is not None and even:
            low, high = extremes
            places = (0, inside.index(low), inside.index(high), len(inside) - 1)
            # One look is one point, whatever it is the extreme of.
            looks = {place: (seen[place], value) for place in places if (value := inside[place]) is not None}
            pieces = [[looks[place] for place in places]]
            broken, before = False, seen[-1]
        else:
            joins, pieces, broken, before = _pieces(seen, inside, pause, broken=broken, before=before)
        if pieces:
            found.append((joins, pieces))
        first = last
    return found


def _clean_extremes(values: Sequence[float | None]) -> tuple[float, float] | None:
    """Return the lowest and the highest where all of them are known, else None. Passes in C only."""
    try:
        if not isfinite(sum(values)):  # type: ignore[arg-type]  # None is no number: a TypeError
            return None
        low, high = min(values), max(values)  # type: ignore[type-var]
    except TypeError:
        return None
    return (low, high) if low is not None and high is not None and low >= -MOST and high <= MOST else None


def _pieces(
    times: Sequence[float], values: Sequence[float | None], pause: float, *, broken: bool, before: float
) -> tuple[bool, list[_Piece], bool, float]:
    """Return a column's pieces, look by look: whether the first joins, the pieces, and how it leaves off."""
    pieces: list[_Piece] = []
    joins = False
    for time, value in zip(times, values, strict=True):
        if value is None or not -MOST <= value <= MOST:  # NaN lies nowhere
            broken = True
            continue
        broken = broken or time - before > pause
        before = time
        point = (time, value)
        if broken or not pieces:
            joins = joins if pieces else not broken
            broken = False
            pieces.append([point, point, point, point])
            continue
        piece = pieces[-1]
        if value < piece[1][1]:
            piece[1] = point
        elif value > piece[2][1]:
            piece[2] = point
        piece[3] = point
    return joins, pieces, broken, before


def _shown(pieces: list[_Piece]) -> list[list[Point]]:
    if len(pieces) <= _MOST_PIECES:
        return [_in_order(piece) for piece in pieces]
    points = [point for piece in pieces for point in piece]
    lowest, highest = min(points, key=lambda one: one[1]), max(points, key=lambda one: one[1])
    return [[point] for point in _in_order([points[0], lowest, highest, points[-1]])]


def _in_order(points: _Piece) -> list[Point]:
    """Return first, extremes and last, each look once; the ends stay the ends even where no time passed."""
    first, lowest, highest, last = points
    between = [lowest] if highest is lowest else sorted((lowest, highest), key=lambda one: one[0])
    inner = [point for point in between if point is not first and point is not last]
    return [first, *inner] if last is first else [first, *inner, last]
