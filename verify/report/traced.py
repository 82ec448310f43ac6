"""Which trace belongs to which attempt, and what it holds: each is read once for all that is drawn."""

from collections.abc import Iterator, Mapping

from verify.record.model import Attempt, Record, Result, Trace
from verify.report.pictures import Standing
from verify.report.traces import Courses, courses_in
from verify.values.errors import UnknownFormatError

__all__ = ["Traced", "attempt_that_counts", "attempts_traced"]


class Traced:
    """The traces of a record that are those that were sealed. Nothing else is ever read."""

    def __init__(self, traces: Mapping[str, bytes], standing: Mapping[str, Standing]) -> None:
        """Take the bytes and the standing of each, by the trace's name; what has no standing is missing."""
        self._traces, self._standing = traces, standing
        self._read: dict[str, Courses | None] = {}

    def standing(self, name: str) -> Standing:
        """Return whether the bytes are there, and are those that were sealed."""
        return self._standing.get(name, Standing.MISSING)

    def courses(self, name: str) -> Courses | None:
        """Return it as numbers over time; None where it is not there, or in a format that is not known."""
        if name not in self._read:
            data = self._traces.get(name) if self.standing(name) is Standing.SHOWN else None
            try:
                self._read[name] = None if data is None else courses_in(data)
            except UnknownFormatError:
                self._read[name] = None
        return self._read[name]

    def seconds(self, name: str) -> float | None:
        """Return the time from its first look to its last, in s; None where that is not known."""
        courses = self.courses(name)
        return courses.times_s[-1] if courses is not None and courses.times_s else None


def attempts_traced(record: Record, result: Result) -> Iterator[tuple[Attempt, Trace]]:
    """Return each attempt with its trace, the last one first: each of an automatic check sealed a trace."""
    mine = [trace for trace in record.traces if trace.check == result.check]
    return zip(reversed(result.attempts), reversed(mine), strict=False)


def attempt_that_counts(record: Record, result: Result) -> tuple[Attempt, Trace] | None:
    """Return the last attempt that is not out of date, with its trace; None where there is none."""
    return next((one for one in attempts_traced(record, result) if not one[0].out_of_date), None)
