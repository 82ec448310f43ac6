"""An exercise as a new technician sees it: a real terminal, real keys."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from verify.ask.practice import draw
from verify.testing.rigs import require_program

pytestmark = pytest.mark.rig

_HANDBACK = str(Path(sys.executable).with_name("handback"))
_PATIENCE_S = 60
_FINGER_S = 0.12


class Bench:
    """A terminal of 80 columns and 24 rows, the smallest usual one."""

    def __init__(self, cwd: Path) -> None:
        self.cwd = cwd
        self._tmux = [require_program("tmux"), "-L", f"practise-{cwd.name}", "-f", "/dev/null"]
        size = ("-x", "80", "-y", "24")
        self._do("new-session", "-d", *size, "-c", str(cwd), "-s", "bench", "-e", "LANG=C.UTF-8", "sh")

    def _do(self, *arguments: str) -> str:
        return subprocess.run([*self._tmux, *arguments], capture_output=True, text=True, check=True).stdout

    def keys(self, *keys: str) -> None:
        # As slow as fingers: a key that comes faster is taken for one that is held down.
        time.sleep(_FINGER_S)
        self._do("send-keys", "-t", "bench", *keys)

    def line(self, text: str) -> None:
        self._do("send-keys", "-t", "bench", "-l", text)
        self.keys("Enter")

    def shows(self, *words: str) -> str:
        """Wait until the screen shows all the words; fail with the screen where it does not."""
        end = time.monotonic() + _PATIENCE_S
        while True:
            text = self._do("capture-pane", "-p", "-t", "bench")
            # A line may be broken anywhere between two words.
            flat = " ".join(text.split())
            if all(word in flat for word in words):
                assert max(map(len, text.splitlines())) <= 80
                return text
            assert time.monotonic() < end, f"{words} are not on the screen:\n{text}"
            time.sleep(0.1)

    def close(self) -> None:
        self._do("kill-server")


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    one = Bench(tmp_path)
    yield one
    one.close()


def seed_with(*names: str, work: str) -> int:
    return next(
        seed
        for seed in range(5000)
        if {fault.name for fault in draw(seed=seed, work=(work,), faults=len(names)).planted} == set(names)
    )


def begin(bench: Bench, *names: str, work: str) -> None:
    seed = seed_with(*names, work=work)
    bench.keys(f"{_HANDBACK} practise --work {work} --faults {len(names)} --seed {seed}", "Enter")
    bench.shows("Practice: a simulated machine.", f"--seed {seed}", "Press any key to begin.")
    bench.keys("x")


def test_a_swollen_battery_stops_the_exercise_and_the_answers_are_told(bench: Bench) -> None:
    begin(bench, "battery swollen", work="battery")
    bench.shows("PRACTICE", "Is anything bulging", "battery shape: swollen")
    bench.keys("y")
    bench.shows("PRACTICE", "STOP: a hazard")
    bench.keys("s")
    bench.shows("Who isolated the part?")
    bench.line("Demo Technician")
    bench.shows("where is it now?")
    bench.line("battery, sand box outside")
    # The part was changed: the same question, and another machine.
    bench.shows("Is anything bulging", "battery shape: flat")
    bench.keys("q")
    bench.shows("the answers", "+ Caught here: Is anything bulging", "In truth:", "Well done")
    answers = json.loads((bench.cwd / "reports/practice/PRACTICE-1/practice.json").read_text("utf-8"))
    assert answers["passed"] is True


def test_a_fault_that_is_found_is_mended_and_one_that_was_called_good_is_told(bench: Bench) -> None:
    begin(bench, "lead over a screw post", "speaker lead off", work="base-cover")
    bench.shows("Is anything bulging")
    bench.keys("n")
    bench.shows("You see: battery shape: flat; battery skin: whole; battery surface: dry")
    bench.keys("g")
    bench.shows("You see: battery plug: home; battery plug bar: closed")
    bench.keys("g")
    bench.shows("You see: antenna plug: snapped on; speaker plug: lies beside its socket")
    bench.keys("g")
    bench.shows("You see: flat cable bars: closed; flat cable lie: straight")
    bench.keys("g")
    bench.shows("You see: lead ways: one over a screw post")
    bench.keys("n")
    bench.shows("What is wrong?")
    bench.line("one lead crosses a post")
    bench.shows("You see: inside of the machine: empty")
    bench.keys("g")
    bench.shows("You see: camera: at hand; picture of the open machine: all of it shows")
    bench.keys("-")
    bench.shows("Why is there no picture?")
    bench.line("Nobody has to have a camera in an exercise.")
    bench.shows("TRAY", "inside screws taken out: 6", "tools back: 8")
    bench.keys("Enter")
    for kind, numbers in (
        ("inside screws", "6 6"),
        ("long base screws", "4 4"),
        ("short base screws", "6 6"),
        ("tools", "8 8"),
    ):
        bench.shows(f"{kind}: out and back:")
        bench.line(numbers)
    bench.shows("Not yet: close the base", "1 x Follow each lead")
    bench.keys("1")
    bench.shows("You see: lead ways: in their clips")
    bench.keys("g")
    bench.shows("BASE COVER", "You see: inside of the base: nothing missing")
    bench.keys("q")
    bench.shows(
        "You left before the end.",
        "x Missed here: Look at each antenna, speaker",
        "+ Caught here: Follow each lead",
        "Still in it: speaker lead off.",
    )
    answers = json.loads((bench.cwd / "reports/practice/PRACTICE-1/practice.json").read_text("utf-8"))
    assert answers["still_inside"] == ["speaker lead off"]
    assert answers["passed"] is False
