"""The worked example of DEVELOPERS.md: its files and its commands, run as they stand there."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import verify
from verify.checklist import Composition
from verify.run.beginning import composition_of
from verify.run.journal import Journal

DEVELOPERS = Path(verify.__file__).parents[1] / "DEVELOPERS.md"
PROGRAMS = {
    "handback": [sys.executable, "-c", "from verify.cli import main; main()"],
    "pytest": [sys.executable, "-m", "pytest", "-p", "no:cacheprovider"],
}


def section() -> str:
    text = DEVELOPERS.read_text(encoding="utf-8")
    return text[text.index("## A shop's own checklists") : text.index("## Formats")]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """Write the files, run the commands one after the other; return the place and what each printed."""
    place = tmp_path_factory.mktemp("bench")
    (place / "shop").mkdir()
    files = re.findall(r"^`([a-z.-]+\.yaml)`[^`]*```yaml\n(.*?)```", section(), re.MULTILINE | re.DOTALL)
    assert len(files) == section().count("```yaml") == 4
    for name, text in files:
        (place / "shop" / name).write_text(text, encoding="utf-8")
    (commands,) = re.findall(r"```sh\n(.*?)```", section(), re.DOTALL)
    surroundings = {**os.environ, "HANDBACK_HOME": str(place / "home"), "PYTHONUTF8": "1", "COLUMNS": "80"}
    said = {}
    for line in commands.splitlines():
        program, *arguments = shlex.split(line)
        ran = subprocess.run(
            [*PROGRAMS[program], *arguments],
            cwd=place, capture_output=True, text=True, encoding="utf-8", check=False, env=surroundings,
        )  # fmt: skip
        assert ran.returncode == 0, f"{line}\n{ran.stdout}{ran.stderr}"
        said[line] = ran.stdout
    return place, said


def composition(place: Path) -> Composition:
    (journal,) = place.rglob("journal*.jsonl")
    return composition_of(Journal(journal).lines)


def test_lint_finds_no_mistake_in_the_four_files(told: tuple[Path, dict[str, str]]) -> None:
    assert told[1]["handback lint shop"] == "4 files: no mistake found.\n"


def test_both_are_proved(told: tuple[Path, dict[str, str]]) -> None:
    assert re.search(r"\b6 passed\b", told[1]["pytest shop"])


def test_the_shop_s_limit_is_shown_with_the_shipped_one(told: tuple[Path, dict[str, str]]) -> None:
    out = " ".join(told[1]["handback checklists show battery --own shop --ids"].split())
    assert re.search(r"Id: seam-gaps [^[]*?Shop limit: at most 0\.2 mm; shipped: at most 0\.3 mm\.", out)


def test_the_run_has_the_shop_s_check_and_limit(told: tuple[Path, dict[str, str]]) -> None:
    checks = {check.id: check for check in composition(told[0]).checks}
    assert "fan-lead-clear" in checks
    assert checks["seam-gaps"].good == "0.20 mm leaf does not enter anywhere."
    assert checks["seam-gaps"].shipped_limit is not None
