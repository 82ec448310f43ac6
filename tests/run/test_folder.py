import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from verify.run import RunFolder, ticket_folder
from verify.values.errors import FileWriteError, FolderBusyError, WrongUseError


@pytest.mark.parametrize(
    "ticket",
    ["", ".", "..", "a/b", "a\\b", ".hidden", "ends.", "nul", "COM1.txt", "-x", "ä", "x" * 65, "a\nb"],
)
def test_a_ticket_that_no_file_system_takes_is_refused(ticket: str, tmp_path: Path) -> None:
    with pytest.raises(WrongUseError):
        ticket_folder(tmp_path, ticket)


@pytest.mark.parametrize("ticket", ["TW-1042", "7", "2026.03-12_a", "x" * 64])
def test_a_plain_ticket_is_taken(ticket: str, tmp_path: Path) -> None:
    assert ticket_folder(tmp_path, ticket) == tmp_path / ticket


def test_a_second_run_on_the_folder_is_told_who_holds_it(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from verify.run import RunFolder\n"
        "with RunFolder(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(FolderBusyError, match=f"process {holder.pid}"), RunFolder(tmp_path):
            pass
        holder.kill()
    # The lock dies with its owner: nothing is left to clean up.
    with RunFolder(tmp_path):
        pass


def test_a_drive_that_knows_no_locks_is_not_called_busy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_locks(_descriptor: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("verify.run.folder._lock_or_raise", no_locks)
    with pytest.raises(FileWriteError, match="No locks available"), RunFolder(tmp_path):
        pass


def test_a_full_disk_does_not_keep_a_run_from_being_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int, _data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with RunFolder(tmp_path) as held, pytest.raises(FolderBusyError), RunFolder(held.path):
        pass
