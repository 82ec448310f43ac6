import os
import subprocess
import sys
from pathlib import Path

import pytest

from verify.run import RunFolder, load_record
from verify.testing.sysfs_tree import SysfsTree
from verify.values import Outcome, Verdict

HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]


def handback(*arguments: str, cwd: Path, stdin: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*HANDBACK, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        input=stdin,
        timeout=120,
    )


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    said = handback(
        "start",
        "TW-7",
        "--model",
        "Larkspur 13",
        "--work",
        "battery=reproduction",
        "--label",
        "battery=50 Wh",
        cwd=tmp_path,
    )
    assert said.returncode == 0, said.stderr
    assert "handback run TW-7" in said.stdout
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("start", "../x"), "cannot be a ticket"),
        (("start", "T1", "--work", "batery"), "batery"),
        (("start", "T1", "--work", "battery=stolen"), "stolen"),
        (("start", "T1", "--work", "battery", "--label", "battery=57"), "57"),
        (("start", "T1", "--work", "battery", "--label", "battery=3 mm"), "label says"),
        (("start", "T1", "--work", "battery=used", "--label", "battery=0 Wh"), "label says"),
        (("start", "T1", "--work", "battery=used", "--label", "battery=-5 Wh"), "label says"),
        (("start", "T1", "--work", "battery", "--label", "battery=5 Wh"), "where that comes from"),
        (("start", "T1", "--work", "battery", "--work", "battery=used"), "twice"),
        (
            ("start", "T1", "--work", "battery=used", "--label", "battery=5 Wh", "--label", "battery=6 Wh"),
            "twice",
        ),
        (("start", "T1", "--label", "battery=57 Wh"), "no such work"),
        (("run", "T1"), "not open yet"),
        (("status", "T1"), "no T1"),
        (("sign", "T1"), "T1"),
        (("run", "T1", "--answers", "missing.yaml"), "missing.yaml"),
        (("nonsense",), "nonsense"),
        (("start",), "TICKET"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else None,
)
def test_wrong_use_is_one_plain_line_and_exit_2(
    arguments: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    said = handback(*arguments, cwd=tmp_path)
    assert said.returncode == 2
    assert says in said.stderr
    assert "Traceback" not in said.stderr
    assert not (tmp_path / "reports" / "T1" / "journal.jsonl").exists()


def test_a_ticket_is_opened_once(bench: Path) -> None:
    said = handback("start", "TW-7", "--model", "Larkspur 15", cwd=bench)
    assert said.returncode == 2
    assert "open already" in said.stderr
    said = handback("start", "TW-7", cwd=bench)
    assert said.returncode == 2
    assert "has that work already" in said.stderr


def test_a_script_without_an_answer_leaves_the_run_open_and_says_so(bench: Path) -> None:
    (bench / "answers.yaml").write_text("format: answers/1\nanswers: {first-look: no}\n", encoding="utf-8")
    said = handback("run", "TW-7", "--on-machine", "--answers", "answers.yaml", cwd=bench)
    assert said.returncode == 1, said.stderr
    assert "not ready" in said.stdout
    assert "are not done" in said.stdout
    record = load_record(bench / "reports", "TW-7")
    assert record.outcome is Outcome.HELD
    assert record.scripted
    assert (bench / "reports" / "TW-7" / "report.html").is_file()


def test_keys_from_a_pipe_are_taken_and_kept(bench: Path) -> None:
    said = handback("run", "TW-7", "--on-machine", cwd=bench, stdin="ngg")
    assert said.returncode == 1, said.stderr
    assert "Traceback" not in said.stderr
    record = load_record(bench / "reports", "TW-7")
    done = [result.check for result in record.results if result.verdict is Verdict.CONFORMS]
    assert len(done) == 3
    assert not record.scripted
    # Taken up again: the next keys answer the next checks.
    handback("run", "TW-7", "--on-machine", cwd=bench, stdin="gu")
    record = load_record(bench / "reports", "TW-7")
    assert sum(result.verdict is Verdict.CONFORMS for result in record.results) == 3


def test_looking_alone_leaves_no_line(bench: Path) -> None:
    journal = bench / "reports" / "TW-7" / "journal.jsonl"
    before = journal.read_bytes()
    handback("run", "TW-7", "--on-machine", cwd=bench, stdin="q")
    assert journal.read_bytes() == before


def test_a_hazard_at_the_terminal_ends_only_when_made_safe(bench: Path) -> None:
    said = handback("run", "TW-7", "--on-machine", cwd=bench, stdin="yq")
    assert "STOP" in said.stdout
    assert load_record(bench / "reports", "TW-7").hazards[0].made_safe == ""
    handback("run", "TW-7", "--on-machine", cwd=bench, stdin="gggsDemo Technician\nsand box outside\nq")
    record = load_record(bench / "reports", "TW-7")
    assert record.hazards[0].made_safe == "sand box outside"
    assert record.hazards[0].made_safe_by == "Demo Technician"


def test_a_second_run_on_the_same_ticket_is_refused(bench: Path) -> None:
    with RunFolder(bench / "reports" / "TW-7"):
        said = handback("run", "TW-7", "--on-machine", cwd=bench, stdin="q")
    assert said.returncode == 3
    assert "holds TW-7" in said.stderr


def test_an_altered_journal_is_refused_in_words(bench: Path) -> None:
    handback("run", "TW-7", "--on-machine", cwd=bench, stdin="ngg")
    journal = bench / "reports" / "TW-7" / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'"good"', b'"xxxx"', 1))
    said = handback("run", "TW-7", "--on-machine", cwd=bench, stdin="q")
    assert said.returncode == 3
    assert "Line" in said.stderr
    assert "Traceback" not in said.stderr


def test_a_folder_that_cannot_be_written_is_a_plain_line(bench: Path) -> None:
    (bench / "file").write_text("", encoding="utf-8")
    said = handback("start", "T9", "--reports", "file/below", cwd=bench)
    assert said.returncode in (2, 3)
    assert "Traceback" not in said.stderr
    assert said.stderr.strip()


@pytest.mark.skipif(sys.platform == "win32", reason="a shell's way to close the input")
def test_a_closed_input_is_a_plain_line(bench: Path) -> None:
    said = subprocess.run(
        ["sh", "-c", 'exec "$@" <&-', "sh", *HANDBACK, "run", "TW-7"],
        capture_output=True,
        text=True,
        check=False,
        cwd=bench,
        timeout=60,
    )
    assert said.returncode == 2
    assert "no keyboard" in said.stderr
    assert "fault" not in said.stderr


def test_a_reader_that_went_away_is_not_told_that_all_is_good(bench: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    said = subprocess.run(
        [*HANDBACK, "status"], stdout=writer, stderr=subprocess.PIPE, text=True, check=False, cwd=bench
    )
    os.close(writer)
    assert said.returncode == 3
    assert said.stderr == ""


def test_a_ticket_that_cannot_be_read_is_not_merely_held(bench: Path) -> None:
    (bench / "reports" / "TW-7" / "journal.jsonl").write_bytes(b"nonsense\n")
    said = handback("status", "TW-7", cwd=bench)
    assert said.returncode == 3
    assert "cannot be read" in said.stdout


def test_a_run_on_a_given_tree_is_a_simulation_for_ever(bench: Path) -> None:
    SysfsTree(bench / "sys").laptop()
    handback("run", "TW-7", "--on-machine", "--sysfs", "sys", cwd=bench, stdin="n")
    # Undone, left and gone on with on the real machine: it stays one.
    handback("run", "TW-7", "--on-machine", cwd=bench, stdin="un")
    record = load_record(bench / "reports", "TW-7")
    assert record.simulated
    said = handback("status", "TW-7", cwd=bench)
    assert "simulation" in said.stdout
