"""Reading a log into columns: piece by piece, so that a long one takes little more room than its numbers."""

import math
from array import array
from collections.abc import Iterator
from itertools import repeat
from operator import truediv
from pathlib import Path
from typing import TextIO

import msgspec

from verify.machine.recorded.heading import KNOWN_COLUMNS, TIME, Heading, find_heading
from verify.machine.recorded.opened import decoded, opened
from verify.machine.recorded.order import in_order
from verify.machine.recorded.remark import Remark
from verify.machine.recorded.rows import Rows
from verify.machine.recorded.telling import about_cells, about_heading, about_rows, no_row
from verify.values.errors import FileFormatError

__all__ = ["KNOWN_COLUMNS", "RecordedLog", "read_log"]

_PIECE = 1 << 16  # letters at a time: the fastest of 16 Ki to 256 Ki
_LONGEST_LINE = 1 << 20
_FRACTION_MOST = 1.1  # a gauge may tell a little more than full; per cent that end below this are no charge


class RecordedLog(msgspec.Struct, frozen=True, kw_only=True):
    """A log as it was read.

    times_s: strictly rising. columns: by name, each as long as the times, in the unit of its name, NaN where
    unknown; state_of_charge and load 0 to 1. Only columns that know something. rows: how many the file held.
    remarks: what was found amiss with the file, and how it was taken.
    """

    times_s: "array[float]"
    columns: "dict[str, array[float]]"
    rows: int
    remarks: tuple[Remark, ...] = ()


def read_log(path: Path) -> RecordedLog:
    """Read a log: a text table whose first line names its columns, "time_s" among them.

    Cells that hold no number, numbers that cannot be, lines that are no row: left out, counted and remarked
    on. Raises WrongUseError where the file cannot be opened, FileFormatError where it is no such table. A
    file with nothing in it is a log without rows.
    """
    with opened(path) as raw, decoded(raw) as text:
        try:
            return _read(text)
        except (OSError, UnicodeError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise FileFormatError(
                f"{path} cannot be read to its end: {reason}.",
                next_step="Copy it to this computer and try again.",
            ) from error
        except MemoryError as error:
            raise FileFormatError(
                f"{path} is larger than this computer's memory.", next_step="Split it and measure the parts."
            ) from error


class _Pieces:
    """The text in pieces that end with a line. zeros: NUL letters, left out."""

    def __init__(self, text: TextIO) -> None:
        self.zeros = 0
        self.ended = True
        self._text = text

    def __iter__(self) -> Iterator[str]:
        parts: list[str] = []
        length = 0
        while piece := self._text.read(_PIECE):
            end = piece.rfind("\n")
            if end < 0:
                parts.append(piece)
                length += len(piece)
                if length > _LONGEST_LINE:
                    raise FileFormatError(
                        "The log has a line of more than a million letters: it is no text table.",
                        next_step="Name the log as comma-separated text, one row a line.",
                    )
                continue
            parts.append(piece[:end])
            yield self._clean("".join(parts))
            parts = [piece[end + 1 :]]
            length = len(parts[0])
        rest = self._clean("".join(parts))
        if rest:
            self.ended = False
            yield rest

    def _clean(self, text: str) -> str:
        if "\0" in text:
            self.zeros += text.count("\0")
            text = text.replace("\0", "")
        return text


def _read(text: TextIO) -> RecordedLog:
    pieces = _Pieces(text)
    stream = iter(pieces)
    first = next((piece for piece in stream if piece.strip()), None)
    if first is None:
        return RecordedLog(
            times_s=array("d"),
            columns={},
            rows=0,
            remarks=(
                Remark(
                    what="The file is empty: nothing was recorded.",
                    next_step="Record again, with a first line that names the columns, such as "
                    f'"{TIME},current_a".',
                ),
            ),
        )
    heading = find_heading(first.split("\n"))
    rows = Rows(heading)
    line = heading.line + 1
    unfit_before = 0
    rest = first.split("\n", heading.line)
    if len(rest) > heading.line:
        line += rows.add(rest[heading.line], line)
    for piece in stream:
        unfit_before = rows.unfit
        line += rows.add(piece, line)
    cut = not pieces.ended and rows.unfit > unfit_before
    return _log(heading, rows, zeros=pieces.zeros, cut=cut)


def _log(heading: Heading, rows: Rows, *, zeros: int, cut: bool) -> RecordedLog:
    remarks = [*about_heading(heading), *about_rows(rows, zeros=zeros, cut=cut), *about_cells(rows)]
    read = len(rows.columns[TIME].values)
    if not read and (rows.untimed or rows.unfit):
        raise no_row(heading, rows)
    ordered = in_order({name: figures.values for name, figures in rows.columns.items()})
    columns = dict(ordered.columns)
    times = columns.pop(TIME)
    known: dict[str, array[float]] = {}
    for name, values in columns.items():
        if rows.columns[name].other_unit:
            continue
        if all(map(math.isnan, values)):
            if read:
                remarks.append(Remark(what=f'The column "{name}" tells nothing.'))
            continue
        known[name] = values
        if name in ("state_of_charge", "load"):
            known[name], remark = _as_fraction(name, values)
            remarks.append(remark)
    if not read:
        remarks.append(Remark(what="The log has a heading and no rows: nothing was recorded."))
    return RecordedLog(times_s=times, columns=known, rows=read, remarks=(*remarks, *ordered.remarks))


def _as_fraction(name: str, values: "array[float]") -> "tuple[array[float], Remark]":
    """Return the values 0 to 1, and which of both scales they were taken to have."""
    most = max(values) if math.isfinite(sum(values)) else max(one for one in values if not math.isnan(one))
    if most <= _FRACTION_MOST:
        return values, Remark(what=f'"{name}" is at most {most:g}: taken as a fraction, 0 to 1.')
    return array("d", map(truediv, values, repeat(100.0))), Remark(
        what=f'"{name}" goes up to {most:g}: taken as per cent, 0 to 100.'
    )
