"""The traces of a run: out of its folder, and as numbers over time.

Only a trace whose bytes have the hash that the record names is taken as what was read; one that is missing or
another one is told in words. Line by line, and only the numbers that are drawn are kept.
"""

import re
from array import array
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from math import nan
from pathlib import Path

import msgspec

from verify.machine import Sample, bounds
from verify.machine.bounds import within
from verify.machine.load_limit import processor_sensors
from verify.probe.watching import seconds_across
from verify.record.canonical import sha256_hex
from verify.record.model import Record, Trace
from verify.record.trace_lines import LineReader, is_old
from verify.record.trace_shape import columns, instant, times
from verify.report.pictures import Standing
from verify.report.words import COURSES

__all__ = ["MOST_BYTES", "Courses", "Pack", "courses_in", "read_traces", "standings", "unseen_traces"]

# As `verify.run` names them: a record from elsewhere must not reach out of the run's folder.
_NAME = re.compile(r"\d{5,9}-[a-z0-9-]{1,100}\.jsonl", re.ASCII)
MOST_BYTES = 400_000_000
"""Of all traces of a run together: three days of a look a second, each a whole line."""

_LONGEST_STEP_MS = 30 * 86_400_000  # longer than any run is watched: the clock is wrong
_MOST_NAMES = 16  # of batteries and of fans: more than any laptop has
_MOST_LOOKS = 500_000  # five days of a look a second
_MOST_NUMBERS = 1000  # of one look
_UNTOLD_STEP_S = 1.0  # across a restart of which nobody knows how long it was: only that the line breaks


class Pack(msgspec.Struct, kw_only=True):
    """A battery over time, NaN where unknown: level in %, power (into it positive) in W, voltage in V."""

    level: "array[float]"
    power_w: "array[float]"
    voltage_v: "array[float]"


class Courses(msgspec.Struct, kw_only=True):
    """A trace as numbers: times from its start in s, and as many numbers of each thing read, NaN unknown.

    packs, fans_rpm: by name, 16 at most. processor_c: the hottest sensor that can be trusted. critical_c: its
    own critical temperature, the last that was told; None: never. load: of the processor, 0 to 1. unread:
    lines that are no samples. restarts: how often its clock began anew, as after a restart.
    """

    times_s: "array[float]"
    processor_c: "array[float]"
    load: "array[float]"
    packs: dict[str, Pack]
    fans_rpm: "dict[str, array[float]]"
    critical_c: float | None = None
    unread: int = 0
    restarts: int = 0


def read_traces(folder: Path, record: Record) -> dict[str, bytes]:
    """Read the record's traces from the run's folder; one that cannot be read is left out."""
    found: dict[str, bytes] = {}
    left = MOST_BYTES
    for name in dict.fromkeys(trace.name for trace in record.traces):
        data = _read(folder / "traces", name, most=left)
        if data is not None:
            found[name] = data
            left -= len(data)
    return found


def standings(record: Record, traces: Mapping[str, bytes]) -> dict[str, Standing]:
    """Tell of each trace of the record, by its name, whether its bytes are those that were sealed.

    Where two seals of one name differ, the bytes can only be one of them: ALTERED.
    """
    found: dict[str, Standing] = {}
    for trace in record.traces:
        standing = _standing(trace, traces.get(trace.name))
        found[trace.name] = standing if found.get(trace.name, standing) is standing else Standing.ALTERED
    return found


def unseen_traces(found: Mapping[str, Standing]) -> tuple[str, ...]:
    """Return a sentence for each trace whose bytes are not those that were sealed. found: by name."""
    return tuple(
        COURSES[standing.value].format(name=name)
        for name, standing in found.items()
        if standing is not Standing.SHOWN
    )


def courses_in(data: bytes) -> Courses:
    """Return what a trace file holds, as numbers over time; lines that are no samples are counted.

    So are those behind the first half a million, and looks of more than a thousand numbers: no machine has
    them, and a small page must not cost hours.

    Raises UnknownFormatError for a format that this tool does not know.
    """
    course = _Course()
    lines = _lines(data)
    if data and not is_old(data.partition(b"\n")[0]):
        next(lines)
    for line in islice(lines, _MOST_LOOKS):
        course.take(line)
    course.found.unread += sum(1 for _ in lines)
    return course.found


def _standing(trace: Trace, data: bytes | None) -> Standing:
    if data is None:
        return Standing.MISSING
    return Standing.SHOWN if sha256_hex(data) == trace.sha256 else Standing.ALTERED


def _lines(data: bytes) -> Iterator[memoryview]:
    """Return the lines without a copy of each."""
    view = memoryview(data)
    start = 0
    while start < len(data):
        end = data.find(b"\n", start)
        end = len(data) if end < 0 else end
        yield view[start:end]
        start = end + 1


class _Course:
    """What was found so far, and where the numbers of a line go until the next whole one."""

    def __init__(self) -> None:
        self.found = Courses(
            times_s=array("d"), processor_c=array("d"), load=array("d"), packs={}, fans_rpm={}
        )
        self._reader = LineReader()
        self._now = 0.0
        self._before: tuple[Sample, list[int]] | None = None
        self._drawn: list[tuple[Callable[[float], None], int, float]] = []  # what takes it, place, what 1 is
        self._unknown: list[Callable[[float], None]] = []
        self._heat: list[tuple[float | None, int, float]] = []  # critical, place, what 1 is

    def take(self, line: memoryview) -> None:
        """Add one time, with what the line tells of it."""
        found, reader = self.found, self._reader
        taken = reader.take(line)
        if len(reader.numbers) > _MOST_NUMBERS:
            reader.shape = None  # nor do the lines count that follow from it
        if not taken or reader.shape is None:
            found.unread += 1
            self._blank()
            return
        numbers = reader.numbers
        if self._before is not None:
            self._move_on(self._before, (reader.shape, numbers))
        self._before = (reader.shape, numbers)
        if reader.whole:
            self._place(reader.sample(), first=times(reader.shape))
        found.times_s.append(self._now)
        for append, at, one in self._drawn:
            append(numbers[at] / one)
        for append in self._unknown:
            append(nan)
        hottest, told = nan, None
        for critical, at, one in self._heat:
            celsius = numbers[at] / one
            if within(celsius, bounds.CELSIUS) and not celsius <= hottest:
                hottest = celsius
                told = critical
        found.processor_c.append(hottest)
        if told is not None:
            found.critical_c = told

    def _move_on(self, before: tuple[Sample, list[int]], after: tuple[Sample, list[int]]) -> None:
        step_ms = after[1][0] - before[1][0]
        if after[0].at.boot_id == before[0].at.boot_id and 0 <= step_ms <= _LONGEST_STEP_MS:
            self._now += step_ms / 1000
            return
        self.found.restarts += 1
        self._blank()
        self._now += seconds_across(instant(*before), instant(*after)) or _UNTOLD_STEP_S

    def _place(self, sample: Sample, *, first: int) -> None:
        """Find where the numbers of this line and of those behind it go. first: the place of the first."""
        places: dict[tuple[str, int, str], tuple[int, float]] = {
            (column.group, column.at, column.field): (place, 10.0**column.places)
            for place, column in enumerate(columns(sample), first)
        }
        # By the one that takes them: of two with one name the last one counts.
        drawn: dict[int, tuple[Callable[[float], None], int, float]] = {}
        for at, told in enumerate(sample.packs):
            pack = self._pack(told.name)
            if pack is None:
                continue
            for field, share, taker in (
                ("state_of_charge", 0.01, pack.level),
                ("power_w", 1.0, pack.power_w),
                ("voltage_v", 1.0, pack.voltage_v),
            ):
                drawn.pop(id(taker), None)
                if ("packs", at, field) in places:
                    place, one = places["packs", at, field]
                    drawn[id(taker)] = (taker.append, place, one * share)
        for at, fan in enumerate(sample.fans):
            speeds = self._fan(f"{fan.chip} {fan.label}".strip())
            if speeds is None:
                continue
            drawn.pop(id(speeds), None)
            if ("fans", at, "rpm") in places and fan.reason is None:
                drawn[id(speeds)] = (speeds.append, *places["fans", at, "rpm"])
        if ("cpu", 0, "load") in places:
            drawn[id(self.found.load)] = (self.found.load.append, *places["cpu", 0, "load"])
        self._drawn = list(drawn.values())
        self._unknown = [taker.append for taker in self._takers() if id(taker) not in drawn]
        # Whether it can be trusted hangs on its reading, which is asked line by line.
        self._heat = [
            (sensor.critical, *places["temperatures", at, "celsius"])
            for at, sensor in enumerate(sample.temperatures)
            if ("temperatures", at, "celsius") in places
            and processor_sensors([msgspec.structs.replace(sensor, celsius=bounds.CELSIUS[0])])
        ]

    def _pack(self, name: str) -> Pack | None:
        packs = self.found.packs
        if name not in packs and len(packs) < _MOST_NAMES:
            packs[name] = Pack(level=self._gone(), power_w=self._gone(), voltage_v=self._gone())
        return packs.get(name)

    def _fan(self, name: str) -> "array[float] | None":
        fans = self.found.fans_rpm
        if name not in fans and len(fans) < _MOST_NAMES:
            fans[name] = self._gone()
        return fans.get(name)

    def _gone(self) -> "array[float]":
        return array("d", [nan]) * len(self.found.times_s)

    def _takers(self) -> "Iterator[array[float]]":
        for pack in self.found.packs.values():
            yield from (pack.level, pack.power_w, pack.voltage_v)
        yield from self.found.fans_rpm.values()
        yield self.found.load

    def _blank(self) -> None:
        """Add a time at which nothing is known."""
        self.found.times_s.append(self._now)
        self.found.processor_c.append(nan)
        for taker in self._takers():
            taker.append(nan)


def _read(folder: Path, name: str, *, most: int) -> bytes | None:
    path = folder / name
    try:
        if _NAME.fullmatch(name) is None or not path.is_file() or path.stat().st_size > most:
            return None
        return path.read_bytes()
    except OSError:
        return None
