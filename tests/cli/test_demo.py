import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from verify.record.model import Record
from verify.report.battery import battery_view
from verify.run import load_record
from verify.values import Outcome, Verdict

HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]


def handback(
    *arguments: str, home: Path, env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*HANDBACK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "HANDBACK_HOME": str(home), "COLUMNS": "100", **(env or {})},
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("demo") / "a stick with ä"
    said = handback("demo", "--reports", str(folder), home=folder)
    assert said.returncode == 0, said.stderr
    assert said.stderr == ""
    return folder, said.stdout


def record(demo: tuple[Path, str], ticket: str) -> Record:
    return load_record(demo[0], ticket)


def test_the_demo_says_what_came_of_both_and_where_the_reports_lie(demo: tuple[Path, str]) -> None:
    folder, said = demo
    for ticket, word in (("TW-1042", "ready"), ("TW-1057", "not ready")):
        assert f"{ticket}: {word}." in said
        assert str(folder / ticket / "report.html") in said
        assert (folder / ticket / "report.html").is_file()


def test_the_bad_pack_is_caught_by_the_checks_that_are_for_it(demo: tuple[Path, str]) -> None:
    bad = record(demo, "TW-1057")
    assert bad.outcome is Outcome.HELD
    assert [one.check for one in bad.results if one.verdict is Verdict.DOES_NOT_CONFORM] == [
        "claimed-capacity",
        "measured-capacity",
        "gauge-told-truth",
    ]
    assert record(demo, "TW-1042").outcome is Outcome.FIT


def test_the_page_tells_the_measured_capacity_of_the_bad_pack(demo: tuple[Path, str]) -> None:
    view = battery_view(record(demo, "TW-1057"))
    held = re.fullmatch(
        r"The battery holds about (\d+) of the 50 watt-hours \(Wh\) printed on it: \d+\s%\.", view.lines[0]
    )
    sure = re.fullmatch(
        r"How sure: 95 chances in 100 that it lies between (.+) and (.+)\sWh\.", view.lines[1]
    )
    assert held is not None
    assert sure is not None
    # The simulated battery holds 31 Wh.
    assert float(sure[1]) < 31 < float(sure[2]) < 0.9 * 50
    assert float(held[1]) == pytest.approx(31, rel=0.1)
    assert view.verdict is Verdict.DOES_NOT_CONFORM


def test_the_demo_can_never_be_taken_for_an_acceptance(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, _ = demo
    for ticket in ("TW-1042", "TW-1057"):
        page = folder / ticket / "report.html"
        said = handback("prove", str(page), home=tmp_path)
        assert said.returncode == 3
        assert "demo key" in said.stdout + said.stderr
        assert "SIMULATION" in page.read_text(encoding="utf-8").upper()
        assert record(demo, ticket).simulated


def test_the_demo_comes_out_the_same_every_time(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, _ = demo
    assert handback("demo", "--reports", str(tmp_path / "again"), home=tmp_path).returncode == 0
    for ticket in ("TW-1042", "TW-1057"):
        for name in ("journal.jsonl", "report.html"):
            assert (tmp_path / "again" / ticket / name).read_bytes() == (folder / ticket / name).read_bytes()


def test_a_second_demo_keeps_the_first(tmp_path: Path) -> None:
    for _ in range(2):
        assert handback("demo", "--reports", str(tmp_path / "demo"), home=tmp_path).returncode == 0
    assert (tmp_path / "demo-2" / "TW-1042" / "report.html").is_file()


def test_status_lists_both_and_what_each_waits_for(demo: tuple[Path, str], tmp_path: Path) -> None:
    said = handback("status", "--reports", str(demo[0]), home=tmp_path)
    assert said.returncode == 0
    assert "TW-1042" in said.stdout
    assert "all have signed" in said.stdout
    assert "finish the machine" in said.stdout
    one = handback("status", "TW-1057", "--reports", str(demo[0]), home=tmp_path)
    assert one.returncode == 1
    assert "measured-capacity" in one.stdout


@pytest.mark.parametrize("ticket", ["TW-1042", "TW-1057"])
def test_the_committed_samples_are_what_the_demo_makes(demo: tuple[Path, str], ticket: str) -> None:
    samples = Path(__file__).parents[2] / "reports" / "samples"
    made = (demo[0] / ticket / "report.html").read_bytes()
    assert made == (samples / f"{ticket}.html").read_bytes(), (
        "The demo's reports have changed: handback demo --reports NEW, then copy them to reports/samples."
    )
