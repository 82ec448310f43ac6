"""What was changed after a signature was made: told by the hashes of the parts that it signs.

The signature itself holds, so its payload is what its signer saw; the page is anybody's, and read for words
only.
"""

from collections.abc import Mapping

import msgspec

from verify.record.canonical import record_from, sha256_hex
from verify.record.page import parts_of, record_in
from verify.record.pictures import changed_pictures, misplaced_pictures
from verify.record.seal import Payload
from verify.record.shop_mark import changed_mark
from verify.record.visible import on_one_line
from verify.values.errors import FileFormatError, NotAReportError

PART_WORDS = {
    "head": "the head of the page (title, style)",
    "owner": "the owner's part",
    "summary": "the summary",
    "technician": "the technician's part",
    "pictures": "the pictures",
    "traces": "what was read over time",
    "record": "the record kept in the page",
    "end": "the foot of the page",
}

_LONGEST_TICKET = 80  # characters that are told of one
# The parts that tell of one run. Title, style and foot may be the same in two reports.
_OF_THE_RUN = ("owner", "summary", "technician", "record")
# The whole report and the summary for the counter have one record, and signatures of their own.
_KINDS = {"owner": "the whole report", "summary": "the summary"}


class _Ticket(msgspec.Struct, frozen=True):
    id: str


class _Told(msgspec.Struct, frozen=True):
    """What the record in a changed page says of itself."""

    ticket: _Ticket
    simulated: bool
    scripted: bool
    journal_head: str


def part_hashes(page: bytes) -> Mapping[str, str] | None:
    """Return the SHA-256 of each part of the page; None where two parts have one name."""
    try:
        return {name: sha256_hex(part) for name, part in parts_of(page).items()}
    except NotAReportError:
        return None


def what_changed(page: bytes, signed: Payload, found: Mapping[str, str] | None) -> str:
    """Say what differs from what was signed, and where. found: the page's `part_hashes`."""
    told = _told_by(page)
    if found is not None and (other := _of_other_kind(signed, found)):
        return other + _dressed(signed, told)
    if found is not None and _of_another(signed, found, told):
        return _not_this_page(signed, told) + _dressed(signed, None)
    where = f"{_where(signed.parts, found)}{_pictures(page, signed.parts, found)}"
    return f"The file was changed after {signed.name} signed it. {where}{_dressed(signed, told)}"


def _of_another(signed: Payload, found: Mapping[str, str], told: _Told | None) -> bool:
    """Return whether the signature was taken from another report: nothing of its run is on this page."""
    of_run = [name for name in _OF_THE_RUN if name in found and name in signed.parts]
    same_run = told is not None and (told.ticket.id, told.journal_head) == (
        signed.ticket,
        signed.journal_head,
    )
    return bool(of_run) and not same_run and all(found[name] != signed.parts[name] for name in of_run)


def _of_other_kind(signed: Payload, found: Mapping[str, str]) -> str:
    """Return what is said of a signature that stands under the other kind of page; else nothing."""
    was, now = (next((part for part in _KINDS if part in parts), "") for parts in (signed.parts, found))
    if not was or not now or was == now:
        return ""
    return (
        f"Signature {signed.order}, by {signed.name}, does not belong to this page. It was made for "
        f"{_KINDS[was]} of ticket {_short(signed.ticket)}; this page is {_KINDS[now]}."
    )


def _not_this_page(signed: Payload, told: _Told | None) -> str:
    if told is None:
        page = "another"
    elif told.ticket.id == signed.ticket:
        page = "of another state of that ticket"
    else:
        page = f"of ticket {_short(told.ticket.id)}"
    return (
        f"Signature {signed.order}, by {signed.name}, does not belong to this page. It was made for ticket "
        f"{_short(signed.ticket)}, {signed.outcome}; this page is {page}."
    )


def _short(ticket: str) -> str:
    return on_one_line(ticket[:_LONGEST_TICKET])


def _where(signed: Mapping[str, str], found: Mapping[str, str] | None) -> str:
    if found is None:
        return "Where cannot be told."
    if set(found) != set(signed):
        return "Its parts are not the ones that were signed."
    changed = [PART_WORDS.get(name, name) for name in found if found[name] != signed[name]]
    return f"Changed: {', '.join(changed)}." if changed else "Changed: the signatures before that one."


def _pictures(page: bytes, signed: Mapping[str, str], found: Mapping[str, str] | None) -> str:
    """Return which pictures are not the signed ones, or stand elsewhere, and whether the shop's mark is not.

    Only where the record is still the one that was signed.
    """
    if found is None or found.get("record") != signed.get("record"):
        return ""
    try:
        record, parts = record_from(record_in(page)), parts_of(page)
    except (FileFormatError, NotAReportError):
        return ""
    changed = {name for name in {*signed, *found} if found.get(name) != signed.get(name)}
    told = (
        changed_pictures(record, parts) if "pictures" in changed else "",
        misplaced_pictures(record, parts) if "technician" in changed else "",
        changed_mark(record, page) if changed & set(_KINDS) else "",
    )
    return "".join(f" {one}" for one in told if one)


def _dressed(signed: Payload, told: _Told | None) -> str:
    """Return what was signed and must not be taken for a real run, whatever was changed."""
    marks = (
        (signed.simulated, told is not None and not told.simulated, "a simulation"),
        (signed.scripted, told is not None and not told.scripted, "a run with scripted answers"),
    )
    return "".join(
        f" It was signed as {what}{', and the page no longer says so' if hidden else ''}."
        for was, hidden, what in marks
        if was
    )


def _told_by(page: bytes) -> _Told | None:
    try:
        return msgspec.json.decode(record_in(page), type=_Told)
    except (NotAReportError, msgspec.MsgspecError, RecursionError, UnicodeError):
        return None
