"""README is held to what is true."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from verify.cli.front import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def handback(*arguments: str) -> str:
    code = "from verify.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True
    )
    return done.stdout


def test_every_command_that_readme_shows_exists() -> None:
    shown = set(re.findall(r"handback ([a-z]+)", README)) - {"signature"}
    assert shown
    assert shown <= set(COMMANDS)


def test_every_option_that_readme_shows_is_one_of_its_command() -> None:
    lines = README.replace("\\\n", " ").splitlines()
    shown = [line for line in lines if line.startswith("handback ")]
    assert shown
    for line in shown:
        command = line.split()[1]
        help_text = handback(command, *(["new"] if command == "key" else []), "--help")
        for option in re.findall(r"--[a-z-]+", line):
            assert option in help_text, f"{command} has no {option}"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str) -> None:
    help_text = handback(command, "--help")
    assert "Example" in help_text or "handback" in help_text.split("\n", 1)[1]
    assert command in handback("--help")


def test_the_files_that_the_documents_point_to_are_there() -> None:
    for name in ("README.md", "DEVELOPERS.md", "reports/README.md"):
        folder = (ROOT / name).parent
        for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / name).read_text(encoding="utf-8")):
            assert (folder / target).exists(), f"{name} points to {target}"


def test_ci_runs_exactly_readmes_test_command() -> None:
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "<!-- test command -->" in ci
    assert README.count("<!-- test command -->") == 1
