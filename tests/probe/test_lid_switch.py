"""The lid switch: every closing has to be felt, and an opening after it."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import pytest

from verify.machine import Sample
from verify.machine.simulated import SimulatedMachine
from verify.probe import Context, Finding, Probe, Want, Working, make_probe
from verify.testing.drive import drive
from verify.values import Instant, Reading, VirtualClock
from verify.values.errors import WrongUseError

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def probe(times: str | None = None) -> Probe:
    return make_probe("lid-switch", {} if times is None else {"times": times}, Context())


def at(seconds: float, *, slept_s: float = 0.0) -> Instant:
    wall = START + timedelta(seconds=seconds)
    return Instant(wall=wall, elapsed_s=seconds, boot_id="one", awake_s=seconds - slept_s)


def feed(one: Probe, samples: Iterable[Sample]) -> tuple[Reading, Finding, list[Working]]:
    said: list[Working] = []
    for given in samples:
        answer = one.step(given)
        if isinstance(answer, Finding):
            (reading,) = answer.readings
            return reading, answer, said
        said.append(answer)
    pytest.fail("The check has not ended.")


def lids(states: str, *, every_s: float = 5.0) -> list[Sample]:
    """Return one sample a sign: o open, c closed, ? unknown; the last one goes on for ever."""
    told = {"o": True, "c": False, "?": None}
    states += states[-1] * 100
    return [Sample(at=at(every_s * i), lid_open=told[state]) for i, state in enumerate(states)]


@pytest.mark.parametrize("times", ["1", "3", "5"])
def test_sound_lid_is_felt_as_often_as_asked(times: str) -> None:
    machine = SimulatedMachine(clock=VirtualClock(start=START))
    (reading,) = drive(probe(times), machine).readings
    assert reading.value == int(times)


@pytest.mark.parametrize(
    ("states", "felt"),
    [
        pytest.param("ocococo", 3, id="three"),
        pytest.param("cocococo", 3, id="closed-at-first-counts-for-nothing"),
        pytest.param("o", 0, id="never-closed"),
        pytest.param("oc", 0, id="sticks-at-the-first-closing"),
        pytest.param("ococ", 1, id="sticks-at-the-second-closing"),
        pytest.param("ocococ", 2, id="last-opening-not-felt"),
        pytest.param("ococo", 2, id="third-closing-not-felt"),
        pytest.param("ooooccccoooccccooccccoo", 3, id="slow-hands"),
    ],
)
def test_closings_that_are_felt_are_counted(states: str, felt: int) -> None:
    reading, finding, _ = feed(probe(), lids(states))
    assert (reading.value, reading.reason) == (felt, None)
    assert finding.text.endswith(".")


def test_it_asks_for_one_thing_after_the_other() -> None:
    _, _, said = feed(probe("1"), lids("ooccco"))
    assert [each.want for each in said] == [Want.LID_CLOSED] * 2 + [Want.LID_OPEN] * 3


def test_each_wait_has_its_own_sixty_seconds() -> None:
    reading, _, said = feed(probe("1"), lids("o" * 11 + "c" * 11 + "o"))
    assert reading.value == 1
    assert len(said) == 22
    reading, _, said = feed(probe("1"), lids("o"))
    assert reading.value == 0
    assert len(said) == 12


@pytest.mark.parametrize(
    ("states", "why"),
    [
        pytest.param("?", "cannot be read", id="no-switch"),
        pytest.param("oc?", "cannot be read", id="gone-meanwhile"),
        pytest.param("c", "“closed” all the time", id="closed-for-ever"),
    ],
)
def test_what_cannot_be_told_is_unknown(states: str, why: str) -> None:
    reading, _, _ = feed(probe(), lids(states))
    assert reading.value is None
    assert why in (reading.reason or "")


def test_the_machines_own_reason_is_given() -> None:
    reading, _, _ = feed(probe(), [Sample(at=at(0), reasons={"lid": "No lid switch is visible."})])
    assert reading.reason == "No lid switch is visible."


def test_a_computer_that_falls_asleep_over_it_is_no_dead_switch() -> None:
    samples = [Sample(at=at(0), lid_open=True), Sample(at=at(5), lid_open=True)]
    samples += [Sample(at=at(60 + 5.0 * i, slept_s=50), lid_open=True) for i in range(30)]
    reading, _, _ = feed(probe(), samples)
    assert reading.value is None
    assert "fell asleep" in (reading.reason or "")


@pytest.mark.parametrize("times", ["0", "-1", "21", "1.5", "three", "", "²"])
def test_number_of_times_that_cannot_be_is_refused(times: str) -> None:
    with pytest.raises(WrongUseError, match="times"):
        probe(times)
