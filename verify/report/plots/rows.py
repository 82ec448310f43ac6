"""The figures behind a plot over time: about twenty rows at even times."""

from bisect import bisect_left
from collections.abc import Sequence

import msgspec

from verify.report.numbers import signed
from verify.report.plots.envelope import MOST, usual_pause

__all__ = ["Column", "rows_of"]

_ROWS = 20


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that was read. values: one for each time; None or not finite: unknown."""

    name: str
    values: Sequence[float | None]
    decimals: int


def rows_of(
    times_s: Sequence[float], columns: Sequence[Column], *, unit_s: float, unknown: str
) -> tuple[tuple[str, ...], ...]:
    """Return the look nearest to each of twenty even times, both ends included; each look once.

    Time first, in units of `unit_s` seconds, to a tenth. Where nobody looked for longer than a pause there is
    no row. unknown: what stands where a figure is not known.
    """
    pause_s = usual_pause(times_s)
    step_s = (times_s[-1] - times_s[0]) / (_ROWS - 1)
    places = dict.fromkeys(
        place
        for number in range(_ROWS)
        if abs(
            times_s[place := _nearest(times_s, times_s[0] + number * step_s)] - times_s[0] - number * step_s
        )
        <= pause_s
    )
    return tuple(
        (f"{times_s[place] / unit_s:.1f}", *(_cell(column, place, unknown) for column in columns))
        for place in places
    )


def _nearest(times_s: Sequence[float], time_s: float) -> int:
    after = min(bisect_left(times_s, time_s), len(times_s) - 1)
    before = max(after - 1, 0)
    return after if times_s[after] - time_s <= time_s - times_s[before] else before


def _cell(column: Column, place: int, unknown: str) -> str:
    value = column.values[place]
    if value is None or not -MOST <= value <= MOST:
        return unknown
    return signed(f"{round(value, column.decimals) + 0.0:.{column.decimals}f}")
