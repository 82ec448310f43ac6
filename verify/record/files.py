"""Put a whole file on disk so that a pulled plug leaves either the old one or the new one.

Order: write a new file beside it, flush, sync, switch, sync the folder. It also works on FAT, where there
are no modes and a rename may be torn: the new bytes are on the disk before the switch.
"""

import os
import sys
from pathlib import Path

from verify.values.errors import FileWriteError

_NEXT = "Check the folder's rights and the free space (a stick may be write-protected), then do it again."


def write_whole(path: Path, data: bytes, *, overwrite: bool = True, private: bool = False) -> None:
    """Write `data` as the whole content of `path`, durably.

    overwrite: False refuses where something stands there already. private: only the owner may read it,
    where the system has modes.
    Raises FileWriteError; what stood there before then still stands, whole.
    """
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


def _write_new(path: Path, data: bytes, *, mode: int) -> None:
    path.unlink(missing_ok=True)  # left by a run of the same process id that lost its power
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
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
