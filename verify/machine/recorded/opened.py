"""Opening a log: a regular file, decoded to text whatever wrote it.

Numbers are ASCII in every encoding met in the field, so letters that cannot be decoded harm a name at most.
"""

import codecs
import io
import stat
from pathlib import Path
from typing import BinaryIO, TextIO

from verify.values.errors import FileFormatError, WrongUseError

__all__ = ["decoded", "opened"]

_PEEK = 4096
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark it begins with
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def opened(path: Path) -> BinaryIO:
    """Open the file for reading.

    Raises WrongUseError where there is none, where it is a folder, a device or a pipe, or may not be read.
    """
    try:
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            raise WrongUseError(f"{path} is a folder.", next_step="Name the log file in it.")
        if not stat.S_ISREG(kind):
            # A pipe may never end, and a device is no record of anything.
            raise WrongUseError(
                f"{path} is not a regular file.", next_step="Save the log to a file and name that."
            )
        return path.open("rb")
    except FileNotFoundError as error:
        raise WrongUseError(f"There is no file {path}.", next_step="Check its name and folder.") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else None
        raise WrongUseError(
            f"{path} cannot be read: {reason or error}.", next_step="Check its name and its rights."
        ) from error


def decoded(raw: BinaryIO) -> TextIO:
    """Return the file as text with every line ended by a newline; what cannot be decoded becomes "�".

    raw: at its start, seekable. Byte order marks tell the encoding; else zeros in every second place do; else
    it is UTF-8.
    """
    try:
        head = raw.read(_PEEK)
        raw.seek(0)
    except OSError as error:
        raise FileFormatError(f"The log cannot be read: {error.strerror or error}.") from error
    return io.TextIOWrapper(raw, encoding=_encoding(head), errors="replace", newline=None)


def _encoding(head: bytes) -> str:
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    pairs = len(head) // 2
    if pairs >= 4:
        # ASCII in two bytes a letter: nearly every second byte is zero, and only those.
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > 0.9 * pairs and even < 0.1 * pairs:
            return "utf-16-le"
        if even > 0.9 * pairs and odd < 0.1 * pairs:
            return "utf-16-be"
    return "utf-8"
