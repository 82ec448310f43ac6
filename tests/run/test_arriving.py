from collections.abc import Iterator
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Hazard
from verify.checklist.shipped import shipped_checklists
from verify.record.arrival import FUNCTIONS, FoundAs, Picture, Tried
from verify.record.model import Record, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run import arrival as topics
from verify.run.events import Arrived
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome, Unit
from verify.values.errors import OrderError


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def arriving(
    folder: RunFolder, bench: SimulatedBench, *, complaint: str = "", on_machine: bool | None = True
) -> Owner:
    begin(
        folder,
        ticket=Ticket(id="TW-1042", complaint=complaint),
        checklists=shipped_checklists(),
        clock=bench.clock,
        arriving=True,
    )
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=on_machine)


def record_of(folder: RunFolder) -> Record:
    return load_record(folder.path.parent, folder.path.name)


def test_the_hazard_question_comes_before_all_else_and_before_any_reading(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench, on_machine=None)
    due = owner.due()
    assert isinstance(due, plan.Ask)
    assert due.pending == ("first-look",)
    assert not owner.wants_samples()
    owner.answer("first-look", Hazard(present=None))
    assert isinstance(owner.due(), plan.Stopped)
    owner.take_sample(bench.machine.sample())
    assert owner.state.arrival.readings is None


@pytest.mark.parametrize(
    ("faults", "limits"), [({"charge-limit": "80 %"}, [80.0]), ({}, [])], ids=["80 %", "none"]
)
def test_a_charge_limit_of_the_owner_s_is_read_on_arrival(
    folder: RunFolder, faults: dict[str, str], limits: list[float]
) -> None:
    bench = SimulatedBench(faults=faults)
    play(arriving(folder, bench), GoodAnswers(), bench.sampler, hands=bench)
    arrival = record_of(folder).arrival
    assert arrival is not None
    assert [each.value for each in arrival.readings if each.source.endswith("charge limit")] == limits


def test_what_is_taken_on_arrival_stands_in_the_record(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench)
    assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.SayWork)
    record = record_of(folder)
    assert record.outcome is Outcome.HELD
    assert record.ticket.complaint == "It does not charge."
    taken = record.arrival
    assert taken is not None
    assert taken.found_as is FoundAs.RUNS
    assert taken.accessories == ("charger",)
    assert dict(taken.tried) == dict.fromkeys(FUNCTIONS, Tried.WORKS)
    assert {reading.unit for reading in taken.readings} >= {Unit.PERCENT, Unit.WATT_HOUR, Unit.CELSIUS}


def test_a_complaint_that_was_told_already_is_not_asked_again(folder: RunFolder) -> None:
    owner = arriving(folder, SimulatedBench(faults={}), complaint="No sound.")
    owner.answer("first-look", Hazard(present=False))
    due = owner.due()
    assert isinstance(due, plan.Arrive)
    assert topics.COMPLAINT not in due.pending


@pytest.mark.parametrize("found_as", [FoundAs.DEAD, FoundAs.APART], ids=str)
def test_a_machine_that_cannot_run_is_not_tried_and_not_read(folder: RunFolder, found_as: FoundAs) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench)
    owner.answer("first-look", Hazard(present=False))
    owner.arrive(Arrived(found_as=found_as))
    due = owner.due()
    assert isinstance(due, plan.Arrive)
    assert not set(due.pending) & set(FUNCTIONS)
    assert not owner.wants_samples()
    owner.arrive(Arrived(complaint="Dead."))
    owner.arrive(Arrived(pictures=(Picture(file="pictures/01.jpg", sha256="0" * 64),)))
    owner.arrive(Arrived(accessories=()))
    assert isinstance(owner.due(), plan.SayWork)
    taken = record_of(folder).arrival
    assert taken is not None
    assert not taken.readings
    assert taken.readings_note


def test_nothing_is_read_on_another_computer(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench, on_machine=False)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert owner.state.arrival.readings is None


def test_each_line_of_arrival_is_kept_and_the_last_can_be_taken_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench)
    owner.answer("first-look", Hazard(present=False))
    owner.arrive(Arrived(found_as=FoundAs.APART))
    owner.arrive(Arrived(complaint="Tea."))
    assert owner.undo()
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    due = again.due()
    assert isinstance(due, plan.Arrive)
    assert due.pending[0] == topics.COMPLAINT


def test_a_job_goes_from_arrival_over_work_to_fit(folder: RunFolder) -> None:
    bench, answers = SimulatedBench(faults={}), GoodAnswers()
    owner = arriving(folder, bench)
    play(owner, answers, bench.sampler, hands=bench)
    owner.add_work([Work(kind="feet")], shipped_checklists())
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Complete)
    assert answers.asked.count("first-look") == 1
    assert answers.asked[-1] == "complaint-gone"
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert not record.growths, "what was said first has not grown"
    with pytest.raises(OrderError):
        owner.arrive(Arrived(complaint="later"))


def test_no_check_is_asked_before_the_work_is_said(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert not owner.state.steps
    assert owner.strip is None


def test_where_it_stands_is_asked_once_and_remembered(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = arriving(folder, bench, on_machine=None)
    owner.answer("first-look", Hazard(present=False))
    assert isinstance(owner.due(), plan.Where)
    owner.stand(on_machine=True)
    with pytest.raises(OrderError):
        owner.stand(on_machine=False)
    owner.arrive(Arrived(found_as=FoundAs.RUNS))
    owner.close()
    again = Owner(folder, machine=bench.machine, scripted=True)
    assert again.on_machine is True
    again.close()


def test_a_wrong_word_on_where_it_stands_is_taken_back_with_what_was_read(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=(Work(kind="battery"),)),
        checklists=shipped_checklists(),
        clock=bench.clock,
    )
    owner = Owner(folder, machine=bench.machine, scripted=True)
    answers = GoodAnswers()
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Where)
    owner.stand(on_machine=True)
    assert owner.undo()
    assert isinstance(owner.due(), plan.Where)
    assert owner.on_machine is None
    assert not owner.wants_samples()
    owner.stand(on_machine=False)
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Elsewhere)
    assert record_of(folder).machine == {}


def test_elsewhere_all_that_can_be_asked_is_asked_and_the_rest_waits(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=(Work(kind="battery"),)),
        checklists=shipped_checklists(),
        clock=bench.clock,
    )
    owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=False)
    answers = GoodAnswers()
    due = play(owner, answers, bench.sampler, hands=bench)
    assert isinstance(due, plan.Elsewhere)
    assert {check.id for check in due.checks} == {"pack-present", "pack-cell-voltage", "rest-level"}
    assert due.step.id == "charge"
    assert owner.strip is None
    assert not owner.state.found
    owner.close()
    there = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert isinstance(play(there, answers, bench.sampler, hands=bench), plan.Complete)
    assert len(answers.asked) == len(set(answers.asked))
