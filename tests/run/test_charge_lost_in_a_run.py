"""What a battery loses overnight, in a run: read, switched off, waited for elsewhere, read again."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from verify.ask.simulated import START
from verify.checklist.answers import Hazard
from verify.checklist.loader import parse_checklist
from verify.machine.simulated import SimulatedMachine
from verify.probe.model import Want
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.values import Verdict, VirtualClock

_LIST = """
format: checklist/1
id: overnight
revision: 1
title: Overnight
steps:
  - {id: look-in, name: look at the machine, stage: arrived, leads_to: charged}
  - {id: soak, name: leave it for a night, do: "Shut it down.", stage: charged}
  - {id: hand-back, name: hand it back, stage: charged}
checks:
  - id: first-look
    kind: hazard
    ask: Is anything bulging, hot, wet, smoking or smelling?
    good: Nothing of the kind.
    place: machine
    stage: arrived
    minutes: 0.5
    before: [look-in]
    stop: yes
    caution: If so, stop. Unplug it and keep clear of what burns.
  - id: a-night
    kind: wait
    wait: 12 h
    ask: Leave it off for a night.
    place: machine
    stage: charged
    after: soak
    before: [hand-back]
  - id: charge-kept
    kind: probe
    probe: charge-lost
    ask: The tool compares the charge.
    good: At most 4 points in the day.
    place: machine
    stage: charged
    minutes: 0.5
    work: [liquid]
    options: {least: 8 h}
    after: soak
    before: [hand-back]
    limit: {at_most: 4 %, rule: guarded, source: "common practice, no source"}
"""

CHECKLISTS = (parse_checklist(_LIST, name="overnight.yaml"),)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def machine(boot: str, start: datetime, *, level: float) -> SimulatedMachine:
    return SimulatedMachine(clock=VirtualClock(start=start, boot_id=boot), level=level)


def evening(folder: RunFolder) -> None:
    """Begin on the machine, read its charge until it is switched off."""
    laptop = machine("evening", START, level=0.9)
    ticket = Ticket(id="TW-1042", work=(Work(kind="liquid"),))
    begin(folder, ticket=ticket, checklists=CHECKLISTS, clock=laptop.clock)
    owner = Owner(folder, machine=laptop, scripted=True, on_machine=True)
    owner.answer("first-look", Hazard(present=False))
    due = owner.due()
    assert isinstance(due, plan.Do)
    owner.take_step(due.step.id)
    for _ in range(3):
        owner.take_sample(laptop.sample())
        laptop.clock.wait(10)
    assert owner.strip is not None
    assert owner.strip[1].want is Want.REST
    owner.close()


def night(folder: RunFolder, *, hours: float) -> None:
    """Wait on the bench computer, whose clocks are its own."""
    bench = machine("bench", START + timedelta(minutes=2), level=0.5)
    owner = Owner(folder, machine=bench, scripted=True, on_machine=False)
    for _ in range(int(hours * 60) + 1):
        owner.take_sample(bench.sample())
        bench.clock.wait(60)
    owner.close()


def morning(folder: RunFolder, *, level: float, start: datetime) -> Owner:
    laptop = machine("morning", start, level=level)
    owner = Owner(folder, machine=laptop, scripted=True, on_machine=True)
    owner.take_sample(laptop.sample())
    owner.close()
    return owner


@pytest.mark.parametrize(
    ("level", "verdict"),
    [(0.89, Verdict.CONFORMS), (0.8, Verdict.DOES_NOT_CONFORM)],
    ids=["sound", "drained"],
)
def test_the_level_before_outlives_the_switching_off(
    folder: RunFolder, level: float, verdict: Verdict
) -> None:
    evening(folder)
    night(folder, hours=12)
    owner = morning(folder, level=level, start=START + timedelta(hours=12, minutes=30))
    assert owner.state.verdict("charge-kept") is verdict
    (found,) = owner.state.found
    assert "h off." in found.text
    assert found.samples == 4
    record = load_record(folder.path.parent, "TW-1042")
    told = next(result for result in record.results if result.check == "charge-kept").attempts[-1]
    hours = next(one.value for one in told.readings if one.source.startswith("machine off"))
    assert hours == pytest.approx(12.5, abs=0.02)


def test_a_clock_that_shows_less_than_the_bench_saw_pass_decides_nothing(folder: RunFolder) -> None:
    evening(folder)
    night(folder, hours=12)
    owner = morning(folder, level=0.8, start=START + timedelta(hours=9))
    assert owner.state.verdict("charge-kept") is Verdict.UNDECIDED
