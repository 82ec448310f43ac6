"""The line that names the columns: where it stands, what separates its names, which of them are known."""

import csv
import difflib
import re
from collections.abc import Sequence

import msgspec

from verify.machine.recorded.remark import shown
from verify.values.errors import FileFormatError

__all__ = ["KNOWN_COLUMNS", "TIME", "Heading", "find_heading", "near_names"]

TIME = "time_s"
KNOWN_COLUMNS = (
    TIME,
    "power_w",
    "current_a",
    "voltage_v",
    "state_of_charge",
    "remaining_wh",
    "temperature_c",
    "cpu_c",
    "load",
)
"""The columns that a log may have, each with its unit; any order, any case."""

_SEPARATORS = ",;\t|"
_SEARCHED_LINES = 60  # some recorders write what they are above the heading
_SHOWN = 12
_NUMBER = re.compile(r"[+-]?[\d.,]+(?:[eE][+-]?\d+)?")

# What others call these, for a "did you mean" only: a name without its unit is no promise of one.
_MEANT = {
    "t": TIME,
    "time": TIME,
    "seconds": TIME,
    "elapsed": TIME,
    "timestamp": TIME,
    "power": "power_w",
    "current": "current_a",
    "voltage": "voltage_v",
    "volts": "voltage_v",
    "soc": "state_of_charge",
    "level": "state_of_charge",
    "percent": "state_of_charge",
    "energy": "remaining_wh",
    "remaining": "remaining_wh",
    "temperature": "temperature_c",
    "temp": "temperature_c",
    "cpu": "cpu_c",
    "cpu_load": "load",
}


class Heading(msgspec.Struct, frozen=True, kw_only=True):
    """The heading of a log.

    line: its number, from 1. separator: one letter. width: how many fields a row has. text: as it stands.
    places: known column → its place in a row. unknown: names that are not known, as written. twice: known
    names that occur again; the first one counts.
    """

    line: int
    separator: str
    width: int
    text: str
    places: dict[str, int]
    unknown: tuple[str, ...] = ()
    twice: tuple[str, ...] = ()


def find_heading(lines: Sequence[str]) -> Heading:
    """Find the heading among a log's first lines.

    Raises FileFormatError where no line has a column "time_s"; it names the columns that were found.
    """
    first: str | None = None
    for number, line in enumerate(lines[:_SEARCHED_LINES], start=1):
        if not line.strip():
            continue
        first = line if first is None else first
        headings = [_heading(line, separator, number) for separator in _SEPARATORS]
        best = max(headings, key=lambda heading: len(heading.places))
        if TIME in best.places:
            return best
    raise _without_time(first or "")


def near_names(name: str) -> str | None:
    """Return the known column that a name probably stands for, None where it is like none."""
    plain = re.split(r"[(\[]", _plain(name))[0].strip("_")
    if plain in _MEANT:
        return _MEANT[plain]
    near = difflib.get_close_matches(_plain(name), KNOWN_COLUMNS, n=1, cutoff=0.6)
    return near[0] if near else None


def _plain(name: str) -> str:
    """Return a name as it is compared: no case, blanks and dashes as underscores."""
    return re.sub(r"[\s-]+", "_", name.strip().strip("\"'\ufeff").strip()).casefold()


def _fields(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return line.split(separator)


def _heading(line: str, separator: str, number: int) -> Heading:
    # A heading that was written as a remark is one all the same.
    names = _fields(line.lstrip("\ufeff# "), separator)
    while len(names) > 1 and not names[-1].strip():
        names.pop()
    places: dict[str, int] = {}
    unknown, twice = [], []
    for place, written in enumerate(names):
        name = _plain(written)
        if name not in KNOWN_COLUMNS:
            unknown.append(shown(written))
        elif name in places:
            twice.append(name)
        else:
            places[name] = place
    return Heading(
        line=number,
        separator=separator,
        width=len(names),
        text=line.strip(),
        places=places,
        unknown=tuple(filter(None, unknown)),
        twice=tuple(twice),
    )


def _without_time(line: str) -> FileFormatError:
    separator = max(_SEPARATORS, key=line.count)
    names = [shown(name) for name in _fields(line, separator)]
    names = [name for name in names if name]
    if names and all(_NUMBER.fullmatch(name) for name in names):
        return FileFormatError(
            f'The log has no column "{TIME}": its first line holds numbers, not names.',
            next_step=f'Put a first line that names the columns, such as "{TIME},current_a,voltage_v".',
        )
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    found = ", ".join(f'"{name}"' for name in names[:_SHOWN]) or "none"
    meant = next((name for name in names if near_names(name) == TIME), None)
    hint = f'Did you mean "{meant}"? Rename it if it is in seconds. ' if meant else ""
    return FileFormatError(
        f'The log has no column "{TIME}". Columns found: {found}{more}.',
        next_step=f"{hint}Known columns: {', '.join(KNOWN_COLUMNS)}.",
    )
