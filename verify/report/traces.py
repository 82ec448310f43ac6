"""The traces of a run: out of its folder, and as numbers over time.

Only a trace whose bytes have the hash that the record names is taken as what was read; one that is missing or
another one is told in words. Line by line, and only the numbers are kept: a day at one look a second is a
hundred million bytes of text.
"""

import re
from array import array
from collections.abc import Iterator, Mapping
from math import nan
from pathlib import Path

import msgspec

from verify.machine import Fan, Temperature
from verify.machine.load_limit import processor_sensors
from verify.probe.watching import seconds_across
from verify.record.canonical import sha256_hex
from verify.record.model import Record, Trace
from verify.report.pictures import Standing
from verify.values import Instant

__all__ = ["MOST_BYTES", "Courses", "Pack", "courses_in", "read_traces", "standings"]

# As `verify.run` names them: a record from elsewhere must not reach out of the run's folder.
_NAME = re.compile(r"\d{5,9}-[a-z0-9-]{1,100}\.jsonl", re.ASCII)
MOST_BYTES = 400_000_000
"""Three days of a look a second."""

_LONGEST_STEP_S = 30 * 86_400.0  # longer than any run is watched: the clock is wrong
_MOST_NAMES = 16  # of batteries and of fans: more than any laptop has
_UNTOLD_STEP_S = 1.0  # across a restart of which nobody knows how long it was: only that the line breaks


class Pack(msgspec.Struct, kw_only=True):
    """A battery over time, NaN where unknown: level in %, power (into it positive) in W, voltage in V."""

    level: "array[float]"
    power_w: "array[float]"
    voltage_v: "array[float]"


class Courses(msgspec.Struct, kw_only=True):
    """A trace as numbers: times from its start in s, and as many numbers of each thing read, NaN unknown.

    packs, fans_rpm: by name, 16 at most. processor_c: the hottest sensor that can be trusted. critical_c: its
    own critical temperature, the last that was told; None: never. unread: lines that are no samples.
    restarts: how often its clock began anew, as after a restart.
    """

    times_s: "array[float]"
    processor_c: "array[float]"
    packs: dict[str, Pack]
    fans_rpm: "dict[str, array[float]]"
    critical_c: float | None = None
    unread: int = 0
    restarts: int = 0


class _SeenPack(msgspec.Struct, gc=False):
    name: str
    state_of_charge: float | None = None
    power_w: float | None = None
    voltage_v: float | None = None


class _Seen(msgspec.Struct):
    """Of a `verify.machine.Sample` what is drawn; the rest of the line is passed over."""

    at: Instant
    packs: tuple[_SeenPack, ...] = ()
    temperatures: tuple[Temperature, ...] = ()
    fans: tuple[Fan, ...] = ()


_decoder = msgspec.json.Decoder(_Seen)


def read_traces(folder: Path, record: Record) -> dict[str, bytes]:
    """Read the record's traces from the run's folder; one that cannot be read is left out."""
    found = {}
    for trace in record.traces:
        data = _read(folder / "traces", trace.name)
        if data is not None:
            found[trace.name] = data
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


def courses_in(data: bytes) -> Courses:
    """Return what a trace file holds, as numbers over time; lines that are no samples are counted."""
    found = Courses(times_s=array("d"), processor_c=array("d"), packs={}, fans_rpm={})
    before: Instant | None = None
    for line in _lines(data):
        try:
            seen = _decoder.decode(line)
        except (msgspec.MsgspecError, UnicodeDecodeError, ValueError):
            found.unread += 1
            _blank(found, found.times_s[-1] if found.times_s else 0.0)
            continue
        _take_in(found, seen, before)
        before = seen.at
    return found


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


def _take_in(found: Courses, seen: _Seen, before: Instant | None) -> None:
    now = 0.0
    if before is not None:
        now = found.times_s[-1]
        step_s = seen.at.elapsed_s - before.elapsed_s
        if seen.at.boot_id == before.boot_id and 0 <= step_s <= _LONGEST_STEP_S:
            now += step_s
        else:
            found.restarts += 1
            _blank(found, now)
            now += seconds_across(before, seen.at) or _UNTOLD_STEP_S
    _blank(found, now)
    for told in seen.packs:
        pack = found.packs.get(told.name)
        if pack is None and len(found.packs) == _MOST_NAMES:
            continue
        if pack is None:
            pack = found.packs[told.name] = Pack(
                level=_unknown(found), power_w=_unknown(found), voltage_v=_unknown(found)
            )
        pack.level[-1] = nan if told.state_of_charge is None else 100 * told.state_of_charge
        pack.power_w[-1] = nan if told.power_w is None else told.power_w
        pack.voltage_v[-1] = nan if told.voltage_v is None else told.voltage_v
    for fan in seen.fans:
        name = f"{fan.chip} {fan.label}".strip()
        speeds = found.fans_rpm.get(name)
        if speeds is None and len(found.fans_rpm) == _MOST_NAMES:
            continue
        if speeds is None:
            speeds = found.fans_rpm[name] = _unknown(found)
        speeds[-1] = nan if fan.rpm is None or fan.reason is not None else fan.rpm
    hottest = max(processor_sensors(seen.temperatures), key=lambda one: one[1], default=None)
    if hottest is not None:
        found.processor_c[-1] = hottest[1]
        found.critical_c = hottest[0].critical if hottest[0].critical is not None else found.critical_c


def _blank(found: Courses, now: float) -> None:
    """Add a time at which nothing is known yet."""
    found.times_s.append(now)
    found.processor_c.append(nan)
    for pack in found.packs.values():
        pack.level.append(nan)
        pack.power_w.append(nan)
        pack.voltage_v.append(nan)
    for speeds in found.fans_rpm.values():
        speeds.append(nan)


def _unknown(found: Courses) -> "array[float]":
    return array("d", [nan]) * len(found.times_s)


def _read(folder: Path, name: str) -> bytes | None:
    path = folder / name
    try:
        if _NAME.fullmatch(name) is None or not path.is_file() or path.stat().st_size > MOST_BYTES:
            return None
        return path.read_bytes()
    except OSError:
        return None
