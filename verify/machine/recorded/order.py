"""Rows in the order of their times: sorted where shuffled, cut where the clock jumped, merged where equal.

Times that go back are either rows out of order or a clock that was set back; what was recorded after that
must not be laid between what was recorded before it. Told by what sorting would do: pieces that do not
overlap are out of order as wholes; many short ones were shuffled; a few long ones that overlap are two
recordings.
"""

import math
from array import array
from bisect import bisect_right
from collections.abc import Mapping
from itertools import groupby, islice, pairwise
from operator import le, lt
from typing import TypeAlias

import msgspec

from verify.machine.recorded.heading import TIME
from verify.machine.recorded.remark import Remark

__all__ = ["Ordered", "in_order"]

Columns: TypeAlias = "Mapping[str, array[float]]"

_PIECE_ROWS = 20  # mean length from which pieces are recordings, not shuffled [common practice, no source]
_OVERLAP_ROWS = 5  # a writer with a buffer can be this much out of order [common practice, no source]
_PAUSE_S = 7 * 86400.0  # nobody waits a week in one measurement [common practice, no source]


class Ordered(msgspec.Struct, frozen=True, kw_only=True):
    """Columns whose times rise strictly, and what was done for that."""

    columns: "dict[str, array[float]]"
    remarks: tuple[Remark, ...] = ()


def in_order(columns: Columns) -> Ordered:
    """Return the rows with strictly rising times.

    columns: of one length; times known, others NaN where unknown.
    """
    remarks: list[Remark] = []
    ordered = dict(columns)
    if not _rises(ordered[TIME]):
        ordered = _straightened(ordered, remarks)
    ordered = _merged(ordered, remarks)
    return Ordered(columns=_without_pauses(ordered, remarks), remarks=tuple(remarks))


def _rises(times: "array[float]") -> bool:
    return all(map(le, times, islice(times, 1, None)))


def _picked(columns: Columns, places: "list[int] | range") -> "dict[str, array[float]]":
    return {name: array("d", map(column.__getitem__, places)) for name, column in columns.items()}


def _cut(columns: Columns, start: int, end: int) -> "dict[str, array[float]]":
    return {name: column[start:end] for name, column in columns.items()}


def _straightened(columns: Columns, remarks: list[Remark]) -> "dict[str, array[float]]":
    times = columns[TIME]
    backs = [place for place, back in enumerate(map(lt, islice(times, 1, None), times), start=1) if back]
    edges = [0, *backs, len(times)]
    if len(times) >= _PIECE_ROWS * len(backs) and _overlaps(columns, edges):
        start, end = max(pairwise(edges), key=lambda piece: piece[1] - piece[0])
        remarks.append(
            Remark(
                what=f"The clock went back {_times(len(backs))} in this log. Only its longest part without "
                f"that is measured: {end - start} of {len(times)} rows, {times[start]:g} s to "
                f"{times[end - 1]:g} s.",
                next_step="Split the log where its time goes back, and measure each part by itself.",
            )
        )
        return _cut(columns, start, end)
    remarks.append(
        Remark(
            what="The rows were not in the order of their times, which went back "
            f"{_times(len(backs))}: they were sorted."
        )
    )
    return _picked(columns, sorted(range(len(times)), key=times.__getitem__))


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _overlaps(columns: Columns, edges: list[int]) -> bool:
    """Tell whether some piece holds other rows of a time that another piece covers, no copies of them."""
    times = columns[TIME]
    pieces = sorted(pairwise(edges), key=lambda piece: times[piece[0]])
    widest = pieces[0]
    for piece in pieces[1:]:
        # Sorted by their starts: what overlaps, overlaps the one that reaches farthest.
        shared = bisect_right(times, times[widest[1] - 1], *piece) - piece[0]
        if shared > _OVERLAP_ROWS and not _copies(columns, range(piece[0], piece[0] + shared), widest):
            return True
        if times[piece[1] - 1] > times[widest[1] - 1]:
            widest = piece
    return False


def _copies(columns: Columns, rows: range, piece: tuple[int, int]) -> bool:
    times, series = columns[TIME], list(columns.values())
    for row in rows:
        other = bisect_right(times, times[row], *piece) - 1
        if any(
            column[row] != column[other] and not (math.isnan(column[row]) and math.isnan(column[other]))
            for column in series
        ):
            return False
    return True


def _merged(columns: "dict[str, array[float]]", remarks: list[Remark]) -> "dict[str, array[float]]":
    """Make one row of those with the same time: the mean of what each knows."""
    times = columns[TIME]
    if all(map(lt, times, islice(times, 1, None))):
        return columns
    groups = [list(group) for _, group in groupby(range(len(times)), key=times.__getitem__)]
    merged = {
        name: array("d", (column[group[0]] if len(group) == 1 else _mean(column, group) for group in groups))
        for name, column in columns.items()
    }
    more = len(times) - len(groups)
    share = "1 row shares its time" if more == 1 else f"{more} rows share their time"
    remarks.append(Remark(what=f"{share} with another: the mean of them is taken."))
    return merged


def _mean(column: "array[float]", rows: list[int]) -> float:
    known = [column[row] for row in rows if not math.isnan(column[row])]
    return math.fsum(known) / len(known) if known else math.nan


def _without_pauses(columns: "dict[str, array[float]]", remarks: list[Remark]) -> "dict[str, array[float]]":
    times = columns[TIME]
    if len(times) < 2 or times[-1] - times[0] <= _PAUSE_S:
        return columns
    edges = [0, *(place for place in range(1, len(times)) if times[place] - times[place - 1] > _PAUSE_S)]
    if len(edges) == 1:
        return columns
    pieces = list(zip(edges, [*edges[1:], len(times)], strict=True))
    start, end = max(pieces, key=lambda piece: piece[1] - piece[0])
    remarks.append(
        Remark(
            what=f"The log stands still for more than a week {_times(len(pieces) - 1)}. Only its longest "
            f"part is measured: {end - start} of {len(times)} rows.",
            next_step="Split the log there, and measure each part by itself.",
        )
    )
    return _cut(columns, start, end)
