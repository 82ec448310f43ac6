import os
import pty
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from rich.console import Console

from verify.ask.colours import ROUGH, colour_note
from verify.ask.key_map import ROWS, key_name, map_lines
from verify.ask.keys import BACK, ENTER, Keys, Pasted
from verify.ask.legend import legend
from verify.ask.lines import ESCAPE
from verify.ask.simulated import SimulatedBench
from verify.ask.trying import PAGE_NAME, KeyMap, Trying
from verify.checklist import Check, Shows
from verify.checklist.answers import Hazard
from verify.checklist.shipped import shipped_checklists
from verify.record.model import Ticket, Work
from verify.run import Owner, RunFolder, Shown, begin, plan
from verify.values.errors import OrderError


@pytest.fixture
def shown(tmp_path: Path) -> Iterator[Shown]:
    """A run of a simulated bench at its first look."""
    bench = SimulatedBench(faults={})
    with RunFolder(tmp_path / "T-1") as folder:
        begin(
            folder,
            ticket=Ticket(id="T-1", work=(Work(kind="feet"),)),
            checklists=shipped_checklists(),
            clock=bench.clock,
        )
        owner = Owner(folder, machine=bench.machine, scripted=False, on_machine=True)
        owner.answer("first-look", Hazard(present=False))
        yield owner.shown()
        owner.close()


def asking(shown: Shown, shows: Shows, *, on_machine: bool, real: bool = True) -> tuple[Shown, Check]:
    """The same run, as if its next check were one that the tool can show something for."""
    check = next(check for check in shown.composition.checks if check.id == "sound")
    check = msgspec.structs.replace(check, shows=shows)
    due = plan.Ask(stage=check.stage, checks=(check,), pending=(check.id,))
    changed = msgspec.structs.replace(
        shown, due=due, on_machine=on_machine, simulated=not real and shown.simulated, practice=False
    )
    return changed, check


def console(term: str, **environment: str) -> Console:
    return Console(force_terminal=True, _environ={"TERM": term, **environment})


@pytest.mark.parametrize("shows", Shows, ids=str)
def test_on_another_computer_it_is_not_offered_and_the_key_says_why(
    shown: Shown, tmp_path: Path, shows: Shows
) -> None:
    there, check = asking(shown, shows, on_machine=False)
    assert not any(" T " in line for line in legend(there, None, brief=False))
    with pytest.raises(OrderError, match="Only the repaired machine itself") as told:
        Trying(tmp_path, console("xterm")).begin(there, check)
    assert "handback try FILE.html" in told.value.next_step
    here, _ = asking(shown, shows, on_machine=True)
    assert sum(" T " in line for line in legend(here, None, brief=False)) == 1


@pytest.mark.parametrize("shows", Shows, ids=str)
@pytest.mark.parametrize("term", ["xterm-256color", "dumb"])
def test_a_simulated_run_plays_shows_and_counts_nothing(
    shown: Shown, tmp_path: Path, shows: Shows, term: str
) -> None:
    here, check = asking(shown, shows, on_machine=True, real=False)
    assert here.simulated
    prompt = Trying(tmp_path, console(term)).begin(here, check)
    assert prompt.entry.prompt.startswith("Simulated: no")
    for key in ("1", ENTER, "p", "g"):
        assert prompt.key(key) is prompt
    assert prompt.key(ESCAPE) is None
    assert not list(tmp_path.glob("*.wav")) + list(tmp_path.glob("*.html"))


def test_where_no_map_can_be_drawn_the_page_is_made_instead(shown: Shown, tmp_path: Path) -> None:
    here, check = asking(shown, Shows.KEYS, on_machine=True)
    prompt = Trying(tmp_path, console("dumb")).begin(here, check)
    assert prompt.key(ENTER) is prompt
    assert "cannot show a map" in prompt.entry.error
    page = prompt.key("p")
    assert page is not None
    assert str(tmp_path / PAGE_NAME) in page.entry.about
    assert (tmp_path / PAGE_NAME).is_file()


def test_a_page_that_cannot_be_written_is_said_and_nothing_is_lost(shown: Shown, tmp_path: Path) -> None:
    here, check = asking(shown, Shows.KEYS, on_machine=True)
    prompt = Trying(tmp_path / "pulled out", console("xterm")).begin(here, check)
    assert prompt.key("p") is prompt
    assert "could not be written" in prompt.entry.error


def test_a_tone_that_cannot_be_written_is_said_and_nothing_is_lost(shown: Shown, tmp_path: Path) -> None:
    here, check = asking(shown, Shows.TONES, on_machine=True)
    trying = Trying(tmp_path / "pulled out", console("xterm"))
    prompt = trying.begin(here, check)
    assert prompt.key("1") is prompt
    assert "The tone could not be written" in prompt.entry.error
    trying.close()


@pytest.mark.parametrize(
    ("term", "environment", "note"),
    [
        ("xterm-256color", {}, ""),
        ("xterm", {"COLORTERM": "truecolor"}, ""),
        ("xterm", {}, ROUGH),
        ("dumb", {}, None),
        ("xterm-256color", {"NO_COLOR": "1"}, None),
    ],
    ids=["256", "exact", "16", "dumb", "NO_COLOR"],
)
def test_a_terminal_is_told_by_the_colours_it_has(
    term: str, environment: dict[str, str], note: str | None
) -> None:
    if note is None:
        with pytest.raises(OrderError, match="shows no colours"):
            colour_note(console(term, **environment))
    else:
        assert colour_note(console(term, **environment)) == note


# What terminals send: ECMA-48, xterm "Control Sequences" (PC-style function keys), console_codes(4).
@pytest.mark.parametrize(
    ("sent", "name"),
    [
        *(
            ("\x1b[A", "Up"),
            ("\x1bOB", "Down"),
            ("\x1b[1;5C", "Right"),
            ("\x1b[Z", "Tab"),
            ("\x1bOH", "Home"),
        ),
        *(("\x1bOP", "F1"), ("\x1b[11~", "F1"), ("\x1b[[A", "F1"), ("\x1b[1;2S", "F4"), ("\x1b[15~", "F5")),
        *(("\x1b[24;2~", "F12"), ("\x1b[3~", "Del"), ("\x1b[6~", "PgDn"), ("\x7f", "Back"), ("\n", "Enter")),
        *(("A", "a"), ("É", "é"), ("\x01", "a"), ("\x1bx", "x"), (" ", "Space"), ("\x1b", "Esc")),
        *(("\x1b[99~", "?[99~"), ("\x1b[5;5Q9", "?[5;5Q9"), ("\x00;", "F1"), ("\x00\x86", "F12")),
    ],
)
def test_what_a_key_sends_is_known_by_its_name(sent: str, name: str) -> None:
    assert key_name(sent) == name


def test_a_key_that_sends_twice_shows_two_and_the_rest_of_the_map_stays_empty() -> None:
    lines = map_lines(Counter({"a": 1, "e": 2, "ß": 1}))
    assert "a 1  b .  c .  d .  e 2  f ." in "\n".join(lines)
    assert any(line.startswith("Others:") and "ß 1" in line for line in lines)
    assert lines[-2] == f"3 keys came. Of these rows, {sum(map(len, ROWS)) - 2} not yet."
    assert lines[-1].startswith("More than once: e 2")


def test_a_map_of_everything_that_ever_came_still_fits_the_smallest_terminal() -> None:
    came = Counter({name: 3 for row in ROWS for name in row})
    came.update({f"?[{number}~": 12 for number in range(500)})
    lines = map_lines(came)
    assert max(map(len, lines)) <= 76
    assert len(lines) <= 17


def test_an_escape_key_that_sends_twice_does_not_leave_and_a_finger_does() -> None:
    now_s = [100.0]
    keys = KeyMap(still=lambda _: True, now=lambda: now_s[0])
    assert keys.key(ESCAPE) is keys
    now_s[0] += 0.02
    assert keys.key(ESCAPE) is keys
    now_s[0] += 0.3
    assert keys.key("a") is keys
    now_s[0] += 0.3
    assert keys.key(ESCAPE) is keys
    assert "Esc 3" in " ".join(keys.entry.about)
    now_s[0] += 0.3
    assert keys.key(ESCAPE) is None


def test_what_is_pasted_into_the_map_is_no_key() -> None:
    keys = KeyMap(still=lambda _: True)
    keys.key(Pasted("abc"))
    assert "a ." in " ".join(keys.entry.about)


@pytest.fixture
def keyboard(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A terminal of our own; what is written to it are the keys."""
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r", encoding="utf-8") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield ours
    os.close(ours)


def test_while_every_key_counts_arrows_and_function_keys_come_as_they_were_sent(keyboard: int) -> None:
    with Keys() as keys:
        keys.every = True
        os.write(keyboard, b"\x1b[A\x1bOP\x1b[[Ag\x1bx\x08\x1b\x1b")
        sent = [keys.next(5) for _ in range(8)]
        assert sent == ["\x1b[A", "\x1bOP", "\x1b[[A", "g", "\x1bx", BACK, "\x1b", "\x1b"]
        keys.every = False
        os.write(keyboard, b"\x1b[[B\x1b[Ah")
        assert keys.next(5) == "h"


def test_a_function_key_of_the_linux_console_is_no_letter_though_it_comes_in_pieces(keyboard: int) -> None:
    with Keys() as keys:
        os.write(keyboard, b"\x1b[[")
        os.write(keyboard, b"A")
        assert keys.next(5) is None
        os.write(keyboard, b"n")
        assert keys.next(5) == "n"
