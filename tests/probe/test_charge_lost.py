"""What a battery loses off and asleep: the time, the two levels, and everything that spoils them."""

from datetime import UTC, datetime, timedelta

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import Adapter, Pack, Sample
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, Working, make_probe
from verify.probe.model import Want
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock

START = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
# 2 points in 12 h off: common practice, no source.
LIMIT = Limit(
    upper=Quantity(value=4, unit=Unit.PERCENT), rule=Rule.GUARDED, source="common practice, no source"
)


def sample(
    wh: float | None,
    *,
    hours: float,
    boot: str = "evening",
    awake_h: float | None = None,
    wall: datetime | None = None,
    charger: bool | None = False,
    full_wh: float = 50.0,
) -> Sample:
    """hours: since the first reading; awake_h: how many of them the machine worked (all)."""
    at = Instant(
        wall=START + timedelta(hours=hours) if wall is None else wall,
        elapsed_s=hours * 3600,
        awake_s=(hours if awake_h is None else awake_h) * 3600,
        boot_id=boot,
    )
    level = None if wh is None else wh / full_wh
    pack = Pack(name="BAT0", remaining_wh=wh, full_charge_wh=full_wh, state_of_charge=level, power_w=-6.0)
    return Sample(at=at, packs=(pack,), adapters=(Adapter(name="AC", online=charger),))


def found(*samples: Sample, witnessed_h: float = 0.0, said_at: datetime | None = None) -> Finding:
    context = Context(witnessed_s=witnessed_h * 3600, said_at=said_at)
    one = make_probe("charge-lost", {"least": "8 h"}, context)
    for each in samples:
        said = one.step(each)
        if isinstance(said, Finding):
            return said
        assert said.want is Want.REST
    pytest.fail("The check has not ended.")


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def test_a_night_off_is_judged_by_the_wall_clock_and_scaled_to_a_day() -> None:
    # 50 Wh, 1 Wh in 12 h: 2 points, 83 mW. By hand: 1 / 12 = 0.0833 W; 2 / 12 * 24 = 4.
    finding = found(sample(48.0, hours=0), sample(47.0, hours=12, boot="morning"))
    assert only(finding).value == pytest.approx(4.0)
    values = {one.source: one.value for one in finding.aside}
    assert values["battery gauge BAT0, mean loss at rest"] == pytest.approx(1 / 12)
    assert values["machine off, by its own clock"] == pytest.approx(12.0)
    assert "83 mW" in finding.text


def test_a_night_asleep_counts_the_sleep_alone() -> None:
    finding = found(sample(48.0, hours=0), sample(46.0, hours=10.5, awake_h=0.5))
    assert only(finding).value == pytest.approx(4.0 / 10 * 24)
    assert "10.0 h asleep" in finding.text


@pytest.mark.parametrize(
    ("lost_wh", "verdict"),
    [
        (0.4, Verdict.CONFORMS),
        (2.0, Verdict.UNDECIDED),
        (4.0, Verdict.DOES_NOT_CONFORM),
    ],
)
def test_close_to_the_limit_nothing_is_decided(lost_wh: float, verdict: Verdict) -> None:
    finding = found(sample(48.0, hours=0), sample(48.0 - lost_wh, hours=24, boot="next day"))
    assert judge(only(finding), LIMIT).verdict is verdict


def test_where_no_boot_is_told_hours_without_the_tool_are_not_called_off() -> None:
    before = sample(48.0, hours=0, boot="session-one")
    short, long = (sample(40.0, hours=hours, boot=f"session-{hours}") for hours in (1, 13))
    finding = found(before, short, long)
    assert only(finding).value is None
    assert "is not told here" in (only(finding).reason or "")


def test_a_gauge_that_corrects_itself_by_a_little_at_rest_has_lost_nothing() -> None:
    assert only(found(sample(48.0, hours=0), sample(48.2, hours=12, boot="m"))).value == 0


def test_the_last_reading_before_the_rest_counts_and_not_the_first() -> None:
    finding = found(sample(49.0, hours=-2), sample(48.0, hours=0), sample(47.5, hours=12, boot="morning"))
    assert only(finding).value == pytest.approx(2.0)


def test_a_short_rest_is_not_judged_and_said() -> None:
    one = make_probe("charge-lost", {"least": "8 h"}, Context())
    one.step(sample(48.0, hours=0))
    said = one.step(sample(47.9, hours=2, boot="later"))
    assert isinstance(said, Working)
    assert "2.0 h only" in said.text


_NIGHT = sample(47.0, hours=12, boot="morning")


@pytest.mark.parametrize(
    ("samples", "witnessed_h", "said_at", "why"),
    [
        pytest.param(
            (sample(48.0, hours=0), sample(47.0, hours=12, boot="m", wall=datetime(1970, 1, 1, tzinfo=UTC))),
            0,
            None,
            "clock did not run on",
            id="the clock begins again",
        ),
        pytest.param(
            (sample(48.0, hours=0), sample(47.0, hours=12, boot="m", wall=START + timedelta(days=300))),
            0,
            None,
            "clock jumped",
            id="the clock is far ahead",
        ),
        pytest.param((sample(48.0, hours=0), _NIGHT), 24, None, "clock jumped", id="more was witnessed"),
        pytest.param(
            (sample(48.0, hours=0), _NIGHT),
            0,
            START + timedelta(hours=13),
            "behind a time",
            id="behind what the run knows",
        ),
        pytest.param(
            (sample(48.0, hours=0), sample(47.0, hours=12, boot="m", charger=True)),
            0,
            None,
            "charger is in",
            id="charger in",
        ),
        pytest.param(
            (sample(40.0, hours=0), sample(47.0, hours=12, boot="m")), 0, None, "power came in", id="charged"
        ),
        pytest.param(
            (sample(None, hours=0), sample(47.0, hours=12, boot="m")), 0, None, "not told", id="no level"
        ),
        pytest.param(
            (Sample(at=_NIGHT.at, reasons={"batteries": "No battery."}),), 0, None, "No battery", id="no pack"
        ),
    ],
)
def test_what_spoils_it_is_said_and_never_judged(
    samples: tuple[Sample, ...], witnessed_h: float, said_at: datetime | None, why: str
) -> None:
    finding = found(*samples, witnessed_h=witnessed_h, said_at=said_at)
    assert only(finding).value is None
    assert why in (only(finding).reason or "")
    assert judge(only(finding), LIMIT).verdict is Verdict.UNDECIDED


def test_what_the_bench_computer_saw_pass_agrees_with_the_clock_that_ran_on() -> None:
    finding = found(sample(48.0, hours=0), _NIGHT, witnessed_h=11.9, said_at=START + timedelta(hours=11.95))
    assert only(finding).value is not None


def test_a_machine_that_nobody_leaves_ends_it() -> None:
    one = make_probe("charge-lost", {}, Context())
    for minute in range(60 * 49):
        said = one.step(sample(48.0, hours=minute / 60))
        if isinstance(said, Finding):
            assert "was not" in said.text
            return
    pytest.fail("The check has not ended.")


@pytest.mark.parametrize(
    ("faults", "verdict"),
    [({}, Verdict.CONFORMS), ({"drains-when-off": "0.2 W"}, Verdict.DOES_NOT_CONFORM)],
    ids=["sound", "a-film-conducts"],
)
def test_a_simulated_day(faults: dict[str, str], verdict: Verdict) -> None:
    machine = SimulatedMachine(clock=VirtualClock(start=START), faults=faults, level=0.9)
    finding = drive(make_probe("charge-lost", {"least": "12 h"}, Context()), machine)
    assert judge(only(finding), LIMIT).verdict is verdict
