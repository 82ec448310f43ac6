"""Temperature sensors that went silent: lost ones, renamed ones, those of parts that sleep."""

from datetime import UTC, datetime

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import Inventory, Item, ItemKind, Sample, Temperature
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, make_probe
from verify.run.arrival import short_readings
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock

AT = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0)
LIMIT = Limit(upper=Quantity(value=0, unit=Unit.COUNT), rule=Rule.COUNT, source="common practice, no source")


def sample(**told: float | None) -> Sample:
    sensors = tuple(
        Temperature(chip=name.partition("__")[0], label=name.partition("__")[2], celsius=celsius, reason=None)
        for name, celsius in told.items()
    )
    return Sample(at=AT, temperatures=sensors)


def found(before: Sample, now: Sample, *, work: tuple[str, ...] = ("battery",), sleeper: str = "") -> Finding:
    items = (
        (Item(kind=ItemKind.TEMPERATURE_SENSOR, identity=sleeper, seen_in="monitors", behind="card"),)
        if sleeper
        else ()
    )
    context = Context(
        arrival_readings=short_readings(before), arrival_inventory=Inventory(at=AT, items=items), work=work
    )
    one = make_probe("sensors-as-arrived", {}, context)
    for _ in range(5):
        said = one.step(now)
        if isinstance(said, Finding):
            return said
    pytest.fail("The check has not ended.")


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


BOARD = sample(board__cpu=45.0, board__battery=30.0)


@pytest.mark.parametrize(
    ("before", "now", "lost"),
    [
        pytest.param(BOARD, BOARD, 0, id="all"),
        pytest.param(BOARD, sample(board__cpu=45.0, board__battery=None), 1, id="silent"),
        pytest.param(BOARD, sample(board__cpu=45.0), 1, id="gone"),
        pytest.param(
            sample(coretemp_0__cpu=45.0, board__x=1.0), sample(coretemp_1__cpu=45.0, board__x=1.0), 0,
            id="chips numbered anew",
        ),
        pytest.param(BOARD, sample(ec__cpu=45.0, ec__battery=31.0), 0, id="named anew"),
        pytest.param(sample(board__cpu=45.0, board__x=None), sample(board__cpu=45.0), 0, id="never told"),
        pytest.param(BOARD, sample(board__cpu=45.0, board__battery=30.0, board__new=33.0), 0, id="one more"),
    ],
)  # fmt: skip
def test_sensors_that_told_something_on_arrival(before: Sample, now: Sample, lost: int) -> None:
    assert only(found(before, now)).value == lost


def test_a_lost_sensor_is_named_with_the_work_that_may_have_taken_it() -> None:
    text = found(BOARD, sample(board__cpu=45.0)).text
    assert "board battery" in text
    assert "Disturbed perhaps by: battery." in text


def test_a_sensor_in_a_part_that_sleeps_is_not_missed() -> None:
    before = sample(board__cpu=45.0, iwlwifi_1__temp1=40.0)
    assert only(found(before, sample(board__cpu=45.0), sleeper="iwlwifi temp1")).value == 0


@pytest.mark.parametrize("before", [sample(), sample(board__cpu=None)], ids=["none", "silent"])
def test_without_a_sensor_on_arrival_nothing_is_decided(before: Sample) -> None:
    assert judge(only(found(before, BOARD)), LIMIT).verdict is Verdict.UNDECIDED


def test_an_arrival_without_a_temperature_is_not_called_none_at_all() -> None:
    assert "Nothing was taken" not in found(sample(board__cpu=None), BOARD).text
    assert "Nothing was taken on arrival" in found(sample(), BOARD).text


def test_where_nothing_at_all_can_be_read_now_nothing_is_decided() -> None:
    assert only(found(BOARD, sample())).value is None


def test_work_that_reaches_no_sensor_leaves_it_open() -> None:
    finding = found(BOARD, sample(board__cpu=45.0), work=("feet",))
    assert judge(only(finding), LIMIT).verdict is Verdict.UNDECIDED


def test_the_boards_sensor_of_a_simulated_machine() -> None:
    machine = SimulatedMachine(clock=VirtualClock(start=AT.wall))
    context = Context(arrival_readings=short_readings(machine.sample()), work=("main-board",))
    machine.befall({"sensor-lost": ""})
    finding = drive(make_probe("sensors-as-arrived", {}, context), machine)
    assert judge(only(finding), LIMIT).verdict is Verdict.DOES_NOT_CONFORM
    assert "acpitz board" in finding.text
