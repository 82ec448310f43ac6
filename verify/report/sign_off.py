"""The next signature on a ticket's report or summary: which page it goes on, and who is due.

What `prepare` returns is what `sign_off` signs, byte for byte, whatever happens to the file in between. An
unsigned page is always made anew from the record, so nobody signs what somebody else edited. A signed page
gets the next line only while the record is still the one that was signed, and only where it is the very
page that this record makes: a first signer may have signed a page that shows something else. So a picture
or a trace that lies whole in the folder has to be on the page; one that was lost since may stand there as it
was signed.
"""

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from pathlib import Path

import msgspec

from verify.record.examine import examine
from verify.record.files import write_whole
from verify.record.keys import PublicKey, SigningKey
from verify.record.model import Record, RequiredSigner
from verify.record.page import MARKER
from verify.record.sign import next_signer, sign_page
from verify.record.visible import on_one_line
from verify.report.images import images_in, read_images, unseen_images, whole_images
from verify.report.issue import carries, read_report, replace_report
from verify.report.logo import unseen_logo
from verify.report.packed import Packed, carried_or_there, read_packed
from verify.report.page_kind import PageKind, kind_of, made
from verify.report.traces import read_traces, standings, unseen_traces
from verify.values.errors import AlteredError, OrderError, ProofError


class Page(StrEnum):
    """What stands in the ticket's folder. STALE: signed, but the run has gone on since."""

    UNSIGNED = "unsigned"
    SIGNED = "signed"
    STALE = "stale"


class SignOff(msgspec.Struct, frozen=True, kw_only=True):
    """What the next signer is about to sign: data. signed_by: names and roles of those before; keys: theirs.

    unseen: pictures and traces that are not the ones taken, or are gone; a sentence each.
    """

    page: Page
    kind: PageKind
    data: bytes
    record: Record
    due: RequiredSigner
    signed_by: tuple[str, ...]
    keys: tuple[PublicKey, ...] = ()
    unseen: tuple[str, ...] = ()


def prepare(
    folder: Path, record: Record, *, new_report: bool = False, kind: PageKind = PageKind.REPORT
) -> SignOff:
    """Return what is to be signed next; writes nothing.

    new_report: give up the signatures on an older state of the run; that page is kept beside the new one.
    kind: which of the two pages; each has signatures of its own.
    Raises OrderError where the run has gone on since the page was signed or nobody is due, AlteredError
    where the signed page is not whole, or shows another page than its record makes.
    """
    data = read_report(folder / kind.file_name)
    if data is None or MARKER not in data or new_report:
        pictures = read_images(folder, record)
        traces = read_packed(folder, record) if kind is PageKind.REPORT else None
        return SignOff(
            page=Page.STALE if data is not None and MARKER in data else Page.UNSIGNED,
            kind=kind,
            data=made(kind, record, pictures, traces),
            record=record,
            due=next_signer(record, ()),
            signed_by=(),
            unseen=(*_unseen(kind, record, pictures), *_untraced(folder, record, traces)),
        )
    renew = (
        "Make a new one, to be signed from the first signer on; this one is kept: "
        f"handback sign {record.ticket.id}{' --summary' if kind is PageKind.SUMMARY else ''} --new-report"
    )
    try:
        examined = examine(data)
    except ProofError as error:
        raise AlteredError(
            f"The signed {kind} is not whole, so nothing is added to it. {error.what}", next_step=renew
        ) from error
    if not carries(examined.page, record):
        raise OrderError(_why_other(examined.record, record, kind), next_step=renew)
    kept = whole_images(record, read_images(folder, record))
    pictures = {**images_in(examined.page, record), **kept}
    if kind_of(examined.page) is not kind:
        other = "the summary" if kind is PageKind.REPORT else "the whole report"
        raise AlteredError(
            f"{folder / kind.file_name} is not the {kind}: it is {other}. Nothing is added to it.",
            next_step=renew,
        )
    traces = carried_or_there(examined.page, folder, record) if kind is PageKind.REPORT else None
    if examined.page != made(kind, record, pictures, traces):
        raise AlteredError(
            "The signed page is not the one that its record makes: it may show something else. "
            "Nothing is added to it.",
            next_step=renew,
        )
    return SignOff(
        page=Page.SIGNED,
        kind=kind,
        data=data,
        record=record,
        due=next_signer(record, examined.seals),
        signed_by=tuple(f"{seal.payload.name}, {seal.payload.role}" for seal in examined.seals),
        keys=tuple(seal.key for seal in examined.seals),
        unseen=(*_unseen(kind, record, pictures), *_untraced(folder, record, traces)),
    )


def _why_other(signed: Record, record: Record, kind: PageKind) -> str:
    same_run = (signed.journal_head, signed.journal_count) == (record.journal_head, record.journal_count)
    if same_run and signed.tool != record.tool:
        return (
            f"The {kind} of {record.ticket.id} was made and signed by {on_one_line(signed.tool)}; "
            f"{record.tool} does not make the same."
        )
    return f"{record.ticket.id} has gone on since its {kind} was signed."


def _untraced(folder: Path, record: Record, packed: Mapping[str, Packed] | None) -> tuple[str, ...]:
    """Return a sentence for each trace that is not the sealed one. packed: those read already; None: none."""
    if packed is None:
        return unseen_traces(standings(record, read_traces(folder, record)))
    return unseen_traces(standings(record, {name: one.data for name, one in packed.items()}))


def _unseen(kind: PageKind, record: Record, images: Mapping[str, bytes]) -> tuple[str, ...]:
    return (unseen_logo if kind is PageKind.SUMMARY else unseen_images)(record, images)


def sign_off(
    folder: Path, prepared: SignOff, *, key: SigningKey, at: datetime, on_machine: bool = False
) -> Path:
    """Put the signature on what was prepared, write it into the folder and return its path.

    at: now, aware, UTC. on_machine: this computer is the repaired machine itself; the signature says so.
    Raises OrderError where this key is not due or the report was signed meanwhile, FileWriteError where it
    cannot be written; the page that stood there before then still stands.
    """
    signed = sign_page(prepared.data, key=key, at=at, on_machine=on_machine)
    path = folder / prepared.kind.file_name
    if prepared.page is Page.STALE:
        replace_report(path, signed)
        return path
    found = read_report(path)
    if found is not None and MARKER in found and found != prepared.data:
        raise OrderError(f"{path} was changed meanwhile; it was left as it is.", next_step="Sign again.")
    write_whole(path, signed)
    return path
