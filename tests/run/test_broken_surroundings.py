"""Whatever surrounds a run breaks: the drive, the folder, the clocks, the other computer.

Each time: a plain sentence, nothing that was acknowledged lost, and the run goes on once the cause is mended.
"""

import contextlib
import errno
import functools
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from verify.ask.script import play
from verify.ask.simulated import START, SimulatedBench
from verify.checklist import Kind
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign, SimulatedMachine
from verify.record.model import Part, Ticket, Work
from verify.run import Owner, RunFolder, begin, load_record, plan
from verify.run.events import Event, Line
from verify.run.journal import Journal
from verify.run.sampling import VirtualSampler
from verify.testing.good_answers import GoodAnswers
from verify.testing.rigs import missing, require_program
from verify.testing.sysfs_tree import SysfsTree
from verify.values import Instant, Outcome, Verdict
from verify.values.errors import BrokenJournalError, JournalWriteError

TICKET = "TW-1042"
HANDBACK = [sys.executable, "-c", "from verify.cli import main; main()"]
DRIVER = Path(__file__).with_name("full_disk_driver.py")


class Bench(SimulatedBench):
    """A machine whose pack is nearly full: the charge is short."""

    def __init__(self, *, design: SimulatedDesign = LARKSPUR_15, start: datetime = START) -> None:
        super().__init__(faults={}, start=start)
        self.machine = SimulatedMachine(clock=self.clock, level=0.96, description=design)
        self.sampler = VirtualSampler(self.machine, self.clock, every_s=30.0)


def begun(folder: RunFolder, bench: SimulatedBench, *kinds: str) -> None:
    part = Part(source="reproduction", label={"energy": "57.0 Wh"})
    work = tuple(Work(kind=kind, part=part if kind == "battery" else None) for kind in kinds)
    begin(folder, ticket=Ticket(id=TICKET, work=work), checklists=shipped_checklists(), clock=bench.clock)


def owned(folder: RunFolder, bench: SimulatedBench, *, on_machine: bool | None = True) -> Owner:
    return Owner(folder, machine=bench.machine, scripted=True, on_machine=on_machine)


def to_the_end(folder: Path, bench: SimulatedBench, answers: GoodAnswers | None = None) -> None:
    """Go on with the run; it comes to its end, and out fit."""
    with RunFolder(folder) as held:
        owner = owned(held, bench)
        due = play(owner, answers or GoodAnswers(), bench.sampler, hands=bench)
        owner.close()
    assert isinstance(due, plan.Complete)
    assert load_record(folder.parent, TICKET).outcome is Outcome.FIT


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


def plain(said: subprocess.CompletedProcess[str], *words: str, code: int = 3) -> None:
    """Hold what a command said to: a sentence, what to do next, the exit code, and no traceback."""
    assert said.returncode == code, said.stderr
    what, next_step = said.stderr.strip().splitlines()
    assert what.startswith("handback: ")
    assert what.endswith(".")
    assert next_step.strip()
    assert "fault in the tool" not in what
    for word in words:
        assert word in said.stderr


# A full disk, a drive that fails, read-only, pulled out.


def in_a_mount_space(how: str, disk: Path) -> Any:
    """Run the driver where it may mount what it likes, seen by nobody else; return what it told."""
    unshare = require_program("unshare")
    require_program("mount")
    if subprocess.run([unshare, "-rm", "true"], capture_output=True, check=False).returncode:
        missing("This system lets nobody have a mount space of its own")
    disk.mkdir()
    said = subprocess.run(
        [unshare, "-rm", sys.executable, str(DRIVER), how, str(disk)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert said.returncode == 0, said.stderr
    return json.loads(said.stdout)


@pytest.mark.rig
def test_a_disk_that_is_full_at_any_page_loses_nothing(tmp_path: Path) -> None:
    """A real small file system: the kernel itself writes half a line, then says that there is no room."""
    rounds = in_a_mount_space("full", tmp_path / "disk")
    assert rounds[-1]["said"] is None
    assert len(rounds) > 40
    for told in rounds[:-1]:
        assert "No space left on device" in told["said"]["what"]
        assert "space" in told["said"]["next"]
    for told in rounds:
        assert told["whole"]
        assert told["kept"]
        assert told["asked twice"] <= 1, "more than the one answer that could not be kept"
        assert told["due"] == "Complete"
        assert told["outcome"] == "fit"
        assert told["left"] == ["journal.jsonl", "lock", "report.html", "traces"]
    kinds = {told["said"]["what"].split(" could not be written")[0] for told in rounds[:-1]}
    # The journal, a trace and the report: each met a full disk.
    assert {"The last step", "The measurement"} < kinds
    assert any("report.html" in kind for kind in kinds)


@pytest.mark.rig
@pytest.mark.parametrize(
    ("how", "because", "then"),
    [
        ("read-only", "Read-only file system", "medium that cannot be written"),
        ("pulled", "No such file or directory", "not open yet"),
    ],
)
def test_a_stick_that_is_taken_from_a_run_that_goes_on(
    how: str, because: str, then: str, tmp_path: Path
) -> None:
    told = in_a_mount_space(how, tmp_path / "disk")
    assert len(told["said"]) == 3
    for error in told["said"][:2]:
        assert because in error["what"]
        assert "kept" in error["next"]
        assert "stick" in error["next"]
    assert then in told["said"][2]["what"]
    assert told["same"], "what was kept before stands as it stood"
    assert told["due"] == "Complete"
    assert told["outcome"] == "fit"
    # What could not be kept is asked until it can; nothing that was kept is asked again.
    twice = {check for check in told["asked"] if told["asked"].count(check) > 1}
    assert twice == {"bay-clean"}


def half_written(real: Callable[[int, bytes], int], descriptor: int, data: bytes) -> int:
    real(descriptor, bytes(data)[: len(data) // 2])
    raise OSError(errno.ENOSPC, "No space left on device")


def not_written(_real: Callable[[int, bytes], int], _descriptor: int, _data: bytes) -> int:
    raise OSError(errno.EIO, "Input/output error")


@pytest.mark.parametrize("how", [half_written, not_written, None], ids=["half a line", "no byte", "no sync"])
def test_each_line_that_fails_once_is_written_the_next_time(
    how: Callable[..., int] | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Injected, as no drive here fails at each single write: the write or the sync fails, once a line."""
    bench, answers, folder = Bench(), GoodAnswers(), tmp_path / TICKET
    append, write = Journal.append, os.write
    failed: set[tuple[str, str]] = set()

    def fails_once(journal: Journal, event: Event, at: Instant) -> Line:
        # A session's own line comes with each session: what it says of which check or step tells the rest.
        what = (type(event).__name__, str(getattr(event, "check", getattr(event, "step", ""))))
        if what in failed:
            return append(journal, event, at)
        failed.add(what)
        with pytest.MonkeyPatch.context() as patch:
            if how is None:
                patch.setattr("verify.run.journal.sync", no_sync)
            else:
                patch.setattr(os, "write", functools.partial(how, write))
            return append(journal, event, at)

    def no_sync(_descriptor: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(Journal, "append", fails_once)
    times, due, wrote = 0, None, set[str]()
    for _ in range(200):
        if isinstance(due, plan.Complete):
            break
        before = (folder / "journal.jsonl").read_bytes() if (folder / "journal.jsonl").exists() else b""
        try:
            with RunFolder(folder) as held:
                if not held.begun:
                    begun(held, bench, "battery", "feet")
                owner = owned(held, bench)
                with contextlib.closing(owner):
                    due = play(owner, answers, bench.sampler, hands=bench)
                wrote = {type(line.event).__name__ for line in owner.lines}
        except JournalWriteError:
            times += 1
        assert (folder / "journal.jsonl").read_bytes().startswith(before)
        assert not list(folder.glob("journal.torn-*"))
    assert isinstance(due, plan.Complete)
    assert times == len(failed)
    assert {name for name, _ in failed} == wrote
    assert load_record(tmp_path, TICKET).outcome is Outcome.FIT


# Through the command line.


def started(bench: Path, *more: str) -> Path:
    """Open a ticket and answer three checks; return its folder."""
    said = handback("start", TICKET, "--model", "Larkspur 15", "--work", "battery", *more, cwd=bench)
    assert said.returncode == 0, said.stderr
    answers = {"first-look": "no", "pack-flat": "good", "pack-label": "good"}
    said = run(bench, answers)
    assert said.returncode == 1, said.stderr
    return bench / "reports" / TICKET


def run(bench: Path, answers: dict[str, str], *more: str) -> subprocess.CompletedProcess[str]:
    lines = "".join(f"  {check}: {answer}\n" for check, answer in answers.items())
    (bench / "answers.yaml").write_text(f"format: answers/1\nanswers:\n{lines}", encoding="utf-8")
    return handback("run", TICKET, "--answers", "answers.yaml", "--elsewhere", *more, cwd=bench)


def answered(folder: Path) -> set[str]:
    record = load_record(folder.parent, folder.name)
    return {result.check for result in record.results if result.verdict is Verdict.CONFORMS}


FIRST = {"first-look", "pack-flat", "pack-label"}
NEXT = {"pack-volts": "good", "bay-clean": "good"}


@pytest.mark.rig
def test_a_read_only_medium_is_told_and_can_be_looked_at(tmp_path: Path) -> None:
    unshare = require_program("unshare")
    if subprocess.run([unshare, "-rm", "true"], capture_output=True, check=False).returncode:
        missing("This system lets nobody have a mount space of its own")
    folder = started(tmp_path)
    before = (folder / "journal.jsonl").read_bytes()
    script = 'mount --bind "$0" "$0"; mount -o remount,bind,ro "$0"; shift 0; exec "$@"'
    read_only = [unshare, "-rm", "sh", "-euc", script, str(tmp_path / "reports")]

    def there(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*read_only, *HANDBACK, *arguments], capture_output=True, text=True, check=False, cwd=tmp_path
        )

    plain(there("run", TICKET, "--elsewhere"), "medium that cannot be written", "handback status")
    looked = there("status", TICKET)
    assert looked.returncode == 1
    assert "inside the base" in looked.stdout
    assert (folder / "journal.jsonl").read_bytes() == before
    run(tmp_path, NEXT)
    assert answered(folder) == FIRST | NEXT.keys()


def test_a_folder_that_is_renamed_away_under_a_run_and_comes_back(tmp_path: Path) -> None:
    """Two real processes on one folder, then none: the first waits while the battery rests."""
    folder = started(tmp_path)
    tree = SysfsTree(tmp_path / "sys")
    tree.laptop()
    tree.adapter(online="0")
    # Nearly empty: nothing is loaded on the battery. Its rest takes a minute: a watch goes on for long.
    tree.battery(status="Discharging", energy_now="2500000", capacity="5")
    good = {
        check.id: "good"
        for check in compose(shipped_checklists(), ["battery"]).checks
        if check.kind is Kind.LOOK
    }
    good["all-accounted"] = (
        "{inside screws: {out: 6, back: 6}, long base screws: {out: 4, back: 4},"
        " short base screws: {out: 5, back: 5}, tools: {out: 2, back: 2}}"
    )
    good["open-picture"] = "{answer: none, note: No camera.}"
    everything = run(tmp_path, good)
    assert everything.returncode == 1, everything.stderr
    command = [*HANDBACK, "run", TICKET, "--sysfs", str(tree.root), "--on-machine", "--every", "0.2"]
    journal = folder / "journal.jsonl"
    with subprocess.Popen(
        [*command, "--answers", "answers.yaml"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    ) as process:
        try:
            poll(lambda: b'"watch-began","check":"rest-level"' in journal.read_bytes())
            plain(run(tmp_path, good), "Another run holds", f"process {process.pid}")
            away = folder.with_name("pulled out")
            folder.rename(away)
            kept = (away / "journal.jsonl").read_bytes()
            # The next thing that is found cannot be written any more.
            tree.remove_supply("BAT0")
            out, err = process.communicate(timeout=60)
        finally:
            process.kill()
    plain(subprocess.CompletedProcess(command, process.returncode, out, err), "stick", "kept")
    assert not folder.exists()
    plain(run(tmp_path, good), "not open yet", code=2)
    away.rename(folder)
    assert journal.read_bytes() == kept
    before = answered(folder)
    again = run(tmp_path, good)
    assert again.returncode == 1, again.stderr
    assert answered(folder) >= before >= FIRST


def poll(there: Callable[[], bool], *, within_s: float = 60.0) -> None:
    deadline = time.monotonic() + within_s
    while not there():
        assert time.monotonic() < deadline, "it did not come to that"
        time.sleep(0.05)


def test_a_run_that_lost_its_power_in_the_first_line_can_be_opened(tmp_path: Path) -> None:
    folder = started(tmp_path)
    journal = folder / "journal.jsonl"
    first = journal.read_bytes().splitlines(keepends=True)[0]
    for left in (b"", first[:40], first[:-1]):
        shutil.rmtree(folder)
        folder.mkdir()
        journal.write_bytes(left)
        plain(run(tmp_path, NEXT), "not open yet", code=2)
        assert started(tmp_path) == folder
        assert answered(folder) == FIRST
        torn = b"".join(path.read_bytes() for path in folder.glob("journal.torn-*"))
        assert torn == left


def test_a_line_altered_anywhere_before_the_last_is_refused_and_left_alone(tmp_path: Path) -> None:
    bench, folder = Bench(), tmp_path / "reports" / TICKET
    with RunFolder(folder) as held:
        begun(held, bench, "battery", "feet")
    to_the_end(folder, bench)
    journal = folder / "journal.jsonl"
    whole = journal.read_bytes()
    lines = whole.splitlines(keepends=True)
    for number, line in enumerate(lines[:-1]):
        altered = bytearray(line)
        altered[len(line) // 2] ^= 0x01
        changed = b"".join([*lines[:number], bytes(altered), *lines[number + 1 :]])
        journal.write_bytes(changed)
        with RunFolder(folder) as held, pytest.raises(BrokenJournalError) as caught:
            owned(held, bench)
        # The line itself where it cannot be read any more, else the one after it, which does not follow.
        assert any(f"Line {one} " in caught.value.what for one in (number + 1, number + 2)), number
        assert "Copy the folder" in caught.value.next_step
        assert journal.read_bytes() == changed
    plain(handback("run", TICKET, "--elsewhere", cwd=tmp_path, stdin="q"), "journal")
    journal.write_bytes(whole)
    to_the_end(folder, bench)


STRANGE = {
    "a picture list of another system": lambda folder: (folder / "Thumbs.db").write_bytes(b"\x00\xff"),
    "a copy of the journal": lambda folder: (folder / "journal (1).jsonl").write_bytes(b"{}"),
    "a torn end that is a folder": lambda folder: (folder / "journal.torn-1").mkdir(),
    "a half-written report": lambda folder: (folder / ".report.html.77.new").write_bytes(b"<html>"),
    "a folder of its own": lambda folder: (folder / "Fotos – Prüfung" / "x").mkdir(parents=True),
    "a link to nowhere": lambda folder: (folder / "notes").symlink_to("nowhere"),
}


@pytest.mark.parametrize("put", STRANGE.values(), ids=STRANGE.keys())
def test_a_foreign_file_in_the_folder_does_not_matter(put: Callable[[Path], object], tmp_path: Path) -> None:
    bench, folder = Bench(), tmp_path / TICKET
    with RunFolder(folder) as held:
        begun(held, bench, "battery")
        put(folder)
        (folder / "traces").mkdir(exist_ok=True)
        (folder / "traces" / "desktop.ini").write_text("x", encoding="utf-8")
        owner = owned(held, bench)
        play(owner, GoodAnswers({"cover-flush": None}), bench.sampler, hands=bench)
        owner.close()
    with (folder / "journal.jsonl").open("ab") as file:
        file.write(b'{"n":4')
    to_the_end(folder, bench)


@pytest.mark.parametrize(
    ("put", "words"),
    [
        (lambda folder: (folder / "lock").mkdir(), ("cannot be written",)),
        (lambda folder: (folder / "journal.jsonl").mkdir(), ("directory",)),
    ],
    ids=["instead of the lock", "instead of the journal"],
)
def test_a_folder_that_stands_where_a_file_should_is_told(
    put: Callable[[Path], object], words: tuple[str, ...], tmp_path: Path
) -> None:
    folder = started(tmp_path)
    before = (folder / "journal.jsonl").read_bytes()
    for name in ("lock", "journal.jsonl"):
        (folder / name).rename(tmp_path / name)
    put(folder)
    for name in ("lock", "journal.jsonl"):
        if not (folder / name).exists():
            shutil.copy(tmp_path / name, folder / name)
    plain(run(tmp_path, NEXT), *words)
    for name in ("lock", "journal.jsonl"):
        if (folder / name).is_dir():
            (folder / name).rmdir()
        shutil.copy(tmp_path / name, folder / name)
    assert (folder / "journal.jsonl").read_bytes() == before
    run(tmp_path, NEXT)
    assert answered(folder) == FIRST | NEXT.keys()


def test_paths_with_blanks_and_letters_of_other_scripts(tmp_path: Path) -> None:
    bench = tmp_path / "Werkbank 2 – Prüfung" / "стол"
    bench.mkdir(parents=True)
    folder = started(bench)
    stick = tmp_path / "STICK ÄÖ 检" / TICKET
    stick.parent.mkdir()
    shutil.copytree(folder, stick)
    lines = "".join(f"  {check}: {answer}\n" for check, answer in NEXT.items())
    answers = bench / "Antworten é.yaml"
    answers.write_text(f"format: answers/1\nanswers:\n{lines}", encoding="utf-8")
    # The locale of a rescue stick: no letters but ASCII.
    said = subprocess.run(
        [*HANDBACK, "run", str(stick), "--answers", str(answers), "--elsewhere"],
        capture_output=True,
        check=False,
        cwd=bench,
        env={**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    )
    assert said.returncode == 1, said.stderr
    assert b"Traceback" not in said.stderr
    assert answered(stick) == FIRST | NEXT.keys()
    assert (stick / "report.html").is_file()
    assert answered(folder) == FIRST


# Clocks, and other computers.


def test_a_clock_at_its_epoch_is_said_and_keeps_nobody_from_the_end(tmp_path: Path) -> None:
    bench, folder = Bench(start=datetime(1970, 1, 1, tzinfo=UTC)), tmp_path / TICKET
    with RunFolder(folder) as held:
        begun(held, bench, "battery", "feet")
    to_the_end(folder, bench)
    assert "epoch" in load_record(tmp_path, TICKET).clock_note


@pytest.mark.parametrize(
    "apart",
    [timedelta(hours=1), timedelta(hours=-1), timedelta(days=1500), timedelta(days=-1500)],
    ids=["an hour ahead", "an hour behind", "years ahead", "years behind"],
)
def test_two_computers_with_clocks_apart_are_said(apart: timedelta, tmp_path: Path) -> None:
    """One clock ahead cannot be told from a wait; but the way back from it can."""
    machine, folder = Bench(start=datetime(2032, 3, 2, 9, tzinfo=UTC)), tmp_path / TICKET
    other = Bench(design=LARKSPUR_13, start=datetime(2032, 3, 2, 9, tzinfo=UTC) + apart)
    other.clock._boot_id = "of the bench computer"
    with RunFolder(folder) as held:
        begun(held, machine, "battery")
        for bench, stop in ((machine, "bay-clean"), (other, "nothing-loose")):
            owner = owned(held, bench, on_machine=bench is machine)
            play(owner, GoodAnswers({stop: None}), bench.sampler, hands=bench)
            owner.close()
    to_the_end(folder, machine)
    note = load_record(tmp_path, TICKET).clock_note
    assert "After a restart, or on another computer" in note
    back_s = int(note.split(" it stood ")[1].split(" s back")[0])
    assert back_s == pytest.approx(abs(apart.total_seconds()), abs=1800)


def test_a_folder_copied_to_another_computer_waits_there_and_goes_on_on_the_machine(tmp_path: Path) -> None:
    machine, folder = Bench(), tmp_path / "machine" / TICKET
    computer = Bench(design=LARKSPUR_13)
    computer.clock._boot_id = "of the bench computer"
    answers = GoodAnswers({"cover-flush": None})
    with RunFolder(folder) as held:
        begun(held, machine, "battery")
        owner = owned(held, machine)
        play(owner, answers, machine.sampler, hands=machine)
        owner.close()
    answers.but.clear()
    # No export: the folder is copied as it is, with the lock and all.
    on_stick = tmp_path / "stick" / TICKET
    shutil.copytree(folder, on_stick)
    with RunFolder(on_stick) as held:
        owner = owned(held, computer, on_machine=None)
        assert owner.on_machine is False, "another model is not the repaired machine"
        due = play(owner, answers, computer.sampler, hands=computer)
        assert isinstance(due, plan.Elsewhere)
        assert {check.kind for check in due.checks} == {Kind.PROBE}
        assert not owner.wants_samples()
        assert not owner.state.watching
        owner.close()
    back = tmp_path / "machine again" / TICKET
    shutil.copytree(on_stick, back)
    with RunFolder(back) as held:
        owner = owned(held, machine, on_machine=None)
        assert owner.on_machine is True, "known by its own marks"
        assert isinstance(play(owner, answers, machine.sampler, hands=machine), plan.Complete)
        owner.close()
    record = load_record(back.parent, TICKET)
    assert record.outcome is Outcome.FIT
    assert record.machine["model"] == "Larkspur 15"
    assert len(answers.asked) == len(set(answers.asked)) + 1, (
        "only what was left open was asked a second time"
    )
