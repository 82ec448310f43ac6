"""A whole run on a mocked laptop: the unmodified command, scripted answers, readings from /sys."""

import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest
import yaml

from verify.ask.drawn import drawing
from verify.checklist.shipped import SPECIMENS_SUFFIX, shipped_checklists, shipped_dir
from verify.record.canonical import sha256_hex
from verify.record.model import Record
from verify.run import load_record
from verify.testing.good_answers import good_script
from verify.testing.rigs import require_program, require_python_with
from verify.values import Outcome, Verdict

pytestmark = pytest.mark.rig

_HERE = Path(__file__).parent
_HANDBACK = str(Path(sys.executable).with_name("handback"))
_TICKET = "TW-1042"
_PICTURED = "open-picture"

_SHORTENED = (
    ("load", r"(?m)^ +options: \{load: [^}]*\}\n", ""),
    # These two load the processor by themselves, and wait for minutes for a quiet one.
    ("checks under load", r"(?ms)^  - id: (holds-under-load|clock-held)\n.*?(?=^  - id: )", ""),
    ("settle", r"settle: \d+ s\b", "settle: 2 s"),
    ("rate", r"(?m)^( +)probe: charge-power\n", r"\g<0>\1options: {settle: 1 s, watch: 2 s}\n"),
    # The rate is read before the step after which the hour of charging is left out.
    ("order", r"(?s)(?<=  - id: charge-power\n)(.*?before: \[)", r"\g<1>go-on-charging, "),
)
"""What a check of minutes has in its checklist, and what stands in its place here."""


def answers() -> dict[str, object]:
    """Everything good, but for what the machine tells."""
    return {
        **good_script(check for each in shipped_checklists() for check in each.checks),
        _PICTURED: "good",
    }


def own_checklists(folder: Path) -> Path:
    """The shipped lists with short times to settle and to watch: minutes are too long for a test.

    And without full load: the mocked sensors would not answer to it. Loads are tested by themselves.
    """
    folder.mkdir()
    shortened: Counter[str] = Counter()
    for path in sorted(shipped_dir().glob("*.yaml")):
        if path.name.endswith(SPECIMENS_SUFFIX):
            continue
        shipped = text = path.read_text(encoding="utf-8")
        for what, pattern, short in _SHORTENED:
            text, times = re.subn(pattern, short, text)
            shortened[what] += times
        if text != shipped:
            (folder / path.name).write_text(text, encoding="utf-8")
    assert all(shortened[what] for what, _, _ in _SHORTENED), shortened
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
    (cwd / "open.png").write_bytes(drawing("The open machine"))
    told = {"format": "answers/1", "answers": script, "pictures": {_PICTURED: ["open.png"]}}
    (cwd / "answers.yaml").write_text(yaml.safe_dump(told), encoding="utf-8")
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


_COMPARED = (
    *("parts-as-arrived", "radio-as-arrived", "memory-as-arrived", "sensors-as-arrived"),
    "clock-kept",
)
"""Compared with what was read on arrival: this machine was not taken in, which holds nothing."""

_NOT_SHOWN = ("cell-resistance", "measured-capacity", "gauge-told-truth")
"""What only a load, or a whole charge under watch, can tell: open without them, which holds nothing."""


def not_good(record: Record) -> dict[str, Verdict]:
    """Every check that was not found good, but for those that had nothing to compare with, or to go by."""
    found = {result.check: result.verdict for result in record.results}
    assert {found.pop(check) for check in (*_COMPARED, *_NOT_SHOWN)} == {Verdict.UNDECIDED}
    return {check: verdict for check, verdict in found.items() if verdict is not Verdict.CONFORMS}


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
    assert not_good(record) == {}
    (picture,) = next(result.pictures for result in record.results if result.check == _PICTURED)
    assert sha256_hex((tmp_path / "reports" / _TICKET / picture.file).read_bytes()) == picture.sha256
    parts = next(result for result in record.results if result.check == "parts-as-arrived")
    assert "Nothing was taken on arrival" in parts.because
    open_still = next(result for result in record.results if result.check == "measured-capacity")
    assert "nothing shows how much more" in open_still.because
    readings = {result.check: result.attempts[-1].readings for result in record.results}
    # 28.4 W into a pack that reports 56.4 Wh.
    assert readings["charge-power"][0].value == pytest.approx(28.4 / 56.4, rel=0.01)
    assert readings["claimed-capacity"][0].value == pytest.approx(100 * 56.4 / 57.0, rel=1e-3)
    # Its level fits the volts at rest before the charge, and its cells stand high after it.
    assert readings["rest-level"][0].value == 0
    assert readings["cells-in-step"][0].value == pytest.approx(4.34, abs=0.01)


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
    found = not_good(record)
    assert found.pop("seam-gaps") is Verdict.DOES_NOT_CONFORM
    # Not handed out: what comes after that is not done.
    assert set(found.values()) == {Verdict.NOT_DONE}
    assert {result.stage for result in record.results if result.check in found} == {"finished"}
