"""The lines of a trace file, format "trace/2": what a sample becomes when it is written, and when it is read.

The first line names the format. Of the rest, an object is a whole sample. An array is by how much its numbers
have changed since the line before: the ms that passed, then the readings, in units of their last place, then
how many ms more or less passed on the wall clock, and awake. They stand in the order of `Layout`: what
seldom moves stands at the end, where zeros are left out. Whatever else has changed brings a whole line; so
does every 300th look, so that one bad line costs little.

A sample is rounded once, when it is written, and what comes back is what was read: no check is fed another.
The serials of batteries are left out, as the file goes with the report to whoever is shown it; so are the
texts that a battery gave where they became a value.
In "trace/1" every line is a whole sample, and no line names the format.
"""

from datetime import UTC, datetime, timedelta
from typing import Annotated

import msgspec

from verify.machine import Sample
from verify.record.trace_bare import bare
from verify.record.trace_shape import Layout, taken_apart, times
from verify.values.errors import HandbackError, UnknownFormatError

__all__ = ["HEAD", "TRACE_FORMAT", "LineReader", "LineWriter", "is_old"]

TRACE_FORMAT = "trace/2"
HEAD = msgspec.json.encode({"format": TRACE_FORMAT}) + b"\n"
"""The first line of a file."""

_WHOLE_EVERY = 300

_ZERO = datetime(1970, 1, 1, tzinfo=UTC)
_FIRST_MS = (datetime.min.replace(tzinfo=UTC) - _ZERO) // timedelta(milliseconds=1)
_LAST_MS = (datetime.max.replace(tzinfo=UTC) - _ZERO) // timedelta(milliseconds=1)
_FOLLOWS_MS = 1  # a clock that is no further from where the elapsed time puts it has not moved by itself

_Step = Annotated[int, msgspec.Meta(ge=-(2**53), le=2**53)]
_decode_whole = msgspec.json.Decoder(Sample).decode
_decode_steps = msgspec.json.Decoder(list[_Step]).decode
_encode = msgspec.json.Encoder().encode


class _Head(msgspec.Struct):
    format: str = ""


def is_old(first: bytes) -> bool:
    """Tell from a file's first line whether it is in "trace/1", as a line that can be read by nobody is too.

    Raises UnknownFormatError for a format that this tool does not know.
    """
    try:
        found = msgspec.json.decode(first, type=_Head).format
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return True
    if found and found != TRACE_FORMAT:
        raise UnknownFormatError(
            f'This trace is in format "{found}"; this tool reads "{TRACE_FORMAT}" and "trace/1".',
            next_step="Use the version of Handback that wrote it.",
        )
    return not found


class LineWriter:
    """Makes lines out of samples, one after the other."""

    def __init__(self, *, old: bool = False) -> None:
        """old: go on with a file in "trace/1"."""
        self._every = 1 if old else _WHOLE_EVERY
        self._lines = 0
        self._shape: Sample | None = None
        self._numbers: list[int] = []
        self._layout: Layout | None = None

    def line(self, sample: Sample) -> tuple[bytes, Sample]:
        """Return the sample's line without its end, and the sample as it will be read back from it."""
        shape, numbers = taken_apart(bare(sample))
        layout = self._layout
        if self._lines % self._every and layout is not None and shape == self._shape:
            self._lines += 1
            before = self._numbers
            for clock in range(1, times(shape)):
                if abs(numbers[clock] - before[clock]) <= _FOLLOWS_MS:
                    numbers[clock] = before[clock]
            self._numbers = numbers
            steps = [numbers[place] - before[place] for place in layout.order]
            while not steps[-1] and len(steps) > 1:
                steps.pop()
            return _encode(steps), layout.sample(numbers)
        line = _encode(Layout(shape).sample(numbers))
        kept = _decode_whole(line)
        self._shape, self._numbers = taken_apart(kept)
        self._layout = Layout(self._shape)
        self._lines = 1
        return line, kept


class LineReader:
    """Takes a file's lines one after the other, but for its first; after a bad one, only a whole one counts.

    whole: whether the last line was a whole sample, which other columns may follow. numbers: its times in ms,
    elapsed, wall clock less elapsed and, where the shape's `at` has it, awake less elapsed; then its readings
    as `columns` tells. shape: the sample with 0 in place of these; None after a bad line.
    """

    def __init__(self) -> None:
        self.whole = False
        self.numbers: list[int] = []
        self.shape: Sample | None = None
        self._sample: Sample | None = None
        self._layout: Layout | None = None

    def take(self, line: bytes | memoryview) -> bool:
        """Take a line without its end; False where it tells no sample."""
        if line[:1] == b"[":
            return self._take_steps(line)
        self.shape = None
        try:
            self._sample = _decode_whole(line)
            self.shape, self.numbers = taken_apart(self._sample)
            self._layout = None
        except (msgspec.MsgspecError, HandbackError, ValueError, OverflowError, RecursionError):
            return False
        self.whole = True
        return True

    def _take_steps(self, line: bytes | memoryview) -> bool:
        if self.shape is None:
            return False
        layout = self._laid_out(self.shape)
        try:
            steps = _decode_steps(line)
        except (msgspec.MsgspecError, ValueError):
            steps = []
        if 0 < len(steps) <= len(layout.order):
            self.numbers = self.numbers.copy()
            for place, step in zip(layout.order, steps, strict=False):
                self.numbers[place] += step
            self.whole = False
            if _FIRST_MS <= self.numbers[0] + self.numbers[1] <= _LAST_MS:
                return True
        self.shape = None
        return False

    def sample(self) -> Sample:
        """Return the sample of the last line, which `take` took."""
        if self.shape is None or self._sample is None:
            raise ValueError("No line has been taken.")
        return self._sample if self.whole else self._laid_out(self.shape).sample(self.numbers)

    def _laid_out(self, shape: Sample) -> Layout:
        # Only where it is needed: in an old file no line is.
        if self._layout is None:
            self._layout = Layout(shape)
        return self._layout
