"""Is a signed page whole? Everything about its bytes; nothing about whose the keys are.

The steps (1) to (6) of the argument that `verify.report.prove` lists in full:
(1) page and signature lines are divided at the first marker, and nothing else follows;
(2) each signature verifies with the key that it names, strictly spelled;
(3) each payload is canonical and of a known format;
(4) each payload's length and hash are those of all bytes before its line;
(5) the record in the page is canonical and is the one that was signed;
(6) payloads and record agree, and the order of the lines is the order that was signed.
"""

import hashlib
from collections.abc import Iterator, Mapping

import msgspec

from verify.record.canonical import record_from, sha256_hex
from verify.record.change import part_hashes, what_changed
from verify.record.model import Record
from verify.record.page import MARKER, record_in, split
from verify.record.seal import Seal, lines_of, open_line
from verify.values.errors import AlteredError, FileFormatError, ProofError


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
    seals = _opened(page, lines)
    # (6), the order first: a signature that was moved must not be told as a change of the page
    _require_order(seals)
    # (4): same bytes, from the last line back: the last signer covers the most
    parts = part_hashes(page)
    for seal, before in reversed(tuple(zip(seals, _hashes(data, seals), strict=True))):
        _require_same_bytes(page, seal, before, parts)
    # (5): the record
    record, record_hash = _record(page)
    # (6): agreement
    for seal in seals:
        _require_agreement(seal, record, record_hash)
    return Examined(page=page, record=record, seals=seals)


def _opened(page: bytes, lines: tuple[bytes, ...]) -> tuple[Seal, ...]:
    seals: list[Seal] = []
    starts = len(page)
    for number, line in enumerate(lines, start=1):
        try:
            seals.append(open_line(line, starts=starts))
        except AlteredError as error:
            raise AlteredError(
                f"Signature {number} of {len(lines)} is broken. {error.what}", next_step=error.next_step
            ) from error
        starts += len(MARKER) + len(line) + len(b"-->\n")
    return tuple(seals)


def _require_order(seals: tuple[Seal, ...]) -> None:
    orders = [seal.payload.order for seal in seals]
    due = list(range(1, len(seals) + 1))
    if orders == due:
        return
    told = ", ".join(str(order) for order in orders)
    if sorted(orders) == due:
        raise AlteredError(f"The signatures were moved: they stand in the order {told}.")
    if len(set(orders)) < len(orders):
        raise AlteredError(f"Two signatures claim the same place in the order of signing: {told}.")
    missing = min(set(due) - set(orders))
    raise AlteredError(f"Signature {missing} is missing: of the order of signing only {told} stands there.")


def _hashes(data: bytes, seals: tuple[Seal, ...]) -> Iterator[str]:
    """Yield the SHA-256 of all bytes before each line, in one pass."""
    running, at = hashlib.sha256(), 0
    for seal in seals:
        running.update(memoryview(data)[at : seal.starts])
        at = seal.starts
        yield running.copy().hexdigest()


def _require_same_bytes(page: bytes, seal: Seal, before: str, parts: Mapping[str, str] | None) -> None:
    payload = seal.payload
    if payload.length != seal.starts or payload.sha256 != before:
        raise AlteredError(
            what_changed(page, payload, parts), next_step="Ask the shop for the file as it was signed."
        )
    if payload.parts != parts:
        raise AlteredError("A signature lists other parts than the page has.")


def _record(page: bytes) -> tuple[Record, str]:
    data = record_in(page)
    try:
        return record_from(data), sha256_hex(data)
    except FileFormatError as error:
        raise ProofError(error.what, next_step=error.next_step) from error


def _require_agreement(seal: Seal, record: Record, record_hash: str) -> None:
    payload = seal.payload
    pairs: tuple[tuple[str, object, object], ...] = (
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
