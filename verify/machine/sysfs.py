"""Read small files below a root: the text, or the reason why there is none. Nothing here raises.

The root and the way a file is fetched are arguments, so that a recorded tree, or one whose files fail,
goes through the same code as the real one.
"""

import errno
import os
import re
from collections.abc import Callable
from pathlib import Path

import msgspec

__all__ = ["Missing", "Sysfs", "fetch_bytes", "integer"]

# The kernel gives at most one page for a file of this kind.
_PAGE_BYTES = 65536

_DIGITS = 20
_NEGATIVE = re.compile(r"-[0-9]{1,20}", re.ASCII)

# errno → what it means to a technician. Values and names: POSIX.1-2017 <errno.h>.
_MEANINGS: dict[int, str] = {
    errno.ENOENT: "There is no such file.",
    errno.ENODEV: "The firmware gives no value (ENODEV).",
    errno.ENXIO: "The device does not answer (ENXIO).",
    errno.EIO: "The device could not be read (EIO).",
    errno.EACCES: "Only an administrator may read it.",
    errno.EPERM: "Only an administrator may read it.",
    errno.EAGAIN: "The device was not ready (EAGAIN).",
    errno.ENODATA: "The device has no data now (ENODATA).",
    errno.EISDIR: "It is a folder, not a file.",
}


class Missing(msgspec.Struct, frozen=True, kw_only=True):
    """No text, and why. absent: the file does not exist (others exist and cannot be read)."""

    reason: str
    absent: bool = False


def fetch_bytes(path: str) -> bytes:
    """Read a small file whole; raise OSError where that fails.

    Plain descriptors: half the cost of a text stream, and a watch reads some dozens of files each time.
    """
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
    try:
        return os.read(descriptor, _PAGE_BYTES)
    finally:
        os.close(descriptor)


def integer(text: str) -> int | None:
    """Return the whole number that the text is, or None where it is anything else.

    Stricter than int(): no underscores, blanks, plus signs or digits of other scripts.
    """
    if text.isascii() and text.isdigit() and len(text) <= _DIGITS:
        return int(text)
    return int(text) if _NEGATIVE.fullmatch(text) else None


class Sysfs:
    """A tree of small files below `root`. fetch: how the bytes of a path are read (raises OSError)."""

    def __init__(self, root: Path, *, fetch: Callable[[str], bytes] = fetch_bytes) -> None:
        self.root = str(root)
        self._fetch = fetch

    def raw(self, path: str) -> bytes | None:
        """Read a file as bytes; None where that fails, whatever the reason."""
        try:
            return self._fetch(f"{self.root}/{path}")
        except (OSError, ValueError):
            return None

    def text(self, path: str) -> str | Missing:
        """Read a file as text without the surrounding blanks; path is relative to the root.

        An empty file gives "". Bytes that are not UTF-8 become U+FFFD.
        """
        try:
            return self._fetch(f"{self.root}/{path}").decode("utf-8", "replace").strip()
        except OSError as error:
            return Missing(reason=_meaning(error), absent=error.errno == errno.ENOENT)
        except ValueError as error:
            return Missing(reason=f"It cannot be read: {error}.")

    def number(self, path: str) -> int | Missing:
        """Read a file that holds one whole number."""
        text = self.text(path)
        if isinstance(text, Missing):
            return text
        value = integer(text)
        if value is not None:
            return value
        return Missing(reason="It is empty." if not text else f"“{text[:24]}” is not a number.")

    def names(self, path: str) -> list[str] | Missing:
        """List a folder, sorted."""
        try:
            return sorted(os.listdir(f"{self.root}/{path}"))  # noqa: PTH208 - pathlib costs five times as much
        except OSError as error:
            return Missing(reason=_meaning(error), absent=error.errno == errno.ENOENT)
        except ValueError as error:
            return Missing(reason=f"It cannot be read: {error}.")

    def entries(self, path: str) -> list[tuple[str, int]]:
        """List a folder as names with the number that stands for that very entry; empty where it fails."""
        try:
            with os.scandir(f"{self.root}/{path}") as found:
                return [(entry.name, entry.inode()) for entry in found]
        except (OSError, ValueError):
            return []


def _meaning(error: OSError) -> str:
    code = error.errno or 0
    return _MEANINGS.get(code) or f"It cannot be read: {error.strerror or error}."
