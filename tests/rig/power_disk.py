"""The state disk of the power-cut tests: made, read, and robbed of what it had not been told to keep.

A drive may answer a write before the bytes are on the medium; only a flush makes it keep them. The emulator
logs every write and flush, so that after a cut each write since the last flush can be taken back.
Source of the log's format: Linux Documentation/admin-guide/device-mapper/log-writes.rst.
"""

import random
import re
import shutil
import struct
import subprocess
from enum import StrEnum
from pathlib import Path

import msgspec

from verify.testing.rigs import require_program

_BYTES = 24 << 20
_SECTOR = 512
_HEADER = struct.Struct("<QQQQ")
_FLUSH, _FUA = 1, 2
# Places beyond the length ("cluster chain length is > 512") do no harm.
_DAMAGED = re.compile(
    r"^(/\S+)\n  (?:File size is \d+ bytes, cluster chain length is \d|Contains a free cluster)", re.MULTILINE
)


class Kind(StrEnum):
    """The file systems: one with a journal of its own, one as sticks have it."""

    EXT4 = "ext4"
    FAT = "vfat"


def make_disk(path: Path, kind: Kind) -> None:
    """Make an empty file system in an image file."""
    with path.open("wb") as file:
        file.truncate(_BYTES)
    # The smallest clusters that FAT has: a file that grows asks for another one often.
    options = ["-q"] if kind is Kind.EXT4 else ["-s", "1"]
    subprocess.run([require_program(f"mkfs.{kind}"), *options, str(path)], check=True, capture_output=True)


def copy_out(disk: Path, kind: Kind, folder: Path) -> None:
    """Copy everything on an image that was unmounted into a folder."""
    folder.mkdir()
    if kind is Kind.EXT4:
        command = [require_program("debugfs"), "-R", f'rdump / "{folder}"', str(disk)]
    else:
        command = [require_program("mcopy"), "-s", "-n", "-i", str(disk), "::", str(folder)]
    subprocess.run(command, check=True, capture_output=True)


class _Entry(msgspec.Struct, frozen=True, kw_only=True):
    """A write: where its bytes go, where they lie in the log. Or a flush, without bytes."""

    flags: int
    to: int
    start: int
    length: int


def lose_unflushed(disk: Path, before: Path, log: Path, chance: random.Random) -> tuple[int, int]:
    """Take back a random part of the writes since the last flush, each by itself.

    before: a copy of the disk from when the log began. Returns how many writes were taken back, of how many.
    """
    data = log.read_bytes()
    entries, end = _entries(data)
    flushed = max((n for n, entry in enumerate(entries) if entry.flags & _FLUSH), default=-1)
    # Whatever a drive's cache held, in whatever order it writes.
    share = chance.choice((0.3, 0.7, 1.0))
    lost = {
        n
        for n, entry in enumerate(entries)
        if n > flushed and not entry.flags & _FUA and chance.random() < share
    }
    if any(data[end:]):
        # Two writes at once, and the cut in the earlier one's log: what came behind it cannot be told.
        return 0, len(entries) - flushed - 1
    image = bytearray(before.read_bytes())
    for n, entry in enumerate(entries):
        if n not in lost:
            image[entry.to : entry.to + entry.length] = data[entry.start : entry.start + entry.length]
    disk.write_bytes(image)
    return len(lost), len(entries) - flushed - 1


def faults_after_each_write(before: Path, log: Path, scratch: Path) -> dict[int, list[str]]:
    """Cut a FAT disk after each write of a log, one after the other, and say which files are damaged then.

    Damaged: longer than its places on the medium, or in places that are free for others. Linux cannot read
    such a file to its end, and sets the whole disk read-only when that is tried.
    """
    check = [require_program("fsck.vfat"), "-n", str(scratch)]
    data = log.read_bytes()
    copy_disk(before, scratch)
    faults: dict[int, list[str]] = {}
    with scratch.open("r+b") as file:
        for n, entry in enumerate(_entries(data)[0]):
            file.seek(entry.to)
            file.write(data[entry.start : entry.start + entry.length])
            file.flush()
            said = subprocess.run(check, capture_output=True, text=True, check=False).stdout
            if found := _DAMAGED.findall(said):
                faults[n] = found
    return faults


def _entries(data: bytes) -> tuple[list[_Entry], int]:
    """Return what is logged, and where the log ends. Its first sector is filled in at the first flush."""
    entries = []
    at = _SECTOR
    while at + _SECTOR <= len(data):
        to, sectors, flags, _ = _HEADER.unpack_from(data, at)
        length = sectors * _SECTOR
        if not (sectors or flags) or at + _SECTOR + length > len(data):
            break
        assert not flags & ~(_FLUSH | _FUA), f"The log of writes holds something else: {flags}."
        entries.append(_Entry(flags=flags, to=to * _SECTOR, start=at + _SECTOR, length=length))
        at += _SECTOR + length
    return entries, at


def copy_disk(disk: Path, to: Path) -> None:
    """Copy an image, holes left out."""
    shutil.copyfile(disk, to)
