from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Hazard
from verify.checklist.shipped import shipped_checklists
from verify.machine import Awake
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.sampling import Pace
from verify.testing.good_answers import GoodAnswers
from verify.values import Verdict


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def opened(folder: RunFolder, bench: SimulatedBench, *kinds: str, arriving: bool = False) -> Owner:
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=tuple(Work(kind=kind) for kind in kinds)),
        checklists=shipped_checklists(),
        clock=bench.clock,
        arriving=arriving,
    )
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=True)


def go(owner: Owner, bench: SimulatedBench, reached: Callable[[], bool]) -> None:
    """Answer everything good and feed samples until something is so."""
    answers = GoodAnswers()
    for _ in range(20_000):
        if reached():
            return
        due = owner.due()
        if isinstance(due, plan.Ask):
            check = next(check for check in due.checks if check.id == due.pending[0])
            answer = answers.answer(check)
            assert answer is not None
            owner.answer(check.id, answer)
        elif isinstance(due, plan.Do):
            bench.did(due.step)
            owner.take_step(due.step.id)
        else:
            bench.sampler.pace(Pace.FAST)
            sample = bench.sampler.next(0)
            assert sample is not None
            owner.take_sample(sample)
            if owner.strip is not None and owner.strip[1].want is not None:
                bench.give(owner.strip[1].want)
    raise AssertionError(f"never reached; due is {owner.due()}")


def test_the_heat_check_loads_the_machine_and_only_while_it_runs(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "feet")
    go(owner, bench, lambda: owner.loads)
    assert owner.strip is not None
    assert owner.strip[0].id == "heat-margin"
    go(owner, bench, lambda: owner.state.current("heat-margin") is not None)
    assert not owner.loads
    assert owner.state.verdict("heat-margin") is Verdict.CONFORMS
    owner.close()


@pytest.mark.parametrize("end", ["hazard", "leaving", "going back"])
def test_the_load_ends_at_once_with_what_asked_for_it(folder: RunFolder, end: str) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "feet")
    go(owner, bench, lambda: owner.loads)
    match end:
        case "hazard":
            owner.meet_hazard("")
        case "leaving":
            owner.close()
        case _:
            owner.reopen(["base"], why="a screw lay inside")
    assert not owner.loads
    owner.close()


def test_a_hot_machine_ends_the_load_and_the_screen_says_why(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={"heat-sink-loose": "yes"})
    owner = opened(folder, bench, "feet")
    go(owner, bench, lambda: owner.loads)
    go(owner, bench, lambda: not owner.loads)
    go(owner, bench, lambda: owner.state.current("heat-margin") is not None)
    assert owner.state.verdict("heat-margin") is not Verdict.CONFORMS
    owner.close()


def test_time_that_the_machine_slept_is_told_and_not_counted(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    go(owner, bench, lambda: owner.strip is not None and owner.strip[0].id == "charge-to-full")
    for _ in range(3):
        sample = bench.sampler.next(0)
        assert sample is not None
        owner.take_sample(sample)
    bench.machine.obey("Close the lid.")
    sample = bench.sampler.next(0)
    assert sample is not None
    owner.take_sample(sample)
    assert owner.strip is not None
    assert "Open the lid" in owner.strip[1].text
    bench.clock.sleep_through(1200)
    bench.machine.obey("Open the lid.")
    sample = bench.sampler.next(0)
    assert sample is not None
    owner.take_sample(sample)
    gap = load_record(folder.path.parent, "TW-1042").gaps[0]
    assert gap.check == "charge-to-full"
    assert gap.asleep_s == pytest.approx(1200, abs=1)
    assert gap.seconds >= 1200
    assert gap.lid_closed is True
    owner.close()


class Sleepy:
    """Stands in for a system that does not let itself be kept awake."""

    held = False
    why_not = "Set its sleep to never."

    def __init__(self) -> None:
        self.released = 0

    def release(self) -> None:
        self.released += 1


def test_the_machine_is_kept_awake_only_while_something_runs(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = SimulatedBench(faults={})
    made: list[Sleepy] = []

    def keep_awake(why: str) -> Awake:
        assert why
        made.append(Sleepy())
        return made[-1]

    monkeypatch.setattr(bench.machine, "keep_awake", keep_awake)
    owner = opened(folder, bench, "battery")
    assert not made
    go(owner, bench, lambda: owner.strip is not None)
    assert owner.shown().awake_note == "Set its sleep to never."
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert made
    assert all(one.released for one in made)


@pytest.mark.parametrize(
    ("kinds", "most"), [((), 12), (("feet",), 18), (("battery",), 18)], ids=["fan", "feet", "battery"]
)
def test_a_job_takes_few_screens_arrival_included(
    folder: RunFolder, kinds: tuple[str, ...], most: int
) -> None:
    """A fan job has no checklist of its own so far: it is what every repair needs."""
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, arriving=True)
    owner.answer("first-look", Hazard(present=False))
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    owner.add_work([Work(kind=kind) for kind in kinds], shipped_checklists())
    progress = owner.progress()
    assert progress.screens <= most
    assert progress.hands_min > 0
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert owner.progress().screens_done == owner.progress().screens - 1 + isinstance(
        owner.due(), plan.Complete
    )
