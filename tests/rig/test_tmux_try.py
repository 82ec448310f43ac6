"""Tones, colours and the key map as the technician meets them: a real terminal, real keys.

The player is a small program of the shell's that reads the whole file and then stays or ends: no sound
device is in a test's computer.
"""

import os
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from verify.report.try_page import COLOURS
from verify.testing.rigs import require_program

pytestmark = pytest.mark.rig

_HANDBACK = str(Path(sys.executable).with_name("handback"))
_PATIENCE_S = 60
_FINGER_S = 0.15

_LIST = """\
format: checklist/1
id: sights
revision: 1
title: Sights
for_work: [sights]
checks:
  - id: {what}-check
    kind: look
    ask: Try the {what}.
    good: As it should be.
    shows: {what}
    place: trial
    stage: arrived
    minutes: 0.5
    before: [run-up]
"""
_PLAYER = """\
#!/bin/sh
for last; do :; done
echo "$last $(wc -c < "$last")" >> "{note}"
echo $$ > "{note}.pid"
{end}
"""


class Screen:
    """A terminal of 80 × 24 in which a run asks about one thing to try, on the repaired machine."""

    def __init__(self, folder: Path, what: str, *, environment: dict[str, str]) -> None:
        (folder / "own").mkdir()
        (folder / "own" / "sights.yaml").write_text(_LIST.format(what=what), encoding="utf-8")
        command = [_HANDBACK, "start", "TW-7", "--work", "sights", "--own", "own"]
        subprocess.run(command, check=True, cwd=folder, capture_output=True)
        self._tmux = [require_program("tmux"), "-L", f"handback-try-{folder.name}", "-f", "/dev/null"]
        # The terminal's own settings win over what it is started with: set behind it.
        given = [f"{name}={value}" for name, value in environment.items()]
        run = shlex.join(["env", *given, _HANDBACK, "run", "TW-7", "--on-machine"])
        self.do(
            *("new-session", "-d", "-x", "80", "-y", "24", "-c", str(folder), "-s", "bench"),
            f"{run}; exec sleep 600",
        )
        self.shows("WHOLE MACHINE")
        time.sleep(1.0)  # a key on the heels of a new screen is taken for one that was meant before
        self.keys("n")
        self.shows(f"Try the {what}.")
        time.sleep(1.0)

    def do(self, *arguments: str) -> str:
        return subprocess.run([*self._tmux, *arguments], capture_output=True, text=True, check=True).stdout

    def keys(self, *keys: str) -> None:
        for key in keys:
            time.sleep(_FINGER_S)
            self.do("send-keys", "-t", "bench", key)

    def text(self) -> str:
        return self.do("capture-pane", "-p", "-t", "bench")

    def shows(self, words: str) -> str:
        end = time.monotonic() + _PATIENCE_S
        while words not in " ".join((text := self.text()).split()):
            assert time.monotonic() < end, f'"{words}" is not on the screen:\n{text}'
            time.sleep(0.05)
        return text

    def fields(self) -> set[str]:
        """Return how each cell that is not empty of colour is filled, as the terminal was told."""
        cells = self.do("capture-pane", "-e", "-N", "-p", "-t", "bench")
        return set(re.findall(r"\x1b\[([0-9;]*)m", cells)) - {"0", "39", "49", ""}


@pytest.fixture
def trial(tmp_path: Path) -> Iterator[Callable[..., Screen]]:
    opened: list[Screen] = []

    def begin(what: str, **environment: str) -> Screen:
        usual = {"LANG": "C.UTF-8", "HANDBACK_HOME": str(tmp_path / "home")}
        opened.append(Screen(tmp_path, what, environment={**usual, **environment}))
        return opened[-1]

    yield begin
    for screen in opened:
        screen.do("kill-server")


def install_player(folder: Path, end: str) -> tuple[Path, str]:
    """Return where it notes what it was given, and a PATH on which it is found first."""
    programs, note = folder / "bin", folder / "played"
    programs.mkdir()
    for name in ("pw-play", "paplay", "aplay"):
        player = programs / name
        player.write_text(_PLAYER.format(note=note, end=end), encoding="utf-8")
        player.chmod(0o755)
    return note, f"{programs}:{os.environ['PATH']}"


def wait_until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + _PATIENCE_S
    while not true():
        assert time.monotonic() < end, "It did not come to that."
        time.sleep(0.02)


def gone(pid: int) -> bool:
    try:
        return "\nState:\tZ" in Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except FileNotFoundError:
        return True


def test_all_three_tones_play_in_their_order_and_nothing_of_them_stays(
    tmp_path: Path, trial: Callable[..., Screen]
) -> None:
    note, path = install_player(tmp_path, "sleep 0.6")
    screen = trial("tones", PATH=path)
    assert "T play tones" in screen.text()
    screen.keys("t")
    screen.shows("Which tone?")
    screen.keys("Enter")
    screen.shows("Left tone now.")
    screen.shows("Right tone now.")
    screen.shows("Rising tone, both sides, now.")
    screen.shows("Played. Which tone?")
    played = [line.split("/")[-1].split() for line in note.read_text(encoding="utf-8").splitlines()]
    # 44-byte header, four bytes a sample, 44 100 samples a second.
    assert played == [
        ["tone-left.wav", str(44 + 4 * 66150)],
        ["tone-right.wav", str(44 + 4 * 66150)],
        ["tone-rising.wav", str(44 + 4 * 264600)],
    ]
    screen.keys("Escape")
    screen.shows("G good")
    wait_until(lambda: not list((tmp_path / "reports" / "TW-7").glob("tone-*")))


@pytest.mark.parametrize("key", ["Escape", "!", "C-c", "C-d"], ids=["back", "hazard", "interrupt", "end"])
def test_whoever_goes_away_from_a_tone_ends_it(
    tmp_path: Path, trial: Callable[..., Screen], key: str
) -> None:
    note, path = install_player(tmp_path, "exec sleep 600")
    screen = trial("tones", PATH=path)
    screen.keys("t")
    screen.shows("Which tone?")
    screen.keys("1")
    screen.shows("Left tone now.")
    pid_note = note.with_name(f"{note.name}.pid")
    wait_until(lambda: pid_note.exists() and bool(pid_note.read_text(encoding="utf-8").strip()))
    pid = int(pid_note.read_text(encoding="utf-8"))
    assert not gone(pid)
    screen.keys(key)
    wait_until(lambda: gone(pid))
    wait_until(lambda: not list((tmp_path / "reports" / "TW-7").glob("tone-*")))
    if key == "!":
        screen.shows("STOP: a hazard")


def test_a_computer_without_a_device_says_what_to_do_instead(
    tmp_path: Path, trial: Callable[..., Screen]
) -> None:
    _, path = install_player(tmp_path, "echo 'Host is down' >&2; exit 1")
    screen = trial("tones", PATH=path)
    screen.keys("t")
    screen.shows("Which tone?")
    screen.keys("2")
    screen.shows("The player could not play it: Host is down.")
    screen.shows("Use the page (P), or play any recording that has a left and a right side.")
    screen.keys("p")
    screen.shows("THE PAGE")
    page = tmp_path / "reports" / "TW-7" / "try.html"
    assert "Listen, look, press" in page.read_text(encoding="utf-8")
    assert str(page) in "".join(screen.text().split())
    screen.keys("Escape")
    screen.shows("T play tones")
    screen.keys("g")
    screen.shows("DO THIS NOW")


def test_each_colour_fills_every_cell_and_the_last_one_leads_back(trial: Callable[..., Screen]) -> None:
    screen = trial("colours", COLORTERM="", TERM="tmux-256color")
    screen.keys("t")
    screen.shows("Make the window fill the whole screen first")
    screen.keys("Enter")
    seen: list[str] = []
    for number in range(len(COLOURS)):
        wait_until(lambda: len(screen.fields()) == 1 and screen.fields() != set(seen[-1:]))
        (field,) = screen.fields()
        lines = screen.do("capture-pane", "-N", "-p", "-t", "bench").split("\n")[:24]
        assert lines == [" " * 80] * 24
        seen.append(field)
        assert len(seen) == number + 1
        screen.keys("Space")
    screen.shows("G good")
    # The 256 colours' cube is exact: white, black and the three are what their names say (xterm's table).
    exact = {"white": 231, "black": 16, "red": 196, "green": 46, "blue": 21}
    told = dict(zip(COLOURS, seen, strict=True))
    for name, index in exact.items():
        assert told[name] == f"48;5;{index}", name
    screen.keys("t", "Enter", "Escape")
    screen.shows("G good")


@pytest.mark.parametrize(
    ("environment", "said"),
    [
        ({"TERM": "screen", "COLORTERM": ""}, "This terminal has few colours"),
        ({"NO_COLOR": "1"}, "This terminal shows no colours."),
    ],
    ids=["few", "none"],
)
def test_a_terminal_that_cannot_show_them_says_so(
    trial: Callable[..., Screen], environment: dict[str, str], said: str
) -> None:
    screen = trial("colours", **environment)
    screen.keys("t")
    screen.shows("Ready?")
    screen.keys("Enter")
    screen.shows(said)


def test_the_key_map_fills_with_what_a_terminal_can_tell(
    tmp_path: Path, trial: Callable[..., Screen]
) -> None:
    screen = trial("keys")
    screen.keys("t")
    screen.shows("A terminal cannot see Shift, Ctrl, Alt, Fn, Caps Lock")
    screen.keys("Enter")
    screen.shows("Of these rows, 63 not yet.")
    pressed = ("q", "G", "F1", "F5", "F12", "Up", "Down", "Left", "Right", "Home", "NPage", "Tab", "BSpace")
    screen.keys(*pressed, "7", "7", "!", "ß", "Enter", "Space", "Escape", "x")
    text = screen.shows("More than once: 7 2")
    shown = screen.shows("x 1")
    for cell in ("q 1", "g 1", "F1 1", "F5 1", "F12 1", "Up 1", "Down 1", "Left 1", "Right 1", "Home 1"):
        assert cell in shown, cell
    for cell in ("PgDn 1", "Tab 1", "Back 1", "7 2", "! 1", "ß 1", "Enter 1", "Space 1", "Esc 1", "a ."):
        assert cell in shown, cell
    assert max(map(len, text.splitlines())) <= 80
    # None of them answered, left, or met a hazard.
    screen.keys("Escape", "Escape")
    screen.shows("G good")
    journal = (tmp_path / "reports" / "TW-7" / "journal.jsonl").read_text(encoding="utf-8")
    assert "keys-check" not in journal.splitlines()[-1]


def test_the_run_goes_on_while_something_is_tried_and_a_hazard_comes_first(
    trial: Callable[..., Screen],
) -> None:
    screen = trial("colours")
    screen.keys("t")
    screen.shows("Ready?")
    screen.keys("Enter")
    wait_until(lambda: len(screen.fields()) == 1)
    screen.keys("!")
    screen.shows("STOP: a hazard")
