"""The run as the technician sees it: a real terminal, real keys."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from verify.run import load_record
from verify.testing.rigs import require_program
from verify.values import Verdict

pytestmark = pytest.mark.rig

_HANDBACK = str(Path(sys.executable).with_name("handback"))
_PATIENCE_S = 20


class Screen:
    """A terminal of 80 columns and 24 rows, the smallest usual one, with the run in it."""

    def __init__(self, cwd: Path) -> None:
        self._tmux = [require_program("tmux"), "-L", f"handback-{cwd.name}", "-f", "/dev/null"]
        self._do(
            "new-session",
            "-d",
            "-x",
            "80",
            "-y",
            "34",
            "-c",
            str(cwd),
            "-s",
            "bench",
            "-e",
            "LANG=C.UTF-8",
            "sh",
        )
        self.keys(f"{_HANDBACK} run TW-7", "Enter")

    def _do(self, *arguments: str) -> str:
        return subprocess.run([*self._tmux, *arguments], capture_output=True, text=True, check=True).stdout

    def keys(self, *keys: str) -> None:
        self._do("send-keys", "-t", "bench", *keys)

    def text(self) -> str:
        return self._do("capture-pane", "-p", "-t", "bench")

    def shows(self, words: str) -> str:
        """Wait until the screen shows the words; fail with the screen where it does not."""
        end = time.monotonic() + _PATIENCE_S
        while words not in (text := self.text()):
            assert time.monotonic() < end, f'"{words}" is not on the screen:\n{text}'
            time.sleep(0.1)
        return text

    def close(self) -> None:
        self._do("kill-server")


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[tuple[Path, Callable[[], Screen]]]:
    subprocess.run(
        [_HANDBACK, "start", "TW-7", "--work", "battery"], check=True, cwd=tmp_path, capture_output=True
    )
    screens: list[Screen] = []

    def screen() -> Screen:
        screens.append(Screen(tmp_path))
        return screens[-1]

    yield tmp_path, screen
    for one in screens:
        one.close()


def test_keys_answer_undo_and_leave_and_the_run_goes_on_where_it_was(
    opened: tuple[Path, Callable[[], Screen]],
) -> None:
    folder, start = opened
    screen = start()
    assert "bulging" in screen.shows("WHOLE MACHINE")
    screen.keys("n")
    screen.shows("INSIDE THE BASE")
    screen.keys("g")
    screen.shows("+ Look at every side")
    screen.keys("u")
    screen.shows("Taken back.")
    screen.keys("n")
    screen.shows("What is wrong?")
    screen.keys("-l", "a dent")
    screen.keys("Enter")
    # A dent in a battery is a hazard: nothing goes on.
    screen.shows("STOP: a hazard")
    screen.keys("q")
    screen.shows("not ready")
    record = load_record(folder / "reports", "TW-7")
    result = next(result for result in record.results if result.check == "pack-flat")
    assert result.verdict is Verdict.DOES_NOT_CONFORM
    assert "a dent" in result.because
    screen.keys("clear", "Enter")
    screen.keys(f"{_HANDBACK} run TW-7", "Enter")
    screen.shows("STOP: a hazard")
    screen.keys("s")
    screen.shows("Who made it safe")
    screen.keys("-l", "Demo Technician, sand box")
    screen.keys("Enter")
    screen.shows("INSIDE THE BASE")
    screen.keys("q")


def test_no_line_is_wider_than_the_terminal_and_arrows_answer_nothing(
    opened: tuple[Path, Callable[[], Screen]],
) -> None:
    folder, start = opened
    screen = start()
    screen.shows("WHOLE MACHINE")
    screen.keys("Up", "Down", "F1", "g")
    text = screen.shows("Leave" if "Leave" in screen.text() else "leave")
    assert max(map(len, text.splitlines())) <= 80
    screen.keys("q")
    screen.shows("not ready")
    assert all(
        result.verdict is Verdict.NOT_DONE for result in load_record(folder / "reports", "TW-7").results
    )
