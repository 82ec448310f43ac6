"""Copy a signed report and its summary into a ticket's folder elsewhere; see that each is what was signed."""

from pathlib import Path

import msgspec

from verify.record.canonical import sha256_hex
from verify.record.examine import Examined, examine
from verify.record.files import write_whole
from verify.record.page import MARKER, record_in
from verify.report.issue import REPORT_NAME, read_report
from verify.report.page_kind import PageKind, kind_of
from verify.values.errors import DeliveryError, FileWriteError


class Delivered(msgspec.Struct, frozen=True, kw_only=True):
    """Where the copy lies, and its SHA-256. already_there: it lay there before, the same."""

    path: Path
    sha256: str
    already_there: bool
    examined: Examined


def attach(folder: Path, ticket: str, target: Path) -> Delivered:
    """Copy the report of the ticket's run folder into `target` and read the copy back.

    A different file of the same name is never overwritten: the copy gets the next free number.
    Raises DeliveryError where there is no report, it is unsigned, another ticket's, or cannot be copied;
    ProofError where it is not whole.
    """
    data = read_report(folder / REPORT_NAME)
    if data is None:
        raise DeliveryError(
            f"There is no report for {ticket} yet.", next_step=f"Make and sign it: handback sign {ticket}"
        )
    if MARKER not in data:
        raise DeliveryError(
            f"The report for {ticket} is not signed.", next_step=f"Sign it first: handback sign {ticket}"
        )
    examined = examine(data)
    if examined.record.ticket.id != ticket:
        raise DeliveryError(
            f"The report in {folder} is not that of {ticket}.", next_step="Look what was put there."
        )
    if kind_of(examined.page) is not PageKind.REPORT:
        raise DeliveryError(
            f"{folder / REPORT_NAME} is the summary, not the whole report.",
            next_step="Look what was put there.",
        )
    return _delivered(target, ticket, data)


def attach_summary(folder: Path, report: Examined, target: Path) -> Delivered | None:
    """Copy the summary too, beside the report's copy; None where there is none.

    report: what the report is that was copied; a summary of another record does not go with it.
    Raises DeliveryError where it is unsigned, another page, of another record, or cannot be copied;
    ProofError where it is not whole.
    """
    path = folder / PageKind.SUMMARY.file_name
    data = read_report(path)
    if data is None:
        return None
    ticket = report.record.ticket.id
    again = f"Sign it: handback sign {ticket} --summary  (--new-report where an old one stands there)"
    if MARKER not in data:
        raise DeliveryError("The summary is not signed, so it was not taken along.", next_step=again)
    examined = examine(data)
    if kind_of(examined.page) is not PageKind.SUMMARY:
        raise DeliveryError(
            f"{path} is not a summary, so it was not taken along.", next_step="Look what was put there."
        )
    if record_in(examined.page) != record_in(report.page):
        raise DeliveryError(
            "The summary is not of the same record as the report, so it was not taken along.", next_step=again
        )
    return _delivered(target, f"{ticket}-summary", data)


def _delivered(target: Path, name: str, data: bytes) -> Delivered:
    path, already_there = _place(target, name, data)
    if not already_there:
        _copy(data, path)
    return Delivered(
        path=path,
        sha256=sha256_hex(data),
        already_there=already_there,
        examined=examine(_read_back(path, data)),
    )


def _place(target: Path, name: str, data: bytes) -> tuple[Path, bool]:
    """Return the first name that is free or holds the same bytes already."""
    try:
        target.mkdir(parents=True, exist_ok=True)
        number = 1
        while True:
            path = target / (f"{name}.html" if number == 1 else f"{name}-{number}.html")
            if not path.exists():
                return path, False
            if path.read_bytes() == data:
                return path, True
            number += 1
    except OSError as error:
        raise DeliveryError(
            f"{target} cannot be used: {error.strerror or error}.",
            next_step="Check that the folder is there and can be written, then attach again.",
        ) from error


def _copy(data: bytes, path: Path) -> None:
    try:
        write_whole(path, data, overwrite=False)
    except FileWriteError as error:
        raise DeliveryError(error.what, next_step=error.next_step) from error


def _read_back(path: Path, data: bytes) -> bytes:
    try:
        copy = path.read_bytes()
    except OSError as error:
        raise DeliveryError(f"The copy {path} cannot be read back: {error.strerror or error}.") from error
    if copy != data:
        raise DeliveryError(
            f"The copy {path} is not what was written.", next_step="Use another medium, then attach again."
        )
    return copy
