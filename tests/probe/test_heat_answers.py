"""What a run of full load tells beside its margin, and the checks that read it: clock, fans, change.

Times and shares are the ones that the checks state themselves (common practice, no source).
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime, timedelta

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import Cpu, Fan, Sample, Temperature
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, Probe, Working, make_probe
from verify.probe.heat_told import (
    AFTER,
    BASE_CLOCK,
    FAN_AFTER,
    FAN_LOADED,
    FAN_REST,
    FAST,
    LEAST_CLOCK,
    LOADED_FOR,
    REST,
    SLOW,
    STEADY,
    THROTTLED,
    all_told,
    named,
    told,
)
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock
from verify.values.errors import HandbackError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
LONG = {"load": "10 min", "recover": "5 min"}
HELD = Limit(
    lower=Quantity(value=97, unit=Unit.PERCENT), rule=Rule.SIMPLE, source="common practice, no source"
)


def machine(faults: Mapping[str, str] | None = None) -> SimulatedMachine:
    clock = VirtualClock(start=START)
    made = SimulatedMachine(clock=clock, faults=faults or {})
    made.plug_in()
    clock.wait(900)
    return made


def heated(faults: Mapping[str, str] | None = None, options: Mapping[str, str] = LONG) -> Finding:
    return drive(make_probe("heat-margin", options, Context()), machine(faults), every_s=1.0)


def value(finding: Finding, source: str) -> float:
    reading = told(finding.aside, source)
    assert reading is not None
    assert reading.value is not None, reading.reason
    return reading.value


# ---------------------------------------------------------------- a run: idle, loaded, recovered


def test_a_sound_machine_ends_its_load_early_with_the_end_known_and_then_recovers() -> None:
    finding = heated()
    assert 180 <= value(finding, LOADED_FOR) < 600
    steady = told(finding.aside, STEADY)
    assert steady is not None
    # What the whole ten minutes come to.
    whole = heated(options={"load": "10 min", "whole": "yes"})
    assert value(whole, LOADED_FOR) == 600
    assert value(finding, STEADY) == pytest.approx(value(whole, STEADY), abs=2.0)
    assert (steady.standard_uncertainty or 9) < 1.3
    # The margin that counts is that at the end, not the one that happened to be seen.
    assert finding.readings[0].value == pytest.approx(105 - value(finding, STEADY), abs=0.01)
    assert value(finding, FAST) < 20 < value(finding, SLOW)
    assert value(finding, AFTER) < value(finding, STEADY) - 20
    assert value(finding, THROTTLED) == 0


def test_a_load_that_nears_its_limit_goes_on_to_its_time() -> None:
    finding = heated({"fan-stuck": ""})
    assert value(finding, LOADED_FOR) == 600
    assert value(finding, THROTTLED) > 0
    steady = told(finding.aside, STEADY)
    assert steady is not None
    assert steady.value is None
    assert "clock" in (steady.reason or "")


def test_a_short_load_is_as_it_was() -> None:
    finding = heated(options={"load": "60 s"})
    assert value(finding, LOADED_FOR) == 60
    assert "in 60 s of full load" in finding.text
    assert told(finding.aside, AFTER) is None


@pytest.mark.parametrize(
    "options",
    [
        {"load": "60 s", "recover": "16 min"},
        {"load": "60 s", "whole": "no"},
        {"load": "60 s", "recover": "soon"},
        {"recover": "5 min"},
        {"whole": "yes"},
    ],
)
def test_an_option_that_cannot_be_is_refused(options: Mapping[str, str]) -> None:
    with pytest.raises(HandbackError):
        make_probe("heat-margin", options, Context())


# Sample by sample.


def sample(
    seconds: float,
    celsius: float | None = 60.0,
    load: float | None = 0.05,
    *,
    cpu: Mapping[str, float] | None = None,
    count: int | None = None,
    rpm: int | None = 3000,
) -> Sample:
    sensors = (Temperature(chip="coretemp", label="x", celsius=celsius, high=90.0, critical=100.0),)
    return Sample(
        at=Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id="one"),
        temperatures=sensors,
        fans=(Fan(chip="board", label="fan", rpm=rpm),),
        cpu=Cpu(load=load, throttle_count=count, **(cpu or {"frequency_mhz": 2500.0})),  # type: ignore[arg-type]
    )


def fed(one: Probe, samples: Iterator[Sample]) -> Finding:
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            return answer
    pytest.fail("The check has not ended.")


def course(
    loaded: Callable[[int], Sample], after: Callable[[int], Sample], *, load_s: int = 61
) -> Iterator[Sample]:
    """Eleven quiet seconds, then the load, then what comes after it; each is given the second."""
    for i in range(11):
        yield sample(i)
    for i in range(11, 11 + load_s):
        yield loaded(i)
    for i in range(11 + load_s, 1000):
        yield after(i)


def test_a_clock_that_falls_for_ten_seconds_is_the_lowest_and_one_blink_is_not() -> None:
    def clock(i: int) -> Sample:
        megahertz = 400.0 if i == 25 else 1500.0 if 41 <= i < 61 else 2500.0
        return sample(i, 70.0, 1.0, cpu={"frequency_mhz": megahertz, "frequency_base_mhz": 2000.0})

    finding = fed(make_probe("heat-margin", {"load": "60 s"}, Context()), course(clock, sample))
    assert value(finding, LEAST_CLOCK) == pytest.approx(1500, abs=1)
    assert value(finding, BASE_CLOCK) == 2000


def test_throttling_is_the_difference_over_the_load() -> None:
    def counted(i: int) -> Sample:
        return sample(i, 70.0, 1.0, count=40 + i // 20)

    finding = fed(make_probe("heat-margin", {"load": "60 s"}, Context()), course(counted, sample))
    assert value(finding, THROTTLED) == 3


def test_what_was_seen_under_load_stands_where_the_sensor_goes_away_after_it() -> None:
    finding = fed(
        make_probe("heat-margin", {"load": "60 s", "recover": "5 min"}, Context()),
        course(lambda i: sample(i, 70.0, 1.0), lambda i: sample(i, None)),
    )
    assert finding.readings[0].value == 30.0
    assert told(finding.aside, AFTER) is None


def test_a_machine_that_is_kept_busy_after_the_load_tells_nothing_of_its_recovery() -> None:
    finding = fed(
        make_probe("heat-margin", {"load": "60 s", "recover": "5 min"}, Context()),
        course(lambda i: sample(i, 70.0, 1.0), lambda i: sample(i, 70.0, 0.9)),
    )
    assert finding.readings[0].value == 30.0
    assert told(finding.aside, AFTER) is None
    assert not all_told(finding.aside, FAN_AFTER)


def test_fans_that_slowed_down_end_the_recovery() -> None:
    finding = fed(
        make_probe("heat-margin", {"load": "60 s", "recover": "5 min"}, Context()),
        course(lambda i: sample(i, 70.0, 1.0, rpm=4000), lambda i: sample(i, 55.0, rpm=1500)),
    )
    fan = all_told(finding.aside, FAN_AFTER)["board fan"]
    assert fan.value == 1500
    assert all_told(finding.aside, FAN_LOADED)["board fan"].value == 4000
    assert all_told(finding.aside, FAN_REST)["board fan"].value == 3000


# ---------------------------------------------------------------- read from an earlier check


def plain(value: float | None, unit: Unit, source: str, reason: str | None = None) -> Reading:
    return Reading(value=value, unit=unit, source=source, reason=reason)


def run(*more: Reading, seconds: float = 600.0) -> tuple[Reading, ...]:
    return (plain(seconds, Unit.SECOND, LOADED_FOR), *more)


def answered(
    name: str,
    earlier: Mapping[str, tuple[Reading, ...]],
    *,
    arrived: tuple[Reading, ...] = (),
    options: Mapping[str, str] | None = None,
) -> Finding:
    """Return what the check finds in its first sample: no load is asked for."""
    context = Context(earlier=earlier, arrival_readings=arrived)
    answer = make_probe(name, options or {}, context).step(sample(0))
    assert isinstance(answer, Finding)
    return answer


def clocks(least: float | None, base: float | None = 2400.0, **more: float) -> tuple[Reading, ...]:
    return run(
        plain(least, Unit.MEGAHERTZ, LEAST_CLOCK, None if least else "No clock is shown."),
        plain(base, Unit.MEGAHERTZ, BASE_CLOCK, None if base else "Not told."),
        **more,
    )


@pytest.mark.parametrize(
    ("least", "expected"),
    [
        (3600.0, Verdict.CONFORMS),
        (2390.0, Verdict.CONFORMS),
        (2300.0, Verdict.DOES_NOT_CONFORM),
        (400.0, Verdict.DOES_NOT_CONFORM),
        (None, Verdict.UNDECIDED),
    ],
)
def test_the_clock_is_held_against_the_base_clock(least: float | None, expected: Verdict) -> None:
    (reading,) = answered("clock-held", {"long-heat": clocks(least)}).readings
    assert judge(reading, HELD).verdict is expected


def test_without_a_base_clock_it_is_told_and_not_judged() -> None:
    finding = answered("clock-held", {"long-heat": clocks(1800.0, None)})
    assert judge(finding.readings[0], HELD).verdict is Verdict.UNDECIDED
    assert "1800 MHz" in finding.text


@pytest.mark.parametrize(
    ("least", "base", "expected"),
    [
        (2700.0, None, [Verdict.CONFORMS]),
        (2600.0, None, [Verdict.DOES_NOT_CONFORM]),
        (2600.0, 2400.0, [Verdict.CONFORMS, Verdict.DOES_NOT_CONFORM]),
    ],
)
def test_a_clock_under_load_on_arrival_may_be_missed_by_a_tenth(
    least: float, base: float | None, expected: list[Verdict]
) -> None:
    arrived = (plain(3000.0, Unit.MEGAHERTZ, LEAST_CLOCK),)
    finding = answered("clock-held", {"long-heat": clocks(least, base)}, arrived=arrived)
    assert [judge(reading, HELD).verdict for reading in finding.readings] == expected


def test_the_lowest_of_several_loads_counts_and_only_those_that_are_named() -> None:
    both = {"heat-margin": clocks(3000.0), "long-heat": clocks(2000.0)}
    assert "2000 MHz" in answered("clock-held", both).text
    assert "3000 MHz" in answered("clock-held", both, options={"from": "heat-margin"}).text


def test_a_load_of_seconds_does_not_answer_for_the_clock_and_one_of_its_own_is_asked_for() -> None:
    context = Context(earlier={"heat-margin": clocks(3000.0, seconds=20.0)})
    assert isinstance(make_probe("clock-held", {}, context).step(sample(0)), Working)


def test_a_load_of_its_own_that_is_cut_short_leaves_the_clock_in_doubt() -> None:
    def loaded(i: int) -> Sample:
        cpu = {"frequency_mhz": 2500.0, "frequency_base_mhz": 2400.0}
        return sample(i, 70.0 if i < 40 else 95.0, 1.0, cpu=cpu)

    (reading,) = fed(make_probe("clock-held", {}, Context()), course(loaded, sample)).readings
    assert judge(reading, HELD).verdict is Verdict.UNDECIDED
    assert reading.value == pytest.approx(104.2)


def fans(rest: float | None, most: float | None, after: float | None, *more: Reading) -> tuple[Reading, ...]:
    return run(
        *(
            plain(rpm, Unit.RPM, named(phase, "board fan"), None if rpm is not None else "No number.")
            for phase, rpm in ((FAN_REST, rest), (FAN_LOADED, most), (FAN_AFTER, after))
        ),
        *more,
    )


COOLED = plain(48.0, Unit.CELSIUS, AFTER)


@pytest.mark.parametrize(
    ("run_told", "wrong", "doubted"),
    [
        (fans(0, 4400, 1900, COOLED), 0, False),
        # It was still turning after an earlier load.
        (fans(4000, 4400, 2600, COOLED), 0, False),
        (fans(4800, 4800, 4800, COOLED), 1, False),
        (fans(0, 4400, 4300, COOLED), 1, False),
        (fans(0, 4400, 4300, plain(72.0, Unit.CELSIUS, AFTER)), 1, True),
        (fans(0, 0, 0, COOLED), 1, False),
        (fans(0, 0, 0, COOLED, plain(52.0, Unit.CELSIUS, STEADY)), 1, True),
        (fans(0, 4400, None, COOLED), 0, True),
    ],
    ids=[
        *("starts and stops", "warm before", "one speed", "stays fast", "stays fast while hot", "stands"),
        *("stands in a cool machine", "not told after"),
    ],
)
def test_a_fan_answers_the_load_or_is_counted(
    run_told: tuple[Reading, ...], wrong: int, *, doubted: bool
) -> None:
    (reading,) = answered("fan-answers", {"long-heat": run_told}).readings
    assert reading.value == wrong
    assert (reading.reason is not None) is doubted


def test_a_fan_that_tells_no_speed_is_to_be_heard() -> None:
    (reading,) = answered("fan-answers", {"long-heat": fans(None, None, None, COOLED)}).readings
    assert reading.value is None
    assert "Hear it" in (reading.reason or "")


def test_a_load_that_nobody_watched_to_the_end_does_not_answer_for_the_fans() -> None:
    context = Context(earlier={"heat-margin": run()})
    assert isinstance(make_probe("fan-answers", {}, context).step(sample(0)), Working)


SENSOR = "coretemp x"


@pytest.mark.parametrize(
    ("now_c", "then_c", "change_k"),
    [(47.0, 45.0, 2.0), (41.0, 45.0, -4.0), (62.0, 45.0, 17.0), (46.0, 22.0, 0.0), (85.0, 22.0, 23.0)],
    ids=["as before", "cooler", "hotter", "cold on arrival", "cold on arrival, far too hot"],
)
def test_change_at_rest_is_told_against_arrival(now_c: float, then_c: float, change_k: float) -> None:
    earlier = {"heat-margin": run(plain(now_c, Unit.CELSIUS, named(REST, SENSOR)))}
    arrived = (plain(then_c, Unit.CELSIUS, SENSOR), plain(30.0, Unit.CELSIUS, "acpitz board"))
    (reading,) = answered("heat-as-arrived", earlier, arrived=arrived).readings
    assert (reading.value, reading.reason) == (change_k, None)


def test_change_under_load_is_told_where_arrival_had_one() -> None:
    earlier = {"long-heat": run(plain(91.0, Unit.CELSIUS, STEADY))}
    (reading,) = answered("heat-as-arrived", earlier, arrived=(plain(80.0, Unit.CELSIUS, STEADY),)).readings
    assert reading.value == 11.0


@pytest.mark.parametrize(
    "arrived",
    [
        (),
        (plain(40.0, Unit.CELSIUS, "other sensor"),),
        (plain(None, Unit.CELSIUS, SENSOR, "Unreadable."),),
        (plain(40.0, Unit.CELSIUS, SENSOR, "In doubt."),),
    ],
    ids=["nothing", "another sensor", "not read", "in doubt"],
)
def test_without_the_same_sensor_on_arrival_no_change_is_told(arrived: tuple[Reading, ...]) -> None:
    earlier = {"heat-margin": run(plain(46.0, Unit.CELSIUS, named(REST, SENSOR)))}
    (reading,) = answered("heat-as-arrived", earlier, arrived=arrived).readings
    assert reading.value is None
    assert reading.reason
