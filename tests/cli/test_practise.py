import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from verify.ask.practice import draw
from verify.run import load_record
from verify.values import Outcome

HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]


def practise(
    folder: Path, *arguments: str, keys: str = "", command: str = "practise"
) -> subprocess.CompletedProcess[str]:
    """Practise in the folder; the keys come from a pipe, whose end leaves the exercise."""
    return subprocess.run(
        [*HANDBACK, command, *arguments],
        capture_output=True,
        text=True,
        check=False,
        input=keys,
        cwd=folder,
        env={
            **{name: text for name, text in os.environ.items() if name != "HANDBACK_REPORTS"},
            "HANDBACK_HOME": str(folder),
            "COLUMNS": "100",
            "PYTHONPATH": str(Path(__file__).parents[2]),
        },
    )


def seed_with(name: str, *, work: str) -> int:
    return next(
        seed
        for seed in range(1000)
        if [fault.name for fault in draw(seed=seed, work=(work,), faults=1).planted] == [name]
    )


def told(folder: Path, ticket: str = "PRACTICE-1") -> dict[str, object]:
    answers = json.loads((folder / "reports" / "practice" / ticket / "practice.json").read_text("utf-8"))
    assert isinstance(answers, dict)
    return answers


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def stopped(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """An exercise with a swollen battery that is found, and made safe."""
    folder = tmp_path_factory.mktemp("a stick with ä")
    seed = seed_with("battery swollen", work="battery")
    arguments = ("--work", "battery", "--faults", "1", "--seed", str(seed))
    return folder, practise(folder, *arguments, keys="ysDemo Technician\nbattery, sand box outside\nq")


def test_a_hazard_that_was_found_and_made_safe_is_a_success(
    stopped: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    folder, said = stopped
    assert said.stderr == ""
    assert said.returncode == 0
    screens, answers = said.stdout.split("PRACTICE-1: the answers.")
    assert "STOP: a hazard" in screens
    assert "battery shape: swollen" in screens
    assert "1. battery swollen. In fact: battery shape: swollen." in answers
    assert "+ Caught here: Is anything bulging" in answers
    assert "An exercise may end there" in answers
    assert "Well done" in answers
    assert told(folder)["passed"] is True


def test_the_answers_are_told_only_at_the_end(stopped: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    screens, _ = stopped[1].stdout.split("PRACTICE-1: the answers.")
    assert "battery swollen" not in screens
    assert "Planted" not in screens


def test_an_exercise_is_practice_everywhere_and_never_an_acceptance(
    stopped: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    folder, said = stopped
    record = load_record(folder / "reports" / "practice", "PRACTICE-1")
    assert record.practice
    assert record.simulated
    assert record.outcome is Outcome.HELD
    assert "never an acceptance" in said.stdout
    page = folder / "reports" / "practice" / "PRACTICE-1" / "report.html"
    assert "PRACTICE — not an acceptance" in page.read_text(encoding="utf-8")


def test_leaving_at_once_tells_everything_and_is_no_success(tmp_path: Path) -> None:
    said = practise(tmp_path, "--work", "feet", "--faults", "2", "--seed", "5", keys="nq")
    assert said.returncode == 1
    assert "You left before the end." in said.stdout
    for fault in draw(seed=5, work=("feet",), faults=2).planted:
        assert f"{fault.name}. In fact: {fault.plainly}." in flat(said.stdout)
    assert said.stdout.count("You never came to it.") == 2
    assert "Your run says: not ready." in said.stdout


def test_a_seed_gives_the_same_exercise_again_beside_the_first(tmp_path: Path) -> None:
    first = practise(tmp_path)
    again = next(line for line in first.stdout.splitlines() if "handback practise --seed" in line)
    arguments = again.split("handback practise ")[1].split()
    second = practise(tmp_path, *arguments)
    assert second.returncode == first.returncode
    one, two = told(tmp_path), told(tmp_path, "PRACTICE-2")
    assert one == two
    assert str(one["seed"]) == arguments[1]


def test_an_interrupt_before_the_end_still_tells_the_answers(tmp_path: Path) -> None:
    """The end of a pipe is what a closed window is to the run."""
    said = practise(tmp_path, "--work", "feet", "--faults", "1", "--seed", "3", keys="n")
    assert "Planted was:" in said.stdout
    assert told(tmp_path)["to_the_end"] is False


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--work", "sails"), "No checklist knows"),
        (("--seed", "-1"), "--seed"),
        (("--work", "feet", "--faults", "10"), "--faults"),
    ],
    ids=["unknown work", "no such seed", "too many faults"],
)
def test_wrong_use_is_said_in_a_line_and_leaves_nothing_behind(
    arguments: tuple[str, ...], words: str, tmp_path: Path
) -> None:
    said = practise(tmp_path, *arguments)
    assert said.returncode == 2
    assert words in said.stderr
    assert "Traceback" not in said.stderr
    assert not (tmp_path / "reports").exists()
