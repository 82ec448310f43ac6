import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.checklist import Check, Kind
from verify.checklist.answers import Answer, Hazard, Look, Measured, Seen, Span
from verify.checklist.loader import parse_checklist
from verify.checklist.shipped import shipped_checklists
from verify.judge import lifts_hold
from verify.machine import Sample
from verify.machine.simulated import LARKSPUR_13
from verify.probe import Finding
from verify.probe.registry import make_probe
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Ended, Event, Found, Line, Opened, Undone, WatchBegan
from verify.run.journal import Journal
from verify.run.outcome import outcome_of
from verify.testing.good_answers import GoodAnswers
from verify.testing.traces import samples_in
from verify.values import Instant, Outcome, Verdict
from verify.values.errors import HandbackError, JournalWriteError, OrderError, WrongUseError

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
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=True)


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
        assert one.samples == len(samples_in(data)) > 0


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
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
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
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
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


class SecondTime(GoodAnswers):
    """Finds each look not good the first time it is asked."""

    def answer(self, check: Check) -> Answer | None:
        again = check.id in self.asked
        good = super().answer(check)
        return good if again or check.stop or check.kind is not Kind.LOOK else BAD


class SecondProbe:
    """Breaks the first time that it is run."""

    run: ClassVar[set[str]] = set()

    def __init__(self, name: str, *rest: object) -> None:
        self._real = make_probe(name, *rest) if name in self.run else None  # type: ignore[arg-type] # handed through
        self.run.add(name)

    def step(self, sample: Sample) -> object:
        if self._real is None:
            raise ZeroDivisionError("by zero")
        return self._real.step(sample)


def test_every_check_that_was_not_good_can_be_done_again_wherever_it_holds(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "keyboard-deck", "battery", "feet")
    monkeypatch.setattr(SecondProbe, "run", set())
    monkeypatch.setattr("verify.run.owner.make_probe", SecondProbe)
    answers = SecondTime()
    again = []
    while isinstance(due := play(owner, answers, bench.sampler, hands=bench), plan.Held):
        check = due.blocked[0].check
        assert check.id not in again, f"{check.id} was done again and still holds {due.step.id}"
        again.append(check.id)
        owner.ask_again(check.id)
    assert isinstance(due, plan.Complete)
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.FIT
    for one in owner.composition.checks:
        if one.kind in (Kind.LOOK, Kind.PROBE) and not one.stop and not one.note_only:
            assert one.id in again


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
        owner.made_safe("  ", by="Demo Technician")
    owner.made_safe(
        "Demo Technician took the pack out; it lies in the sand box outside.", by="Demo Technician"
    )
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


def until(owner: Owner, bench: SimulatedBench, check: str) -> None:
    """Play up to a manual check and leave it open."""
    due = played(owner, bench, {check: None})
    assert isinstance(due, plan.Ask)
    assert check in due.pending


def test_what_was_read_after_a_step_that_is_taken_back_is_read_again(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    until(owner, bench, "started-clean")
    assert "charge" in owner.state.steps
    while owner.state.current("charger-seen") is None:
        owner.take_sample(bench.machine.sample())
        bench.clock.wait(10)
    seen = owner.state.current("charger-seen")
    assert seen is not None
    while "charge" in owner.state.steps:
        assert owner.undo()
    assert owner.state.verdict("charger-seen") is Verdict.NOT_DONE
    assert owner.state.tries["charger-seen"][-1].out_of_date == "what was said before it was taken back"
    # What was read before the step still counts.
    assert owner.state.verdict("pack-present") is Verdict.CONFORMS
    assert isinstance(played(owner, bench), plan.Complete)
    record = load_record(folder.path.parent, "TW-1042")
    result = next(result for result in record.results if result.check == "charger-seen")
    assert [attempt.out_of_date != "" for attempt in result.attempts] == [True, False]


def test_a_watch_goes_on_when_an_answer_beside_it_is_taken_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    until(owner, bench, "sound")
    before = owner.state.watching
    assert before
    assert owner.undo()
    assert owner.state.watching == before
    assert owner.strip is not None
    owner.close()


def test_a_watch_begins_anew_when_the_step_before_it_is_taken_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    until(owner, bench, "started-clean")
    before = dict(owner.state.watching)
    while "charge" in owner.state.steps:
        assert owner.undo()
    assert not owner.state.watching
    until(owner, bench, "started-clean")
    assert owner.state.watching
    assert not set(before.values()) & set(owner.state.watching.values())
    owner.close()


def test_a_time_that_passed_after_a_step_that_is_taken_back_passes_again(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery", "feet")
    until(owner, bench, "no-new-mark")
    bench.clock.wait(20 * 60)
    owner.take_sample(bench.machine.sample())
    assert owner.state.verdict("feet-wait") is Verdict.CONFORMS
    while "fit-feet" in owner.state.steps:
        assert owner.undo()
    until(owner, bench, "no-new-mark")
    assert owner.state.verdict("feet-wait") is Verdict.NOT_DONE


@pytest.mark.parametrize("answer", [Hazard(present=True), Hazard(present=None)], ids=["yes", "cannot tell"])
def test_a_hazard_cannot_be_taken_back(folder: RunFolder, answer: Hazard) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    owner.answer("first-look", answer)
    with pytest.raises(OrderError, match="hazard"):
        owner.undo()
    owner.made_safe("Demo Technician, sand box", by="Demo Technician")
    assert not owner.undo()
    assert len(owner.state.hazards) == 1


def test_a_watch_begins_anew_after_a_hazard(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    checklists = (*shipped_checklists(), parse_checklist(RAISED, name="raised.yaml"))
    begin(folder, ticket=ticket("battery"), checklists=checklists, clock=bench.clock)
    owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    due = played(owner, bench, {"pad-raised": BAD})
    assert isinstance(due, plan.Stopped)
    before = set(dict(owner.state.watching).values())
    assert before
    owner.made_safe("Demo Technician put the pack into the sand box.", by="Demo Technician")
    assert owner.state.watching
    assert not before & set(owner.state.watching.values())
    owner.close()


RAISED = """\
format: checklist/1
id: raised
revision: 1
title: Raised touchpad
checks:
  - id: pad-raised
    kind: look
    ask: Look whether the touchpad has risen.
    good: It is level.
    place: touchpad
    stage: closed
    minutes: 1
    after: charge
    stop: yes
    caution: A raised touchpad can be a swelling battery.
"""


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
        owner.made_safe("me", by="Demo Technician")
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


def test_feet_wait_on_after_a_restart(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery", "feet")
    until(owner, bench, "no-new-mark")
    owner.answer("no-new-mark", GOOD)
    owner.answer("wiped-clean", GOOD)
    owner.answer("stands-still", GOOD)
    owner.answer("nothing-kept", GOOD)
    assert isinstance(owner.due(), plan.Watching)
    assert left(owner) > 600
    owner.close()
    bench.clock._boot_id = "another boot"
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    before = left(again)
    bench.clock.wait(600)
    again.take_sample(bench.machine.sample())
    assert left(again) == pytest.approx(before - 600)
    bench.clock.wait(before - 600)
    again.take_sample(bench.machine.sample())
    assert not isinstance(again.due(), plan.Watching)


def test_feet_wait_where_the_system_names_no_boot(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    bench.clock._boot_id = None  # type: ignore[assignment] # as on a system that does not tell
    owner = opened(folder, bench, "battery", "feet")
    until(owner, bench, "no-new-mark")
    before = left(owner)
    bench.clock.wait(60)
    assert left(owner) == pytest.approx(before - 60)
    # A session later, nobody knows whether it is the same boot: the time between them does not count.
    owner.close()
    bench.clock.wait(3600)
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert left(again) == pytest.approx(before)


def left(owner: Owner) -> float:
    assert owner.strip is not None
    assert owner.strip[1].seconds_left is not None
    return owner.strip[1].seconds_left


WAITS = """\
format: checklist/1
id: waits
revision: 1
title: Waits
checks:
  - id: glue-sets
    kind: wait
    wait: 5 min
    ask: Let the glue set.
    place: glue
    stage: finished
    after: fit-feet
"""


def test_a_wait_after_a_step_that_the_work_does_not_need_ends_too(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    checklists = (*shipped_checklists(), parse_checklist(WAITS, name="waits.yaml"))
    begin(folder, ticket=ticket("battery"), checklists=checklists, clock=bench.clock)
    owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    until(owner, bench, "no-new-mark")
    before = left(owner)
    assert 0 < before <= 300
    bench.clock.wait(before)
    owner.take_sample(bench.machine.sample())
    assert owner.state.verdict("glue-sets") is Verdict.CONFORMS


def test_a_watch_that_had_ended_when_the_power_went_is_not_lost(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[float] = []

    class Once:
        """Ends with its first sample; a second one is a mistake."""

        def __init__(self) -> None:
            self.ended = False

        def step(self, sample: Sample) -> Finding:
            assert not self.ended
            self.ended = True
            steps.append(sample.at.elapsed_s)
            return Finding(readings=(), text="Ended.")

    monkeypatch.setattr("verify.run.owner.make_probe", lambda *_: Once())
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    played(owner, bench, {"bottom-screws": None})
    owner.take_sample(bench.machine.sample())
    found = next(line for line in owner.lines if isinstance(line.event, Found))
    owner.close()
    assert len(steps) >= 1
    # The power goes between the sample and the line that says what was found.
    data = folder.journal_path.read_bytes().splitlines(keepends=True)
    folder.journal_path.write_bytes(b"".join(data[: found.n]))
    again = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert isinstance(again.lines[found.n].event, Opened)
    told = again.lines[found.n + 1].event
    assert isinstance(told, Found)
    assert told == found.event
    assert steps[-1] == steps[0]
    again.close()


def test_a_sample_from_before_a_check_began_says_nothing_about_it(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    until(owner, bench, "cover-flush")
    assert owner.undo()
    old = bench.machine.sample()
    bench.clock.wait(1)
    until(owner, bench, "cover-flush")
    before = len(owner.lines)
    owner.take_sample(old)
    assert len(owner.lines) == before
    owner.close()


@pytest.mark.parametrize("failing", [1, 2], ids=["the session's own line", "the answer"])
def test_a_session_on_a_simulated_machine_is_told_even_if_the_disk_was_full_at_first(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    real, calls = Journal.append, []

    def full(self: Journal, event: Event, at: Instant) -> Line:
        calls.append(event)
        if len(calls) == failing:
            raise JournalWriteError("No space left on device.")
        return real(self, event, at)

    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        owner.answer("first-look", Hazard(present=False))
    owner.answer("first-look", Hazard(present=False))
    record = load_record(folder.path.parent, "TW-1042")
    assert record.simulated
    assert record.scripted
    assert sum(isinstance(line.event, Opened) for line in owner.lines) == 1


def test_a_limit_in_another_unit_keeps_nobody_from_the_run(folder: RunFolder) -> None:
    odd = """\
format: checklist/1
id: odd
revision: 1
title: Odd
checks:
  - id: odd-unit
    kind: probe
    probe: pack-present
    ask: The tool looks for the battery.
    good: It is there.
    place: battery
    stage: closed
    minutes: 1
    limit: {at_least: 3 mm, rule: simple, source: "common practice, no source"}
"""
    bench = SimulatedBench(faults={})
    checklists = (*shipped_checklists(), parse_checklist(odd, name="odd.yaml"))
    begin(folder, ticket=ticket("battery"), checklists=checklists, clock=bench.clock)
    owner = Owner(folder, machine=bench.machine, scripted=True, on_machine=True)
    assert isinstance(played(owner, bench), plan.Held)
    assert owner.state.verdict("odd-unit") is Verdict.UNDECIDED
    assert (
        Owner(folder, machine=bench.machine, scripted=True, on_machine=True).state.verdict("odd-unit")
        is Verdict.UNDECIDED
    )


def test_an_automatic_check_that_cannot_be_made_is_told_before_the_ticket_is_open(folder: RunFolder) -> None:
    wrong = tuple(
        msgspec.structs.replace(
            each,
            checks=tuple(
                msgspec.structs.replace(check, options={"settle": "soon"})
                if check.id == "charge-power"
                else check
                for check in each.checks
            ),
        )
        for each in shipped_checklists()
    )
    bench = SimulatedBench(faults={})
    with pytest.raises(HandbackError, match="soon"):
        begin(
            folder,
            ticket=ticket("battery"),
            checklists=wrong,
            clock=bench.clock,
        )
    assert not folder.journal_path.exists()


def test_the_record_names_the_machine_that_was_read_and_not_the_last_computer(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench, "battery")
    until(owner, bench, "complaint-gone")
    owner.close()
    elsewhere = SimulatedBench(faults={}, design=LARKSPUR_13)
    at_the_bench = Owner(folder, machine=elsewhere.machine, scripted=True, on_machine=True)
    at_the_bench.answer("complaint-gone", GOOD)
    record = load_record(folder.path.parent, "TW-1042")
    assert record.outcome is Outcome.FIT
    assert record.machine["model"] == "Larkspur 15"


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
                owner.made_safe("Demo Technician, sand box", by="Demo Technician")
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
