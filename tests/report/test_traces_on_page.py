"""Traces on the page: what was read over time is drawn, and only what was sealed.

The expected words follow from the numbers that the samples here are made of.
"""

import re
import zlib
from base64 import b64decode, b64encode
from collections import Counter
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from html import unescape
from math import isnan
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.judge import Limit, Rule
from verify.machine import Cpu, Fan, Pack, PackState, Sample, Temperature
from verify.probe.handed_on import CAPACITY_WH, PHASE, hand_on
from verify.record.canonical import sha256_hex
from verify.record.model import Attempt, Record, Result, Trace
from verify.record.trace_lines import HEAD, LineWriter
from verify.report.packed import Packed, pack, traces_in
from verify.report.render import render
from verify.report.traces import courses_in, read_traces
from verify.testing.sample_record import fit_record
from verify.values import Instant, Quantity, Reading, Unit, Verdict
from verify.values.errors import UnknownFormatError

_START = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


def _sample(
    second: float,
    *,
    level: float | None = None,
    power_w: float | None = 38.0,
    volts: float | None = 11.4,
    celsius: float | None = None,
    rpm: int = 2400,
    boot: str = "first",
    packs: tuple[str, ...] = ("BAT0",),
) -> Sample:
    return Sample(
        at=Instant(wall=_START + timedelta(seconds=second), elapsed_s=second, boot_id=boot),
        packs=tuple(
            Pack(
                name=name,
                state=PackState.CHARGING,
                state_of_charge=level,
                power_w=power_w,
                voltage_v=volts,
            )
            for name in packs
        ),
        temperatures=(
            Temperature(chip="coretemp", label="package", celsius=celsius, high=95.0, critical=105.0),
        ),
        fans=(Fan(chip="board", label="fan", rpm=rpm),),
        cpu=Cpu(),
    )


def _trace(samples: Iterable[Sample]) -> bytes:
    writer = LineWriter()
    return HEAD + b"".join(writer.line(sample)[0] + b"\n" for sample in samples)


def _old_trace(samples: Iterable[Sample]) -> bytes:
    """Return a trace as an earlier version wrote it: each line a whole sample."""
    return b"".join(msgspec.json.encode(sample) + b"\n" for sample in samples)


def _charge() -> list[Sample]:
    """Return a charge from 15 to 100 % in 62 minutes, a look each 10 s: 38 W, then less and less."""
    return [
        _sample(
            second,
            level=0.15 + 0.85 * second / 3720,
            power_w=38.0 if second < 2400 else 38.0 * (3720 - second) / 1320,
            volts=11.0 + 1.6 * min(1.0, second / 2400),
        )
        for second in range(0, 3721, 10)
    ]


def _heat() -> list[Sample]:
    return [_sample(second, celsius=min(44.0 + second, 91.0), rpm=2000 + 40 * second) for second in range(61)]


_PHASES = (
    hand_on("BAT0", PHASE, 40.0, Unit.MINUTE, more="constant current: +2.222 Ah"),
    hand_on("BAT0", PHASE, 22.0, Unit.MINUTE, more="constant voltage: +0.611 Ah"),
    hand_on("BAT0", CAPACITY_WH, 55.0, Unit.WATT_HOUR, more="95 %: 52.1 to 58.0"),
)


def _record(
    check: str,
    *traces: bytes,
    readings: tuple[Reading, ...] = (),
    limit: Limit | None = None,
    out_of_date: tuple[str, ...] | None = None,
) -> Record:
    """Return a record whose one check sealed these traces, one an attempt."""
    result = Result(
        check=check,
        checklist="full-charge",
        kind="watch",
        stage="closed",
        place="outside",
        ask="Leave the charger in.",
        good="It is full.",
        verdict=Verdict.CONFORMS,
        because="Good.",
        limit=limit,
        attempts=tuple(
            Attempt(
                at="2026-03-10T10:02:00Z",
                verdict=Verdict.CONFORMS,
                because="Good.",
                readings=readings,
                out_of_date=old,
            )
            for old in (out_of_date or ("",) * len(traces))
        ),
    )
    sealed = tuple(
        Trace(name=_name(check, number), check=check, sha256=sha256_hex(data), samples=data.count(b"\n"))
        for number, data in enumerate(traces)
    )
    return msgspec.structs.replace(fit_record(), results=(result,), traces=sealed, first_pass={})


def _name(check: str, number: int = 0) -> str:
    return f"{number:05d}-{check}.jsonl"


def _page(record: Record, *traces: bytes) -> str:
    named = {trace.name: pack(data) for trace, data in zip(record.traces, traces, strict=True)}
    return render(record, {}, named).decode()


def _said(page: str) -> list[str]:
    """Return what each curve says of itself, with plain spaces."""
    page = page.replace("\u00a0", " ")
    return [unescape(says) for says in re.findall(r"<desc>(.*?)</desc>", _figures(page))]


def _figures(page: str) -> str:
    """Return the curves alone: the page draws other things as well."""
    return "".join(re.findall(r'<figure class="drawn courses">.*?</figure>', page, re.DOTALL))


_AT_LEAST_99 = Limit(
    lower=Quantity(value=99.0, unit=Unit.PERCENT), rule=Rule.SIMPLE, source="common practice, no source"
)


def test_a_charge_is_drawn_and_says_what_it_shows() -> None:
    data = _trace(_charge())
    page = _page(_record("charge-to-full", data, readings=_PHASES, limit=_AT_LEAST_99), data)
    assert _said(page) == [
        (
            "From 15 to 100 % in 62 min; at most 38 W in; 11.00 to 12.60 V. "
            "Phases: constant current 40 min (+2.222 Ah); constant voltage 22 min (+0.611 Ah). "
            "Energy counted between empty and full at rest: 55 Wh (95 %: 52.1 to 58.0). "
            "Counted in by the report, from what was read: 32.3 Wh; the check told none to compare."
        )
    ]
    figure = _figures(page)
    assert [figure.count(f'class="{look}"') for look in ("course one", "span", "limit")] == [4, 2, 1]
    assert [">Level, %<" in figure, ">Power in, W<" in figure, ">Voltage, V<" in figure] == [True] * 3
    rows = re.findall(r'<tr><th scope="row">(.*?)</th><td>(.*?)</td>', figure)
    assert (len(rows), rows[0], rows[-1]) == (20, ("0.0", "15.0"), ("62.0", "100.0"))


def test_a_drain_shows_what_went_out() -> None:
    data = _trace(
        _sample(second, level=0.5 - second / 7200, power_w=-30.0, volts=11.0) for second in range(0, 1801, 5)
    )
    assert _said(_page(_record("drain", data), data)) == [
        (
            "From 50 to 25 % in 30 min; at most 30 W out; 11.00 to 11.00 V. "
            "Counted out by the report, from what was read: 15 Wh; the check told none to compare."
        )
    ]


def test_the_heat_run_shows_processor_fan_and_limit() -> None:
    data = _trace(_heat())
    limit = Limit(lower=Quantity(value=1.0, unit=Unit.KELVIN), rule=Rule.SIMPLE, source="-")
    page = _page(_record("heat-margin", data, limit=limit), data)
    assert _said(page) == [
        (
            "Processor: 44 °C at first, 91 °C at most, in 60 s. "
            "The limit is 104 °C, 1 K below what its sensor calls critical. "
            "Speed of board fan: 2000 to 4400 rpm."
        )
    ]
    assert "limit 104\u00a0°C" in page


def test_phases_that_do_not_add_up_are_told_and_not_drawn() -> None:
    data = _trace(_charge())
    page = _page(_record("charge-to-full", data, readings=_PHASES[:1]), data)
    assert 'class="span"' not in _figures(page)
    assert "Phases: constant current 40\u00a0min" in page


@pytest.mark.parametrize("given", [{}, None], ids=["lost", "none offered"])
def test_a_lost_trace_is_told_and_not_drawn(given: dict[str, Packed] | None) -> None:
    page = render(_record("charge-to-full", _trace(_charge())), {}, given).decode()
    told = "Not drawn: the trace 00000-charge-to-full.jsonl was not in the run" in unescape(page)
    assert (told, _said(page)) == (given is not None, [])


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data.replace(b'"power_w":38.0', b'"power_w":45.0', 1),
        lambda data: data + b"\n",
        lambda data: data[:-200],
        lambda _: b"",
    ],
    ids=["a number changed", "a byte more", "cut short", "emptied"],
)
def test_an_altered_trace_is_told_and_never_drawn(spoil: Callable[[bytes], bytes]) -> None:
    data = _trace(_charge())
    page = _page(_record("charge-to-full", data), spoil(data))
    assert "NOT DRAWN: the file 00000-charge-to-full.jsonl" in page
    assert "is NOT the trace that was sealed." in page
    assert _said(page) == []


def test_two_seals_of_one_name_are_not_drawn() -> None:
    data = _trace(_charge())
    record = _record("charge-to-full", data)
    other = msgspec.structs.replace(record.traces[0], sha256="0" * 64)
    for traces in ((*record.traces, other), (other, *record.traces)):
        page = render(msgspec.structs.replace(record, traces=traces), {}, {other.name: pack(data)}).decode()
        assert _said(page) == []


def test_the_last_attempt_that_counts_is_drawn() -> None:
    first, second, third = (
        _trace(_sample(number, level=level + number / 1000) for number in range(0, 301, 10))
        for level in (0.1, 0.2, 0.3)
    )
    every = (first, second, third)
    record = _record("charge-to-full", *every, out_of_date=("", "", "It was opened."))
    (said,) = _said(_page(record, *every))
    assert said.startswith("From 20 to 50 % in")
    record = _record("charge-to-full", *every, out_of_date=("It was opened.",) * 3)
    assert _said(_page(record, *every)) == []


def test_a_look_of_one_moment_has_no_curve() -> None:
    data = _trace([_sample(0, celsius=50.0)])
    assert 'class="drawn courses"' not in _page(_record("heat-margin", data), data)


def test_several_batteries_are_told_one_by_one() -> None:
    data = _trace(
        _sample(second, level=second / 7200, packs=("BAT0", "BAT1")) for second in range(0, 3601, 10)
    )
    page = _page(_record("charge-to-full", data), data)
    (said,) = _said(page)
    assert "BAT0: From 0.0 to 50 %" in said
    assert "BAT1: From 0.0 to 50 %" in said
    assert _figures(page).count('class="course two"') == 8  # a line in each panel, and its sample in the key


def test_a_pause_a_restart_and_a_broken_line_are_told_as_breaks() -> None:
    samples = [_sample(second, level=0.5) for second in (*range(100), *range(600, 700))]
    samples += [_sample(second, level=0.6, boot="second") for second in range(900, 1000)]
    lines = _old_trace(samples).splitlines(keepends=True)
    data = b"".join((*lines[:50], b'{"at": NaN}\n', b"\xff\xfe\n", *lines[50:]))
    (said,) = _said(_page(_record("charge-to-full", data), data))
    assert "Once the clock of the machine began anew; the lines break there." in said
    assert "2 times nobody looked for a while" in said
    assert "2 lines of the trace could not be read" in said


def test_what_is_not_told_is_not_made_up() -> None:
    data = _trace(_sample(second, level=0.5, power_w=None, volts=None) for second in range(60))
    page = _page(_record("charge-to-full", data), data)
    (said,) = _said(page)
    assert said == "From 50 to 50 % in 59 s; its power was not told."
    figure = _figures(page)
    assert "Power in" not in figure
    assert "Voltage" not in figure


@pytest.mark.parametrize("number", ["1e308", "-1e308", "1e-320", "1e999", "NaN", "null", '"x"', "{}"])
@pytest.mark.parametrize("field", ["elapsed_s", "state_of_charge", "power_w", "voltage_v"])
def test_no_number_in_a_trace_can_spoil_the_page(field: str, number: str) -> None:
    lines = _old_trace(_charge()).decode().splitlines(keepends=True)
    for at in (0, 5, 100, len(lines) - 1):
        lines[at] = re.sub(rf'"{field}":[-\d.e]+', f'"{field}":{number}', lines[at])
    data = "".join(lines).encode()
    page = _page(_record("charge-to-full", data), data)
    (said,) = _said(page)
    assert "38 W" in said
    figure = _figures(page)
    places = re.findall(r' d="([^"]*)"', figure)
    assert places
    assert not re.search(r"nan|inf|\d{5}", " ".join(places))


@pytest.mark.parametrize("at_c", ["1e308", "-1e308", "1e-320"])
def test_no_critical_temperature_can_spoil_the_page(at_c: str) -> None:
    data = _old_trace(_heat()).replace(b'"critical":105.0', f'"critical":{at_c}'.encode())
    limit = Limit(lower=Quantity(value=1.0, unit=Unit.KELVIN), rule=Rule.SIMPLE, source="-")
    assert len(_said(_page(_record("heat-margin", data, limit=limit), data))) == 1


def test_what_was_not_told_for_a_while_is_said() -> None:
    data = _trace(
        _sample(second, level=0.5, power_w=None if 20 < second < 40 else 30.0) for second in range(60)
    )
    (said,) = _said(_page(_record("charge-to-full", data), data))
    assert said.endswith("Where a line stops, nothing was told.")


def test_names_in_a_trace_are_shown_as_text() -> None:
    name = "</svg><script>alert(1)</script>\u202e"
    data = _trace(_sample(second, level=second / 3600, packs=(name, "BAT1")) for second in range(0, 3600, 10))
    page = _page(_record("charge-to-full", data), data)
    assert "<script" not in page
    assert "\u202e" not in page.partition("<!--part record-->")[0]
    assert "⟨U+202E⟩" in page


def test_a_trace_of_a_thousand_names_stays_small() -> None:
    data = _trace(_sample(number, level=0.5, packs=(f"pack {number}",)) for number in range(1000))
    assert len(courses_in(data).packs) == 16


def test_the_same_traces_give_the_same_bytes() -> None:
    data = _trace(_charge())
    record = _record("charge-to-full", data, readings=_PHASES, limit=_AT_LEAST_99)
    assert _page(record, data) == _page(record, data)


def test_a_bad_line_costs_what_hangs_on_it_and_no_more() -> None:
    lines = _trace(_sample(second, level=0.5) for second in range(700)).splitlines(keepends=True)
    data = b"".join((*lines[:150], b"[1000,\n", *lines[150:]))
    courses = courses_in(data)
    # From there on to the next whole line, which is the 300th: nothing is guessed.
    assert courses.unread == 300 - 149 + 1
    assert [isnan(volts) for volts in courses.packs["BAT0"].voltage_v].index(
        False, 149
    ) == 149 + courses.unread
    assert courses.times_s[-1] == 699.0
    (said,) = _said(_page(_record("charge-to-full", data), data))
    assert "152 lines of the trace could not be read" in said


def test_both_formats_draw_the_same() -> None:
    old, new = _old_trace(_charge()), _trace(_charge())
    assert len(new) < len(old) / 10
    assert _said(_page(_record("charge-to-full", old), old)) == _said(
        _page(_record("charge-to-full", new), new)
    )


def test_a_trace_of_a_later_version_is_told_and_not_drawn() -> None:
    data = _trace(_charge()).replace(b"trace/2", b"trace/3")
    with pytest.raises(UnknownFormatError, match="trace/3"):
        courses_in(data)
    page = _page(_record("charge-to-full", data), data)
    assert _said(page) == []
    assert "is in a format that this version does not know" in page


@given(st.lists(st.tuples(st.integers(1, 3000), st.integers(-60_000, 60_000)), min_size=1, max_size=350))
def test_what_is_drawn_is_what_was_read(looks: list[tuple[int, int]]) -> None:
    samples, now_ms = [], 0
    for step_ms, power_mw in looks:
        now_ms += step_ms
        samples.append(_sample(now_ms / 1000, level=0.5, power_w=power_mw / 1000))
    courses = courses_in(_trace(samples))
    assert list(courses.packs["BAT0"].power_w) == [power_mw / 1000 for _, power_mw in looks]
    assert list(courses.times_s) == pytest.approx(
        [sample.at.elapsed_s - samples[0].at.elapsed_s for sample in samples], abs=1e-6
    )


def test_a_day_of_a_look_a_second_keeps_its_one_spike() -> None:
    # Its first and its second look as they are written; of the rest all alike but one.
    lines = _trace([_sample(0, level=0.5, power_w=20.0), _sample(1, level=0.5, power_w=20.0)]).splitlines()
    assert lines[2] == b"[1000]"
    data = b"\n".join(
        (
            *lines,
            *(
                b"[1000,24000]" if at == 50_001 else b"[1000,-24000]" if at == 50_002 else b"[1000]"
                for at in range(2, 86_400)
            ),
        )
    )
    page = _page(_record("charge-to-full", data), data)
    (said,) = _said(page)
    assert said.startswith("From 50 to 50 % in 24 h 00 min; at most 44 W in")
    drawn = len(page) - len(_page(_record("charge-to-full", b""), b"")) - len(pack(data).text)
    assert drawn < 60_000
    assert _figures(page).count('class="course one"') == 4, "a spike broke the line"
    # On the drawn curve itself: one point of the panel stands away from all the others, at its time.
    power = re.findall(r'<path d="([^"]*)"[^>]* class="course one"', _figures(page))[1]
    points = [(float(x), y) for x, y in re.findall(r"[ML]([\d.]+) ([\d.]+)", power)]
    (usual, _), (away, times) = Counter(y for _, y in points).most_common()
    assert times == 1
    assert float(away) < float(usual) - 20, "the spike is hardly seen"
    (at,) = (x for x, y in points if y == away)
    first, last = points[0][0], points[-1][0]
    assert (at - first) / (last - first) == pytest.approx(50_001 / 86_399, abs=0.003)


class TestReading:
    def test_only_what_the_record_names_is_read(self, tmp_path: Path) -> None:
        data = _trace(_heat())
        (tmp_path / "traces").mkdir()
        (tmp_path / "traces" / _name("heat-margin")).write_bytes(data)
        (tmp_path / "traces" / _name("drain")).write_bytes(data)
        assert read_traces(tmp_path, _record("heat-margin", data)) == {_name("heat-margin"): data}

    @pytest.mark.parametrize(
        "name",
        [
            "../journal.jsonl",
            "/etc/hostname",
            "00001-x.jsonl/..",
            "00001-../x.jsonl",
            "",
            ".",
            "00001-ä.jsonl",
        ],
    )
    def test_a_name_never_reaches_out_of_the_folder(self, tmp_path: Path, name: str) -> None:
        (tmp_path / "traces").mkdir()
        (tmp_path / "journal.jsonl").write_bytes(b"x")
        record = _record("heat-margin", b"x")
        traces = (msgspec.structs.replace(record.traces[0], name=name),)
        assert read_traces(tmp_path, msgspec.structs.replace(record, traces=traces)) == {}

    def test_a_folder_in_its_place_is_left_out(self, tmp_path: Path) -> None:
        (tmp_path / "traces" / _name("heat-margin")).mkdir(parents=True)
        assert read_traces(tmp_path, _record("heat-margin", b"x")) == {}


# ---------------------------------------------------------------- carried in the page


def _carried(record: Record, *traces: bytes | None) -> bytes:
    given = {
        trace.name: pack(data) for trace, data in zip(record.traces, traces, strict=True) if data is not None
    }
    return render(record, {}, given)


@pytest.mark.parametrize("spoilt", ["whole", "altered", "missing"])
def test_the_same_page_can_be_made_from_the_page_alone(spoilt: str) -> None:
    data = _trace(_charge())
    record = _record("charge-to-full", data)
    page = _carried(record, {"whole": data, "altered": data[:-9], "missing": None}[spoilt])
    carried = traces_in(page, record)
    assert carried is not None
    assert render(record, {}, carried) == page
    if spoilt == "whole":
        assert carried[record.traces[0].name].data == data


def test_a_stranger_gets_the_sealed_bytes_out_of_the_page() -> None:
    data = _trace(_charge())
    record = _record("charge-to-full", data)
    text = re.search(rb'data-trace="[^"]+">([^<]+)</pre>', _carried(record, data))
    assert text is not None
    assert sha256(zlib.decompress(b64decode(text[1]))).hexdigest() == record.traces[0].sha256


@pytest.mark.parametrize(
    "text",
    [
        b64encode(zlib.compress(b"x" * 1000)[:-6]),
        b64encode(zlib.compress(b"x") + b"more"),
        b64encode(b"no zlib"),
        b"AAA",
        b"",
    ],
    ids=["cut short", "more behind it", "another form", "no base64", "nothing"],
)
def test_what_stands_for_no_trace_is_an_altered_one(text: bytes) -> None:
    data = _trace(_charge())
    record = _record("charge-to-full", data)
    page = _carried(record, data)
    changed = page.replace(pack(data).text.encode(), text)
    carried = traces_in(changed, record)
    assert carried is not None
    assert carried[record.traces[0].name].data == b""
    assert render(record, {}, carried) != changed


def test_a_trace_that_unpacks_to_more_than_a_trace_can_be_is_not_unpacked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("verify.report.packed.MOST_BYTES", 1000)
    record = _record("charge-to-full", b"x" * 1001)
    carried = traces_in(_carried(record, b"x" * 1001), record)
    assert carried == {record.traces[0].name: Packed(data=b"", text="")}


def test_many_traces_together_unpack_to_no_more_than_one_can(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("verify.report.packed.MOST_BYTES", 1000)
    monkeypatch.setattr("verify.report.traces.MOST_BYTES", 1000)
    datas = (b"x" * 600, b"y" * 600, b"z" * 400, b"")
    record = _record("charge-to-full", *datas)
    names = [trace.name for trace in record.traces]
    page = render(record, {}, {name: pack(data) for name, data in zip(names, datas, strict=True)})
    carried = traces_in(page, record)
    assert carried is not None
    assert [len(carried[name].data) for name in names] == [600, 0, 400, 0]
    (tmp_path / "traces").mkdir()
    for name, data in zip(names, datas, strict=True):
        (tmp_path / "traces" / name).write_bytes(data)
    assert list(read_traces(tmp_path, record)) == [names[0], names[2], names[3]]


def test_lines_without_end_and_looks_without_measure_are_counted_and_not_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("verify.report.traces._MOST_LOOKS", 300)
    found = courses_in(_trace(_charge()))
    assert (len(found.times_s), found.unread) == (300, 73)
    assert not isnan(found.packs["BAT0"].level[-1])
    wide = msgspec.structs.replace(_sample(0, celsius=50.0), fans=(Fan(chip="b", label="f", rpm=1),) * 1000)
    spoilt = courses_in(_trace([*_charge()[:2], wide, wide, *_charge()[2:5]]))
    levels = spoilt.packs["BAT0"].level
    assert [isnan(one) for one in levels] == [False, False, True, True, False, False, False]
    assert spoilt.unread == 2


def test_a_page_made_without_traces_is_made_again_without() -> None:
    record = _record("charge-to-full", _trace(_charge()))
    page = render(record, {})
    assert traces_in(page, record) is None
    assert render(record, {}, None) == page
