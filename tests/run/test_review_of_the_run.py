"""Ways in which a run could mislead whoever works on it, and what beside them has to stay possible."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Hazard
from verify.checklist.shipped import shipped_checklists
from verify.ledger import ticket_line
from verify.record.arrival import FoundAs
from verify.record.model import Part, Record, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Arrived, HazardMet
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome, Verdict
from verify.values.errors import OrderError, WrongUseError

BATTERY = Work(kind="battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"}))
DECK = Work(kind="keyboard-deck", part=Part(source="used"))
FEET = Work(kind="feet")
COVER = Work(kind="base-cover")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


@pytest.fixture
def bench() -> SimulatedBench:
    return SimulatedBench(faults={})


def opened(
    folder: RunFolder,
    bench: SimulatedBench,
    *work: Work,
    arriving: bool = False,
    on_machine: bool | None = True,
) -> Owner:
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=work),
        checklists=shipped_checklists(),
        clock=bench.clock,
        arriving=arriving,
    )
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=on_machine)


def record_of(folder: RunFolder) -> Record:
    return load_record(folder.path.parent, folder.path.name)


# A hazard.


def test_after_a_hazard_that_no_check_found_somebody_looks_again_before_it_is_fit(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, BATTERY, FEET)
    assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.Complete)
    owner.meet_hazard("The battery swells.")
    owner.made_safe("Battery out, in the sand box in the yard.", by="Demo Technician")
    due = owner.due()
    assert isinstance(due, plan.Ask)
    assert due.pending == ("first-look",)
    assert record_of(folder).outcome is Outcome.HELD
    owner.answer("first-look", Hazard(present=False))
    assert isinstance(owner.due(), plan.Complete)


def test_a_machine_is_not_declined_before_somebody_looked_for_a_hazard(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, FEET)
    lines = len(owner.lines)
    with pytest.raises(OrderError, match="bulging"):
        owner.give_back(why="Too dear.", risks_told="None.", owner_signed="On paper.")
    assert len(owner.lines) == lines


def test_a_hazard_met_after_it_was_declined_is_looked_at_before_the_machine_goes_back(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, FEET)
    owner.answer("first-look", Hazard(present=False))
    owner.give_back(why="Too dear.", risks_told="None.", owner_signed="On paper.")
    owner.meet_hazard("It smells.")
    assert any(isinstance(line.event, HazardMet) for line in owner.lines)
    owner.made_safe("Battery out, in the sand box.", by="Demo Technician")
    assert isinstance(owner.due(), plan.Ask)
    assert record_of(folder).outcome is Outcome.HELD
    owner.answer("first-look", Hazard(present=False))
    assert isinstance(owner.due(), plan.Declined)
    assert record_of(folder).outcome is Outcome.RETURNED_UNREPAIRED


# The wrong computer.


def test_arrival_readings_of_the_wrong_computer_do_not_stay(folder: RunFolder, bench: SimulatedBench) -> None:
    owner = opened(folder, bench, arriving=True, on_machine=None)
    owner.answer("first-look", Hazard(present=False))
    owner.stand(on_machine=True)
    owner.arrive(Arrived(found_as=FoundAs.RUNS))
    assert record_of(folder).arrival.readings  # type: ignore[union-attr]
    while not isinstance(owner.due(), plan.Where):
        assert owner.undo()
    assert owner.state.arrival.readings is None
    owner.stand(on_machine=False)
    owner.arrive(Arrived(found_as=FoundAs.RUNS))
    arrival = record_of(folder).arrival
    assert arrival is not None
    assert arrival.readings == ()
    assert arrival.readings_note == "Nothing was read on arrival."


def test_the_wrong_computer_is_neither_the_first_pass_nor_the_machine_of_the_record(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, BATTERY, on_machine=False)
    due = play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert isinstance(due, plan.Elsewhere)
    owner.close()
    wrong = SimulatedBench(faults={})
    wrong.machine.marks = dict  # type: ignore[method-assign]
    owner = Owner(folder, machine=wrong.machine, scripted=True)
    owner.stand(on_machine=True)
    while not owner.state.found:
        sample = wrong.sampler.next(1.0)
        assert sample is not None
        owner.take_sample(sample)
    read = owner.state.found[0].check
    assert record_of(folder).machine
    while not isinstance(owner.due(), plan.Where):
        assert owner.undo()
    assert owner.state.verdict(read) is Verdict.NOT_DONE
    owner.stand(on_machine=False)
    record = record_of(folder)
    assert read not in record.first_pass
    assert (record.machine, record.read_by) == ({}, "")
    told = next(result for result in record.results if result.check == read).attempts
    assert [attempt.out_of_date for attempt in told] == ["what was said before it was taken back"]


# Going back, and work that grows.


def test_a_battery_is_not_unplugged_behind_a_closed_base(folder: RunFolder, bench: SimulatedBench) -> None:
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    lines = len(owner.lines)
    with pytest.raises(WrongUseError, match="behind the base"):
        owner.reopen(["pack-unplugged"], why="A plug was off.")
    assert len(owner.lines) == lines
    owner.reopen(["pack-unplugged", "base"], why="A plug was off.")
    assert not {"connect-pack", "close-base", "screw-base"} & owner.state.steps.keys()


def test_a_battery_is_unplugged_again_while_the_base_is_still_open(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers({"lead-plugs": None}), bench.sampler, hands=bench)
    assert "connect-pack" in owner.state.steps
    owner.reopen(["pack-unplugged"], why="A plug was off.")
    assert "connect-pack" not in owner.state.steps


def test_going_back_with_work_that_is_refused_writes_nothing(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, COVER, FEET)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    lines = len(owner.lines)
    with pytest.raises(WrongUseError):
        owner.reopen(["lid"], why="A clip.", work=(Work(kind="roof"),), checklists=shipped_checklists())
    # The battery lies behind the base: opening the lid is not enough.
    with pytest.raises(WrongUseError, match="close the base") as refused:
        owner.reopen(["lid"], why="A clip.", work=(BATTERY,), checklists=shipped_checklists())
    assert len(owner.lines) == lines
    assert refused.value.next_step is not None
    assert "--opened base --why" in refused.value.next_step
    new = owner.reopen(["base"], why="A clip.", work=(BATTERY,), checklists=shipped_checklists())
    assert "pack-label" in {check.id for check in new}


def test_work_behind_the_base_opens_it_even_where_other_work_brought_its_checks(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    with pytest.raises(WrongUseError, match="connect the battery"):
        owner.add_work((DECK,), shipped_checklists())


def test_a_part_that_is_named_later_opens_nothing(folder: RunFolder, bench: SimulatedBench) -> None:
    owner = opened(folder, bench, Work(kind="battery"))
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert owner.add_work((BATTERY,), shipped_checklists()) == ()
    assert owner.ticket.work == (BATTERY,)


def test_nothing_is_opened_again_before_it_is_said_what_is_repaired(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, arriving=True)
    owner.answer("first-look", Hazard(present=False))
    with pytest.raises(OrderError, match="what is repaired"):
        owner.reopen(["lid"], why="A clip.")


@pytest.mark.parametrize(
    ("openings", "goes_on"),
    [(("lid",), True), (("feet-removed",), True), (("base",), False), (("base", "pack-unplugged"), False)],
    ids=["lid", "feet", "base", "battery unplugged"],
)
def test_only_an_opening_that_disturbs_it_begins_a_long_watch_anew(
    folder: RunFolder, bench: SimulatedBench, openings: tuple[str, ...], *, goes_on: bool
) -> None:
    owner = opened(folder, bench, BATTERY, FEET)
    play(owner, GoodAnswers({"network": None}), bench.sampler, hands=bench)
    for _ in range(200):
        if "charge-to-full" in owner.state.watching:
            break
        sample = bench.sampler.next(10.0)
        if sample is not None:
            owner.take_sample(sample)
    trace = owner.state.watching["charge-to-full"]
    owner.reopen(openings, why="A clip was off.")
    assert owner.state.watching.get("charge-to-full") == (trace if goes_on else None)
    owner.close()


def test_opening_the_lid_may_have_disturbed_the_antennas(folder: RunFolder, bench: SimulatedBench) -> None:
    owner = opened(folder, bench, COVER)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    owner.reopen(["lid"], why="The camera was off.")
    assert owner.state.verdict("network") is Verdict.NOT_DONE
    assert owner.state.verdict("lead-plugs") is Verdict.CONFORMS
    owner.close()


# The list of tickets.


def test_a_step_that_takes_itself_waits_for_nobody(folder: RunFolder, bench: SimulatedBench) -> None:
    owner = opened(folder, bench, COVER, on_machine=None)
    owner.answer("first-look", Hazard(present=False))
    owner.close()
    line = ticket_line(folder.path)
    assert line.waits_for == "Someone to look: inside the base."
    assert line.stage == "open"


def test_time_that_has_to_pass_does_not_wait_for_the_machine(
    folder: RunFolder, bench: SimulatedBench
) -> None:
    owner = opened(folder, bench, FEET)
    play(owner, GoodAnswers({"no-new-mark": None}), bench.sampler, hands=bench)
    for check_id in ("no-new-mark", "wiped-clean", "stands-still", "nothing-kept"):
        due = owner.due()
        if isinstance(due, plan.Ask) and check_id in due.pending:
            owner.answer(check_id, GoodAnswers().answer(due.checks[0]))  # type: ignore[arg-type]
    assert isinstance(owner.due(), plan.Watching)
    assert ticket_line(folder.path).waits_for.startswith("Time to pass: ")
