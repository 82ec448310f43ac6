"""Put a whole file on disk so that a pulled plug leaves either the old one or the new one.

Order: write a new file beside it, flush, sync, switch, sync the folder. It also works on FAT, where there
are no modes and a rename may be torn: the new bytes are on the disk before the switch.
"""

import itertools
import os
import sys
from collections.abc import Callable
from pathlib import Path

from verify.values.errors import FileWriteError

_NEXT = "Check the folder's rights and the free space (a stick may be write-protected), then do it again."


def write_whole(path: Path, data: bytes, *, overwrite: bool = True, private: bool = False) -> None:
    """Write `data` as the whole content of `path`, durably.

    overwrite: False refuses where something stands there already. private: only the owner may read it,
    where the system has modes.
    Raises FileWriteError; what stood there before then still stands, whole.
    """
    if not path.name:
        raise FileWriteError("No file is named to write to.", next_step="Give its name.")
    new = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        try:
            _write_new(new, data, mode=0o600 if private else 0o666)
            if overwrite:
                new.replace(path)
            else:
                _switch_to_free_name(new, path)
        finally:
            new.unlink(missing_ok=True)
        sync_folder(path.parent)
    except FileExistsError:
        raise FileWriteError(
            f"{path} exists already and was left as it is.", next_step="Choose another name."
        ) from None
    except OSError as error:
        raise FileWriteError(
            f"{path} could not be written: {error.strerror or error}.", next_step=_NEXT
        ) from error


def free_path(name: Callable[[int], Path]) -> Path:
    """Return the first path that nothing stands at. name: of a number, from 1 on."""
    return next(path for path in map(name, itertools.count(1)) if not path.exists())


def keep_torn(path: Path, rest: bytes) -> None:
    """Keep what is cut off a file beside it, as NAME.torn-1 and so on.

    Raises FileWriteError where it cannot be written.
    """
    write_whole(free_path(lambda number: path.with_name(f"{path.stem}.torn-{number}")), rest)


def sync(descriptor: int) -> None:
    """Bring an open file's bytes to the medium itself.

    Raises OSError where the system says that it failed.
    """
    if sys.platform == "darwin":
        # fsync stops at the drive's own cache there; F_FULLFSYNC goes through it.
        import fcntl

        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
    else:
        os.fsync(descriptor)


def sync_folder(folder: Path) -> None:
    """Bring a folder's list of names to the medium; nothing where the system cannot do that.

    Raises OSError where the system says that it failed.
    """
    if os.name == "nt":
        return  # a folder cannot be opened for that there
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        sync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path, *, still: Path) -> None:
    """Make a folder where there is none, and bring its place on the medium out before its name.

    still: a file on the same drive that did not change since it was synced; passed over where there is none.
    On FAT its sync brings out the table of places, and nothing else (see `sync_places`).
    Raises OSError where the system says that it failed.
    """
    if folder.exists():
        return
    folder.mkdir(parents=True)
    if still.exists():
        descriptor = os.open(still, os.O_RDWR)
        try:
            sync(descriptor)
        finally:
            os.close(descriptor)
    sync_folder(folder.parent)


def given_blocks(descriptor: int) -> int | None:
    """Return how much of the medium an open file was given, in blocks; None where the system does not say."""
    return getattr(os.fstat(descriptor), "st_blocks", None)


def sync_places(descriptor: int, folder: Path, *, blocks_before: int | None) -> None:
    """Bring out where an open file's bytes lie, if it was given more places; call it before `sync`.

    blocks_before: `given_blocks` when it was last synced, or when it was opened.
    FAT keeps the length in the folder and the places in a table of its own, and Linux writes the length
    first: a plug pulled in between leaves a file that is longer than its places. Reading it to its end
    fails, and the whole stick is set read-only. Syncing the folder, where the length still is the old one,
    brings out the table. A file that was given nothing new needs no second sync.
    Raises OSError where the system says that it failed.
    """
    if given_blocks(descriptor) != blocks_before:
        sync_folder(folder)


def _write_new(path: Path, data: bytes, *, mode: int) -> None:
    path.unlink(missing_ok=True)  # left by a run of the same process id that lost its power
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        sync_places(file.fileno(), path.parent, blocks_before=0)
        sync(file.fileno())


def _switch_to_free_name(new: Path, path: Path) -> None:
    try:
        os.link(new, path)  # refuses by itself where the name was taken in the meantime
    except FileExistsError:
        raise
    except OSError:
        # No second names on FAT. Between look and switch another process could take the name: the run
        # folder's lock and the key folder's single user keep that away.
        if path.exists():
            raise FileExistsError from None
        new.rename(path)
