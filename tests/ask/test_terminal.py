import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest
from rich.console import Console

from verify.ask.keys import END, ENTER
from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.ask.terminal import Terminal
from verify.checklist.answers import Hazard, Look, Seen
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, begin, plan
from verify.run.events import Event, Line
from verify.run.journal import Journal
from verify.testing.good_answers import GoodAnswers
from verify.values import Instant, Verdict
from verify.values.errors import JournalWriteError


class Typist:
    """Presses these keys, one each time that a key is asked for, then closes the window."""

    def __init__(self, keys: str) -> None:
        self.left = list(keys)

    def __call__(self) -> Self:
        return self

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def next(self, timeout_s: float) -> str | None:
        del timeout_s
        return self.left.pop(0) if self.left else END


class Quiet:
    """A sampler that has these samples and no more."""

    def __init__(self, *samples: Sample) -> None:
        self.samples = list(samples)

    def next(self, timeout_s: float) -> Sample | None:
        del timeout_s
        return self.samples.pop(0) if self.samples else None

    def close(self) -> None:
        pass


@pytest.fixture
def bench() -> SimulatedBench:
    return SimulatedBench(faults={})


@pytest.fixture
def owner(tmp_path: Path, bench: SimulatedBench) -> Iterator[Owner]:
    with RunFolder(tmp_path / "T-1") as folder:
        begin(
            folder,
            ticket=Ticket(id="T-1", work=(Work(kind="battery"),)),
            checklists=shipped_checklists(),
            clock=bench.clock,
        )
        owner = Owner(folder, machine=bench.machine, scripted=False)
        yield owner
        owner.close()


def typed(owner: Owner, keys: str, monkeypatch: pytest.MonkeyPatch, *, term: str = "xterm") -> str:
    monkeypatch.setattr("verify.ask.terminal.Keys", Typist(keys))
    out = io.StringIO()
    console = Console(file=out, force_terminal=term != "pipe", width=100, height=40, _environ={"TERM": term})
    Terminal(owner, Quiet(), console).run()
    return out.getvalue()


def test_an_answer_that_cannot_be_kept_ends_the_run(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_self: Journal, _event: Event, _at: Instant) -> Line:
        raise JournalWriteError("No space left on device.", next_step="Free some space.")

    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        typed(owner, "ng", monkeypatch)


def test_a_made_safe_that_cannot_be_kept_ends_the_run(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    owner.answer("first-look", Hazard(present=True))

    def full(_self: Journal, _event: Event, _at: Instant) -> Line:
        raise JournalWriteError("No space left on device.", next_step="Free some space.")

    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        typed(owner, f"sme{ENTER}", monkeypatch)


def test_undo_at_a_hazard_says_why_not(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    said = typed(owner, "yu", monkeypatch, term="dumb")
    assert "A hazard cannot be taken back." in said
    assert owner.state.hazards_open


@pytest.mark.parametrize("term", ["dumb", "pipe"])
def test_a_terminal_that_cannot_be_drawn_over_shows_each_screen_as_it_comes(
    owner: Owner, monkeypatch: pytest.MonkeyPatch, term: str
) -> None:
    said = typed(owner, f"nnbent{ENTER}", monkeypatch, term=term)
    places = [said.index(words) for words in ("Is anything bulging", "every side", "What is wrong?", "STOP")]
    assert places == sorted(places)
    assert "bent" in said
    assert "\x1b[2J" not in said
    assert "\x1b[?1049h" not in said


def test_a_bar_that_moves_on_is_not_said_again_in_plain_lines(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"sound": None}), bench.sampler, hands=bench)
    while (strip := owner.strip) is None or strip[0].id != "charge-to-full":
        bench.clock.wait(10)
        owner.take_sample(bench.machine.sample())
    owner.take_sample(bench.machine.sample())
    assert owner.strip is not None
    samples: list[Sample] = []
    for _ in range(30):
        bench.clock.wait(10)
        samples.append(bench.machine.sample())
    before = owner.strip[1].fraction
    monkeypatch.setattr("verify.ask.terminal.Keys", Typist("     "))
    out = io.StringIO()
    Terminal(owner, Quiet(*samples), Console(file=out, width=100)).run()
    assert owner.strip[1].fraction != before
    assert out.getvalue().count("Q leave") == 1


def test_a_watch_that_ends_badly_is_told_at_once(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    bare = SimulatedBench(faults={"pack-missing": "yes"})
    bare.clock.wait(bench.clock.now().elapsed_s + 60)
    monkeypatch.setattr("verify.ask.terminal.Keys", Typist(" "))
    out = io.StringIO()
    Terminal(owner, Quiet(bare.machine.sample()), Console(file=out, width=100)).run()
    found = owner.state.found[-1]
    assert owner.state.verdict(found.check) in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED)
    said = " ".join(out.getvalue().split())
    assert f": {found.text}" in said, said


def test_a_note_that_is_being_typed_is_let_go_when_a_hazard_comes_first(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))
    due = owner.due()
    assert isinstance(due, plan.Ask)
    asked = due.pending[0]

    class Interrupted(Typist):
        def next(self, timeout_s: float) -> str | None:
            key = super().next(timeout_s)
            if key == "!":
                # As when the watch finds the battery too hot.
                owner.answer(asked, Look(seen=Seen.NOT_GOOD, note="hot"))
                return None
            return key

    monkeypatch.setattr("verify.ask.terminal.Keys", Interrupted(f"cdark!sDemo Technician{ENTER}"))
    out = io.StringIO()
    Terminal(owner, Quiet(), Console(file=out, width=100)).run()
    assert "What was typed is not taken." in out.getvalue()
    assert owner.state.hazards[0].made_safe == "Demo Technician"
    assert owner.state.verdict(asked) is Verdict.NOT_DONE


def test_a_number_that_is_not_shown_asks_nothing_again(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    typed(owner, "n" + "g" + f"n{ENTER}gg", monkeypatch)
    due = owner.due()
    assert isinstance(due, plan.Held)
    assert len(due.blocked) == 1
    before = len(owner.lines)
    typed(owner, "2903²", monkeypatch)
    assert len(owner.lines) == before
    typed(owner, "1", monkeypatch)
    assert isinstance(owner.due(), plan.Ask)


def test_a_closed_input_is_a_plain_sentence() -> None:
    code = (
        "import sys; sys.stdin = None\n"
        "from verify.ask.keys import Keys\n"
        "from verify.values.errors import WrongUseError\n"
        "try: Keys()\n"
        "except WrongUseError as error: print(error)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "--answers" in said
