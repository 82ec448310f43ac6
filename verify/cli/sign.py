"""`handback sign`: make the report, show what is signed, sign it."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_GOOD
from verify.cli.reports import folder_of, reports_option
from verify.values import SystemClock
from verify.values.errors import SigningKeyError, WrongUseError

if TYPE_CHECKING:
    from verify.record.key_store import KeyStore
    from verify.record.keys import KeyCard
    from verify.record.model import Record
    from verify.report.sign_off import SignOff


_KIND_WORDS = {"report": "the whole report", "summary": "the summary, one page for the counter"}


@click.command(name="sign", context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("ticket")
@reports_option
@click.option("--key", "key_name", help="The key to sign with, by name or thumbprint.")
@click.option(
    "--summary",
    is_flag=True,
    help="Sign the summary instead: one page for the counter, with signatures of its own.",
)
@click.option("--yes", is_flag=True, help="Sign without asking.")
@click.option(
    "--new-report",
    is_flag=True,
    help="Make the report anew where the run has gone on since; the signed one is kept beside it.",
)
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path),
    help="Take the key's passphrase from the first line of this file.",
)
def command(
    ticket: str,
    *,
    reports: Path,
    key_name: str | None,
    summary: bool,
    yes: bool,
    new_report: bool,
    passphrase_file: Path | None,
) -> int:
    """Make the report of a ticket and sign it, one signer at a time, in order.

    Sign on the bench computer. A machine that is not ready gets a report too: it says what is missing.

    Example: handback sign TW-1042 --key "Demo Person"

    One page for the counter: handback sign TW-1042 --summary
    """
    from verify.run import RunFolder, load_record

    folder = folder_of(ticket, reports)
    reports, ticket = folder.parent, folder.name
    load_record(reports, ticket)  # before the lock, which would make a folder for a ticket that is none
    with RunFolder(folder):
        return sign_record(
            folder,
            load_record(reports, ticket),
            key_name=key_name,
            summary=summary,
            yes=yes,
            new_report=new_report,
            passphrase_file=passphrase_file,
        )


def sign_record(
    folder: Path,
    record: "Record",
    *,
    key_name: str | None,
    yes: bool,
    new_report: bool,
    passphrase_file: Path | None,
    summary: bool = False,
) -> int:
    """Show what would be signed, ask, sign. The folder is the caller's for so long."""
    from verify.cli.passphrase import passphrase_for
    from verify.record.key_store import KeyStore, default_home
    from verify.report.page_kind import PageKind
    from verify.report.sign_off import prepare, sign_off

    kind = PageKind.SUMMARY if summary else PageKind.REPORT
    prepared = prepare(folder, record, new_report=new_report, kind=kind)
    store = KeyStore(default_home())
    card = _choose(store, prepared.due.role, key_name)
    for line in _told(prepared, card, page=_page_to_read(folder, prepared)):
        click.echo(line)
    if not yes and not _agreed():
        click.echo("Not signed.")
        return NOT_GOOD
    passphrase = (
        passphrase_for(f"Passphrase of {card.name}", file=passphrase_file, confirm=False)
        if store.is_locked(card)
        else None
    )
    path = sign_off(folder, prepared, key=store.open(card, passphrase), at=SystemClock().now().wall)
    click.echo(f"Signed: {path}")
    click.echo(_what_next(prepared))
    return GOOD


def _choose(store: "KeyStore", role: str, name: str | None) -> "KeyCard":
    """Return the named key's card, or the only one for the role.

    Raises SigningKeyError where there is none or the choice is open.
    """
    if name is not None:
        return store.card(name)
    fitting = [card for card in store.own() if card.role == role]
    if len(fitting) == 1:
        return fitting[0]
    names = ", ".join(card.name for card in fitting)
    raise SigningKeyError(
        f"More than one key here signs as {role}." if fitting else f"No key here signs as {role}.",
        next_step=f"Name one with --key: {names}"
        if fitting
        else f"Make one: handback key new NAME --role {role}",
    )


def _agreed() -> bool:
    try:
        return click.confirm("Sign this?", default=False)
    except click.Abort:
        if sys.stdin.isatty():
            raise
        click.echo(err=True)
        raise WrongUseError(
            "There is nobody to ask here, so nothing was signed.", next_step="To sign without asking: --yes"
        ) from None


def _complaint(complaint: str, says: str) -> str:
    """Return the complaint and what came of it; of none nothing can be gone."""
    from verify.report.words import PAGE

    return f"{complaint} {says}" if complaint else PAGE["no_complaint"]


def _page_to_read(folder: Path, prepared: "SignOff") -> str:
    """Say where the very page lies that gets the signature, so that it can be read before.

    One that nobody signed yet is made anew for that; a signed one is not replaced before the next is signed.
    """
    from verify.report.issue import replace_report
    from verify.report.sign_off import Page

    path = folder / prepared.kind.file_name

    if prepared.page is Page.STALE:
        return "is made anew with the signature; the old one is kept beside it"
    if prepared.page is Page.UNSIGNED:
        replace_report(path, prepared.data)
    return f"{path} (read it first)"


def _told(prepared: "SignOff", card: "KeyCard", *, page: str) -> Sequence[str]:
    from verify.record.visible import on_one_line
    from verify.report.owner import machine_words, owner_view
    from verify.report.words import HEADLINES, PAGE, VERDICTS

    record = prepared.record
    view = owner_view(record)
    lines = [
        f"Ticket   {record.ticket.id}",
        f"Machine  {machine_words(record.ticket)}",
        f"Outcome  {HEADLINES[record.outcome][0]}",
        *(f"         {VERDICTS[result.verdict]}: {result.ask} {result.because}" for result in view.wrong),
        *(
            f"         {VERDICTS[flaw.verdict]}, {PAGE['accepted']}: {flaw.ask} {flaw.because}"
            for flaw in view.flaws
        ),
        *(f"         {line}" for line in view.missing),
        *(f"         {line}" for line in prepared.unseen),
        *(
            f"         {PAGE[mark]}"
            for mark in ("practice", "simulated", "scripted")
            if getattr(record, mark)
        ),
        f"Problem  {_complaint(record.ticket.complaint, view.complaint_says)}",
        f"Checks   {view.counted}",
        f"Signed   {'; '.join(prepared.signed_by) or 'by nobody yet'}",
        (
            f"To sign  as number {len(prepared.signed_by) + 1} of {len(record.signers)}, "
            f"the {prepared.due.role}: {card.name}, {card.role}"
        ),
        f"Key      {card.thumbprint}",
        f"Page     {_KIND_WORDS[prepared.kind.value]}: {page}",
    ]
    return [f"{line[:9]}{on_one_line(line[9:])}" for line in lines]


def _what_next(prepared: "SignOff") -> str:
    ticket = prepared.record.ticket.id
    due = sorted(prepared.record.signers, key=lambda signer: signer.order)
    left = due[len(prepared.signed_by) + 1 :]
    option = " --summary" if prepared.kind.value == "summary" else ""
    if left:
        return f"Next: the {left[0].role} signs: handback sign {ticket}{option}"
    return f"All have signed. Put it into the ticket's folder: handback attach {ticket} --to FOLDER"
