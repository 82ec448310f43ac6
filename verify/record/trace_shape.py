"""A sample taken apart for its trace: the numbers that move from look to look, and what stands still."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec

from verify.machine import Sample
from verify.values import Instant

__all__ = ["Column", "Layout", "columns", "instant", "taken_apart", "times"]

# Numbers that change from look to look, each with the places that are kept of it: of packs those in which
# their firmware tells it, mW, mWh, mA and mV (ACPI Specification, the methods _BIX and _BST).
_OF_A_PACK = {
    "state_of_charge": 6,
    "remaining_wh": 3,
    "power_w": 3,
    "voltage_v": 3,
    "current_a": 3,
    "temperature_c": 2,
}
_OF_A_TEMPERATURE = {"celsius": 2}
_OF_A_FAN = {"rpm": 0}
_OF_THE_PROCESSOR = {"load": 3, "frequency_mhz": 0, "throttle_count": 0}
_COUNTS = frozenset(("rpm", "throttle_count"))
_LIVELY = (
    *("power_w", "current_a", "voltage_v", "rpm", "load", "frequency_mhz", "celsius", "remaining_wh"),
    *("state_of_charge", "temperature_c", "throttle_count"),
)

_MOST = 1e9  # a reading beyond is kept as it is, in whole lines: its steps would not be exact
_ZERO = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """What a reading of a line is: of the `at`-th of a sample's `group`, `field` in units of 10^-places."""

    group: str
    at: int
    field: str
    places: int


def columns(sample: Sample) -> tuple[Column, ...]:
    """Return what the readings of a line are, which come after its times. sample: the last whole one."""
    return tuple(
        Column(group=group, at=at, field=field, places=places)
        for group, at, of, one in _parts(sample)
        for field, places in of.items()
        if _moves(getattr(one, field))
    )


def times(shape: Sample) -> int:
    """Return how many of a line's numbers are times; the readings come after them."""
    return 2 if shape.at.awake_s is None else 3


def instant(shape: Sample, numbers: list[int]) -> Instant:
    """Return the instant of a line, by its shape and numbers; see `LineReader`."""
    elapsed = numbers[0]
    return Instant(
        wall=_ZERO + (elapsed + numbers[1]) * _MS,
        elapsed_s=elapsed / 1000,
        boot_id=shape.at.boot_id,
        awake_s=None if shape.at.awake_s is None else (elapsed + numbers[2]) / 1000,
    )


def _parts(sample: Sample) -> Iterator[tuple[str, int, Mapping[str, int], msgspec.Struct]]:
    for at, pack in enumerate(sample.packs):
        yield "packs", at, _OF_A_PACK, pack
    for at, sensor in enumerate(sample.temperatures):
        yield "temperatures", at, _OF_A_TEMPERATURE, sensor
    for at, fan in enumerate(sample.fans):
        yield "fans", at, _OF_A_FAN, fan
    yield "cpu", 0, _OF_THE_PROCESSOR, sample.cpu


def _moves(value: float | None) -> bool:
    return value is not None and -_MOST < value < _MOST


def taken_apart(sample: Sample) -> tuple[Sample, list[int]]:
    """Return the sample with 0 for every number that moves, and these numbers."""
    at = sample.at
    elapsed = round(at.elapsed_s * 1000)
    numbers = [elapsed, (at.wall - _ZERO) // _MS - elapsed]
    if at.awake_s is not None:
        numbers.append(round(at.awake_s * 1000) - elapsed)
    groups: dict[str, list[Any]] = {"packs": [], "temperatures": [], "fans": [], "cpu": []}
    for group, _, of, one in _parts(sample):
        moving = {field: places for field, places in of.items() if _moves(getattr(one, field))}
        numbers.extend(round(getattr(one, field) * 10**places) for field, places in moving.items())
        groups[group].append(msgspec.structs.replace(one, **dict.fromkeys(moving, 0)))
    awake_s = None if at.awake_s is None else 0.0
    still = Instant(wall=_ZERO, elapsed_s=0.0, boot_id=at.boot_id, awake_s=awake_s)
    return _grouped(sample, still, groups), numbers


def _grouped(sample: Sample, at: Instant, groups: Mapping[str, list[Any]]) -> Sample:
    return msgspec.structs.replace(
        sample,
        at=at,
        packs=tuple(groups["packs"]),
        temperatures=tuple(groups["temperatures"]),
        fans=tuple(groups["fans"]),
        cpu=groups["cpu"][0],
    )


class _Part(msgspec.Struct):
    """One thing of a sample: its numbers stand from first to last; made: what they came to the last time."""

    shape: Any
    first: int
    last: int
    fields: tuple[str, ...]
    units: tuple[int | None, ...]
    numbers: list[int] | None = None
    made: Any = None


class Layout:
    """Where the numbers of samples of one shape stand."""

    def __init__(self, shape: Sample) -> None:
        self._shape = shape
        self._parts: list[_Part] = []
        lively = []
        first = times(shape)
        for _, _, of, one in _parts(shape):
            fields = tuple(field for field in of if _moves(getattr(one, field)))
            units = tuple(None if field in _COUNTS else 10 ** of[field] for field in fields)
            last = first + len(fields)
            self._parts.append(_Part(shape=one, first=first, last=last, fields=fields, units=units))
            lively += [(_LIVELY.index(field), place) for place, field in enumerate(fields, first)]
            first = last
        # As they are written: the time, what moves most, and at last the other clocks.
        self.order = [0, *(place for _, place in sorted(lively)), *range(1, times(shape))]

    def sample(self, numbers: list[int]) -> Sample:
        """Return the sample that `taken_apart` took apart."""
        shape = self._shape
        for part in self._parts:
            now = numbers[part.first : part.last]
            if now != part.numbers:
                part.numbers = now
                told = zip(part.fields, part.units, now, strict=True)
                values = {field: step if unit is None else step / unit for field, unit, step in told}
                part.made = msgspec.structs.replace(part.shape, **values)
        made = [part.made for part in self._parts]
        packs, sensors = len(shape.packs), len(shape.packs) + len(shape.temperatures)
        return Sample(
            at=instant(shape, numbers),
            packs=tuple(made[:packs]),
            adapters=shape.adapters,
            temperatures=tuple(made[packs:sensors]),
            fans=tuple(made[sensors:-1]),
            cpu=made[-1],
            reasons=shape.reasons,
            lid_open=shape.lid_open,
            inventory=shape.inventory,
        )
