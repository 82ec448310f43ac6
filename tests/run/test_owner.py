import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Answer, Hazard, Look, Measured, Seen, Span
from verify.checklist.shipped import shipped_checklists
from verify.judge import lifts_hold
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Ended, Found, Undone, WatchBegan
from verify.run.outcome import outcome_of
from verify.testing.good_answers import GoodAnswers
from verify.values import Outcome, Verdict
from verify.values.errors import OrderError, WrongUseError

BAD = Look(seen=Seen.NOT_GOOD, note="bent")
GOOD = Look(seen=Seen.GOOD)


def ticket(*kinds: str) -> Ticket:
    part = Part(source="reproduction", label={"energy": "57.0 Wh"})
    return Ticket(
        id="TW-1042", work=tuple(Work(kind=kind, part=part if kind == "battery" else None) for kind in kinds)
    )


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def opened(folder: RunFolder, bench: SimulatedBench, *kinds: str) -> Owner:
    begin(folder, ticket=ticket(*kinds), checklists=shipped_checklists(), clock=bench.clock)
    return Owner(folder, machine=bench.machine, scripted=True)


def played(owner: Owner, bench: SimulatedBench, but: dict[str, Answer | None] | None = None) -> plan.Due:
    return play(owner, GoodAnswers(but), bench.sampler, hands=bench)


def test_a_sound_battery_job_comes_out_fit(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery", "feet")
    assert isinstance(played(owner, bench), plan.Complete)
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.FIT
    assert isinstance(owner.lines[-1].event, Ended)
    record = load_record(folder.path.parent, "TW-1042")
    assert record.outcome is Outcome.FIT
    assert record.simulated
    assert record.scripted
    assert {result.verdict for result in record.results} <= {Verdict.CONFORMS, Verdict.UNDECIDED}
    assert record.journal_count == len(owner.lines)
    assert (
        record.journal_head == hashlib.sha256(folder.journal_path.read_bytes().splitlines()[-1]).hexdigest()
    )


def test_the_traces_are_sealed_as_they_lie_on_disk(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    played(owner, bench)
    found = [line.event for line in owner.lines if isinstance(line.event, Found)]
    assert {one.check for one in found} >= {"charge-to-full", "runs-on-battery", "claimed-capacity"}
    for one in found:
        data = folder.trace_path(one.trace).read_bytes()
        assert one.sha256 == hashlib.sha256(data).hexdigest()
        assert one.samples == len(data.splitlines())


@pytest.mark.parametrize("answered", range(1, 24))
def test_a_run_left_and_taken_up_again_asks_nothing_twice(folder: RunFolder, answered: int) -> None:
    bench = SimulatedBench(faults={})
    answers = GoodAnswers()
    owner = opened(folder, bench, "battery", "feet")

    class UntilThen(GoodAnswers):
        def answer(self, check: object) -> Answer | None:
            if len(answers.asked) == answered:
                return None
            return answers.answer(check)  # type: ignore[arg-type] # handed through

    play(owner, UntilThen(), bench.sampler, hands=bench)
    owner.close()
    again = Owner(folder, machine=bench.machine, scripted=True)
    assert isinstance(play(again, answers, bench.sampler, hands=bench), plan.Complete)
    assert len(answers.asked) == len(set(answers.asked))
    assert outcome_of(again.composition, again.state)[0] is Outcome.FIT


def test_a_watch_that_was_left_goes_on_with_its_earlier_samples(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    played(owner, bench, {"every-key": None, "touchpad-click": None})
    assert owner.strip is not None
    for _ in range(60):
        owner.take_sample(bench.machine.sample())
        bench.clock.wait(10)
    trace = next(line.event.trace for line in owner.lines[::-1] if isinstance(line.event, WatchBegan))
    owner.close()
    before = len(folder.trace_path(trace).read_bytes().splitlines())
    assert before > 0
    again = Owner(folder, machine=bench.machine, scripted=True)
    played(again, bench)
    found = next(
        line.event for line in again.lines if isinstance(line.event, Found) and line.event.trace == trace
    )
    assert found.samples > before
    assert sum(isinstance(line.event, WatchBegan) and line.event.trace == trace for line in again.lines) == 1


def test_a_look_that_is_not_good_holds_the_step_that_it_guards(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    due = played(owner, bench, {"bay-clean": BAD})
    assert isinstance(due, plan.Held)
    assert due.step.id == "connect-pack"
    assert [block.check.id for block in due.blocked] == ["bay-clean"]
    with pytest.raises(OrderError):
        owner.take_step("connect-pack")
    owner.ask_again("bay-clean")
    assert isinstance(played(owner, bench), plan.Complete)
    record = load_record(folder.path.parent, "TW-1042")
    result = next(result for result in record.results if result.check == "bay-clean")
    assert [attempt.verdict for attempt in result.attempts] == [Verdict.DOES_NOT_CONFORM, Verdict.CONFORMS]
    assert result.attempts[0].out_of_date == "asked again"
    assert record.first_pass["bay-clean"] is Verdict.DOES_NOT_CONFORM
    assert record.outcome is Outcome.FIT


def test_what_cannot_be_seen_holds_too(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    due = played(owner, bench, {"complaint-gone": Look(seen=Seen.CANNOT_SEE, note="owner is away")})
    assert isinstance(due, plan.Held)
    assert due.step.id == "hand-back"
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.HELD


@pytest.mark.parametrize("present", [True, None], ids=["yes", "cannot tell"])
def test_a_hazard_on_arrival_stops_everything_before_any_reading(
    folder: RunFolder, *, present: bool | None
) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    due = played(owner, bench, {"first-look": Hazard(present=present)})
    assert isinstance(due, plan.Stopped)
    assert not owner.wants_samples()
    assert not (folder.path / "traces").exists()
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.HELD
    with pytest.raises(WrongUseError):
        owner.made_safe("  ")
    owner.made_safe("Demo Technician took the pack out; it lies in the sand box outside.")
    assert isinstance(owner.due(), plan.Ask)
    assert isinstance(played(owner, bench), plan.Complete)
    record = load_record(folder.path.parent, "TW-1042")
    assert record.hazards[0].made_safe.startswith("Demo Technician")


def test_a_stop_check_that_is_not_good_stops_the_charge_watch(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    assert isinstance(played(owner, bench, {"touchpad-level": BAD}), plan.Stopped)
    assert not owner.wants_samples()


def test_a_pack_that_gets_too_hot_is_a_hazard(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={"pack-hot": "61 °C"})
    owner = opened(folder, bench, "battery")
    due = played(owner, bench)
    assert isinstance(due, plan.Stopped)
    assert "61" in due.hazards[0].what or "60" in due.hazards[0].what


def test_undo_takes_back_one_answer_and_keeps_the_line(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    owner.answer("first-look", Hazard(present=False))
    count = len(owner.lines)
    # The step that took itself after the answer goes back with it.
    assert "open-up" in owner.state.steps
    assert owner.undo()
    assert "open-up" not in owner.state.steps
    assert isinstance(owner.lines[count].event, Undone)
    due = owner.due()
    assert isinstance(due, plan.Ask)
    assert due.pending == ("first-look",)
    assert not owner.undo()


def test_undo_goes_back_answer_by_answer(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    owner.answer("first-look", Hazard(present=False))
    first = owner.due()
    assert isinstance(first, plan.Ask)
    for check in first.pending[:3]:
        owner.answer(check, GOOD)
    for _ in range(4):
        assert owner.undo()
    assert not owner.undo()
    due = owner.due()
    assert isinstance(due, plan.Ask)
    assert due.pending == ("first-look",)


def test_an_answer_that_is_not_due_is_refused(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    before = len(owner.lines)
    with pytest.raises(OrderError):
        owner.answer("complaint-gone", GOOD)
    with pytest.raises(OrderError):
        owner.answer("first-look", GOOD)
    with pytest.raises(OrderError):
        owner.take_step("charge")
    with pytest.raises(OrderError):
        owner.ask_again("first-look")
    with pytest.raises(OrderError):
        owner.made_safe("me")
    assert len(owner.lines) == before


def test_a_measure_with_a_place_left_out_is_not_good(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    due = played(
        owner, bench, {"seam-gaps": Measured(spans={"front middle": Span(enters_mm=0.1, stops_mm=0.15)})}
    )
    assert isinstance(due, plan.Held)
    assert "Not measured at" in due.blocked[0].because


def test_a_check_that_breaks_is_not_established_and_takes_nothing_with_it(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Broken:
        def step(self, _sample: object) -> object:
            raise ZeroDivisionError("by zero")

    monkeypatch.setattr("verify.run.owner.make_probe", lambda *_: Broken())
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    due = played(owner, bench)
    assert isinstance(due, plan.Held)
    assert all(block.verdict is Verdict.UNDECIDED for block in due.blocked)
    assert "ZeroDivisionError" in due.blocked[0].because


def test_feet_wait_for_witnessed_time_only(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery", "feet")
    due = played(owner, bench, {"no-new-mark": None})
    assert isinstance(due, plan.Ask)
    assert owner.strip is not None
    left = owner.strip[1].seconds_left
    assert left is not None
    assert 0 < left <= 20 * 60
    bench.clock.wait(left - 1)
    owner.take_sample(bench.machine.sample())
    assert owner.strip is not None
    bench.clock.wait(1)
    owner.take_sample(bench.machine.sample())
    assert owner.strip is None


def test_a_second_start_on_a_ticket_is_refused(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    opened(folder, bench, "battery")
    with pytest.raises(WrongUseError, match="open already"):
        begin(folder, ticket=ticket("battery"), checklists=shipped_checklists(), clock=bench.clock)


def test_work_that_no_checklist_knows_is_refused(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    with pytest.raises(WrongUseError, match="batery"):
        begin(folder, ticket=ticket("batery"), checklists=shipped_checklists(), clock=bench.clock)
    assert not folder.journal_path.exists()


class Whim(GoodAnswers):
    """Answers as the drawn numbers say: good, not good, cannot see, undo, ask again."""

    def __init__(self, draws: list[int]) -> None:
        super().__init__()
        self.draws = draws

    def answer(self, check: object) -> Answer | None:
        draw = self.draws.pop() if self.draws else 0
        if draw == 0:
            return super().answer(check)  # type: ignore[arg-type] # handed through
        if getattr(check, "kind", "") == "look":
            return BAD if draw == 1 else Look(seen=Seen.CANNOT_SEE, note="dark")
        return super().answer(check)  # type: ignore[arg-type] # handed through


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    draws=st.lists(st.sampled_from([0, 0, 0, 0, 1, 2]), max_size=60),
    again=st.lists(st.booleans(), max_size=8),
)
def test_no_order_of_answers_makes_fit_out_of_a_check_that_is_not_good(
    tmp_path_factory: pytest.TempPathFactory, draws: list[int], again: list[bool]
) -> None:
    bench = SimulatedBench(faults={})
    with RunFolder(tmp_path_factory.mktemp("run") / "TW-1") as held:
        owner = opened(held, bench, "battery", "feet")
        answers = Whim(draws)
        due = play(owner, answers, bench.sampler, hands=bench)
        for mend in again:
            if isinstance(due, plan.Held) and mend:
                owner.ask_again(due.blocked[0].check.id)
            elif isinstance(due, plan.Stopped):
                owner.made_safe("Demo Technician, sand box")
            else:
                owner.undo()
            due = play(owner, answers, bench.sampler, hands=bench)
        outcome, _ = outcome_of(owner.composition, owner.state)
        all_good = all(
            lifts_hold(owner.state.verdict(check.id), note_only=check.note_only)
            for check in owner.composition.checks
        )
        assert (outcome is Outcome.FIT) == (all_good and not owner.state.hazards_open)
        assert isinstance(due, plan.Complete) == (outcome is Outcome.FIT)
        # Each step taken had its hold lifted when it was taken, and still has.
        if not owner.state.hazards_open:
            for step in owner.composition.steps:
                if step.id in owner.state.steps:
                    assert not [
                        block
                        for block in plan.blocked_by(owner.composition, owner.state, step)
                        if block.verdict is not Verdict.NOT_DONE
                    ]
