"""Which rows of a long recording to look at: enough to follow a pack or a chip, few enough to be quick.

Even in time, and closer where it matters: on both sides of what was not seen, around the largest jumps of the
flow (resistance comes from them), and before a flow ends (so a charge shows that it reached full). The charge
between two looks is not lost: it is summed over all rows.
"""

import re
from array import array
from bisect import bisect_left
from collections.abc import Iterator
from heapq import nlargest
from itertools import compress, islice
from math import isnan
from operator import sub

__all__ = ["MOST_LOOKS", "chosen_looks"]

MOST_LOOKS = 10_000
"""About so many rows of a longer recording are looked at."""

_EVEN_SHARE = 0.7  # of the looks; the others lie where something happens
_MOST_GAPS, _MOST_JUMPS, _MOST_ENDS = 500, 150, 40
_TOLD_APART = 50
_GAP_S = 30.0
_USUAL_TIMES = 2.5  # so many usual intervals are a gap, too
_JUMP_SHARE = 0.2  # of the range of the flow
_REST_SHARE = 0.02
# A step of the current is read within some seconds; the end of a charge in two windows of 40 s.
_BEFORE_JUMP_S, _AFTER_JUMP_S, _JUMP_LOOK_S = 16.0, 12.0, 1.0
_BEFORE_END_S, _END_LOOK_S = 300.0, 10.0
_SAMPLE = 2000


def chosen_looks(
    times_s: "array[float]", flow: "array[float] | None", *, least_jump: float
) -> "list[int] | range":
    """Return the rows to look at, rising, the first and the last among them.

    times_s: strictly rising. flow: current or power, of the same length, NaN where unknown; None where the
    recording has neither. least_jump: of the flow, in its unit, above 0.
    """
    rows = len(times_s)
    if rows <= MOST_LOOKS:
        return range(rows)
    chosen = {0, rows - 1}
    even_s = (times_s[-1] - times_s[0]) / (MOST_LOOKS * _EVEN_SHARE)
    chosen.update(_each(times_s, times_s[0], times_s[-1], even_s))
    for row in _gaps(times_s):
        chosen.update((row, row + 1))
    if flow is not None:
        span = _range(flow)
        for row in _jumps(flow, max(least_jump, span * _JUMP_SHARE)):
            at_s = times_s[row]
            chosen.update((row, row + 1))
            chosen.update(_each(times_s, at_s - _BEFORE_JUMP_S, at_s + _AFTER_JUMP_S, _JUMP_LOOK_S))
        for row in _ends(flow, span * _REST_SHARE):
            chosen.update(_each(times_s, times_s[row] - _BEFORE_END_S, times_s[row], _END_LOOK_S))
    return sorted(chosen)


def _each(times_s: "array[float]", start_s: float, end_s: float, step_s: float) -> Iterator[int]:
    """Yield the row at or after every multiple of step_s from start to end; a row may come again."""
    row, last = bisect_left(times_s, start_s), len(times_s) - 1
    steps = 0
    while row <= last and times_s[row] <= end_s:
        yield row
        # Over a gap at once: a recording may stand still for days.
        steps = max(steps + 1, int((times_s[row] - start_s) / step_s) + 1)
        row = bisect_left(times_s, start_s + steps * step_s, row + 1)


def _gaps(times_s: "array[float]") -> list[int]:
    """Return the rows before the longest times that nobody saw."""
    lengths = array("d", map(sub, islice(times_s, 1, None), times_s))
    usual_s = sorted(lengths[:: max(1, len(lengths) // _SAMPLE)])[_SAMPLE // 2]
    least_s = max(_GAP_S, _USUAL_TIMES * usual_s)
    return _largest(_MOST_GAPS, lengths, least_s)


def _largest(count: int, values: "array[float]", least: float) -> list[int]:
    """Return the places of the `count` largest values that are above `least`."""
    found = list(compress(range(len(values)), map(least.__lt__, values)))
    # Where so many are above it, it tells nothing, and a share of them is as good.
    found = found[:: 1 + len(found) // (_TOLD_APART * count)]
    return nlargest(count, found, key=values.__getitem__)


def _range(flow: "array[float]") -> float:
    known = sorted(value for value in flow[:: max(1, len(flow) // _SAMPLE)] if not isnan(value))
    # Without the outermost: one wild value must not hide all others.
    return known[-1 - len(known) // 100] - known[len(known) // 100] if known else 0.0


def _jumps(flow: "array[float]", least: float) -> list[int]:
    return _largest(_MOST_JUMPS, array("d", map(abs, map(sub, islice(flow, 1, None), flow))), least)


def _ends(flow: "array[float]", rest: float) -> list[int]:
    """Return the first rows of the rests that follow a flow, some of them where they are many."""
    if rest <= 0:
        return []
    # As bytes, so that the edges are found at the speed of a search.
    rests = bytes(map(rest.__gt__, map(abs, flow)))
    ends = [match.start() + 1 for match in re.finditer(b"\x00\x01", rests)]
    return ends[:: 1 + len(ends) // _MOST_ENDS]
