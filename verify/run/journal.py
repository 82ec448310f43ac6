"""The journal: append-only lines, each on disk before anything else happens.

`read_lines` is pure: bytes in, lines out. Only an unterminated last line is cut; anything else that
does not belong where it stands is refused, by its number. An unkeyed chain proves nothing until its
head is signed: it finds slips, not forgers.
"""

import errno
import hashlib
import os
from collections.abc import Sequence
from pathlib import Path

import msgspec

from verify.record.files import given_blocks, keep_torn, sync, sync_folder, sync_places
from verify.run.events import JOURNAL_FORMAT, NO_LINE_BEFORE, Began, Ended, Event, Line, counts_of
from verify.values import Instant
from verify.values.errors import BrokenJournalError, JournalWriteError, UnknownFormatError

_decoder = msgspec.json.Decoder(Line)
RESTORE = "Copy the folder from the stick or the bench computer where it is still whole."


def what_to_mend(error: OSError) -> str:
    """Return what to do about a write that failed: half a sentence."""
    match error.errno:
        case errno.ENOENT | errno.ENODEV | errno.ENXIO | errno.EIO:
            return "See that the stick or drive is in and whole"
        case errno.EROFS | errno.EACCES | errno.EPERM:
            return "Open the stick's lock, or mend the folder's rights"
        case _:
            return "Free some space or mend the drive"


def _digest(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()


def head_of(whole: bytes) -> str:
    """Return the SHA-256 of the last of the terminated lines, without its line feed; of none, zeros."""
    return _digest(whole.split(b"\n")[-2]) if whole else NO_LINE_BEFORE


def split_torn(data: bytes) -> tuple[bytes, bytes]:
    """Split into the terminated lines and what a power cut left of the last one."""
    end = data.rfind(b"\n") + 1
    return data[:end], data[end:]


def read_lines(data: bytes) -> tuple[Line, ...]:
    """Decode terminated lines and check number, chain, format and the counts at the end.

    Raises BrokenJournalError with the line's number; UnknownFormatError for another major version.
    """
    lines: list[Line] = []
    before = NO_LINE_BEFORE
    for number, text in enumerate(data.split(b"\n")[:-1]):
        try:
            line = _decoder.decode(text)
        except (msgspec.MsgspecError, UnicodeDecodeError) as error:
            _refuse_other_format(text, first=number == 0)
            raise BrokenJournalError(
                f"Line {number + 1} of the journal cannot be read ({error}).", next_step=RESTORE
            ) from error
        if line.n != number or line.before != before:
            raise BrokenJournalError(
                f"Line {number + 1} of the journal does not follow the one before it: it was altered.",
                next_step=RESTORE,
            )
        if (number == 0) is not isinstance(line.event, Began):
            raise BrokenJournalError(
                f"Line {number + 1} of the journal is not where it belongs.", next_step=RESTORE
            )
        if isinstance(line.event, Ended) and line.event.counts != counts_of(lines):
            raise BrokenJournalError(
                f"Line {number + 1} of the journal counts other lines than stand before it.",
                next_step=RESTORE,
            )
        if isinstance(line.event, Began) and line.event.format != JOURNAL_FORMAT:
            _refuse_other_format(text, first=True)
        lines.append(line)
        before = _digest(text)
    return tuple(lines)


def _refuse_other_format(text: bytes, *, first: bool) -> None:
    if not first:
        return
    try:
        found = msgspec.json.decode(text)["event"]["format"]
    except (msgspec.MsgspecError, UnicodeDecodeError, LookupError, TypeError):
        return
    if found != JOURNAL_FORMAT:
        raise UnknownFormatError(
            f'This journal is in format "{found}"; this tool reads "{JOURNAL_FORMAT}".',
            next_step="Use the version of Handback that wrote it.",
        )


class Journal:
    """A run's journal on disk. Open it only while the run folder's lock is held."""

    def __init__(self, path: Path) -> None:
        """Read what is there; cut a torn last line and keep it beside.

        Raises BrokenJournalError, UnknownFormatError; OSError where the file cannot be read.
        """
        self._path = path
        data = path.read_bytes() if path.exists() else b""
        whole, torn = split_torn(data)
        self._lines = list(read_lines(whole))
        self._head = head_of(whole)
        self._size = len(whole)
        self._trimmed = False
        if torn:
            self._cut(torn)

    @property
    def lines(self) -> Sequence[Line]:
        """The lines so far; grows with each that is written."""
        return self._lines

    def _cut(self, torn: bytes) -> None:
        try:
            keep_torn(self._path, torn)
            os.truncate(self._path, self._size)
        except OSError as error:
            raise self._failure(error) from error

    def _failure(self, error: OSError) -> JournalWriteError:
        return JournalWriteError(
            f"The last step could not be written to {self._path.name}: {error.strerror or error}.",
            next_step=f"Everything before it is kept. {what_to_mend(error)}, then run again.",
        )

    def append(self, event: Event, at: Instant) -> Line:
        """Write one event, flush it to the disk, and only then return it.

        Raises JournalWriteError where it could not be put on disk; the journal then ends where it did.
        """
        line = Line(n=len(self._lines), before=self._head, at=at, event=event)
        text = msgspec.json.encode(line)
        try:
            # Made only once: a journal that is gone must not be begun again in its middle.
            create = 0 if self._lines else os.O_CREAT
            descriptor = os.open(self._path, os.O_WRONLY | create | getattr(os, "O_BINARY", 0), 0o644)
            try:
                self._refuse_other_size(os.fstat(descriptor).st_size)
                self._write(descriptor, text + b"\n")
            finally:
                os.close(descriptor)
            if not self._lines:
                sync_folder(self._path.parent)
        except OSError as error:
            raise self._failure(error) from error
        self._lines.append(line)
        self._head = _digest(text)
        self._size += len(text) + 1
        return line

    def _refuse_other_size(self, size: int) -> None:
        """Raise BrokenJournalError where something else wrote the file since it was read."""
        if size != self._size and self._lines:
            raise BrokenJournalError(
                f"{self._path.name} is not as this run left it: something else has written to it.",
                next_step="Leave, and see that nothing else uses the folder. Then run again.",
            )

    def _write(self, descriptor: int, data: bytes) -> None:
        try:
            if not self._trimmed:
                # A plug pulled while the file grew may have left it more places on FAT than its length
                # needs; Linux takes that for damage when the file grows again.
                os.ftruncate(descriptor, self._size)
                self._trimmed = True
            blocks = given_blocks(descriptor)
            os.lseek(descriptor, self._size, os.SEEK_SET)
            written = 0
            while written < len(data):
                written += os.write(descriptor, data[written:])
            sync_places(descriptor, self._path.parent, blocks_before=blocks)
            sync(descriptor)
        except OSError:
            # Half a line must not stand where the next one is going to be written.
            os.ftruncate(descriptor, self._size)
            raise
