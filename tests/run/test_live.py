import select
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from verify.ask.simulated import SimulatedBench
from verify.checklist.answers import Hazard, Look, Seen
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, Shown, begin, plan
from verify.run.live import Live
from verify.run.sampling import ThreadSampler
from verify.testing.good_answers import GoodAnswers
from verify.values.errors import JournalWriteError, MachineError, OrderError

PATIENCE_S = 20.0


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "TW-1042") as held:
        yield held


def opened(folder: RunFolder, bench: SimulatedBench) -> Owner:
    begin(
        folder,
        ticket=Ticket(id="TW-1042", work=(Work(kind="battery"),)),
        checklists=shipped_checklists(),
        clock=bench.clock,
    )
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=True)


def until(live: Live, reached: Callable[[Shown], bool]) -> Shown:
    """Wait as a screen does, without polling, until the run is there."""
    end = time.monotonic() + PATIENCE_S
    while not reached(shown := live.shown):
        left = end - time.monotonic()
        assert left > 0, f"never reached: {shown.due}"
        select.select([live.woken], [], [], left)
        live.rest()
    return shown


def answer_looks(live: Live, bench: SimulatedBench) -> None:
    """Answer and do whatever is due until the run only watches."""
    answers = GoodAnswers()
    while True:
        due = live.shown.due
        if isinstance(due, plan.Ask):
            check = next(check for check in due.checks if check.id == due.pending[0])
            answer = answers.answer(check)
            assert answer is not None
            live.do(partial(Owner.answer, check_id=check.id, answer=answer))
        elif isinstance(due, plan.Do):
            step = due.step
            bench.did(step)
            live.do(partial(Owner.take_step, step_id=step.id))
        else:
            return


def goes_on_for_ever(live: Live, bench: SimulatedBench) -> None:
    live.do(lambda owner: owner.answer("first-look", Hazard(present=False)))
    answer_looks(live, bench)
    until(live, lambda _: False)


def test_a_run_goes_on_by_itself_while_nobody_asks(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    live = Live(opened(folder, bench), bench.sampler)
    live.do(lambda owner: owner.answer("first-look", Hazard(present=False)))
    try:
        answer_looks(live, bench)
        shown = until(live, lambda shown: "pack-present" in shown.state.tries)
        assert shown.state.current("pack-present") is not None
    finally:
        live.close()


def test_commands_are_done_in_the_owners_thread_and_their_errors_come_back(folder: RunFolder) -> None:
    bench = SimulatedBench(faults={})
    live = Live(opened(folder, bench), bench.sampler)
    try:
        assert live.do(lambda _: threading.current_thread().name) == "owner"
        with pytest.raises(OrderError):
            live.do(lambda owner: owner.answer("sound", Look(seen=Seen.GOOD)))
        live.do(lambda owner: owner.answer("first-look", Hazard(present=False)))
        until(live, lambda shown: isinstance(shown.due, plan.Ask) and "first-look" not in shown.due.pending)
    finally:
        live.close()


class DeadMachine:
    """Stands in for a machine whose reading fails, as none can be made to here."""

    def __init__(self, bench: SimulatedBench, error: Exception) -> None:
        self._bench = bench
        self._error = error

    def sample(self) -> Sample:
        raise self._error

    def __getattr__(self, name: str) -> object:
        return getattr(self._bench.machine, name)


@pytest.mark.parametrize(
    ("error", "says"),
    [(MachineError("The bus is gone."), "The bus is gone."), (ZeroDivisionError("0"), "ZeroDivisionError")],
    ids=["ours", "foreign"],
)
def test_a_machine_that_cannot_be_read_is_told_to_whoever_asks(
    folder: RunFolder, error: Exception, says: str
) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench)
    sampler = ThreadSampler(DeadMachine(bench, error), every_s=0.2)  # type: ignore[arg-type] # stands in
    live = Live(owner, sampler)
    try:
        with pytest.raises(MachineError, match=says):
            goes_on_for_ever(live, bench)
    finally:
        live.close()


@pytest.mark.parametrize("breaks", ["sampler", "screen"])
def test_a_fault_in_the_background_is_told_and_nobody_waits_for_ever(
    folder: RunFolder, breaks: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = SimulatedBench(faults={})
    owner = opened(folder, bench)

    def broken(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    live = Live(owner, bench.sampler)
    live.do(lambda owner: owner.answer("first-look", Hazard(present=False)))
    answer_looks(live, bench)
    # Faults of our own, that nothing else here brings about.
    if breaks == "sampler":
        monkeypatch.setattr(bench.sampler, "next", broken)
    else:
        monkeypatch.setattr(owner, "shown", broken)
    with pytest.raises(MachineError, match="ZeroDivisionError"):
        until(live, lambda _: False)
    with pytest.raises(MachineError, match="ZeroDivisionError"):
        live.do(lambda owner: owner.undo())
    live._thread.join(PATIENCE_S)
    assert not owner.loads
    live.close()


def test_a_trace_that_cannot_be_written_ends_the_run_with_a_plain_word(
    folder: RunFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = SimulatedBench(faults={})
    live = Live(opened(folder, bench), bench.sampler)
    try:
        # A fault injected where no full disk can be made in a test of one process.
        from verify.run import trace

        def full(self: object, sample: Sample) -> None:
            del self, sample
            raise JournalWriteError("No space left on device.", next_step="Free some.")

        monkeypatch.setattr(trace.Trace, "write", full)
        with pytest.raises(JournalWriteError, match="No space left"):
            goes_on_for_ever(live, bench)
    finally:
        live.close()


def test_nothing_is_read_while_nothing_is_to_be_fed(folder: RunFolder) -> None:
    reads = []

    class Counting(DeadMachine):
        def sample(self) -> Sample:
            reads.append(1)
            return self._bench.machine.sample()

    bench = SimulatedBench(faults={})
    owner = opened(folder, bench)
    sampler = ThreadSampler(Counting(bench, MachineError("")), every_s=0.05)  # type: ignore[arg-type] # stands in
    live = Live(owner, sampler)
    try:
        settled = len(reads)
        for _ in range(5):
            live.do(lambda owner: owner.due())
            time.sleep(0.05)
        assert len(reads) <= settled + 1, "one read may have begun before the run said that nothing is due"
    finally:
        live.close()
