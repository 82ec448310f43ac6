"""The two pages that are made of a record: the whole report, and one page for the counter.

Each is signed for itself. Which of the two a page is, its parts tell, and those are signed with it.
"""

from collections.abc import Mapping
from enum import StrEnum

from verify.record.model import Record
from verify.record.page import parts_of
from verify.report.images import images_in
from verify.report.packed import Packed, traces_in
from verify.report.render import render
from verify.report.summary import PART, render_summary


class PageKind(StrEnum):
    """What a page is."""

    REPORT = "report"
    SUMMARY = "summary"

    @property
    def file_name(self) -> str:
        """The page's name in the ticket's folder."""
        return f"{self.value}.html"


def kind_of(page: bytes) -> PageKind:
    """Return which of the two a page is by its parts; whether it is whole is not decided here.

    Raises NotAReportError where it has two parts of the same name.
    """
    return PageKind.SUMMARY if PART in parts_of(page) else PageKind.REPORT


def made(
    kind: PageKind, record: Record, images: Mapping[str, bytes], traces: Mapping[str, Packed] | None
) -> bytes:
    """Return the page of that kind. Raise InvalidValueError where none can be made."""
    if kind is PageKind.SUMMARY:
        return render_summary(record, images)
    return render(record, images, traces)


def made_again(page: bytes, record: Record, images: Mapping[str, bytes] | None = None) -> bytes:
    """Return the page that the record makes with what this page carries; images: in place of the page's.

    Raises InvalidValueError where none can be made, NotAReportError where it has two parts of the same name.
    """
    shown = images_in(page, record) if images is None else images
    return made(kind_of(page), record, shown, traces_in(page, record))
