"""The charger while its plug is moved: what comes and goes is counted, once hands are known to be there.

Six ways of 5 s, and 5 s before them, are the check's own times (common practice, no source).
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

import pytest

from verify.judge import Limit, Rule, judge
from verify.machine import Adapter, Sample
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, Probe, Want, Working, make_probe
from verify.testing.drive import drive
from verify.values import Instant, Quantity, Reading, Unit, Verdict, VirtualClock

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
LIMIT = Limit(upper=Quantity(value=0, unit=Unit.COUNT), rule=Rule.COUNT, source="common practice, no source")


def probe() -> Probe:
    return make_probe("charger-steady", {}, Context())


def only(finding: Finding) -> Reading:
    (reading,) = finding.readings
    return reading


def verdict(finding: Finding) -> Verdict:
    return judge(only(finding), LIMIT).verdict


def driven(faults: Mapping[str, str], *, plugged: bool = True, every_s: float = 1.0) -> Finding:
    machine = SimulatedMachine(clock=VirtualClock(start=START), faults=faults)
    if plugged:
        machine.plug_in()
    return drive(probe(), machine, every_s=every_s)


IN, OUT = True, False


def sample(seconds: float, *online: bool | None, boot: str = "one") -> Sample:
    at = Instant(wall=START + timedelta(seconds=seconds), elapsed_s=seconds, boot_id=boot)
    return Sample(at=at, adapters=tuple(Adapter(name=f"input {i}", online=on) for i, on in enumerate(online)))


def feed(one: Probe, samples: Iterable[Sample]) -> tuple[Finding | None, list[Working]]:
    said: list[Working] = []
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            return answer, said
        said.append(answer)
    return None, said


def watched(change: Mapping[int, bool | None], *, until_s: int = 40) -> list[Sample]:
    """Out at 0 s, in from 1 s on, but for the changes; counted from 6 s to 36 s."""
    return [sample(0, OUT), *(sample(s, change.get(s, True)) for s in range(1, until_s))]


# On the simulated machine.


@pytest.mark.parametrize("plugged", [True, False], ids=["charger in", "charger out"])
def test_a_sound_port_keeps_its_charger(*, plugged: bool) -> None:
    finding = driven({}, plugged=plugged)
    assert (only(finding).value, verdict(finding)) == (0, Verdict.CONFORMS)


@pytest.mark.parametrize("drops", [1, 3, 6])
def test_each_loss_and_each_return_is_counted(drops: int) -> None:
    finding = driven({"loose-port": f"{drops} pieces"})
    assert (only(finding).value, verdict(finding)) == (2 * drops, Verdict.DOES_NOT_CONFORM)
    assert f"{2 * drops} times" in finding.text


def test_samples_that_come_too_late_are_undecided_and_end() -> None:
    finding = driven({"loose-port": "3 pieces"}, every_s=10.0)
    assert verdict(finding) is Verdict.UNDECIDED
    assert "broken off" in (only(finding).reason or "")


# Sample by sample.


def test_hands_have_to_show_themselves_before_anything_is_counted() -> None:
    one = probe()
    _, said = feed(one, [*(sample(i, IN) for i in range(60)), sample(60, OUT), sample(61, IN)])
    assert [each.want for each in said] == [Want.CHARGER_OUT] * 60 + [Want.CHARGER_IN, None]
    assert all(each.often for each in said)


def test_a_charger_that_is_pulled_before_the_watch_begins_is_no_loss() -> None:
    pulled = [sample(0, IN), sample(1, OUT), sample(2, OUT), sample(3, IN), sample(4, OUT)]
    finding, _ = feed(probe(), [*pulled, *(sample(s, IN) for s in range(5, 60))])
    assert finding is not None
    assert only(finding).value == 0


@pytest.mark.parametrize(
    ("change", "count"),
    [
        ({3: False, 4: False}, 0),  # while the charger and the machine come to terms
        ({7: False}, 2),
        ({35: False}, 2),
        ({20: False, 21: False, 22: False, 30: False}, 4),
        (dict.fromkeys(range(20, 40), False), 1),
        ({20: None, 21: None}, 0),  # unreadable for a moment is no loss
    ],
    ids=["settles", "first second", "last second", "two losses", "gone for good", "unreadable"],
)
def test_what_is_counted_and_what_is_not(change: Mapping[int, bool | None], count: int) -> None:
    finding, said = feed(probe(), watched(change))
    assert finding is not None
    assert only(finding).value == count
    assert [each.want for each in said].count(Want.PLUG_MOVED) == 30


def test_a_moment_that_could_not_be_read_is_not_called_steady() -> None:
    finding, _ = feed(probe(), watched({12: None}))
    assert finding is not None
    assert (only(finding).value, verdict(finding)) == (0, Verdict.UNDECIDED)
    assert "could not be read" in finding.text


def test_each_way_is_told_for_five_seconds() -> None:
    _, said = feed(probe(), watched({}))
    told = [each.text.split(".")[0] for each in said if each.want is Want.PLUG_MOVED]
    ways = ("up", "down", "left", "right", "in", "out")
    assert told == [f"Now {way}" for way in ways for _ in range(5)]


def test_one_plug_that_shows_as_two_inputs_is_not_counted_twice() -> None:
    out = {20, 25}
    samples = [sample(0, OUT, OUT), *(sample(s, s not in out, s not in out) for s in range(1, 40))]
    finding, _ = feed(probe(), samples)
    assert finding is not None
    assert only(finding).value == 4


def test_another_input_that_is_never_used_changes_nothing() -> None:
    finding, _ = feed(probe(), [sample(0, OUT, None), *(sample(s, IN, None) for s in range(1, 40))])
    assert finding is not None
    assert only(finding).value == 0


@pytest.mark.parametrize("online", [(), (None,)], ids=["no input", "unreadable"])
def test_a_machine_that_does_not_tell_its_charger_is_undecided(online: tuple[None, ...]) -> None:
    finding, _ = feed(probe(), (sample(i, *online) for i in range(20)))
    assert finding is not None
    assert verdict(finding) is Verdict.UNDECIDED


def test_a_sleep_or_a_restart_in_the_middle_asks_for_the_plug_again() -> None:
    for after in (sample(300, IN), sample(20, IN, boot="two")):
        one = probe()
        _, said = feed(one, [*watched({}, until_s=15), after])
        assert said[-1].want is Want.CHARGER_OUT


def test_nobody_at_the_plug_ends_without_a_verdict() -> None:
    finding, said = feed(probe(), (sample(10.0 * i, IN) for i in range(200)))
    assert finding is not None
    assert verdict(finding) is Verdict.UNDECIDED
    assert {each.want for each in said} == {Want.CHARGER_OUT}
