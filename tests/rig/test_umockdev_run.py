"""A whole run on a mocked laptop: the unmodified command, scripted answers, readings from /sys."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from verify.checklist.shipped import shipped_checklists, shipped_dir
from verify.record.model import Record
from verify.run import load_record
from verify.testing.good_answers import good_script
from verify.testing.rigs import require_program, require_python_with
from verify.values import Outcome, Verdict

pytestmark = pytest.mark.rig

_HERE = Path(__file__).parent
_HANDBACK = str(Path(sys.executable).with_name("handback"))
_TICKET = "TW-1042"


def answers() -> dict[str, object]:
    """Everything good, but for what the machine tells."""
    return good_script(check for each in shipped_checklists() for check in each.checks)


def own_checklists(folder: Path) -> Path:
    """The shipped list with a short watch of the charge rate: two minutes are too long for a test.

    And without the full load: the mocked sensor would not answer to it. Loads are tested by themselves.
    """
    folder.mkdir()
    text = (shipped_dir() / "every-repair.yaml").read_text(encoding="utf-8")
    short = text.replace(
        "probe: charge-power\n", "probe: charge-power\n    options: {settle: 1 s, watch: 2 s}\n"
    )
    assert short != text
    assert "    options: {load: 60 s}\n" in short
    short = short.replace("    options: {load: 60 s}\n", "")
    (folder / "every-repair.yaml").write_text(short, encoding="utf-8")
    return folder


def handback(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [_HANDBACK, *arguments], capture_output=True, text=True, check=False, cwd=cwd, timeout=60
    )


def run_on_laptop(cwd: Path, script: dict[str, object]) -> subprocess.CompletedProcess[str]:
    wrapper = require_program("umockdev-wrapper")
    python = require_python_with("gi")
    own = own_checklists(cwd / "own")
    opened = handback(
        *("start", _TICKET, "--model", "Larkspur 15", "--own", str(own)),
        *("--work", "battery=reproduction", "--label", "battery=57.0 Wh"),
        cwd=cwd,
    )
    assert opened.returncode == 0, opened.stderr
    (cwd / "answers.yaml").write_text(
        yaml.safe_dump({"format": "answers/1", "answers": script}), encoding="utf-8"
    )
    journal = cwd / "reports" / _TICKET / "journal.jsonl"
    return subprocess.run(
        [
            *(wrapper, python, str(_HERE / "bench_driver.py"), str(_HERE / "laptop.umockdev"), str(journal)),
            *(_HANDBACK, "run", _TICKET, "--answers", "answers.yaml", "--on-machine", "--every", "0.5"),
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        timeout=300,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )


def verdicts(record: Record) -> dict[str, Verdict]:
    return {result.check: result.verdict for result in record.results}


def test_a_sound_battery_job_on_a_mocked_laptop_is_ready_and_marked_as_scripted(tmp_path: Path) -> None:
    finished = run_on_laptop(tmp_path, answers())
    assert finished.returncode == 0, finished.stdout + finished.stderr
    assert f"{_TICKET}: ready." in finished.stdout
    assert "came from a script" in finished.stdout
    record = load_record(tmp_path / "reports", _TICKET)
    assert record.outcome is Outcome.FIT
    assert record.scripted
    assert not record.simulated
    assert record.read_by == "linux"
    assert record.machine["model"] == "Larkspur 15"
    assert set(verdicts(record).values()) == {Verdict.CONFORMS}
    readings = {result.check: result.attempts[-1].readings for result in record.results}
    # 28.4 W into a pack that reports 56.4 Wh.
    assert readings["charge-power"][0].value == pytest.approx(28.4 / 56.4, rel=0.01)
    assert readings["claimed-capacity"][0].value == pytest.approx(100 * 56.4 / 57.0, rel=1e-3)


def test_a_seam_that_stands_open_holds_the_machine_whatever_its_sensors_say(tmp_path: Path) -> None:
    script = answers()
    seam = script["seam-gaps"]
    assert isinstance(seam, dict)
    seam["rear middle"] = [0.45, 0.50]
    finished = run_on_laptop(tmp_path, script)
    assert finished.returncode == 1, finished.stdout + finished.stderr
    assert "rear middle" in finished.stdout
    record = load_record(tmp_path / "reports", _TICKET)
    assert record.outcome is Outcome.HELD
    assert [check for check, verdict in verdicts(record).items() if verdict is not Verdict.CONFORMS] == [
        "seam-gaps"
    ]
