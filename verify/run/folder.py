"""A run's folder: its name, its files and the lock that keeps it to one owner."""

import contextlib
import errno
import os
import re
import shlex
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from verify.record.files import given_blocks, sync, sync_folder, sync_places
from verify.values.errors import FileWriteError, FolderBusyError, WrongUseError

# Names that every file system takes, FAT included; Windows keeps a few for devices.
_TICKET = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,62}[A-Za-z0-9_-]|[A-Za-z0-9]", re.ASCII)
_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.ASCII | re.IGNORECASE)

# What a system says where somebody else holds the lock; anything else is a drive that knows no locks.
_HELD = frozenset({errno.EAGAIN, errno.EACCES, errno.EDEADLK})


def is_ticket(name: str) -> bool:
    """Tell whether the name can be a ticket, and its folder's on every file system."""
    return _TICKET.fullmatch(name) is not None and _DEVICES.fullmatch(name) is None


def ticket_folder(reports: Path, ticket: str) -> Path:
    """Return the ticket's folder below `reports`; it need not exist.

    Raises WrongUseError where the ticket cannot be a folder's name.
    """
    if not is_ticket(ticket):
        raise WrongUseError(
            f'"{ticket}" cannot be a ticket.',
            next_step="Use letters, digits, dots, dashes and underscores, like TW-1042.",
        )
    return reports / ticket


class RunFolder:
    """The files of one run. Use it as a context manager to hold its lock."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock: int | None = None

    @property
    def journal_path(self) -> Path:
        """The journal."""
        return self.path / "journal.jsonl"

    @property
    def begun(self) -> bool:
        """Whether a run was begun here: of one that lost its power in the first line, nothing was kept."""
        try:
            with self.journal_path.open("rb") as journal:
                return journal.readline().endswith(b"\n")
        except FileNotFoundError:
            return False

    @property
    def report_path(self) -> Path:
        """The report page."""
        return self.path / "report.html"

    def trace_path(self, name: str) -> Path:
        """Return the path of a trace file."""
        return self.path / "traces" / name

    def __enter__(self) -> Self:
        try:
            new = not self.path.exists()
            self.path.mkdir(parents=True, exist_ok=True)
            if new:
                # The first line must not be on the disk in a folder whose name is not.
                sync_folder(self.path.parent)
            lock = os.open(self.path / "lock", os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise self._unwritable(error) from error
        try:
            _lock_or_raise(lock)
        except OSError as error:
            if error.errno not in _HELD:
                os.close(lock)
                raise FileWriteError(
                    f"{self.path} cannot be locked: {error.strerror or error}.",
                    next_step="Put the folder on a drive of this computer or on a stick, then run again.",
                ) from error
            holder = os.read(lock, 80).decode("utf-8", "replace").strip() if sys.platform != "win32" else ""
            os.close(lock)
            raise FolderBusyError(
                f"Another run holds {self.path.name}{f' ({holder})' if holder else ''}.",
                next_step="Go on there, or end it and run again.",
            ) from None
        self._lock = lock
        # Who holds it is a courtesy: a full disk must not keep a run from being looked at.
        with contextlib.suppress(OSError):
            blocks = given_blocks(lock)
            os.lseek(lock, 0, os.SEEK_SET)
            # Always as long: it needs no new place on the medium, which a cut could leave half given.
            os.write(lock, f" process {os.getpid()}".ljust(31).encode() + b"\n")
            sync_places(lock, self.path, blocks_before=blocks)
            sync(lock)
        return self

    def _unwritable(self, error: OSError) -> FileWriteError:
        look = (
            f"To look only: handback status {self.path.name} --reports {shlex.quote(str(self.path.parent))}"
        )
        if error.errno == errno.EROFS:
            return FileWriteError(
                f"{self.path} lies on a medium that cannot be written (a stick's lock, a disc?).",
                next_step=f"Open the lock, or copy the folder elsewhere and go on there. {look}",
            )
        return FileWriteError(
            f"{self.path} cannot be written: {error.strerror or error}.",
            next_step=f"Check the drive, its free space and the folder's rights. {look}",
        )

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


if sys.platform == "win32":
    import msvcrt

    def _lock_or_raise(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _lock_or_raise(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
