"""Prove a signed report: whole, by whom, complete, released. It trusts nothing that no known key signed.

The argument. `verify.record.examine` does the steps on bytes, this module those on people:
(1) page and signature lines are divided at the first marker, and nothing else follows;
(2) each signature verifies with the key that it names, strictly spelled;
(3) each payload is canonical and of a known format;
(4) each payload's length and hash are those of all bytes before its line;
(5) the record in the page is canonical and is the one that was signed;
(6) payloads and record agree, and the order of the lines is the order that was signed;
(7) no key is a published demo key;
(8) each key is known, was not revoked, and signs under the name and role that it is known for;
(9) no key signed twice, and the signers are the ones that the record asks for, in order;
(10) complete: nobody who has to sign is missing, and somebody has to;
(11) doubts: a page that is not the one its record makes, by the version that made it; an outcome that its own
     checks do not give. Both take a signer who did not use this tool as it is;
(12) released: the whole report, complete, fit, neither practice nor a simulation nor scripted, no doubts. A
     summary leaves out what a signer has to see before a machine goes home: it never releases.
Not shown: when it was signed (the time is the signer's own clock), who sat there, and that what the signer
wrote is true.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime

import msgspec

from verify import TOOL
from verify.judge import Settled, decide_outcome
from verify.record.demo_key import is_demo_key
from verify.record.examine import Examined, examine
from verify.record.key_store import TrustedKey, utc_text
from verify.record.model import Record
from verify.record.seal import Seal
from verify.report.images import images_in, unseen_images
from verify.report.logo import unseen_logo
from verify.report.packed import standings_in
from verify.report.page_kind import PageKind, kind_of, made_again
from verify.report.traces import unseen_traces
from verify.values import Outcome
from verify.values.errors import AlteredError, HandbackError, KeyNotTrustedError

# How much an outcome claims; the others claim nothing.
_GOES_HOME = {Outcome.FIT: 2, Outcome.FIT_UNDER_CONCESSION: 1}


class Signer(msgspec.Struct, frozen=True, kw_only=True):
    """Who signed, as the known key's card says. time: by the signer's clock; clock_note: its standing.

    on_machine: signed on the repaired machine itself, and not on the bench computer.
    """

    order: int
    role: str
    name: str
    thumbprint: str
    time: str
    clock_note: str
    on_machine: bool = False


class Proof(msgspec.Struct, frozen=True, kw_only=True):
    """What a whole report by known keys shows.

    kind: the whole report, or the summary for the counter. missing: roles that have to sign still, in
    order. doubts: what speaks against the signers' own page or record. notes: what a careful reader should
    know.
    """

    ticket: str
    kind: PageKind
    outcome: Outcome
    practice: bool
    simulated: bool
    scripted: bool
    signers: tuple[Signer, ...]
    missing: tuple[str, ...]
    complete: bool
    released: bool
    doubts: tuple[str, ...]
    notes: tuple[str, ...]
    record: Record


def prove(data: bytes, *, trusted: Sequence[TrustedKey], at: datetime | None = None) -> Proof:
    """Return what the report proves, or raise what is wrong with it.

    trusted: the known keys, the revoked ones included. at: now, UTC; a signature from later is remarked on.
    Raises only ProofError and its leaves: NotAReportError, AlteredError, KeyNotTrustedError.
    """
    # (1) to (6): the bytes
    return prove_examined(examine(data), trusted=trusted, at=at)


def prove_examined(examined: Examined, *, trusted: Sequence[TrustedKey], at: datetime | None = None) -> Proof:
    """Return what a whole page proves: steps (7) to (12) of `prove`.

    Raises AlteredError and KeyNotTrustedError.
    """
    # (7) before (8): a demo key must not be reported as merely unknown
    _refuse_demo_keys(examined.seals)
    # (8): whose the keys are
    signers = tuple(_known_signer(seal, trusted) for seal in examined.seals)
    # (9): the right people, in order
    missing = _require_asked_for(examined)
    # (10): nobody missing, and an empty list is not complete
    record = examined.record
    complete = bool(record.signers) and not missing
    # (11): what the bytes cannot show
    doubts = tuple(_doubts(examined))
    # (12): earned, never assumed
    real = not record.practice and not record.simulated and not record.scripted
    kind = kind_of(examined.page)
    released = kind is PageKind.REPORT and complete and real and record.outcome is Outcome.FIT and not doubts
    return Proof(
        ticket=record.ticket.id,
        kind=kind,
        outcome=record.outcome,
        practice=record.practice,
        simulated=record.simulated,
        scripted=record.scripted,
        signers=signers,
        missing=missing,
        complete=complete,
        released=released,
        doubts=doubts,
        notes=(
            *_notes(record, signers, missing, at),
            *_unseen(examined),
        ),
        record=record,
    )


def _refuse_demo_keys(seals: tuple[Seal, ...]) -> None:
    if any(is_demo_key(seal.key.thumbprint) for seal in seals):
        raise KeyNotTrustedError(
            "Whole, but signed with the published demo key: that proves nothing about who signed.",
            next_step="Anyone can sign with the demo key; a real report carries a key of the shop's own.",
        )


def _known_signer(seal: Seal, trusted: Sequence[TrustedKey]) -> Signer:
    payload, thumbprint = seal.payload, seal.key.thumbprint
    listed = [key for key in trusted if key.card.jwk == seal.key]
    # Where a list was put together by hand, the entry that revokes counts, wherever it stands.
    known = next((key for key in listed if key.revoked_at is not None), listed[0] if listed else None)
    if known is None:
        raise KeyNotTrustedError(
            f"Whole, but signed by a key that is not known here: {thumbprint} "
            f'(it calls itself "{payload.name}", {payload.role}).',
            next_step="Get the signer's key card from the shop by another way than this file, "
            "then: handback key trust FILE",
        )
    card = known.card
    if known.revoked_at is not None:
        raise KeyNotTrustedError(
            f"Whole, but the key of {card.name} was revoked on {known.revoked_at}. The signature claims "
            f"{payload.time}; whoever holds the key can write any time.",
            next_step="Ask the shop to sign it again with a key that counts.",
        )
    if (payload.name, payload.role) != (card.name, card.role):
        raise KeyNotTrustedError(
            f"Whole, but the key is known as {card.name}, {card.role}, and signed as "
            f"{payload.name}, {payload.role}.",
            next_step="Ask the shop which is right.",
        )
    return Signer(
        order=payload.order,
        role=card.role,
        name=card.name,
        thumbprint=thumbprint,
        time=payload.time,
        clock_note=payload.clock_note,
        on_machine=payload.on_machine,
    )


def _require_asked_for(examined: Examined) -> tuple[str, ...]:
    """Return the roles that are missing still.

    Raises AlteredError where a signature stands there that the record does not ask for in this place.
    """
    asked = sorted(examined.record.signers, key=lambda signer: signer.order)
    seals = examined.seals
    if len({seal.key.thumbprint for seal in seals}) != len(seals):
        raise AlteredError("One key signed twice, as if it were two people.")
    if len(seals) > len(asked):
        raise AlteredError("The page is signed by more than the record asks for.")
    for signer, seal in zip(asked, seals, strict=False):
        if signer.role != seal.payload.role:
            raise AlteredError(
                f"Signature {seal.payload.order} should be the {signer.role}'s; "
                f"{seal.payload.name} signed as {seal.payload.role}."
            )
        if signer.thumbprint is not None and signer.thumbprint != seal.key.thumbprint:
            raise AlteredError(f"Signature {seal.payload.order} is not by the key that the record names.")
    return tuple(signer.role for signer in asked[len(seals) :])


def _doubts(examined: Examined) -> Iterable[str]:
    record = examined.record
    if record.tool == TOOL and not _shows(examined.page, record):
        yield (
            "The page is not the one that its record makes: it may show something else. "
            "Believe what is said here, not the page."
        )
    settled = [
        Settled(
            check=result.check,
            verdict=result.verdict,
            note_only=result.note_only,
            conceded=result.accepted is not None,
        )
        for result in record.results
    ]
    open_hazards = [hazard.what for hazard in record.hazards if hazard.made_safe_at is None]
    earned, reasons = decide_outcome(settled, hazards_open=open_hazards, returned_unrepaired=False)
    if _GOES_HOME.get(earned, 0) < _GOES_HOME.get(record.outcome, 0):
        yield f"The record says {record.outcome}; its own checks do not: {' '.join(reasons)}"


def _shows(page: bytes, record: Record) -> bool:
    try:
        return page == made_again(page, record)
    except HandbackError:
        return False  # a record with figures of which no page can be made


def _unseen(examined: Examined) -> tuple[str, ...]:
    page, record = examined.page, examined.record
    images = images_in(page, record)
    if kind_of(page) is PageKind.SUMMARY:
        return unseen_logo(record, images)
    return (*unseen_images(record, images), *unseen_traces(standings_in(page, record)))


def _notes(
    record: Record, signers: tuple[Signer, ...], missing: tuple[str, ...], at: datetime | None
) -> Iterable[str]:
    if record.practice:
        yield "This was practice, with faults planted for learning. It is never an acceptance."
    if record.simulated:
        yield "This is a simulation: no machine was read. It is never an acceptance."
    if record.scripted:
        yield "The answers came from a script, not from a person at the bench. It is never an acceptance."
    if missing:
        yield (
            f"Not complete: still to be signed by the {', then the '.join(missing)}. "
            "A signature that was cut off leaves the same."
        )
    if not record.signers:
        yield "The record asks for nobody's signature, so it cannot be complete."
    if record.tool != TOOL:
        yield (
            f"Made by {record.tool}; this is {TOOL}. Whether the page shows what its record says "
            "was not compared."
        )
    names = [signer.name for signer in signers]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"More than one signer is called {name}: see that they are two people."
    for signer in signers:
        yield f"The time of {signer.name}'s signature: {signer.clock_note}."
        if signer.on_machine:
            yield f"{signer.name} signed on the repaired machine itself, not on the bench computer."
        if at is not None and signer.time > utc_text(at):
            yield f"{signer.name}'s signing time lies in the future: one of the two clocks is wrong."
