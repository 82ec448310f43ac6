import errno
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from verify.record.model import Ticket
from verify.run.events import JOURNAL_FORMAT, AskedAgain, Began, Ended, Stepped, counts_of
from verify.run.journal import Journal, read_lines, split_torn
from verify.values import Outcome, VirtualClock
from verify.values.errors import (
    BrokenJournalError,
    HandbackError,
    JournalError,
    JournalWriteError,
    UnknownFormatError,
)

CLOCK = VirtualClock(start=datetime(2026, 3, 2, tzinfo=UTC))


def began(form: str = JOURNAL_FORMAT) -> Began:
    return Began(format=form, tool="handback test", ticket=Ticket(id="TW-1042"), checklists=())


@pytest.fixture
def path(tmp_path: Path) -> Path:
    journal = Journal(tmp_path / "journal.jsonl")
    journal.append(began(), CLOCK.now())
    for step in ("connect-pack", "close-base", "charge"):
        journal.append(Stepped(step=step), CLOCK.now())
    return tmp_path / "journal.jsonl"


def test_what_was_written_is_read_back(path: Path) -> None:
    again = Journal(path)
    assert [type(line.event).__name__ for line in again.lines] == ["Began", "Stepped", "Stepped", "Stepped"]
    line = again.append(AskedAgain(check="tilt"), CLOCK.now())
    assert Journal(path).lines[-1] == line
    assert line.n == 4


def test_a_cut_at_every_byte_of_the_last_line_loses_only_that_line(path: Path) -> None:
    whole = path.read_bytes()
    start = whole[:-1].rfind(b"\n") + 1
    for cut in range(start, len(whole)):
        path.write_bytes(whole[:cut])
        journal = Journal(path)
        assert len(journal.lines) == 3
        assert path.read_bytes() == whole[:start]
        torn = b"".join(beside.read_bytes() for beside in path.parent.glob("journal.torn-*"))
        assert torn == whole[start:cut]
        for beside in path.parent.glob("journal.torn-*"):
            beside.unlink()
        journal.append(Stepped(step="charge"), CLOCK.now())
        assert Journal(path).lines[-1].event == Stepped(step="charge")


def test_two_torn_ends_are_both_kept(path: Path) -> None:
    for _ in range(2):
        with path.open("ab") as file:
            file.write(b'{"n":4,"bef')
        Journal(path)
    assert sorted(beside.name for beside in path.parent.glob("journal.torn-*")) == [
        "journal.torn-1",
        "journal.torn-2",
    ]


def test_a_line_altered_in_the_middle_is_refused_by_its_number(path: Path) -> None:
    altered = path.read_bytes().replace(b"close-base", b"close-bass")
    with pytest.raises(BrokenJournalError, match="Line 4"):
        read_lines(altered)


def test_a_line_taken_out_is_refused(path: Path) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    with pytest.raises(BrokenJournalError, match="Line 2"):
        read_lines(b"".join([lines[0], *lines[2:]]))


def test_garbage_in_the_middle_is_refused(path: Path) -> None:
    lines = path.read_bytes().splitlines(keepends=True)
    with pytest.raises(BrokenJournalError, match="Line 3"):
        read_lines(b"".join([*lines[:2], b"\xff\x00 nonsense\n", *lines[3:]]))


def test_every_flipped_byte_before_the_last_line_is_noticed(path: Path) -> None:
    whole = path.read_bytes()
    last = whole[:-1].rfind(b"\n") + 1
    for index in range(last):
        flipped = bytearray(whole)
        flipped[index] ^= 0x01
        with pytest.raises(HandbackError):
            read_lines(bytes(flipped))


def test_a_newer_format_is_refused_by_name(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "journal.jsonl")
    journal.append(began("journal/2"), CLOCK.now())
    with pytest.raises(UnknownFormatError, match="journal/2"):
        Journal(tmp_path / "journal.jsonl")


def test_a_second_beginning_is_refused(path: Path) -> None:
    journal = Journal(path)
    journal.append(began(), CLOCK.now())
    with pytest.raises(BrokenJournalError, match="Line 5"):
        Journal(path)


def test_a_torn_end_is_split_off() -> None:
    assert split_torn(b"one\ntwo") == (b"one\n", b"two")
    assert split_torn(b"") == (b"", b"")


def test_a_failed_write_leaves_the_journal_as_it_was(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = path.read_bytes()
    journal = Journal(path)
    real = os.write

    def full(descriptor: int, data: bytes) -> int:
        real(descriptor, bytes(data)[: len(data) // 2])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(JournalWriteError, match="No space left"):
        journal.append(Stepped(step="charge"), CLOCK.now())
    monkeypatch.undo()
    assert path.read_bytes() == before
    # And the run goes on once there is room again.
    line = journal.append(Stepped(step="charge"), CLOCK.now())
    assert Journal(path).lines[-1] == line


def test_a_really_full_disk_is_a_plain_sentence() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("needs /dev/full")
    journal = Journal(Path("/nonexistent-here/journal.jsonl"))
    journal._path = Path("/dev/full")
    with pytest.raises(JournalWriteError) as caught:
        journal.append(began(), CLOCK.now())
    assert "space" in caught.value.next_step


@pytest.mark.parametrize("how", ["gone", "longer", "shorter", "folder gone"])
def test_a_journal_that_something_else_touched_is_not_written_into(path: Path, how: str) -> None:
    journal = Journal(path)
    data = path.read_bytes()
    match how:
        case "gone":
            path.unlink()
        case "longer":
            path.write_bytes(data + b"{}\n")
        case "shorter":
            path.write_bytes(data[:-5])
        case _:
            shutil.rmtree(path.parent)
    left = path.read_bytes() if path.exists() else None
    with pytest.raises(JournalError) as caught:
        journal.append(Stepped(step="charge"), CLOCK.now())
    assert caught.value.next_step
    assert (path.read_bytes() if path.exists() else None) == left


def test_an_end_that_counts_other_lines_than_are_there_is_refused(path: Path) -> None:
    journal = Journal(path)
    journal.append(Ended(outcome=Outcome.FIT, counts=counts_of(journal.lines)), CLOCK.now())
    assert len(Journal(path).lines) == 5
    journal.append(Ended(outcome=Outcome.FIT, counts={"began": 1, "stepped": 9}), CLOCK.now())
    with pytest.raises(BrokenJournalError, match="Line 6"):
        Journal(path)
