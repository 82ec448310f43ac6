"""Is a signed page whole? Everything about its bytes; nothing about whose the keys are.

The steps (1) to (6) of the argument that `verify.report.prove` lists in full:
(1) page and signature lines are divided at the first marker, and nothing else follows;
(2) each signature verifies with the key that it names, strictly spelled;
(3) each payload is canonical and of a known format;
(4) each payload's length and hash are those of all bytes before its line;
(5) the record in the page is canonical and is the one that was signed;
(6) payloads and record agree, and the order of the lines is the order that was signed.
"""

import msgspec

from verify.record.canonical import record_from, sha256_hex
from verify.record.model import Record
from verify.record.page import MARKER, parts_of, record_in, split
from verify.record.seal import Seal, lines_of, open_line
from verify.values.errors import AlteredError, FileFormatError, NotAReportError, ProofError

PART_WORDS = {
    "head": "the head of the page (title, style)",
    "owner": "the owner's part",
    "technician": "the technician's part",
    "pictures": "the pictures",
    "record": "the record kept in the page",
    "end": "the foot of the page",
}


class Examined(msgspec.Struct, frozen=True, kw_only=True):
    """A whole page, its record and its signatures in order."""

    page: bytes
    record: Record
    seals: tuple[Seal, ...]


def examine(data: bytes) -> Examined:
    """Show that every byte is as it was signed, or say what is not.

    Raises NotAReportError where no signature stands in it, AlteredError where bytes differ from what was
    signed, ProofError where the record is of a version that this one does not read.
    """
    # (1): divide
    page, tail = split(data)
    lines = lines_of(tail)
    # (2) and (3): signatures and payloads
    seals: list[Seal] = []
    starts = len(page)
    for line in lines:
        seals.append(open_line(line, starts=starts))
        starts += len(MARKER) + len(line) + len(b"-->\n")
    # (4): same bytes, from the last line back: the last signer covers the most
    for seal in reversed(seals):
        _require_same_bytes(data, page, seal)
    # (5): the record
    record, record_hash = _record(page)
    # (6): agreement
    for order, seal in enumerate(seals, start=1):
        _require_agreement(seal, record, record_hash, order)
    return Examined(page=page, record=record, seals=tuple(seals))


def _require_same_bytes(data: bytes, page: bytes, seal: Seal) -> None:
    before = data[: seal.starts]
    if seal.payload.length == len(before) and seal.payload.sha256 == sha256_hex(before):
        if seal.payload.parts != _part_hashes(page):
            raise AlteredError("A signature lists other parts than the page has.")
        return
    raise AlteredError(
        f"The file was changed after {seal.payload.name} signed it. {_where(page, seal)}",
        next_step="Ask the shop for the file as it was signed.",
    )


def _where(page: bytes, seal: Seal) -> str:
    try:
        found = _part_hashes(page)
    except NotAReportError:
        return "Where cannot be told."
    signed = seal.payload.parts
    if set(found) != set(signed):
        return "Its parts are not the ones that were signed."
    changed = [PART_WORDS.get(name, name) for name in found if found[name] != signed[name]]
    return f"Changed: {', '.join(changed)}." if changed else "Changed: the signatures before that one."


def _part_hashes(page: bytes) -> dict[str, str]:
    return {name: sha256_hex(part) for name, part in parts_of(page).items()}


def _record(page: bytes) -> tuple[Record, str]:
    data = record_in(page)
    try:
        return record_from(data), sha256_hex(data)
    except FileFormatError as error:
        raise ProofError(error.what, next_step=error.next_step) from error


def _require_agreement(seal: Seal, record: Record, record_hash: str, order: int) -> None:
    payload = seal.payload
    pairs: tuple[tuple[str, object, object], ...] = (
        ("order of signing", payload.order, order),
        ("record", payload.record_sha256, record_hash),
        ("ticket", payload.ticket, record.ticket.id),
        ("outcome", payload.outcome, record.outcome),
        ("mark of a simulation", payload.simulated, record.simulated),
        ("mark of scripted answers", payload.scripted, record.scripted),
        ("head of the journal", payload.journal_head, record.journal_head),
        ("length of the journal", payload.journal_count, record.journal_count),
    )
    for what, signed, found in pairs:
        if signed != found:
            raise AlteredError(f"What {payload.name} signed and the page differ: the {what}.")
