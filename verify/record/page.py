"""The layout of a report page as bytes: where it ends, which parts it has, where the record stands.

A page is HTML up to and with `</html>` and a line feed; signature lines follow. `<!--part NAME-->` starts a
part, which runs to the next such mark or to the end of the page; what stands before the first is the part
"head". The record stands in the one `<pre id="handback-record">`, its canonical JSON with `&`, `<` and `>`
escaped and nothing else. Everything here works on the bytes as received; nothing is repaired.
"""

import re

from verify.values.errors import AlteredError, NotAReportError

MARKER = b"<!--handback-signature "
PAGE_END = b"</html>\n"

_PART = re.compile(rb"<!--part ([a-z]+)-->")
_RECORD_OPENS = b'<pre id="handback-record">'
_RECORD_CLOSES = b"</pre>"
_ESCAPES = ((b"&", b"&amp;"), (b"<", b"&lt;"), (b">", b"&gt;"))


def split(data: bytes) -> tuple[bytes, bytes]:
    """Return the page and what follows it, divided at the first signature marker.

    Raises NotAReportError where there is no marker, AlteredError where no whole page stands before it.
    """
    start = data.find(MARKER)
    if start < 0:
        raise NotAReportError(
            "This file carries no signature.",
            next_step="It may be a report not signed yet, one with its signatures cut off, or no report.",
        )
    page = data[:start]
    if not page.endswith(PAGE_END):
        raise AlteredError(
            _why_no_page(page, data[start:]),
            next_step="Mail programs and editors may change a file: ask the shop for it as it was signed.",
        )
    return page, data[start:]


def bytes_words(count: int) -> str:
    """Return "1 byte" or "12 bytes"."""
    return "1 byte" if count == 1 else f"{count} bytes"


def _why_no_page(page: bytes, rest: bytes) -> str:
    if PAGE_END + MARKER in rest:
        return "A second signature marker stands inside the page, before its end."
    if page.endswith(PAGE_END.replace(b"\n", b"\r\n")):
        return "Its line ends were changed."
    end = page.rfind(PAGE_END)
    if end >= 0:
        put_in = bytes_words(len(page) - end - len(PAGE_END))
        return f"Between the end of the page and its first signature something was put in: {put_in}."
    return "There is a signature, but no whole report page before it."


def parts_of(page: bytes) -> dict[str, bytes]:
    """Return the page cut into its parts, by name, in their order; together they are the whole page.

    Raises NotAReportError where a name comes twice.
    """
    marks = list(_PART.finditer(page))
    starts = [0, *(mark.start() for mark in marks), len(page)]
    names = ["head", *(mark.group(1).decode("ascii") for mark in marks)]
    if len(set(names)) != len(names):
        raise NotAReportError("The page has two parts of the same name.")
    return {name: page[starts[i] : starts[i + 1]] for i, name in enumerate(names)}


def escape_record(record: bytes) -> bytes:
    """Return canonical JSON as it stands inside the page's `<pre>`."""
    for plain, escaped in _ESCAPES:
        record = record.replace(plain, escaped)
    return record


def record_in(page: bytes) -> bytes:
    """Return the canonical JSON that the page carries.

    Raises NotAReportError where there is none, more than one, or it is escaped in any other way.
    """
    if page.count(_RECORD_OPENS) != 1:
        raise NotAReportError("The page does not carry exactly one record.")
    _, _, after = page.partition(_RECORD_OPENS)
    escaped, closed, _ = after.partition(_RECORD_CLOSES)
    if not closed:
        raise NotAReportError("The record in the page has no end.")
    record = escaped
    for plain, code in reversed(_ESCAPES):
        record = record.replace(code, plain)
    if escape_record(record) != escaped:
        raise NotAReportError("The record in the page is not written as a record is.")
    return record
