"""The heat on the page: the fit lies on what was read, the limit where it is, before against after."""

import math
import re
from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree as ET

import msgspec
import pytest

from verify.judge import Limit, Rule
from verify.machine import Cpu, Fan, Sample, Temperature
from verify.probe.heat_told import AFTER, FAN_LOADED, FAN_REST, FAST, LOADED_FOR, REST, SLOW, STEADY, named
from verify.record.arrival import Arrival
from verify.record.canonical import sha256_hex
from verify.record.model import Attempt, Record, Result, Trace
from verify.report.heat_fit import fitted_course, full_load_s
from verify.report.pictures import Standing
from verify.report.plots.courses import CourseView, course_views
from verify.report.traced import Traced
from verify.report.traces import courses_in
from verify.testing.sample_record import fit_record
from verify.values import Instant, Quantity, Reading, Unit, Verdict

_START = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)
_STEADY_C, _FAST_S, _SLOW_S = 80.0, 8.0, 150.0
_LOAD_FROM_S, _LOAD_TO_S = 20, 620


def _two_masses(second: float) -> float:
    """Return what a chip on its heat sink has, in °C: the closed form of two masses under a step of power."""
    since_s = max(0.0, second - _LOAD_FROM_S)
    return _STEADY_C - 15 * math.exp(-since_s / _FAST_S) - 25 * math.exp(-since_s / _SLOW_S)


def _sample(second: float, celsius: float, *, load: float | None, boot: str = "first") -> Sample:
    return Sample(
        at=Instant(wall=_START + timedelta(seconds=second), elapsed_s=second, boot_id=boot),
        temperatures=(
            Temperature(chip="coretemp", label="package", celsius=celsius, high=95.0, critical=105.0),
        ),
        fans=(Fan(chip="board", label="fan", rpm=2000),),
        cpu=Cpu(load=load),
    )


def _run(temperature: Callable[[float], float] = _two_masses) -> list[Sample]:
    return [
        _sample(
            second, round(temperature(second), 2), load=1.0 if _LOAD_FROM_S <= second <= _LOAD_TO_S else 0.02
        )
        for second in range(700)
    ]


def _trace(samples: Iterable[Sample]) -> bytes:
    return b"".join(msgspec.json.encode(sample) + b"\n" for sample in samples)


def _reading(
    value: float | None, unit: Unit, source: str, spread: float | None = None, reason: str | None = None
) -> Reading:
    return Reading(value=value, unit=unit, standard_uncertainty=spread, source=source, reason=reason)


_FITTED = (
    _reading(25.0, Unit.KELVIN, "coretemp package, under full load", 0.3),
    _reading(600.0, Unit.SECOND, LOADED_FOR, 0.0),
    _reading(_STEADY_C, Unit.CELSIUS, STEADY, 0.6),
    _reading(_FAST_S, Unit.SECOND, FAST, 0.5),
    _reading(_SLOW_S, Unit.SECOND, SLOW, 6.0),
    _reading(40.0, Unit.CELSIUS, named(REST, "coretemp package"), 0.29),
    _reading(55.0, Unit.CELSIUS, AFTER, 0.29),
    _reading(2000.0, Unit.RPM, named(FAN_REST, "board fan")),
    _reading(2000.0, Unit.RPM, named(FAN_LOADED, "board fan")),
)
_UNFITTED = tuple(
    _reading(None, one.unit, one.source, reason="Too early.") if one.source in (STEADY, FAST, SLOW) else one
    for one in _FITTED
)
_LIMIT = Limit(lower=Quantity(value=1.0, unit=Unit.KELVIN), rule=Rule.SIMPLE, source="-")


def _record(
    *attempts: tuple[bytes, tuple[Reading, ...], str], arrival: tuple[Reading, ...] = ()
) -> tuple[Record, Traced]:
    """Return a record whose long-heat check sealed a trace an attempt: bytes, readings, why out of date."""
    result = Result(
        check="long-heat",
        checklist="cooling",
        kind="probe",
        stage="closed",
        place="outside",
        ask="Let it warm.",
        good="It stays cool.",
        verdict=Verdict.CONFORMS,
        because="Good.",
        limit=_LIMIT,
        attempts=tuple(
            Attempt(
                at="2026-03-10T10:02:00Z",
                verdict=Verdict.CONFORMS,
                because="Good.",
                readings=readings,
                out_of_date=stale,
            )
            for _, readings, stale in attempts
        ),
    )
    names = [f"{number:05d}-long-heat.jsonl" for number in range(len(attempts))]
    record = msgspec.structs.replace(
        fit_record(),
        results=(result,),
        first_pass={},
        arrival=Arrival(at="2026-03-10T08:50:00Z", readings=arrival) if arrival else None,
        traces=tuple(
            Trace(name=name, check="long-heat", sha256=sha256_hex(data), samples=data.count(b"\n"))
            for name, (data, _, _) in zip(names, attempts, strict=True)
        ),
    )
    traces = {name: data for name, (data, _, _) in zip(names, attempts, strict=True)}
    return record, Traced(traces, dict.fromkeys(names, Standing.SHOWN))


def _view(*attempts: tuple[bytes, tuple[Reading, ...], str], arrival: tuple[Reading, ...] = ()) -> CourseView:
    (view,) = course_views(*_record(*attempts, arrival=arrival))
    return view


def _drawing(view: CourseView) -> ET.Element:
    assert view.drawing is not None
    return ET.fromstring(str(view.drawing))


def _said(view: CourseView) -> str:
    return " ".join(view.says).replace("\u00a0", " ")


def _celsius_of(drawing: ET.Element) -> Callable[[float], float]:
    """Return what a height of the first panel is in °C, by its ticks."""
    lines = [one for one in drawing.iter("line") if one.attrib["class"] == "grid"]
    ticks = [
        (float(one.attrib["y"]) - 5, float(one.text or ""))
        for one in drawing.iter("text")
        if one.attrib["text-anchor"] == "end" and re.fullmatch(r"\d+", one.text or "")
    ]
    (y1, c1), (y2, c2) = ticks[:2]
    assert y1 in {float(one.attrib["y1"]) for one in lines}
    return lambda y: c1 + (y - y1) / (y2 - y1) * (c2 - c1)


def _course(drawing: ET.Element, look: str) -> list[tuple[float, float]]:
    found = []
    for one in drawing.iter("path"):
        if one.attrib["class"] == f"course {look}":
            numbers = [float(number) for number in re.findall(r"-?[\d.e+]+", one.attrib["d"])]
            found += list(pairwise(numbers))[::2]
    return found


def _full_load(samples: Iterable[Sample]) -> tuple[float, float] | None:
    courses = courses_in(_trace(samples))
    return full_load_s(courses.times_s, courses.load)


def test_full_load_is_found_in_a_trace() -> None:
    assert _full_load(_run()) == (_LOAD_FROM_S, _LOAD_TO_S)
    assert _full_load(_sample(second, 40.0, load=None) for second in range(60)) is None
    assert _full_load(()) is None


def test_the_longest_full_load_counts_and_a_pause_ends_one() -> None:
    # 10 s, then 4 s not known and 6 s more: one; then a pause of 5 s, and 8 s.
    loads = [1.0] * 11 + [None] * 3 + [0.9] * 7 + [0.1] * 4 + [1.0] * 9
    assert _full_load(_sample(second, 40.0, load=load) for second, load in enumerate(loads)) == (0, 20)


def test_across_a_restart_no_course_is_drawn() -> None:
    samples = [*_run(), _sample(900, 40.0, load=1.0, boot="second")]
    view = _view((_trace(samples), _FITTED, ""))
    assert not _course(_drawing(view), "two")
    assert _course(_drawing(_view((_trace(_run()), _FITTED, ""))), "two")


def test_the_fit_is_that_of_two_masses() -> None:
    times_s = [float(second) for second in range(700)]
    celsius = [_two_masses(second) for second in times_s]
    fit = fitted_course(_FITTED, times_s, celsius, (_LOAD_FROM_S, _LOAD_TO_S))
    assert fit is not None
    assert math.isnan(fit.course[_LOAD_FROM_S - 1])
    for second in range(_LOAD_FROM_S, 700):
        assert fit.course[second] == pytest.approx(_two_masses(second), abs=0.01)


@pytest.mark.parametrize(
    "temperature",
    [lambda second: _two_masses(second) + 8 * math.sin(second / 40), lambda _: 40.0],
    ids=["another course", "a sensor that stands still"],
)
def test_a_fit_that_leaves_what_was_read_is_not_drawn(temperature: Callable[[float], float]) -> None:
    view = _view((_trace(_run(temperature)), _FITTED, ""))
    assert "is not drawn" in _said(view)
    assert _course(_drawing(view), "two") == []


def test_the_fit_is_drawn_to_where_the_load_ends_with_its_band() -> None:
    view = _view((_trace(_run()), _FITTED, ""))
    drawing = _drawing(view)
    celsius = _celsius_of(drawing)
    fitted = _course(drawing, "two")
    assert celsius(fitted[-1][1]) == pytest.approx(_two_masses(699), abs=0.3)
    (band,) = (one for one in drawing.iter("rect") if one.attrib["class"] == "band")
    top, deep = float(band.attrib["y"]), float(band.attrib["height"])
    assert celsius(top) == pytest.approx(_STEADY_C + 1.2, abs=0.3)
    assert celsius(top + deep) == pytest.approx(_STEADY_C - 1.2, abs=0.3)
    assert "full load ends at 80.0 °C ± 1.2 °C" in _said(view)
    assert "chip 8.0 s ± 1.0 s, heat sink 150 s ± 12 s" in _said(view)


def test_the_limit_lies_at_its_temperature() -> None:
    drawing = _drawing(_view((_trace(_run()), _FITTED, "")))
    (limit,) = (one for one in drawing.iter("line") if one.attrib["class"] == "limit")
    assert _celsius_of(drawing)(float(limit.attrib["y1"])) == pytest.approx(104, abs=0.3)


def test_a_spike_of_one_look_is_on_the_curve() -> None:
    drawing = _drawing(
        _view((_trace(_run(lambda second: 99.0 if second == 333 else _two_masses(second))), _UNFITTED, ""))
    )
    celsius = _celsius_of(drawing)
    assert max(celsius(y) for _, y in _course(drawing, "one")) == pytest.approx(99, abs=0.3)


def test_where_nothing_was_fitted_that_is_said_and_nothing_drawn() -> None:
    view = _view((_trace(_run()), _UNFITTED, ""))
    assert "Where full load ends is not known: Too early." in _said(view)
    drawing = _drawing(view)
    assert not [one for one in drawing.iter("rect") if one.attrib["class"] == "band"]
    assert _course(drawing, "two") == []


def test_an_attempt_out_of_date_is_not_drawn_and_stands_as_the_time_before() -> None:
    hot = _trace(_run(lambda second: _two_masses(second) + 12))
    stale = tuple(
        msgspec.structs.replace(one, value=52.0) if one.source.startswith(REST) else one for one in _FITTED
    )
    view = _view((hot, stale, "The base was opened."), (_trace(_run()), _FITTED, ""))
    assert "Processor: 40 °C at first, 80 °C at most" in _said(view)
    compared = view.compared
    assert compared is not None
    assert compared.head == ("What", "Earlier, out of date", "Now")
    rows = {row[0]: tuple(cell.replace("\u00a0", " ") for cell in row[1:]) for row in compared.rows}
    assert rows["Processor at rest"] == ("52.00 °C ± 0.58 °C", "40.00 °C ± 0.58 °C")
    assert rows["Processor, hottest that was read"] == ("92 °C", "80 °C")


def test_only_what_was_read_on_arrival_is_compared() -> None:
    arrival = (
        _reading(34.0, Unit.CELSIUS, "coretemp package"),
        _reading(None, Unit.RPM, "board fan", reason="It told no speed."),
    )
    compared = _view((_trace(_run()), _FITTED, ""), arrival=arrival).compared
    assert compared is not None
    assert compared.head == ("What", "On arrival", "Now")
    rows = {row[0]: tuple(cell.replace("\u00a0", " ") for cell in row[1:]) for row in compared.rows}
    assert rows == {
        "Processor at rest": ("34 °C", "40.00 °C ± 0.58 °C"),
        "board fan at rest": ("unknown: It told no speed.", "2000 rpm"),
    }


def test_where_nothing_was_read_before_there_is_nothing_to_compare() -> None:
    assert _view((_trace(_run()), _FITTED, "")).compared is None
    other = (_reading(22.0, Unit.CELSIUS, "acpitz board"),)
    assert _view((_trace(_run()), _FITTED, ""), arrival=other).compared is None


def test_what_is_read_no_more_stands_as_not_read() -> None:
    without = tuple(one for one in _FITTED if not one.source.startswith(REST))
    stale = (_trace(_run()), _FITTED, "The base was opened.")
    compared = _view(stale, (_trace(_run()), without, "")).compared
    assert compared is not None
    assert ("Processor at rest", "40.00\u00a0°C ±\u00a00.58\u00a0°C", "not read") in compared.rows


@pytest.mark.parametrize("value", [1e308, -1e308, 1e-320, 0.0, -5.0])
@pytest.mark.parametrize("source", [STEADY, FAST, SLOW])
def test_no_number_of_a_record_spoils_the_fit(source: str, value: float) -> None:
    spoilt = tuple(
        msgspec.structs.replace(one, value=value, standard_uncertainty=1e308) if one.source == source else one
        for one in _FITTED
    )
    text = ET.tostring(_drawing(_view((_trace(_run()), spoilt, ""))), encoding="unicode")
    places = re.findall(r' (?:d|y|y1|height)="([^"]*)"', text)
    assert not re.search(r"nan|inf|\d{5}", " ".join(places))
