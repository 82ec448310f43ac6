"""A shop's mark as it stands in a page: its bytes, and whether they are still the ones of the record."""

import base64
import binascii
import re

from verify.record.canonical import sha256_hex
from verify.record.model import Record

_MARK = re.compile(
    rb'<(?:img|span) class="logo (shown|missing|altered)"(?: src="data:image/png;base64,([A-Za-z0-9+/=]*)")?'
)


def mark_in(page: bytes) -> bytes | None:
    """Return the mark that a page shows; None where it shows none, or says that it is missing.

    One that was altered before the page was made, and one in broken Base64, come back empty.
    """
    found = _MARK.search(page)
    if found is None or found[1] == b"missing":
        return None
    try:
        return base64.b64decode(found[2] or b"", validate=True)
    except binascii.Error:
        return b""


def changed_mark(record: Record, page: bytes) -> str:
    """Say that the mark on a page is not the one of the record; else, and where none is shown, empty.

    record: one whose bytes are as they were signed.
    """
    logo = None if record.shop is None else record.shop.logo
    shown = mark_in(page)
    if logo is None or not shown or sha256_hex(shown) == logo.sha256:
        return ""
    return "The shop's mark is not the one that was taken over."
