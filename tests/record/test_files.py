"""Whole files: the old one or the new one, never something between."""

import errno
import os
import stat
from pathlib import Path

import pytest

from verify.record import files
from verify.record.files import write_whole
from verify.values.errors import FileWriteError


def test_a_file_is_replaced_whole_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    write_whole(path, b"old")
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]


def test_a_name_that_is_taken_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "key.pem"
    write_whole(path, b"first", overwrite=False)
    with pytest.raises(FileWriteError, match="exists already"):
        write_whole(path, b"second", overwrite=False)
    assert path.read_bytes() == b"first"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name == "nt", reason="no file modes there")
def test_a_private_file_is_for_its_owner_only(tmp_path: Path) -> None:
    path = tmp_path / "key.pem"
    write_whole(path, b"secret", private=True, overwrite=False)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_full_disk_leaves_the_old_file_and_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "report.html"
    write_whole(path, b"old")

    def full(descriptor: int) -> None:
        del descriptor
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(files, "sync", full)
    with pytest.raises(FileWriteError) as caught:
        write_whole(path, b"new")
    assert "free space" in caught.value.next_step
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_is_told_in_our_words(tmp_path: Path) -> None:
    with pytest.raises(FileWriteError):
        write_whole(tmp_path / "gone" / "report.html", b"new")


def test_a_medium_without_second_names_gets_the_file_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(source: object, target: object) -> None:
        del source, target
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "link", no_links)
    path = tmp_path / "key.pem"
    write_whole(path, b"first", overwrite=False)
    with pytest.raises(FileWriteError, match="exists already"):
        write_whole(path, b"second", overwrite=False)
    assert path.read_bytes() == b"first"
