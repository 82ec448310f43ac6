from collections.abc import Iterator
from pathlib import Path

import pytest

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist import Kind
from verify.checklist.answers import Answer, Hazard, Look, Measured, Seen, Span
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Part, Record, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.outcome import outcome_of
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome, Verdict
from verify.values.errors import OrderError, WrongUseError

BATTERY = Work(kind="battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"}))
FEET = Work(kind="feet")
COVER = Work(kind="base-cover")
BAD = Look(seen=Seen.NOT_GOOD, note="plug hangs loose")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def opened(folder: RunFolder, bench: SimulatedBench, *work: Work, arriving: bool = False) -> Owner:
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=work),
        checklists=shipped_checklists(),
        clock=bench.clock,
        arriving=arriving,
    )
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=True)


def record_of(folder: RunFolder) -> Record:
    return load_record(folder.path.parent, folder.path.name)


def voided_by(owner: Owner, *openings: str) -> set[str]:
    return {check.id for check in owner.composition.checks if set(openings) & set(check.voided_by)}


def test_exactly_what_an_opening_voids_is_asked_again(folder: RunFolder) -> None:
    bench, answers = SimulatedBench(faults={}), GoodAnswers()
    owner = opened(folder, bench, BATTERY, FEET)
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Complete)
    first = list(answers.asked)
    found = {found.check for found in owner.state.found}
    owner.reopen(["base"], why="antenna plug was off")
    again = GoodAnswers()
    assert isinstance(play(owner, again, bench.sampler, hands=bench), plan.Complete)
    voided = voided_by(owner, "base")
    manual = {check.id for check in owner.composition.checks if check.kind not in (Kind.PROBE, Kind.WAIT)}
    assert set(again.asked) == voided & manual
    assert len(again.asked) == len(set(again.asked))
    assert set(first) - voided, "something must have stayed good"
    counted = [one.check for one in owner.state.found]
    assert {check for check in found if counted.count(check) == 2} == voided & found
    assert "charge-to-full" in found - voided
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert record.reopenings[0].why == "antenna plug was off"
    assert set(record.reopenings[0].voided) == voided
    old = next(result for result in record.results if result.check == "lead-plugs").attempts[0]
    assert old.out_of_date == "opened again: base"


def test_the_steps_behind_an_opening_are_taken_again_and_no_others(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY, FEET)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    owner.reopen(["feet-removed"], why="a foot stood askew")
    again = [step.id for step in owner.composition.steps if step.id not in owner.state.steps]
    assert [step for step in again if step != "hand-back"] == ["fit-feet", "push-feet"]
    due = owner.due()
    assert isinstance(due, plan.Ask)
    assert due.pending == ("foot-places",), "where the old foot was is looked at before a new one is stuck on"
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert record_of(folder).outcome is Outcome.FIT


def test_a_pack_that_was_unplugged_is_charged_and_measured_again(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    owner.reopen(["base", "pack-unplugged"], why="another pack was fitted")
    assert owner.state.verdict("claimed-capacity") is Verdict.NOT_DONE
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert [one.check for one in owner.state.found].count("claimed-capacity") == 2


def test_first_pass_and_final_results_are_kept_apart(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    due = play(owner, GoodAnswers({"lead-plugs": BAD}), bench.sampler, hands=bench)
    assert isinstance(due, plan.Held)
    owner.ask_again("lead-plugs")
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert record.first_pass_outcome is Outcome.HELD
    assert record.first_pass["lead-plugs"] is Verdict.DOES_NOT_CONFORM


def test_work_that_grows_adds_checks_and_repeats_none(folder: RunFolder) -> None:
    bench, answers = SimulatedBench(faults={}), GoodAnswers({"nothing-loose": None})
    owner = opened(folder, bench, COVER, FEET)
    play(owner, answers, bench.sampler, hands=bench)
    before = [check_id for check_id in answers.asked if check_id != "nothing-loose"]
    known = {check.id for check in owner.composition.checks}
    new = owner.add_work([BATTERY], shipped_checklists())
    assert {check.id for check in new} == {check.id for check in owner.composition.checks} - known
    assert "pack-label" in {check.id for check in new}
    later = GoodAnswers()
    assert isinstance(play(owner, later, bench.sampler, hands=bench), plan.Complete)
    assert not set(later.asked) & set(before)
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert [work.kind for work in record.ticket.work] == ["base-cover", "feet", "battery"]
    assert record.growths[0].work == ("battery",)
    assert {used.id for used in record.checklists} == {
        "every-repair",
        "base-opened",
        "feet",
        "battery",
        "full-charge",
        "touchpad",
    }


def test_work_behind_a_closed_base_needs_it_opened_first(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, COVER, FEET)
    play(owner, GoodAnswers({"no-new-mark": None}), bench.sampler, hands=bench)
    lines = len(owner.lines)
    with pytest.raises(WrongUseError, match="close the base"):
        owner.add_work([BATTERY], shipped_checklists())
    assert len(owner.lines) == lines
    owner.reopen(["base", "pack-unplugged"], why="the pack is dead")
    owner.add_work([BATTERY], shipped_checklists())
    assert isinstance(owner.due(), plan.Ask)
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    assert record_of(folder).outcome is Outcome.FIT


@pytest.mark.parametrize(
    ("kinds", "says"), [(["feet"], "already"), ([], "nothing"), (["batery"], "batery")], ids=str
)
def test_work_that_adds_nothing_is_refused(folder: RunFolder, kinds: list[str], says: str) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, FEET)
    with pytest.raises(WrongUseError, match=says):
        owner.add_work([Work(kind=kind) for kind in kinds], shipped_checklists())
    assert len(owner.lines) == 1


@pytest.mark.parametrize(
    ("opened_again", "why", "says"), [(["roof"], "x", "roof"), ([], "x", "Nothing"), (["base"], " ", "why")]
)
def test_a_reopening_says_what_and_why(
    folder: RunFolder, opened_again: list[str], why: str, says: str
) -> None:
    owner = opened(folder, SimulatedBench(faults={}), FEET)
    with pytest.raises(WrongUseError, match=says):
        owner.reopen(opened_again, why=why)
    assert len(owner.lines) == 1


def gap(enters: float, stops: float) -> Answer:
    spans = dict.fromkeys(
        (
            "front left corner",
            "front middle",
            "front right corner",
            "right middle",
            "rear right corner",
            "rear middle",
            "rear left corner",
            "left middle",
        ),
        Span(enters_mm=enters, stops_mm=stops),
    )
    return Measured(spans=spans)


def test_an_accepted_flaw_lifts_the_hold_and_is_never_plainly_fit(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY, FEET)
    due = play(owner, GoodAnswers({"seam-gaps": gap(0.35, 0.40)}), bench.sampler, hands=bench)
    assert isinstance(due, plan.Held)
    assert due.step.id == "fit-feet"
    lines = len(owner.lines)
    for by, reason, agreed in (("", "r", "a"), ("n", "", "a"), ("n", "r", "")):
        with pytest.raises(WrongUseError):
            owner.accept("seam-gaps", by=by, reason=reason, owner_agreed=agreed)
    assert len(owner.lines) == lines
    owner.accept(
        "seam-gaps",
        by="Demo Technician",
        reason="bowed base, no other to be had",
        owner_agreed="by telephone",
    )
    assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.Complete)
    record = record_of(folder)
    assert record.outcome is Outcome.FIT_UNDER_CONCESSION
    result = next(result for result in record.results if result.check == "seam-gaps")
    assert result.verdict is Verdict.DOES_NOT_CONFORM
    assert result.accepted is not None
    assert result.accepted.owner_agreed == "by telephone"
    assert record.first_pass_outcome is Outcome.HELD


def test_an_accepted_flaw_ends_with_what_it_was_said_of(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers({"lead-plugs": BAD}), bench.sampler, hands=bench)
    owner.accept("lead-plugs", by="Demo Technician", reason="worn plug", owner_agreed="at the counter")
    owner.reopen(["base"], why="looked again")
    assert "lead-plugs" not in owner.state.accepted
    assert owner.state.is_open("lead-plugs")


def test_nobody_accepts_a_hazard_or_a_stop_check(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    assert isinstance(play(owner, GoodAnswers({"pack-flat": BAD}), bench.sampler, hands=bench), plan.Stopped)
    with pytest.raises(OrderError):
        owner.accept("pack-flat", by="n", reason="r", owner_agreed="a")
    stops = [check.id for check in owner.composition.checks if check.stop or check.kind is Kind.HAZARD]
    assert stops
    assert not any(check.may_be_accepted for check in owner.composition.checks if check.id in stops)


def test_a_concession_can_be_taken_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers({"lead-plugs": BAD}), bench.sampler, hands=bench)
    owner.accept("lead-plugs", by="Demo Technician", reason="worn", owner_agreed="at the counter")
    assert owner.undo()
    assert isinstance(owner.due(), plan.Held)


def test_a_hazard_at_any_moment_stops_the_watch_and_only_made_safe_ends_it(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    play(owner, GoodAnswers({"network": None}), bench.sampler, hands=bench)
    assert owner.strip is not None
    owner.meet_hazard("smell of solvent at the rear")
    assert isinstance(owner.due(), plan.Stopped)
    assert owner.shown().strip is None
    assert not owner.wants_samples()
    with pytest.raises(OrderError):
        owner.undo()
    with pytest.raises(WrongUseError):
        owner.made_safe("in the sand box", by=" ")
    with pytest.raises(OrderError):
        owner.reopen(["base"], why="looked")
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.HELD
    owner.made_safe("pack out, in the sand box outside", by="Demo Technician")
    owner.reopen(["base", "pack-unplugged"], why="the pack was taken out")
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert record.hazards[0].made_safe_by == "Demo Technician"
    assert record.first_pass_outcome is Outcome.HELD


def test_returned_unrepaired_ends_the_run_and_never_with_a_hazard(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    owner.meet_hazard("")
    with pytest.raises(OrderError, match="hazard"):
        owner.give_back(why="too dear", risks_told="pack swollen", owner_signed="on paper")
    owner.made_safe("pack out, in the sand box", by="Demo Technician")
    with pytest.raises(WrongUseError):
        owner.give_back(why="too dear", risks_told="", owner_signed="on paper")
    with pytest.raises(OrderError, match="not answered yet"):
        owner.give_back(why="too dear", risks_told="runs on the charger only", owner_signed="on paper")
    owner.answer("first-look", Hazard(present=False))
    owner.give_back(why="too dear", risks_told="runs on the charger only", owner_signed="on the paper ticket")
    assert isinstance(owner.due(), plan.Declined)
    record = record_of(folder)
    assert record.outcome is Outcome.RETURNED_UNREPAIRED
    assert record.given_back is not None
    assert record.given_back.owner_signed == "on the paper ticket"
    owner.reopen(["base"], why="the owner changed their mind")
    assert not isinstance(owner.due(), plan.Declined)
    assert record_of(folder).outcome is Outcome.HELD


def test_what_is_seen_besides_the_work_is_told_and_never_holds(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, FEET)
    owner.notice("The old pack holds about half of what it did.")
    with pytest.raises(WrongUseError):
        owner.notice(" ")
    play(owner, GoodAnswers(), bench.sampler, hands=bench)
    record = record_of(folder)
    assert record.outcome is Outcome.FIT
    assert [one.what for one in record.seen_beside] == ["The old pack holds about half of what it did."]


def test_a_look_that_is_not_good_can_be_asked_again_while_the_charge_is_watched(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, BATTERY)
    answers = GoodAnswers({"sound": BAD})
    while not isinstance(due := owner.due(), plan.Watching) or due.step.id != "end-charge":
        if isinstance(due, plan.Ask):
            check = next(check for check in due.checks if check.id == due.pending[0])
            answer = answers.answer(check)
            assert answer is not None
            owner.answer(check.id, answer)
        elif isinstance(due, plan.Do):
            bench.did(due.step)
            owner.take_step(due.step.id)
        else:
            sample = bench.sampler.next(0)
            assert sample is not None
            owner.take_sample(sample)
    owner.ask_again("sound")
    assert isinstance(owner.due(), plan.Ask)
    owner.close()


def test_a_check_that_judges_readings_of_others_has_them_read_anew(folder: RunFolder) -> None:
    sure = Work(kind="doubtful-battery", part=Part(source="reproduction", label={"energy": "57.0 Wh"}))
    # At 52 of 57 Wh it is too near the limit to tell.
    bench = SimulatedBench(faults={"pack-holds": "52 Wh"})
    owner = opened(folder, bench, sure)
    answers = GoodAnswers()
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Held)
    owner.ask_again("measured-capacity")
    for check in ("drain", "charge-to-full"):
        assert owner.state.tries[check][-1].out_of_date == "measured-capacity is asked again"
    assert not owner.state.tries["rest-level"][-1].out_of_date
    assert isinstance(play(owner, answers, bench.sampler, hands=bench), plan.Held)
    counted = [one.check for one in owner.state.found]
    read = ("drain", "charge-to-full", "measured-capacity", "rest-level")
    assert [counted.count(one) for one in read] == [2, 2, 2, 1]
    drained = next(one for one in reversed(owner.state.found) if one.check == "drain")
    # From full: over an hour under load all the while.
    assert "That is 10" in drained.text
    assert "proves the start" in drained.text
    owner.close()
