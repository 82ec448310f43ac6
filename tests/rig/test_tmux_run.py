"""The run as the technician sees it: a real terminal, real keys."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image

from verify.run import load_record
from verify.testing.rigs import require_program
from verify.values import Outcome, Verdict

pytestmark = pytest.mark.rig

_HANDBACK = str(Path(sys.executable).with_name("handback"))
_DRIVER = str(Path(__file__).with_name("terminal_driver.py"))
_PATIENCE_S = 60
_FINGER_S = 0.12
_STATIONS = (
    *("front left corner", "front middle", "front right corner", "right middle"),
    *("rear right corner", "rear middle", "rear left corner", "left middle"),
)


class Screen:
    """A terminal with a command in it. Unless said otherwise, the smallest usual one."""

    def __init__(self, cwd: Path, command: str, *, columns: int = 80, rows: int = 24) -> None:
        self._tmux = [require_program("tmux"), "-L", f"handback-{cwd.name}", "-f", "/dev/null"]
        self._columns = columns
        self._do(
            *("new-session", "-d", "-x", str(columns), "-y", str(rows)),
            *("-c", str(cwd), "-s", "bench", "-e", "LANG=C.UTF-8", "sh"),
        )
        self.command(command)

    def _do(self, *arguments: str) -> str:
        return subprocess.run([*self._tmux, *arguments], capture_output=True, text=True, check=True).stdout

    def command(self, command: str) -> None:
        self.keys("-l", command)
        self.keys("Enter")

    def keys(self, *keys: str) -> None:
        # As slow as fingers: a key that comes faster is taken for one that is held down.
        time.sleep(_FINGER_S)
        self._do("send-keys", "-t", "bench", *keys)

    def paste(self, text: str) -> None:
        """Paste a text as a terminal does, told apart from keys where that was asked for."""
        self._do("set-buffer", "--", text)
        self._do("paste-buffer", "-p", "-t", "bench")

    def line(self, text: str) -> None:
        """Type a line and send it off when it stands there, wherever it is wrapped."""
        self.keys("-l", text)
        end, typed = time.monotonic() + _PATIENCE_S, "".join(f"{text}_".split())
        while typed not in "".join((screen := self.text()).split()):
            assert time.monotonic() < end, f"{typed} is not on the screen:\n{screen}"
            time.sleep(0.05)
        self.keys("Enter")

    def resize(self, columns: int, rows: int) -> None:
        self._columns = columns
        self._do("resize-window", "-t", "bench", "-x", str(columns), "-y", str(rows))

    def text(self) -> str:
        return self._do("capture-pane", "-p", "-t", "bench")

    def shows(self, *words: str) -> str:
        """Wait until the screen shows one of the words; fail with the screen where it does not."""
        end = time.monotonic() + _PATIENCE_S
        while not any(word in _unwrapped(text := self.text()) for word in words):
            assert time.monotonic() < end, f'"{words}" is not on the screen:\n{text}'
            time.sleep(0.05)
        assert max(map(len, text.splitlines())) <= self._columns
        return text

    def leave(self, *words: str) -> None:
        """Leave, and wait for one of the words; a key that came as the screen changed is pressed again."""
        end = time.monotonic() + _PATIENCE_S
        while not any(word in _unwrapped(text := self.text()) for word in words):
            assert time.monotonic() < end, f'"{words}" is not on the screen:\n{text}'
            self.keys("q")
            time.sleep(1.0)

    def good_until(self, *words: str) -> str:
        """Find everything good and do every step until the screen shows one of the words."""
        end = time.monotonic() + 3 * _PATIENCE_S
        while not any(word in _unwrapped(text := self.text()) for word in words):
            assert time.monotonic() < end, f'"{words}" does not come up:\n{text}'
            # The keys are never cut off, whatever else is on the screen.
            if "G good" in text:
                self.keys("g")
            elif "D done" in text:
                self.keys("d")
            elif "- no picture" in text:
                self.keys("-")
                self.shows("Why is there no picture?")
                self.line("No camera at hand.")
            elif "N no   Y yes" in text:
                # After a hazard the first question comes again.
                self.keys("n")
            time.sleep(0.1)
        return text

    def close(self) -> None:
        self._do("kill-server")


def _unwrapped(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Callable[..., Screen]]:
    screens: list[Screen] = []

    def screen(command: str, *, columns: int = 80, rows: int = 24) -> Screen:
        screens.append(Screen(tmp_path, command, columns=columns, rows=rows))
        return screens[-1]

    yield screen
    for one in screens:
        one.close()


@pytest.fixture
def opened(tmp_path: Path) -> Path:
    subprocess.run(
        [_HANDBACK, "start", "TW-7", "--work", "battery"], check=True, cwd=tmp_path, capture_output=True
    )
    return tmp_path


def test_keys_answer_undo_and_leave_and_the_run_goes_on_where_it_was(
    opened: Path, terminal: Callable[..., Screen]
) -> None:
    screen = terminal(f"{_HANDBACK} run TW-7")
    assert "bulging" in screen.shows("WHOLE MACHINE")
    screen.keys("n")
    screen.shows("Is this computer the one")
    screen.keys("n")
    screen.shows("INSIDE THE BASE")
    screen.keys("g")
    screen.shows("+ Look at every side")
    screen.keys("u")
    screen.shows("Taken back.")
    screen.keys("n")
    screen.shows("What is wrong?")
    screen.line("a dent")
    # A dent in a battery is a hazard: nothing goes on.
    screen.shows("STOP: a hazard")
    screen.leave("not ready")
    record = load_record(opened / "reports", "TW-7")
    result = next(result for result in record.results if result.check == "pack-flat")
    assert result.verdict is Verdict.DOES_NOT_CONFORM
    assert "a dent" in result.because
    screen.command("clear")
    screen.command(f"{_HANDBACK} run TW-7")
    screen.shows("STOP: a hazard")
    screen.keys("s")
    screen.shows("Who isolated the part?")
    screen.line("Demo Technician")
    screen.shows("where is it now?")
    screen.line("battery, sand box")
    # A computer without a mark of its own cannot be known again: it is asked once more.
    if "Is this computer the one" in screen.shows("INSIDE THE BASE", "Is this computer the one"):
        screen.keys("n")
    screen.shows("INSIDE THE BASE")
    screen.keys("q")


@pytest.mark.usefixtures("opened")
def test_a_run_that_is_stopped_by_ctrl_z_goes_on_where_it_was(terminal: Callable[..., Screen]) -> None:
    screen = terminal(f"{_HANDBACK} run TW-7 --elsewhere")
    screen.shows("WHOLE MACHINE")
    screen.keys("n")
    screen.shows("INSIDE THE BASE")
    screen.keys("C-z")
    # The terminal is the shell's again, without anything of ours on it.
    assert "Look at every side" not in screen.shows("Stopped", "Suspended")
    screen.command("echo wi''th the shell")
    screen.shows("with the shell")
    screen.command("fg")
    screen.shows("> Look at every side")
    screen.keys("g")
    screen.shows("+ Look at every side")
    screen.leave("not ready")


def test_pasted_text_fills_one_line_and_answers_nothing(
    tmp_path: Path, terminal: Callable[..., Screen]
) -> None:
    screen = terminal(f"{_HANDBACK} arrive TW-8 --elsewhere")
    screen.shows("WHOLE MACHINE")
    screen.paste("nrnn\n")
    screen.shows("Press one key for one answer.")
    screen.keys("n")
    screen.shows("> found as")
    screen.keys("r")
    screen.shows("The complaint, in the owner's words:")
    screen.paste("Größer als 1 m: too hot\ngwwww and it\r\nsmells! sometimes\n")
    screen.shows("too hot gwwww and it smells! sometimes_")
    screen.keys("Enter")
    screen.shows("drag it in")
    screen.keys("C-c")
    screen.shows("What was answered is kept")
    record = load_record(tmp_path / "reports", "TW-8")
    assert record.ticket.complaint == "Größer als 1 m: too hot gwwww and it smells! sometimes"


def test_no_line_is_wider_than_the_terminal_and_arrows_answer_nothing(
    opened: Path, terminal: Callable[..., Screen]
) -> None:
    screen = terminal(f"{_HANDBACK} run TW-7")
    screen.shows("WHOLE MACHINE")
    screen.keys("Up", "Down", "F1", "g")
    screen.shows("Q leave")
    screen.resize(48, 44)
    # Drawn anew by itself: nobody has to press a key first.
    screen.shows("leave, warn others, call")
    screen.leave("not ready")
    assert all(
        result.verdict is Verdict.NOT_DONE for result in load_record(opened / "reports", "TW-7").results
    )


def test_a_terminal_that_cannot_be_drawn_over_and_a_pipe_serve_as_well(opened: Path) -> None:
    told = None
    # Where the tool lies, and nothing else of these surroundings: least of all a terminal's size.
    where = {name: os.environ[name] for name in ("PYTHONPATH",) if name in os.environ}
    for term, keys in (("dumb", "nn"), ("xterm", "ng")):
        told = subprocess.run(
            [_HANDBACK, "run", "TW-7"],
            input=keys,
            capture_output=True,
            text=True,
            check=False,
            cwd=opened,
            timeout=_PATIENCE_S,
            env={**where, "TERM": term, "PATH": "/usr/bin:/bin"},
        )
        assert told.returncode == 1, told.stderr
        assert "\x1b" not in told.stdout
        assert "TW-7: not ready." in told.stdout
    assert told is not None
    assert "+ Look at every side" in told.stdout
    results = {result.check: result for result in load_record(opened / "reports", "TW-7").results}
    assert results["first-look"].verdict is Verdict.CONFORMS
    assert results["pack-flat"].verdict is Verdict.CONFORMS


def arrive(screen: Screen, folder: Path) -> None:
    Image.new("RGB", (60, 40)).save(folder / "left side.jpg")
    screen.shows("bulging")
    screen.keys("n")
    screen.shows("Is this computer the one")
    screen.keys("y")
    screen.shows("> found as")
    screen.keys("r")
    screen.shows("The complaint, in the owner's words:")
    screen.line("Runs twenty minutes, then it is off.")
    screen.shows("drag it in")
    screen.line(str(folder / "left side.jpg").replace(" ", "\\ "))
    screen.shows("+ left side.jpg")
    screen.keys("Enter")
    screen.shows("What came with it")
    screen.line("charger, sleeve")
    screen.shows("> picture and lid")
    screen.keys("f")
    screen.shows("+ picture and lid does not work")
    screen.keys("u")
    screen.shows("Taken back.")
    for topic in ("keys and touchpad", "sound and camera", "wireless network", "battery and charger"):
        screen.keys("w")
        screen.shows(f"> {topic}")
    screen.keys("t")
    screen.shows("INSIDE THE BASE")


def count(screen: Screen) -> None:
    screen.good_until("> Count")
    screen.keys("Enter")
    for kind in ("inside screws", "long base screws", "short base screws", "tools"):
        screen.shows(f"{kind}: out and back:")
        screen.line("6 6")


def test_a_whole_battery_job_from_the_first_screw_to_handing_back(
    tmp_path: Path, terminal: Callable[..., Screen]
) -> None:
    screen = terminal(f"{sys.executable} {_DRIVER} TW-1042")
    shot = tmp_path / "inside.png"
    Image.new("RGB", (60, 40), "teal").save(shot)
    arrive(screen, tmp_path)
    screen.keys("o")
    screen.shows("What was seen?")
    screen.line("Left hinge is stiff.")
    screen.shows("Kept: seen, not repaired.")
    # Not good, held, mended, asked again.
    screen.good_until("> Look at each antenna, speaker")
    screen.keys("n")
    screen.shows("What is wrong?")
    screen.line("speaker plug half out")
    # Its picture, though the next check is asked already; then the one that is asked for.
    screen.keys("p")
    screen.shows("A PICTURE")
    screen.keys("2")
    screen.shows("Path of the picture, or drag it in")
    screen.line(str(tmp_path / "gone.png"))
    screen.shows("is not there. Check the path")
    screen.line(str(shot))
    screen.shows("Picture 02 is kept.")
    screen.good_until("> Photograph the open machine")
    screen.keys("g")
    screen.shows("Give the picture first")
    screen.keys("Enter")
    screen.shows("Path of the picture, or drag it in")
    screen.paste(str(shot))
    screen.shows("inside.png")
    screen.keys("Enter")
    screen.shows("1 picture taken")
    screen.keys("g")
    count(screen)
    screen.shows("Not yet: close the base")
    screen.keys("1")
    screen.shows("> Look at each antenna, speaker")
    screen.keys("g")
    # Opened again while it charges.
    screen.good_until("Charging:")
    screen.keys("r")
    screen.shows("To be checked again: 0 checks.")
    screen.keys("1")
    screen.shows("1 * base")
    screen.keys("Enter")
    screen.shows("Why was it opened again?")
    screen.line("the speaker plug once more")
    screen.shows("> Look at every side of the battery")
    count(screen)
    # A known flaw is accepted while the charge is watched to its end.
    screen.good_until("> Open a page")
    screen.keys("n")
    screen.shows("What is wrong?")
    screen.line("drops now and then")
    screen.good_until("> Slide a plastic leaf")
    # It came up by itself: a key that was on its way is not taken.
    screen.keys("Enter")
    if "press again" in screen.shows("front left corner, leaf that enters", "press again"):
        time.sleep(0.6)
        screen.keys("Enter")
    for place in _STATIONS:
        screen.shows(f"{place}, leaf that enters")
        screen.line("0.10 0.15")
    screen.good_until("TOUCHPAD")
    # A hazard at any moment.
    screen.keys("!")
    screen.shows("STOP: a hazard")
    screen.keys("s")
    screen.shows("Who isolated the part?")
    screen.line("Demo Technician")
    screen.shows("where is it now?")
    screen.line("smoke came from the iron beside it")
    screen.shows("Made safe.")
    screen.good_until("Not yet: finish the machine")
    screen.keys("a")
    for prompt, said in (
        ("Who accepts it?", "Demo Reviewer"),
        ("Why?", "the old card is weak"),
        ("How and when did the owner agree?", "by telephone, 2 March"),
    ):
        screen.shows(prompt)
        screen.line(said)
    text = screen.good_until("Ready with a known flaw.")
    assert "Left hinge is stiff." in text
    assert "handback sign TW-1042" in text
    screen.leave("left.")
    record = load_record(tmp_path, "TW-1042")
    assert record.outcome is Outcome.FIT_UNDER_CONCESSION
    assert record.simulated
    assert not record.scripted
    assert record.ticket.complaint == "Runs twenty minutes, then it is off."
    assert [result.check for result in record.results if result.accepted is not None] == ["network"]
    assert [again.opened for again in record.reopenings] == [("base",)]
    assert [hazard.made_safe_by for hazard in record.hazards] == ["Demo Technician"]
    assert {
        result.check: [(picture.file, bool(picture.out_of_date)) for picture in result.pictures]
        for result in record.results
        if result.pictures
    } == {"lead-plugs": [("pictures/02.jpg", True)], "open-picture": [("pictures/03.jpg", True)]}


@pytest.mark.parametrize(("columns", "rows"), [(100, 34), (132, 50)])
def test_a_larger_window_shows_the_same(
    tmp_path: Path, terminal: Callable[..., Screen], columns: int, rows: int
) -> None:
    screen = terminal(f"{sys.executable} {_DRIVER} TW-1042", columns=columns, rows=rows)
    arrive(screen, tmp_path)
    screen.good_until("> Count")
    screen.leave("left.")
