"""What is written of a sample is what is read back; little of it, and never a line taken for another."""

import json
import math
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import msgspec
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from verify.machine import Adapter, Cpu, Fan, Pack, PackState, Sample, Temperature
from verify.record.trace_lines import HEAD, LineReader, LineWriter, is_old
from verify.record.trace_shape import columns, times
from verify.testing.traces import samples_in
from verify.values import Instant
from verify.values.errors import UnknownFormatError

_START = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


def _sample(second: float, *, volts: float | None = 11.4, boot: str | None = "first", **more: Any) -> Sample:
    return Sample(
        at=Instant(
            wall=_START + timedelta(seconds=second), elapsed_s=100 + second, boot_id=boot, awake_s=90 + second
        ),
        packs=(
            Pack(
                name="BAT0",
                state=PackState.CHARGING,
                power_w=20.125,
                voltage_v=volts,
                raw={"type": "Battery"},
            ),
        ),
        adapters=(Adapter(name="AC", online=True),),
        temperatures=(Temperature(chip="coretemp", label="package", celsius=50.0, critical=100.0),),
        fans=(Fan(chip="board", label="fan", rpm=2400),),
        cpu=Cpu(load=0.125, frequency_mhz=1200.0),
        **more,
    )


def _written(samples: Iterable[Sample], *, old: bool = False) -> tuple[list[bytes], list[Sample]]:
    writer = LineWriter(old=old)
    pairs = [writer.line(sample) for sample in samples]
    return [line for line, _ in pairs], [kept for _, kept in pairs]


def _file(lines: Iterable[bytes], *, head: bytes = HEAD) -> bytes:
    return head + b"".join(line + b"\n" for line in lines)


# ---------------------------------------------------------------- any sequence of samples

_REASON = st.sampled_from([None, "The sensor gives nothing.", "“\u202e”"])


def _number(low: float, high: float) -> st.SearchStrategy[float | None]:
    """Readings as they come, and what no sensor should say."""
    return st.one_of(
        st.none(),
        st.floats(low, high),
        st.sampled_from([0.0, -0.0, 1e9, -1e9, 1e308, 5e-324, 999_999_999.9999, math.nan, math.inf]),
    )


_PACK = st.builds(
    Pack,
    name=st.sampled_from(["BAT0", "BAT1"]),
    state=st.sampled_from(PackState),
    state_of_charge=_number(0, 1),
    remaining_wh=_number(0, 100),
    full_charge_wh=_number(0, 100),
    power_w=_number(-100, 100),
    voltage_v=_number(0, 20),
    current_a=_number(-10, 10),
    temperature_c=_number(-20, 100),
    cycle_count=st.one_of(st.none(), st.integers(0, 3000)),
    serial=st.one_of(st.none(), st.just("000123")),
    reasons=st.dictionaries(st.sampled_from(["power_w", "state"]), st.text(max_size=8), max_size=1),
    estimated=st.sampled_from([(), ("power_w",)]),
    raw=st.dictionaries(
        st.sampled_from(["voltage_now", "status", "capacity", "serial_number", "other"]), st.text(max_size=5)
    ),
)
_SAMPLE = st.builds(
    Sample,
    at=st.builds(
        Instant,
        wall=st.datetimes(min_value=datetime(1970, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001 - as it asks
        elapsed_s=st.floats(0, 1e7),
        boot_id=st.sampled_from([None, "first", "second"]),
        awake_s=st.one_of(st.none(), st.floats(0, 1e7)),
    ),
    packs=st.lists(_PACK, max_size=2).map(tuple),
    adapters=st.lists(
        st.builds(Adapter, name=st.just("AC"), online=st.sampled_from([True, False, None])), max_size=1
    ).map(tuple),
    temperatures=st.lists(
        st.builds(
            Temperature,
            chip=st.sampled_from(["coretemp", "acpitz"]),
            label=st.just("package"),
            celsius=_number(0, 120),
            critical=_number(60, 120),
            reason=_REASON,
        ),
        max_size=2,
    ).map(tuple),
    fans=st.lists(
        st.builds(
            Fan,
            chip=st.just("board"),
            label=st.just("fan"),
            rpm=st.one_of(st.none(), st.integers(0, 9000), st.just(2**40)),
            reason=_REASON,
        ),
        max_size=2,
    ).map(tuple),
    cpu=st.builds(
        Cpu,
        load=_number(0, 1),
        frequency_mhz=_number(0, 6000),
        throttle_count=st.one_of(st.none(), st.integers(0, 2**40)),
    ),
    lid_open=st.sampled_from([True, False, None]),
)


@st.composite
def _courses(draw: st.DrawFn) -> list[Sample]:
    """Samples of which many follow from the one before by some numbers, as those of a watch do."""
    found = [draw(_SAMPLE)]
    for _ in range(draw(st.integers(0, 12))):
        before = found[-1]
        if not draw(st.integers(0, 4)):
            found.append(draw(_SAMPLE))
            continue
        step_s = draw(st.floats(0, 100))
        late_s = draw(st.sampled_from([0.0, 0.0004, -0.0004, 5.0]))
        at = msgspec.structs.replace(
            before.at,
            wall=min(before.at.wall, datetime(9000, 1, 1, tzinfo=UTC)) + timedelta(seconds=step_s + late_s),
            elapsed_s=before.at.elapsed_s + step_s,
            awake_s=None if before.at.awake_s is None else before.at.awake_s + step_s - late_s,
        )
        packs = tuple(
            msgspec.structs.replace(pack, power_w=draw(st.floats(-50, 50)))
            if pack.power_w is not None
            else pack
            for pack in before.packs
        )
        found.append(msgspec.structs.replace(before, at=at, packs=packs))
    return found


@settings(max_examples=200)
@given(samples=_courses(), old=st.booleans(), resumed=st.integers(0, 12), whole_every=st.integers(1, 5))
@example(samples=[_sample(second) for second in range(9)], old=False, resumed=4, whole_every=3)
def test_what_is_read_back_is_what_was_kept(
    samples: list[Sample], *, old: bool, resumed: int, whole_every: int
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("verify.record.trace_lines._WHOLE_EVERY", whole_every)
        first, kept_first = _written(samples[:resumed], old=old)
        second, kept_second = _written(samples[resumed:], old=old)
    lines, kept = first + second, kept_first + kept_second
    assert samples_in(_file(lines, head=b"" if old else HEAD)) == kept
    assert not any(b"\n" in line for line in lines)
    for sample, back in zip(samples, kept, strict=True):
        _same(sample, back)


_FINE = {"power_w": 5e-4, "voltage_v": 5e-4, "current_a": 5e-4, "remaining_wh": 5e-4, "state_of_charge": 5e-7}
_FINE |= {"celsius": 5e-3, "temperature_c": 5e-3, "load": 5e-4, "frequency_mhz": 0.5}


def _same(sample: Sample, back: Sample) -> None:
    """Hold what was kept to the sample itself: rounded by half of the last place, times by 1.5 ms at most."""
    assert abs(back.at.elapsed_s - sample.at.elapsed_s) <= 0.00051
    assert abs((back.at.wall - sample.at.wall).total_seconds()) <= 0.0026
    assert back.at.boot_id == sample.at.boot_id
    assert (back.at.awake_s is None) == (sample.at.awake_s is None)
    if back.at.awake_s is not None and sample.at.awake_s is not None:
        assert abs(back.at.awake_s - sample.at.awake_s) <= 0.0026
    plain, kept = (
        json.loads(msgspec.json.encode(msgspec.structs.replace(one, at=_sample(0).at)))
        for one in (sample, back)
    )
    for pack in plain["packs"]:
        pack["serial"] = None
        del pack["raw"]
    for pack in kept["packs"]:
        assert "serial_number" not in pack.pop("raw")
    _alike(plain, kept)


def _alike(plain: Any, kept: Any, field: str = "") -> None:
    if isinstance(plain, dict):
        assert plain.keys() == kept.keys()
        for key, value in plain.items():
            _alike(value, kept[key], key)
    elif isinstance(plain, list):
        assert len(plain) == len(kept)
        for one, other in zip(plain, kept, strict=True):
            _alike(one, other, field)
    elif isinstance(plain, float) and field in _FINE and abs(plain) < 1e8:
        assert kept == pytest.approx(plain, rel=1e-14, abs=_FINE[field] * (1 + 1e-9))
    elif isinstance(plain, float):
        assert kept == pytest.approx(plain, rel=1e-12)
    else:
        assert plain == kept


# ---------------------------------------------------------------- little, and only what changed


def test_only_what_changed_is_written() -> None:
    lines, _ = _written([_sample(0), _sample(1.003), _sample(2.003, volts=11.397), _sample(3)])
    assert lines[0].startswith(b'{"at":')
    assert lines[1:] == [b"[1003]", b"[1000,0,-3]", b"[997,0,3]"]


def test_a_clock_that_was_set_and_a_sleep_are_told_once() -> None:
    set_on, asleep = _sample(2), _sample(3)
    set_on = msgspec.structs.replace(
        set_on, at=msgspec.structs.replace(set_on.at, wall=set_on.at.wall + timedelta(hours=1))
    )
    asleep = msgspec.structs.replace(
        asleep,
        at=msgspec.structs.replace(asleep.at, awake_s=50.0, wall=set_on.at.wall + timedelta(seconds=1)),
    )
    lines, kept = _written([_sample(1), set_on, asleep])
    assert lines[1:] == [b"[1000,0,0,0,0,0,0,3600000]", b"[1000,0,0,0,0,0,0,0,-43000]"]
    assert kept[2].at.awake_s == 50.0
    assert kept[1].at.wall == set_on.at.wall


def test_a_clock_that_is_led_stays_within_a_ms() -> None:
    # The most by which a clock is led, in parts of a second (RFC 5905, appendix A, MAXFREQ; from memory).
    def led(second: int) -> Sample:
        sample = _sample(second)
        wall = sample.at.wall + timedelta(seconds=second * 500e-6)
        return msgspec.structs.replace(sample, at=msgspec.structs.replace(sample.at, wall=wall))

    samples = [led(second) for second in range(1000)]
    _, kept = _written(samples)
    assert (
        max(
            abs((back.at.wall - sample.at.wall).total_seconds())
            for sample, back in zip(samples, kept, strict=True)
        )
        <= 0.0021
    )


@pytest.mark.parametrize(
    "change",
    [
        {"lid_open": False},
        {"reasons": {"fans": "None is shown."}},
        {"boot": "second"},
        {"volts": None},
    ],
    ids=["lid", "reason", "restart", "value gone"],
)
def test_what_is_no_number_brings_a_whole_line(change: dict[str, Any]) -> None:
    lines, _ = _written([_sample(0), _sample(1, **change), _sample(2, **change)])
    assert [line[:1] for line in lines] == [b"{", b"{", b"["]


def test_a_whole_line_comes_every_300_looks() -> None:
    lines, _ = _written(_sample(second) for second in range(901))
    assert [number for number, line in enumerate(lines) if line[:1] == b"{"] == [0, 300, 600, 900]


@pytest.mark.parametrize(
    ("attribute", "text", "field", "kept"),
    [
        ("voltage_now", "11400000", {"voltage_v": 11.4}, False),
        ("voltage_now", "rubbish", {"voltage_v": None}, True),
        ("status", "Charging", {}, False),
        ("status", "Full", {}, True),
        ("status", "No idea", {"state": PackState.UNKNOWN}, True),
        ("capacity", "104", {"state_of_charge": 1.0}, True),
        ("capacity", "100", {"state_of_charge": 1.0}, False),
        ("charge_now", "2700000", {"state_of_charge": 0.5}, False),
        ("charge_now", "-1", {}, True),
        ("serial_number", "000123", {}, False),
        ("charge_behaviour", "[auto]", {}, True),
    ],
)
def test_a_text_stays_where_no_value_says_it(
    attribute: str, text: str, field: dict[str, Any], *, kept: bool
) -> None:
    sample = _sample(0)
    pack = msgspec.structs.replace(sample.packs[0], raw={attribute: text}, **field)
    (line,), _ = _written([msgspec.structs.replace(sample, packs=(pack,))])
    assert json.loads(line)["packs"][0]["raw"] == ({attribute: text} if kept else {})


# ---------------------------------------------------------------- what is no line


@pytest.mark.parametrize(
    "bad",
    [
        b"",
        b"[]",
        b"[1000,0,0,0,0,0,0,0,0,0,0,0,0]",
        b"[1000,0.5]",
        b"[1000,null]",
        b"[1e999]",
        b"[true]",
        b"[9007199254740993]",
        b"[1000,",
        b"[1000]]",
        b"[9007199254740992]",
        b'"x"',
        b"\x00" * 20,
        b"\xff\xfe",
        b"{}",
        b'{"at":{"wall":"2026-03-10T09:00:00+01:00","elapsed_s":1.0}}',
        b'{"at":{"wall":"2026-03-10T09:00:00Z","elapsed_s":1e308}}',
        b'{"x":' + b"[" * 200_000,
        b"[" * 200_000,
    ],
    ids=lambda line: line[:30].decode("latin-1"),
)
def test_after_a_bad_line_only_a_whole_one_counts(bad: bytes) -> None:
    lines, kept = _written(
        [_sample(0), _sample(1), _sample(2), _sample(3, lid_open=False), _sample(4, lid_open=False)]
    )
    reader = LineReader()
    taken = [reader.take(line) for line in (*lines[:2], bad, *lines[2:])]
    assert taken == [True, True, False, False, True, True]
    assert reader.sample() == kept[-1]


def test_a_step_before_any_sample_is_none() -> None:
    reader = LineReader()
    assert not reader.take(b"[1000]")
    with pytest.raises(ValueError, match="No line"):
        reader.sample()


@pytest.mark.parametrize(
    "first", [b"", b"\x00", b"{", b"[]", b'{"x":' + b"[" * 200_000, msgspec.json.encode(_sample(0))]
)
def test_a_file_that_names_no_format_is_an_old_one(first: bytes) -> None:
    assert is_old(first)


def test_an_old_file_is_read_as_it_was_written() -> None:
    # As it stood before: every line a sample, with nothing rounded.
    samples = [_sample(second + 1 / 3, volts=11 + second / 7) for second in range(5)]
    old = _file((msgspec.json.encode(sample) for sample in samples), head=b"")
    assert samples_in(old) == samples


@pytest.mark.parametrize("name", ["trace/3", "trace/10", "journal/1"])
def test_an_unknown_format_is_refused_by_name(name: str) -> None:
    with pytest.raises(UnknownFormatError) as refused:
        is_old(json.dumps({"format": name}).encode())
    assert name in refused.value.what
    assert refused.value.next_step


def test_columns_tell_what_the_numbers_are() -> None:
    reader = LineReader()
    for line in _written([_sample(0), _sample(1, volts=11.25)])[0]:
        assert reader.take(line)
    assert reader.shape is not None
    readings = reader.numbers[times(reader.shape) :]
    told = {
        (column.group, column.field): number / 10**column.places
        for column, number in zip(columns(reader.shape), readings, strict=True)
    }
    assert told == {
        ("packs", "power_w"): 20.125,
        ("packs", "voltage_v"): 11.25,
        ("temperatures", "celsius"): 50.0,
        ("fans", "rpm"): 2400,
        ("cpu", "load"): 0.125,
        ("cpu", "frequency_mhz"): 1200,
    }
