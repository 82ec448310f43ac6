"""The margin under full load: waits for quiet, needs the load seen, and doubts what the limit cut short.

Times and shares are the ones that the check states itself (common practice, no source).
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import Cpu, Pack, Sample, Temperature
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, Probe, Want, Working, make_probe
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock
from verify.values.errors import HandbackError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
# Never critical: what a checklist asks for.
LIMIT = Limit(
    lower=Quantity(value=1, unit=Unit.KELVIN), rule=Rule.SIMPLE, source="common practice, no source"
)


def probe(load: str = "60 s") -> Probe:
    return make_probe("heat-margin", {"load": load}, Context())


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def verdict(finding: Finding) -> Verdict:
    return judge(only(finding), LIMIT).verdict


def under_load(faults: Mapping[str, str] | None = None, *, every_s: float = 1.0) -> Finding:
    clock = VirtualClock(start=START)
    machine = SimulatedMachine(clock=clock, faults=faults or {})
    clock.wait(900)
    return drive(probe(), machine, every_s=every_s)


def sample(
    seconds: float, celsius: float | None = 60.0, load: float | None = 0.05, *, boot: str = "one", **more: Any
) -> Sample:
    sensors = (Temperature(chip="coretemp", label="x", celsius=celsius, high=90.0, critical=100.0),)
    at = Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id=boot)
    return Sample(at=at, temperatures=sensors, cpu=Cpu(load=load), **more)


def feed(one: Probe, samples: Iterable[Sample]) -> tuple[Finding | None, list[Working]]:
    said: list[Working] = []
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            return answer, said
        said.append(answer)
    return None, said


def quiet(start_s: int = 0) -> list[Sample]:
    """Eleven seconds at rest: at the last of these samples the load is asked for."""
    return [sample(start_s + i) for i in range(11)]


# On the simulated machine.


def test_sound_machine_has_its_margin_under_load() -> None:
    finding = under_load()
    assert verdict(finding) is Verdict.CONFORMS
    # Full load of 32 W, three quarters of it in the processor, 2.6 K/W above 22 °C: 84 °C in the end.
    assert 105 - 84 - 1 <= (only(finding).value or 0) <= 50
    assert "in 60 s of full load" in finding.text


def test_at_rest_a_loose_heat_sink_is_not_seen_and_under_load_it_is() -> None:
    faults = {"heat-sink-loose": ""}
    machine = SimulatedMachine(clock=VirtualClock(start=START), faults=faults)
    assert verdict(drive(make_probe("heat-margin", {}, Context()), machine)) is Verdict.CONFORMS
    assert verdict(under_load(faults)) is Verdict.DOES_NOT_CONFORM


@pytest.mark.parametrize(
    ("fault", "parameter", "why"),
    [
        ("no-sensors", "", "no sensor"),
        ("sensors-vanish-after", "930 s", "went away"),
        ("frozen-sensors", "", "full load was seen for"),
        ("sensor-hot", "104 °C", "at rest"),
    ],
)
def test_what_cannot_be_told_under_load_is_undecided(fault: str, parameter: str, why: str) -> None:
    finding = under_load({fault: parameter})
    assert verdict(finding) is Verdict.UNDECIDED
    assert why in (only(finding).reason or "")


def test_samples_too_far_apart_for_the_lease_are_undecided_and_end() -> None:
    assert verdict(under_load(every_s=10.0)) is Verdict.UNDECIDED


# Sample by sample.


def test_waits_for_ten_quiet_seconds_before_it_asks_for_load() -> None:
    one = probe()
    _, said = feed(one, quiet())
    assert [each.load for each in said] == [False] * 10 + [True]
    assert {each.want for each in said} == {None}


def test_a_busy_machine_is_asked_to_be_quiet_and_the_ten_seconds_begin_anew() -> None:
    one = probe()
    busy = [sample(0), sample(5), sample(6, load=0.5)]
    _, said = feed(one, [*busy, *(sample(7 + i) for i in range(10))])
    assert [each.want for each in said[:3]] == [None, None, Want.QUIET]
    assert not any(each.load for each in said[:-1])
    assert said[-1].load


def test_waiting_for_quiet_ends_and_is_said() -> None:
    one = probe("10 s")
    _, said = feed(one, (sample(i, load=0.5) for i in range(121)))
    assert [each.want for each in said] == [Want.QUIET] * 120 + [None]
    assert said[-1].load
    finding, _ = feed(one, (sample(121 + i, 70.0, 1.0) for i in range(11)))
    assert finding is not None
    assert "Other programs kept the processor busy" in finding.text
    assert only(finding).value == 30.0


def test_a_load_that_cannot_be_read_is_never_asked_for() -> None:
    finding, said = feed(probe(), (sample(i, load=None) for i in range(30)))
    assert finding is not None
    assert not any(each.load for each in said)
    assert "cannot be read" in (only(finding).reason or "")


def test_first_sample_without_a_load_is_no_reason_to_end() -> None:
    _, said = feed(probe(), [sample(0, load=None), *(sample(1 + i) for i in range(11))])
    assert said[-1].load


def test_smallest_margin_under_load_counts_and_not_that_at_rest() -> None:
    one = probe("10 s")
    feed(one, [sample(0, 88.0), *(sample(1 + i) for i in range(10))])
    heats = [70.0, 80.0, 75.0, *[71.0] * 20]
    finding, said = feed(one, (sample(11 + i, heat, 1.0) for i, heat in enumerate(heats)))
    assert finding is not None
    assert (only(finding).value, only(finding).reason) == (20.0, None)
    assert len(said) == 9
    assert [each.seconds_left for each in said[:2]] == [9.0, 8.0]


def test_only_time_seen_at_full_load_counts() -> None:
    one = probe("10 s")
    feed(one, quiet())
    loads = [1.0, 0.3, 0.3, None] * 50
    finding, said = feed(one, (sample(11 + i, 70.0, load) for i, load in enumerate(loads)))
    assert finding is not None
    assert len(said) == 4 * 9
    assert only(finding).value == 30.0


@pytest.mark.parametrize("load", [0.05, 0.79, None])
def test_a_load_that_ends_early_or_never_comes_is_undecided(load: float | None) -> None:
    one = probe()
    feed(one, quiet())
    finding, said = feed(one, [sample(11, 70.0, 1.0), *(sample(12 + i, 70.0, load) for i in range(30))])
    assert finding is not None
    assert only(finding).value is None
    assert "seen for 1 s of 60 s" in (only(finding).reason or "")
    assert len(said) == 5


def test_samples_further_apart_than_the_lease_show_no_load_though_the_processor_is_busy() -> None:
    one = probe()
    feed(one, quiet())
    finding, said = feed(one, (sample(14 + 4 * i, 70.0, 1.0) for i in range(100)))
    assert finding is not None
    assert only(finding).value is None
    assert len(said) == 1


def test_limit_of_the_load_gives_the_margin_in_doubt() -> None:
    one = probe()
    feed(one, quiet())
    finding, _ = feed(one, [sample(11, 89.0, 1.0), sample(12, 90.0, 1.0)])
    assert finding is not None
    assert only(finding).value == 10.0
    assert "limit of the load was reached after 1 s" in (only(finding).reason or "")
    assert verdict(finding) is Verdict.UNDECIDED


def test_critical_reached_is_beyond_doubt() -> None:
    one = probe()
    feed(one, quiet())
    finding, _ = feed(one, [sample(11, 100.0, 1.0)])
    assert finding is not None
    assert (only(finding).value, only(finding).reason) == (0.0, None)
    assert verdict(finding) is Verdict.DOES_NOT_CONFORM


def test_a_temperature_that_goes_away_under_load_ends_it_at_once() -> None:
    one = probe()
    feed(one, quiet())
    finding, said = feed(one, [sample(11, 70.0, 1.0), sample(12, None, 1.0)])
    assert finding is not None
    assert only(finding).value is None
    assert len(said) == 1


def test_a_hot_pack_stops_the_load() -> None:
    one = probe()
    feed(one, quiet())
    finding, _ = feed(one, [sample(11, 70.0, 1.0, packs=(Pack(name="A", temperature_c=60.0),))])
    assert finding is not None
    assert finding.stop is not None
    assert verdict(finding) is Verdict.UNDECIDED


def test_after_a_restart_the_load_is_asked_for_anew_and_the_worst_is_kept() -> None:
    one = probe("10 s")
    feed(one, quiet())
    feed(one, [sample(11, 80.0, 1.0), sample(12, 80.0, 1.0)])
    finding, said = feed(one, (sample(i, 70.0, 1.0, boot="two") for i in range(1, 20)))
    assert finding is not None
    assert len(said) == 10
    assert only(finding).value == 20.0


def test_a_load_that_sleep_cuts_short_again_and_again_is_undecided() -> None:
    one = probe()
    feed(one, quiet())
    finding, said = feed(one, (sample(11 + 60 * i, 70.0, 1.0) for i in range(20)))
    assert finding is not None
    assert only(finding).value is None
    assert len(said) <= 3


@pytest.mark.parametrize("load", ["0 s", "60 W", "soon", "", "2 s", "31 min", "inf s", "nan s"])
def test_a_load_that_is_no_time_or_proves_nothing_is_refused(load: str) -> None:
    with pytest.raises(HandbackError):
        probe(load)
