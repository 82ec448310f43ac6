"""What each kind of watch gives to be drawn, and which of its numbers are known."""

from collections.abc import Sequence
from math import isfinite

import msgspec

from verify.record.model import Attempt, Record, Result
from verify.report.plots.envelope import MOST
from verify.report.plots.lines import Panel, Span
from verify.report.plots.rows import Column
from verify.report.traces import Courses

__all__ = ["MOST_LINES", "Compared", "Told", "Watched", "known"]

MOST_LINES = 3
"""So many lines a panel has at most."""


class Watched(msgspec.Struct, frozen=True, kw_only=True):
    """One attempt that counts: its trace as numbers, and where it stands.

    earlier: the courses of its attempts that are out of date, the latest first; None: not there.
    """

    record: Record
    result: Result
    attempt: Attempt
    courses: Courses
    earlier: tuple[tuple[Attempt, Courses | None], ...] = ()


class Compared(msgspec.Struct, frozen=True, kw_only=True):
    """What was read before against after, as a table: its columns' names, and its rows."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """What is drawn and said. panels without lines are left out."""

    title: str
    panels: tuple[Panel, ...]
    says: tuple[str, ...]
    columns: tuple[Column, ...]
    spans: tuple[Span, ...] = ()
    compared: Compared | None = None


def known(values: Sequence[float]) -> Sequence[float]:
    """Return those that are known: NaN lies nowhere, and what is beyond `MOST` is no reading.

    Itself where all are: a day has 86,400 looks, and these passes are in C.
    """
    if values and isfinite(sum(values)) and min(values) >= -MOST and max(values) <= MOST:
        return values
    return [value for value in values if -MOST <= value <= MOST]
