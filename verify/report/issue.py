"""Put the page into the ticket's folder, and never lose one that was signed."""

from pathlib import Path

from verify.record.canonical import record_bytes
from verify.record.files import free_path, write_whole
from verify.record.model import Record
from verify.record.page import MARKER, record_in
from verify.report.images import read_images
from verify.report.packed import read_packed
from verify.report.render import render
from verify.values.errors import FileFormatError, NotAReportError

REPORT_NAME = "report.html"


def issue_report(folder: Path, record: Record) -> Path:
    """Render the record, with the folder's pictures, into the folder's report, durably; return its path.

    A report of this very record that is signed already stays as it stands; any other signed one is kept
    beside it, as report.superseded-1.html and so on.
    Raises FileWriteError where it cannot be written, FileFormatError where the old one cannot be read.
    """
    path = folder / REPORT_NAME
    old = read_report(path)
    if old is not None and MARKER in old and carries(old, record):
        return path
    replace_report(path, render(record, read_images(folder, record), read_packed(folder, record)))
    return path


def replace_report(path: Path, page: bytes) -> None:
    """Write the page there; a signed one that stood there is kept beside it, as NAME.superseded-1.html.

    Raises FileWriteError where it cannot be written, FileFormatError where the old one cannot be read.
    """
    old = read_report(path)
    if old is not None and MARKER in old:
        beside = free_path(lambda number: path.with_name(f"{path.stem}.superseded-{number}.html"))
        write_whole(beside, old, overwrite=False)
    write_whole(path, page)


def carries(page: bytes, record: Record) -> bool:
    """Return whether the page carries exactly this record; whether it is whole is not decided here."""
    try:
        return record_in(page) == record_bytes(record)
    except NotAReportError:
        return False


def read_report(path: Path) -> bytes | None:
    """Return the report's bytes; None where there is none.

    Raises FileFormatError where it cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise FileFormatError(
            f"{path} cannot be read: {error.strerror or error}.", next_step="Check the file's rights."
        ) from error
