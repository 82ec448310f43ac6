"""Put the next signature under a page: who is due, and nothing else than a whole page gets one."""

from datetime import datetime

import msgspec

from verify.record.canonical import record_bytes, record_from, sha256_hex
from verify.record.examine import examine
from verify.record.key_store import utc_text
from verify.record.keys import KeyCard, PublicKey, SigningKey
from verify.record.model import Record, RequiredSigner
from verify.record.page import MARKER, PAGE_END, parts_of, record_in
from verify.record.seal import SIGNATURE_FORMAT, Payload, Seal, seal_line
from verify.values.errors import InvalidValueError, OrderError

_OWN_CLOCK = "the signing computer's own clock, compared with no other"
_BEHIND = "the signing computer's own clock; it stands before the end of the run: do not trust it"


def next_signer(record: Record, seals: tuple[Seal, ...]) -> RequiredSigner:
    """Return who is due to sign.

    Raises OrderError where nobody is, because all have signed or the record asks for nobody.
    """
    due = sorted(record.signers, key=lambda signer: signer.order)
    if not due:
        raise OrderError(
            "This record names nobody who has to sign.", next_step="Name signers in the checklist."
        )
    if len(seals) >= len(due):
        raise OrderError(
            "All who have to sign have signed.", next_step="Prove it: handback prove report.html"
        )
    return due[len(seals)]


def sign_page(data: bytes, *, key: SigningKey, at: datetime, on_machine: bool = False) -> bytes:
    """Return the page with one more signature line, by the signer who is due.

    data: a rendered page, or one with the signatures of those before. at: now, aware, UTC.
    on_machine: this computer is the repaired machine itself; the signature says so.
    Raises OrderError where this key's role or thumbprint is not due or has signed already, ProofError
    where what stands there is not whole, InvalidValueError where the page cannot be signed.
    """
    if MARKER in data:
        examined = examine(data)
        page, record, seals = examined.page, examined.record, examined.seals
    else:
        page, record, seals = data, record_from(record_in(data)), ()
        if not page.endswith(PAGE_END):
            raise InvalidValueError("The page has no end.", next_step="Make the report again.")
    require_due(next_signer(record, seals), key.card, tuple(seal.key for seal in seals))
    payload = _payload(data, page, record, key, len(seals) + 1, at)
    signed = data + seal_line(msgspec.structs.replace(payload, on_machine=on_machine), key)
    examine(signed)  # nothing is let go that would not prove
    return signed


def require_due(due: RequiredSigner, card: KeyCard, signed: tuple[PublicKey, ...]) -> None:
    """Refuse a key that is not due. signed: the keys of those before.

    Raises OrderError where its role or thumbprint is not the one asked for, or it has signed already.
    """
    if due.role != card.role:
        raise OrderError(
            f"The next signature is the {due.role}'s; {card.name} signs as {card.role}.",
            next_step=f"Sign with the key of a {due.role}.",
        )
    if due.thumbprint is not None and due.thumbprint != card.thumbprint:
        raise OrderError(
            f"The record asks for the {due.role} with the key {due.thumbprint}.",
            next_step=f"{card.name} has another one: {card.thumbprint}.",
        )
    if card.jwk in signed:
        raise OrderError(f"{card.name} has signed already.", next_step="Another person has to sign next.")


def _payload(data: bytes, page: bytes, record: Record, key: SigningKey, order: int, at: datetime) -> Payload:
    time = utc_text(at)
    return Payload(
        format=SIGNATURE_FORMAT,
        order=order,
        role=key.card.role,
        name=key.card.name,
        time=time,
        # Both are ISO 8601 in UTC: the first 19 characters compare as times do.
        clock_note=_BEHIND if time[:19] < record.ended[:19] else _OWN_CLOCK,
        ticket=record.ticket.id,
        outcome=record.outcome,
        simulated=record.simulated,
        scripted=record.scripted,
        length=len(data),
        sha256=sha256_hex(data),
        record_sha256=sha256_hex(record_bytes(record)),
        journal_head=record.journal_head,
        journal_count=record.journal_count,
        parts={name: sha256_hex(part) for name, part in parts_of(page).items()},
    )
