import io
import os
import pty
import signal
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import msgspec
import pytest
from PIL import Image
from rich.console import Console

from verify.ask.canvas import _Plain
from verify.ask.keys import ANEW, END, ENTER, SUSPEND, Keys, Pasted
from verify.ask.lines import ESCAPE, Entry
from verify.ask.script import play
from verify.ask.simulated import SimulatedBench
from verify.ask.terminal import Terminal
from verify.checklist import Check, Concession
from verify.checklist.answers import Hazard, Look, Seen
from verify.checklist.loader import parse_checklist
from verify.checklist.shipped import shipped_checklists
from verify.machine import Sample
from verify.record.arrival import FoundAs, Tried
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, Shown, begin, live, plan
from verify.run.events import Event, HazardMet, Line
from verify.run.journal import Journal
from verify.run.live import Live
from verify.run.outcome import outcome_of
from verify.run.sampling import Pace
from verify.testing.good_answers import GoodAnswers
from verify.values import Instant, Outcome, Verdict
from verify.values.errors import HandbackError, JournalWriteError

BAD = Look(seen=Seen.NOT_GOOD, note="bent")


class Typist:
    """Presses these keys, one each time that a key is asked for, then closes the window.

    when: waits until this is so of what is shown, and has been drawn.
    """

    live: Live
    by_hand = False
    early: tuple[str, ...] = ()
    """Pressed before the screen that the first key brings."""

    def __init__(self, keys: str, *, when: Callable[[Shown], bool] | None = None) -> None:
        self.left = list(keys)
        self.when = when
        self.end_s = time.monotonic() + 30

    def __call__(self, woken: int) -> Self:
        del woken
        return self

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass

    def burst(self) -> bool:
        return False

    def forget(self) -> list[str]:
        dropped, self.early = list(self.early), ()
        return dropped

    def next(self, timeout_s: float | None) -> str | None:
        del timeout_s
        if self.when is not None:
            if self.when(self.live.shown):
                self.when = None
            assert time.monotonic() < self.end_s, "what is waited for never comes"
            time.sleep(0.005)
            return None
        return self.left.pop(0) if self.left else END


class Fed:
    """A sampler that has these samples and no more; it is asked, as one without a thread of its own."""

    by_itself = False

    def __init__(self, *samples: Sample) -> None:
        self.samples = list(samples)

    def next(self, timeout_s: float) -> Sample | None:
        del timeout_s
        return self.samples.pop(0) if self.samples else None

    def deliver(self, put: Callable[[Sample], None], *, failed: Callable[[HandbackError], None]) -> None:
        pass

    def pace(self, pace: Pace) -> None:
        pass

    def close(self) -> None:
        pass


@pytest.fixture
def bench() -> SimulatedBench:
    return SimulatedBench(faults={})


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RunFolder]:
    with RunFolder(tmp_path / "T-1") as folder:
        yield folder


@pytest.fixture
def owner(folder: RunFolder, bench: SimulatedBench) -> Iterator[Owner]:
    begin(
        folder,
        ticket=Ticket(id="T-1", work=(Work(kind="battery"),)),
        checklists=shipped_checklists(),
        clock=bench.clock,
    )
    owner = Owner(folder, machine=bench.machine, scripted=False, on_machine=True)
    yield owner
    owner.close()


@pytest.fixture
def arriving(folder: RunFolder, bench: SimulatedBench) -> Iterator[Owner]:
    begin(
        folder,
        ticket=Ticket(id="T-1", model="Larkspur 15"),
        checklists=shipped_checklists(),
        clock=bench.clock,
        arriving=True,
    )
    owner = Owner(folder, machine=bench.machine, scripted=False)
    owner.answer("first-look", Hazard(present=False))
    yield owner
    owner.close()


def typed(
    owner: Owner,
    keys: str | Typist,
    monkeypatch: pytest.MonkeyPatch,
    *,
    term: str = "xterm",
    sampler: Fed | None = None,
    folder: Path = Path("nowhere"),
    sees: Callable[[Check], str] | None = None,
    leave_when: Callable[[plan.Due], bool] | None = None,
) -> tuple[str, Shown]:
    """Press the keys at a terminal of this kind; return what it showed, and the run as it was left."""
    typist = Typist(keys) if isinstance(keys, str) else keys
    monkeypatch.setattr("verify.ask.terminal.Keys", typist)
    monkeypatch.setattr(live, "_PACE_S", 0.001)
    out = io.StringIO()
    console = Console(file=out, force_terminal=term != "pipe", width=100, height=40, _environ={"TERM": term})
    running = typist.live = Live(owner, sampler or Fed())
    try:
        Terminal(running, console, folder=folder, sees=sees, leave_when=leave_when).run()
        shown = running.shown
    finally:
        running.close()
    return out.getvalue(), shown


def words(text: str) -> str:
    return " ".join(text.split())


def full(_self: Journal, _event: Event, _at: Instant) -> Line:
    raise JournalWriteError("No space left on device.", next_step="Free some space.")


# What cannot be kept.


@pytest.mark.parametrize("keys", ["ng", "!"])
def test_what_cannot_be_kept_ends_the_run(owner: Owner, keys: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        typed(owner, keys, monkeypatch)


def test_a_made_safe_that_cannot_be_kept_ends_the_run(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    owner.answer("first-look", Hazard(present=True))
    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        typed(owner, f"sme{ENTER}sand{ENTER}", monkeypatch)


def test_a_sample_that_cannot_be_kept_ends_the_run_though_no_key_is_pressed(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    bench.clock.wait(30)
    sample = bench.machine.sample()
    monkeypatch.setattr(Journal, "append", full)
    with pytest.raises(JournalWriteError):
        typed(owner, Typist("", when=lambda _: False), monkeypatch, sampler=Fed(sample))


# Hazards.


def test_a_hazard_stops_everything_at_once_and_is_told_afterwards(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))
    _, shown = typed(owner, "!", monkeypatch)
    assert isinstance(shown.due, plan.Stopped)
    said, shown = typed(
        owner, f"sDemo Technician{ENTER}{ENTER}pack, sand box{ENTER}", monkeypatch, term="dumb"
    )
    assert "Say who made it safe, and where the part is now." in words(said)
    assert "R says what" in words(said)
    (hazard,) = shown.state.hazards
    assert (hazard.made_safe_by, hazard.made_safe) == ("Demo Technician", "pack, sand box")


@pytest.mark.parametrize(
    "before",
    ["", "n", "r", "r1", f"r1{ENTER}", "o", "c"],
    ids=["look", "note", "opened", "one opened", "why opened", "seen beside", "cannot see"],
)
def test_a_hazard_can_be_told_whatever_is_on_the_screen(
    owner: Owner, before: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))
    _, shown = typed(owner, f"{before}!", monkeypatch)
    assert isinstance(shown.due, plan.Stopped)


def test_an_exclamation_mark_in_a_note_is_no_hazard(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    owner.answer("first-look", Hazard(present=False))
    _, shown = typed(owner, f"gnworn!{ENTER}", monkeypatch)
    assert not shown.state.hazards
    current = shown.state.current("pack-label")
    assert current is not None
    assert current.note == "worn!"


def test_one_hazard_is_not_told_twice_by_an_anxious_finger(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed(owner, "!!!", monkeypatch)
    assert sum(isinstance(line.event, HazardMet) for line in owner.lines) == 1


@pytest.mark.parametrize(("key", "said"), [("u", "A hazard cannot be taken back."), ("r", "made safe")])
def test_nothing_goes_round_a_hazard(
    owner: Owner, key: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown_text, shown = typed(owner, f"y{key}", monkeypatch, term="dumb")
    assert said in shown_text
    assert shown.state.hazards_open


# What is shown.


@pytest.mark.parametrize("term", ["dumb", "pipe"])
def test_a_terminal_that_cannot_be_drawn_over_shows_each_screen_as_it_comes(
    owner: Owner, monkeypatch: pytest.MonkeyPatch, term: str
) -> None:
    said, _ = typed(owner, f"nnbent{ENTER}", monkeypatch, term=term)
    places = [said.index(words) for words in ("Is anything bulging", "every side", "What is wrong?", "STOP")]
    assert places == sorted(places)
    assert "bent" in said
    assert "\x1b[2J" not in said
    assert "\x1b[?1049h" not in said


def charging(owner: Owner, bench: SimulatedBench) -> None:
    play(owner, GoodAnswers({"sound": None}), bench.sampler, hands=bench)
    while (strip := owner.strip) is None or strip[0].id != "charge-to-full":
        bench.clock.wait(10)
        owner.take_sample(bench.machine.sample())
    owner.take_sample(bench.machine.sample())


def samples(bench: SimulatedBench, count: int) -> Fed:
    taken: list[Sample] = []
    for _ in range(count):
        bench.clock.wait(10)
        taken.append(bench.machine.sample())
    return Fed(*taken)


@pytest.mark.parametrize("term", ["pipe", "xterm"])
def test_a_bar_that_moves_on_is_not_drawn_with_every_sample(
    owner: Owner, bench: SimulatedBench, term: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    charging(owner, bench)
    assert owner.strip is not None
    before = owner.strip[1].fraction
    fed = samples(bench, 60)
    said, shown = typed(
        owner, Typist("", when=lambda _: not fed.samples), monkeypatch, term=term, sampler=fed
    )
    assert shown.strip is not None
    assert shown.strip[1].fraction != before
    # At most once a second where it is drawn over; where lines follow lines, not at all.
    assert said.count("Q leave") <= (1 if term == "pipe" else 3)


def test_a_session_says_first_what_can_be_done_while_something_runs(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    charging(owner, bench)
    assert "While that runs, go on here:" in typed(owner, "", monkeypatch, term="dumb")[0]


def test_a_watch_that_ends_badly_is_told_at_once(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    bare = SimulatedBench(faults={"pack-missing": "yes"})
    bare.clock.wait(bench.clock.now().elapsed_s + 60)
    before = len(owner.state.found)
    said, shown = typed(
        owner,
        Typist("", when=lambda shown: len(shown.state.found) > before),
        monkeypatch,
        term="dumb",
        sampler=samples(bare, 6),
    )
    found = shown.state.found[before]  # the next one may come before the window closes
    assert shown.state.verdict(found.check) in (Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED)
    assert f": {found.text}" in words(said)


def test_what_the_eyes_tell_is_shown_under_the_asked_check_and_only_for_learning(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    def sees(check: Check) -> str:
        return f"something at {check.place}" if check.id == "first-look" else ""

    learning, _ = typed(owner, "n", monkeypatch, term="dumb", sees=sees)
    assert learning.count("You see:") == 1
    assert "You see: something at whole machine" in learning
    assert "You see" not in typed(owner, "", monkeypatch, term="dumb")[0]


# What comes first meanwhile.


def test_a_note_that_is_being_typed_is_let_go_when_a_hazard_comes_first(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))
    due = owner.due()
    assert isinstance(due, plan.Ask)
    asked = due.pending[0]

    class Interrupted(Typist):
        def next(self, timeout_s: float | None) -> str | None:
            key = super().next(timeout_s)
            if key == "@":
                # As when the watch finds the battery too hot.
                owner.answer(asked, BAD)
                self.live._show()
                return None
            return key

    monkeypatch.setattr("verify.ask.terminal._SURPRISED_S", 0.0)
    keys = f"cdark@ corner{ENTER}{ESCAPE}sDemo Technician{ENTER}sand{ENTER}"
    said, shown = typed(owner, Interrupted(keys), monkeypatch, term="dumb")
    assert "What was typed is not taken." in words(said)
    assert shown.state.hazards[0].made_safe_by == "Demo Technician"
    assert shown.state.verdict(asked) is Verdict.NOT_DONE


def test_a_key_on_its_way_as_the_screen_changes_answers_nothing(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))

    class TooLate(Typist):
        def next(self, timeout_s: float | None) -> str | None:
            key = super().next(timeout_s)
            if key == "g":
                # Answered elsewhere in the very moment in which the key goes down.
                owner.answer("pack-flat", Look(seen=Seen.GOOD))
                self.live._show()
            return key

    _, shown = typed(owner, TooLate("g"), monkeypatch)
    assert isinstance(shown.due, plan.Ask)
    assert shown.due.pending[0] == "pack-label"


def test_a_line_goes_on_when_something_ends_that_it_does_not_answer(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))

    class Meanwhile(Typist):
        def next(self, timeout_s: float | None) -> str | None:
            key = super().next(timeout_s)
            if key == "@":
                owner.answer("pack-flat", Look(seen=Seen.GOOD))
                self.live._show()
                return None
            return key

    _, shown = typed(owner, Meanwhile(f"oLeft hi@nge{ENTER}"), monkeypatch)
    assert [what for _, what in shown.state.noticed] == ["Left hinge"]


def test_a_finding_is_still_told_while_a_note_is_typed_and_after_a_key_on_its_way(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    bare = SimulatedBench(faults={"pack-missing": "yes"})
    bare.clock.wait(bench.clock.now().elapsed_s + 60)
    before = len(owner.state.found)
    typist = Typist("oabc", when=lambda shown: len(shown.state.found) > before)
    monkeypatch.setattr("verify.ask.terminal._SURPRISED_S", 0.0)
    monkeypatch.setattr("verify.ask.terminal._NEWS_S", 60.0)
    drawn: list[tuple[str, str]] = []
    show = _Plain.show

    def seen(canvas: _Plain, shown: Shown, entry: Entry | None, message: str, sees: str) -> float | None:
        if entry is not None and entry.typed:
            drawn.append((entry.typed, message))
        return show(canvas, shown, entry, message, sees)

    monkeypatch.setattr(_Plain, "show", seen)
    _, shown = typed(owner, typist, monkeypatch, term="dumb", sampler=samples(bare, 6))
    assert {typed for typed, _ in drawn} == {"a", "ab", "abc"}
    assert all(shown.state.found[before].text in message for _, message in drawn)


# Keys that nobody meant for what is on the screen.


def test_pasted_text_answers_nothing_and_fills_a_line(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    owner.answer("first-look", Hazard(present=False))
    before = len(owner.lines)
    typist = Typist("")
    typist.left = [Pasted("gggg! u")]
    said, shown = typed(owner, typist, monkeypatch, term="dumb")
    assert "Press one key for one answer." in said
    assert len(owner.lines) == before
    typist = Typist("")
    typist.left = ["o", Pasted("stiff hinge, Größe\x07"), "!", ENTER]
    _, shown = typed(owner, typist, monkeypatch)
    assert [what for _, what in shown.state.noticed] == ["stiff hinge, Größe!"]


def test_a_key_that_is_held_down_does_not_answer_the_whole_screen(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.answer("first-look", Hazard(present=False))
    monkeypatch.setattr("verify.ask.terminal._HELD_S", 60.0)
    typist = Typist("gggg")
    typist.by_hand = True
    said, shown = typed(owner, typist, monkeypatch, term="dumb")
    assert "Was a key held down?" in said
    assert isinstance(shown.due, plan.Ask)
    assert shown.due.pending[0] == "pack-label"


def test_a_key_that_does_nothing_here_says_so(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    before = len(owner.lines)
    typist = Typist("g")
    typist.by_hand = True
    assert "That key does nothing here." in typed(owner, typist, monkeypatch, term="dumb")[0]
    assert len(owner.lines) == before


@pytest.mark.parametrize(
    ("early", "stopped"), [("g", False), ("!", True), ("no! it is", False)], ids=["key", "hazard", "text"]
)
def test_what_was_pressed_before_the_screen_came_answers_nothing_but_a_hazard_counts(
    owner: Owner, early: str, *, stopped: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    typist = Typist("n")
    typist.early = tuple(early)
    said, shown = typed(owner, typist, monkeypatch, term="dumb")
    assert isinstance(shown.due, plan.Stopped) is stopped
    assert ("does not count" in said) is not stopped


# What holds: asked again, accepted.


def test_a_number_that_is_not_shown_asks_nothing_again(owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    # More of them than are asked here: on a screen that holds the key does nothing.
    _, shown = typed(owner, "n" + "g" + f"n{ENTER}" + "g" * 12, monkeypatch)
    assert isinstance(shown.due, plan.Held)
    assert len(shown.due.blocked) == 1
    before = len(owner.lines)
    typed(owner, "2903²", monkeypatch)
    assert len(owner.lines) == before
    _, shown = typed(owner, "1", monkeypatch)
    assert isinstance(shown.due, plan.Ask)


def test_what_is_not_good_while_something_runs_can_be_asked_again_meanwhile(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    charging(owner, bench)
    _, shown = typed(owner, f"nrattles{ENTER}gggg", monkeypatch)
    assert isinstance(shown.due, plan.Watching)
    said, _ = typed(owner, "", monkeypatch, term="dumb")
    assert "Not good meanwhile." in said
    _, shown = typed(owner, "1g", monkeypatch)
    assert isinstance(shown.due, plan.Watching)
    assert not shown.due.blocked
    assert shown.state.verdict("sound") is Verdict.CONFORMS


def test_a_known_flaw_is_accepted_only_with_who_why_and_the_owners_yes(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"sound": BAD}), bench.sampler, hands=bench)
    said, shown = typed(owner, f"a{ENTER}Demo{ENTER}{ENTER}worn{ENTER}{ENTER}", monkeypatch, term="dumb")
    assert words(said).count("It cannot be accepted without that.") == 3
    assert "the owner must have agreed" in words(said)
    assert "sound" not in shown.state.accepted
    typed(owner, f"aDemo{ENTER}worn{ENTER}by telephone{ENTER}", monkeypatch)
    assert isinstance(play(owner, GoodAnswers(), bench.sampler, hands=bench), plan.Complete)
    accepted = owner.state.accepted["sound"][1]
    assert (accepted.by, accepted.reason, accepted.owner_agreed) == ("Demo", "worn", "by telephone")
    assert outcome_of(owner.composition, owner.state)[0] is Outcome.FIT_UNDER_CONCESSION


def with_concession(owner: Owner, check_id: str, concession: Concession) -> None:
    segments = tuple(
        msgspec.structs.replace(
            segment,
            checks=tuple(
                msgspec.structs.replace(check, concession=concession) if check.id == check_id else check
                for check in segment.checks
            ),
        )
        for segment in owner.composition.segments
    )
    owner.composition = msgspec.structs.replace(owner.composition, segments=segments)
    owner._due = None


def test_what_the_owner_cannot_notice_is_for_the_shop_to_decide(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"flat-cables": BAD}), bench.sampler, hands=bench)
    with_concession(owner, "flat-cables", Concession.SHOP)
    said, shown = typed(owner, f"aDemo{ENTER}a scratch{ENTER}", monkeypatch, term="dumb")
    assert "your shop decides" in said
    assert shown.state.accepted["flat-cables"][1].owner_agreed == ""


def test_what_nobody_may_accept_says_so(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"flat-cables": BAD, "lead-ways": BAD}), bench.sampler, hands=bench)
    with_concession(owner, "flat-cables", Concession.NEVER)
    said, shown = typed(owner, "a19", monkeypatch, term="dumb")
    assert "Nobody may accept this one. It has to be mended." in words(said)
    assert "That number is not on the screen." in words(said)
    with_concession(owner, "lead-ways", Concession.NEVER)
    said, shown = typed(owner, "a", monkeypatch, term="dumb")
    assert "Nobody may accept this. It has to be mended." in words(said)
    assert not shown.state.accepted


def test_what_waits_for_the_machine_can_be_accepted_and_not_asked_again(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    owner.on_machine = False
    due = play(owner, GoodAnswers({"deck-smooth": BAD}), bench.sampler, hands=bench)
    assert isinstance(due, plan.Elsewhere)
    said, shown = typed(owner, "2", monkeypatch, term="dumb")
    assert "handback run T-1" in said
    assert "not on the machine: 3 automatic checks wait" in said
    assert "That one waits for the repaired machine." in said
    assert shown.due == due
    _, shown = typed(owner, f"a2Demo{ENTER}never starts{ENTER}at the counter{ENTER}", monkeypatch)
    assert set(shown.state.accepted) == {due.checks[0].id}


# Opened again, seen beside.


def test_opening_again_asks_what_it_may_have_disturbed_and_says_how_much(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    said, shown = typed(owner, f"r{ENTER}31{ENTER}{ENTER}a clip{ENTER}", monkeypatch, term="dumb")
    assert "Press the number of what was opened." in words(said)
    assert "Say why it was opened again." in words(said)
    (opened,) = shown.state.reopened
    assert (opened.opened, opened.why) == (("base", "pack-unplugged"), "a clip")
    assert f"To be checked again: {len(opened.voided)} checks." in words(said)


def test_a_number_pressed_twice_is_not_opened(
    owner: Owner, bench: SimulatedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(owner, GoodAnswers({"bottom-screws": None}), bench.sampler, hands=bench)
    _, shown = typed(owner, f"r1331244{ENTER}x{ENTER}", monkeypatch)
    assert shown.state.reopened[0].opened == ("lid",)


def test_what_is_seen_beside_the_work_is_kept_and_holds_nothing(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    due = owner.due()
    said, shown = typed(owner, f"o{ENTER}hinge stiff{ENTER}", monkeypatch, term="dumb")
    assert "Say what was seen." in said
    assert [what for _, what in shown.state.noticed] == ["hinge stiff"]
    assert shown.due == due


# On arrival.


def test_which_computer_this_is_is_asked_once(arriving: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    said, shown = typed(arriving, "xn", monkeypatch, term="dumb")
    assert "(T-1, Larkspur 15)?" in words(said)
    assert shown.on_machine is False
    assert isinstance(shown.due, plan.Arrive)


def test_everything_on_arrival_is_kept_line_by_line(
    arriving: Owner, folder: RunFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures = tmp_path / "two words"
    pictures.mkdir()
    for name in ("a.png", "b.png", "c.png"):
        Image.new("RGB", (4, 3)).save(pictures / name)
    paths = (
        f"{pictures}/a.png".replace(" ", "\\ "),
        f"'{pictures}/b.png'",
        f"file://{pictures}/c.png".replace(" ", "%20"),
    )
    keys = (
        f"nrDead at noon{ENTER}{paths[0]}{ENTER}'{pictures}/none.png'{ENTER}{paths[1]}{ENTER}"
        f"{paths[2]}{ENTER}{ENTER}charger,  blue  sleeve{ENTER}wftww"
    )
    said, shown = typed(
        arriving,
        keys,
        monkeypatch,
        term="dumb",
        folder=folder.path,
        leave_when=lambda due: isinstance(due, plan.SayWork),
    )
    assert "none.png is not there." in words(said)
    taken = shown.state.arrival
    assert taken.found_as is FoundAs.RUNS
    assert shown.ticket.complaint == "Dead at noon"
    assert taken.accessories == ("charger", "blue sleeve")
    assert list((taken.tried or {}).values()) == [
        Tried.WORKS,
        Tried.FAILS,
        Tried.NOT_TRIED,
        Tried.WORKS,
        Tried.WORKS,
    ]
    assert [picture.file for picture in taken.pictures or ()] == [
        f"pictures/0{number}.jpg" for number in (1, 2, 3)
    ]
    assert isinstance(shown.due, plan.SayWork)


def test_none_is_an_answer_on_arrival(arriving: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    said, shown = typed(arriving, f"naSays nothing{ENTER}{ENTER}none{ENTER}", monkeypatch, term="dumb")
    assert shown.state.arrival.found_as is FoundAs.APART
    assert shown.state.arrival.pictures == ()
    assert shown.state.arrival.accessories == ()
    assert "handback start T-1 --work" in said


def test_a_file_dragged_in_on_arrival_after_the_line_was_left_opens_it_again(
    arriving: Owner, folder: RunFolder, shot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typist = Typist(f"nrToo hot{ENTER}\x1b")
    typist.left += [Pasted(str(shot)), ENTER, ENTER]
    _, shown = typed(arriving, typist, monkeypatch, folder=folder.path)
    assert len(shown.state.arrival.pictures or ()) == 1


def test_undo_takes_the_last_line_of_arrival_back(arriving: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    _, shown = typed(arriving, f"nrtoo hot{ENTER}{ESCAPE}u", monkeypatch)
    assert isinstance(shown.due, plan.Arrive)
    assert shown.due.pending[0] == "complaint"
    assert shown.ticket.complaint == ""


def test_a_picture_that_was_taken_back_is_not_written_over(
    arriving: Owner, folder: RunFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number, name in enumerate(("a.png", "b.png")):
        Image.new("RGB", (4, 3), (number * 90, 0, 0)).save(tmp_path / name)
    _, shown = typed(
        arriving,
        f"nrx{ENTER}{tmp_path}/a.png{ENTER}{ESCAPE}{ESCAPE}u{tmp_path}/b.png{ENTER}",
        monkeypatch,
        folder=folder.path,
    )
    assert [picture.file for picture in shown.state.arrival.pictures or ()] == ["pictures/02.jpg"]
    assert (folder.path / "pictures" / "01.jpg").exists()


# Pictures at a check.

PHOTO = """\
format: checklist/1
id: photos
revision: 1
title: Photos
steps:
  - {id: open-up, name: open the base, stage: arrived, leads_to: open}
  - {id: hand-back, name: hand the machine back, stage: open}
checks:
  - {id: first-look, kind: hazard, ask: Does anything bulge?, good: Nothing., place: whole machine,
     stage: arrived, minutes: 0.5, before: [open-up], stop: yes, caution: Stop if so.}
  - {id: leads, kind: look, ask: Look at the leads., good: Home., place: inside, stage: open, minutes: 0.5}
  - {id: inside, kind: photo, ask: Photograph the inside., good: All of it shows., place: inside,
     stage: open, minutes: 0.5}
"""


@pytest.fixture
def photos(folder: RunFolder, bench: SimulatedBench) -> Iterator[Owner]:
    begin(
        folder,
        ticket=Ticket(id="T-1"),
        checklists=[parse_checklist(PHOTO, name="photos.yaml")],
        clock=bench.clock,
    )
    owner = Owner(folder, machine=bench.machine, scripted=False, on_machine=True)
    owner.answer("first-look", Hazard(present=False))
    yield owner
    owner.close()


@pytest.fixture
def shot(tmp_path: Path) -> Path:
    Image.new("RGB", (30, 20), "teal").save(tmp_path / "inside.png")
    return tmp_path / "inside.png"


def pictures_of(shown: Shown, check: str) -> list[str]:
    return [picture.file for picture in shown.state.pictures.get(check, ())]


def test_a_photo_is_answered_with_a_file_and_then_judged_by_a_key(
    photos: Owner, folder: RunFolder, shot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said, shown = typed(photos, f"gg{ENTER}{shot}{ENTER}g", monkeypatch, term="dumb", folder=folder.path)
    assert "Give the picture first: press Enter. Without one: press -." in words(said)
    assert "Enter its picture - no picture" in words(said)
    assert "Picture 01 is kept." in words(said)
    assert "1 picture taken" in words(said)
    assert pictures_of(shown, "inside") == ["pictures/01.jpg"]
    assert shown.state.verdict("inside") is Verdict.CONFORMS


@pytest.mark.parametrize("keys", ["-", f"{ENTER}-{ENTER}"], ids=["as a key", "for the file"])
def test_no_camera_at_hand_is_said_with_a_reason(
    photos: Owner, folder: RunFolder, keys: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    said, shown = typed(
        photos, f"g{keys}{ENTER}the battery is flat{ENTER}", monkeypatch, term="dumb", folder=folder.path
    )
    assert "It needs a reason." in words(said)
    current = shown.state.current("inside")
    assert current is not None
    assert current.judgement.because == "Not done: no picture was taken. the battery is flat"


@pytest.mark.parametrize(
    ("judged", "verdict"), [("n", Verdict.DOES_NOT_CONFORM), ("c", Verdict.UNDECIDED)], ids=["bad", "unseen"]
)
def test_a_picture_that_is_not_good_or_shows_nothing_takes_a_word(
    photos: Owner,
    folder: RunFolder,
    shot: Path,
    judged: str,
    verdict: Verdict,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    keys = f"g{ENTER}{shot}{ENTER}{judged}too dark{ENTER}"
    _, shown = typed(photos, keys, monkeypatch, folder=folder.path)
    assert shown.state.verdict("inside") is verdict


def test_a_picture_goes_to_what_is_asked_or_to_the_answer_just_given(
    photos: Owner, folder: RunFolder, shot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The first question is answered: already the first P has two to choose from.
    keys = f"p1{shot}{ENTER}p1{shot}{ENTER}g" + f"p2{shot}{ENTER}" + f"p1{shot}{ENTER}g" + f"p{shot}{ENTER}"
    _, shown = typed(photos, keys, monkeypatch, folder=folder.path)
    assert pictures_of(shown, "leads") == ["pictures/01.jpg", "pictures/02.jpg", "pictures/03.jpg"]
    assert pictures_of(shown, "inside") == ["pictures/04.jpg", "pictures/05.jpg"]
    assert isinstance(shown.due, plan.Complete)


def test_what_is_no_picture_is_told_and_the_question_stands(
    photos: Owner, folder: RunFolder, shot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "phone.heic").write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(200))
    keys = f"g{ENTER}{tmp_path}/gone.png{ENTER}{tmp_path}/phone.heic{ENTER}{shot}{ENTER}"
    said, shown = typed(photos, keys, monkeypatch, term="dumb", folder=folder.path)
    assert "gone.png is not there." in words(said)
    assert "HEIC picture; this kind is not read here." in words(said)
    assert isinstance(shown.due, plan.Ask)
    assert pictures_of(shown, "inside") == ["pictures/01.jpg"]


def test_a_file_dragged_in_where_a_picture_is_asked_for_opens_the_line(
    photos: Owner, folder: RunFolder, shot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typist = Typist("g")
    typist.left += [Pasted(str(shot)), ENTER, "g"]
    _, shown = typed(photos, typist, monkeypatch, folder=folder.path)
    assert pictures_of(shown, "inside") == ["pictures/01.jpg"]
    assert isinstance(shown.due, plan.Complete)


def test_undo_takes_the_picture_back_and_it_has_to_be_given_again(
    photos: Owner, folder: RunFolder, shot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said, shown = typed(photos, f"g{ENTER}{shot}{ENTER}ug", monkeypatch, term="dumb", folder=folder.path)
    assert "Taken back." in words(said)
    assert pictures_of(shown, "inside") == []
    assert isinstance(shown.due, plan.Ask)


def test_while_a_hazard_stands_p_does_nothing(photos: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    _, shown = typed(photos, "!p", monkeypatch)
    assert isinstance(shown.due, plan.Stopped)
    assert shown.state.pictures == {}


# Keys.


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


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A terminal of our own; what is written to it are the keys."""
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r", encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield ours
    os.close(ours)


def test_arrows_and_function_keys_answer_nothing_and_swallow_no_key(keyboard: int) -> None:
    with Keys() as keys:
        os.write(keyboard, b"\x1b[A\x1bOP\x1b[15~g\x1b[1;5Dn")
        assert [keys.next(5), keys.next(5)] == ["g", "n"]
        assert keys.next(0) is None
        os.write(keyboard, b"\x1b")
        assert keys.next(5) == ESCAPE
        os.write(keyboard, b"\x1b!")
        assert [keys.next(5), keys.next(5)] == [ESCAPE, "!"]


def test_an_arrow_that_comes_in_pieces_is_no_letter(keyboard: int) -> None:
    with Keys() as keys:
        os.write(keyboard, b"\x1b")
        threading.Timer(0.005, os.write, (keyboard, b"[A")).start()
        assert keys.next(5) is None
        os.write(keyboard, b"n")
        assert keys.next(5) == "n"


def test_whoever_waits_for_a_key_is_woken(keyboard: int) -> None:
    del keyboard
    woken, wake = os.pipe()
    with Keys(woken) as keys:
        threading.Timer(0.05, os.write, (wake, b".")).start()
        assert keys.next(None) is None
    os.close(woken)
    os.close(wake)


def test_a_window_that_changes_its_size_is_noticed(keyboard: int) -> None:
    del keyboard
    with Keys() as keys:
        threading.Timer(0.05, os.kill, (os.getpid(), signal.SIGWINCH)).start()
        assert keys.next(None) is None
    assert signal.getsignal(signal.SIGWINCH) is signal.SIG_DFL


def test_a_signal_that_another_thread_takes_is_noticed_all_the_same(keyboard: int) -> None:
    del keyboard
    ended = threading.Event()
    other = threading.Thread(target=ended.wait)
    other.start()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGWINCH})
    try:
        with Keys() as keys:
            threading.Timer(0.05, os.kill, (os.getpid(), signal.SIGWINCH)).start()
            began = time.monotonic()
            assert keys.next(20) is None
            assert time.monotonic() < began + 10
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        ended.set()
        other.join()


def test_pasted_text_is_one_line_however_it_comes(keyboard: int) -> None:
    with Keys() as keys:
        os.write(keyboard, "g\x1b[200~It is\r\nt\x1b[31moo  hot: Größ".encode())
        assert keys.next(5) == "g"
        assert keys.next(0) is None
        os.write(keyboard, b"e\tnow\n\x1b[20")
        assert keys.next(5) is None
        os.write(keyboard, b"1~n")
        pasted = keys.next(5)
        assert isinstance(pasted, Pasted)
        assert pasted == "It is too hot: Größe now"
        assert keys.next(5) == "n"


def test_what_was_pressed_early_is_dropped_at_a_terminal_and_a_text_is_known_by_its_speed(
    keyboard: int,
) -> None:
    with Keys() as keys:
        os.write(keyboard, b"gn!")
        assert keys.next(5) == "g"
        assert keys.burst()
        os.write(keyboard, b"u")
        assert keys.forget() == ["n", "!", "u"]
        assert keys.next(0) is None


def test_what_comes_out_of_a_pipe_is_never_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    ours, theirs = os.pipe()
    with os.fdopen(ours, encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        with Keys() as keys:
            os.write(theirs, b"gng")
            assert keys.next(5) == "g"
            assert not keys.burst()
            assert keys.forget() == []
            assert [keys.next(5), keys.next(5)] == ["n", "g"]
            os.close(theirs)
            assert keys.next(5) == END


def test_ctrl_z_is_a_key_and_a_terminal_that_was_taken_away_is_taken_back(keyboard: int) -> None:
    with Keys() as keys:
        os.write(keyboard, b"\x1a")
        assert keys.next(5) == SUSPEND
        cooked = termios.tcgetattr(sys.stdin.fileno())
        cooked[3] |= termios.ICANON | termios.ECHO
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSANOW, cooked)
        os.kill(os.getpid(), signal.SIGCONT)
        assert keys.next(5) == ANEW
        assert not termios.tcgetattr(sys.stdin.fileno())[3] & (termios.ICANON | termios.ECHO)
    assert signal.getsignal(signal.SIGCONT) is signal.SIG_DFL
    assert termios.tcgetattr(sys.stdin.fileno())[6][termios.VSUSP] == b"\x1a"
