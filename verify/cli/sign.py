"""`handback sign`: make the report, show what is signed, sign it."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_GOOD
from verify.cli.reports import folder_of, reports_option
from verify.cli.session import sysfs_option
from verify.values import SystemClock
from verify.values.errors import SigningKeyError, WrongUseError

if TYPE_CHECKING:
    from verify.record.key_store import KeyStore
    from verify.record.keys import KeyCard
    from verify.record.model import Record
    from verify.report.sign_off import SignOff


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
@click.option(
    "--on-machine",
    is_flag=True,
    help="Sign on the repaired machine itself all the same, with a key from a stick; the signature says so.",
)
@sysfs_option
def command(
    ticket: str,
    *,
    reports: Path,
    key_name: str | None,
    summary: bool,
    yes: bool,
    new_report: bool,
    passphrase_file: Path | None,
    on_machine: bool,
    sysfs: Path | None,
) -> int:
    """Make the report of a ticket and sign it, one signer at a time, in order.

    Sign on the bench computer: on the repaired machine itself it is refused, unless you choose it. A machine
    that is not ready gets a report too: it says what is missing.

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
            on_machine=on_machine,
            sysfs=sysfs,
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
    on_machine: bool = False,
    sysfs: Path | None = None,
) -> int:
    """Show what would be signed, ask, sign. The folder is the caller's for so long.

    on_machine: signing on the repaired machine itself was chosen. sysfs: read in place of /sys.
    Raises WrongUseError where this computer is that machine and it was not.
    """
    from verify.cli.passphrase import passphrase_for
    from verify.cli.sign_shown import what_is_signed
    from verify.record.key_store import KeyStore, default_home
    from verify.record.sign import require_due
    from verify.report.page_kind import PageKind
    from verify.report.sign_off import prepare, sign_off

    kind = PageKind.SUMMARY if summary else PageKind.REPORT
    here = _place(folder, record.ticket.id, chosen=on_machine, sysfs=sysfs)
    prepared = prepare(folder, record, new_report=new_report, kind=kind)
    store = KeyStore(default_home())
    card = _choose(store, prepared.due.role, key_name)
    require_due(prepared.due, card, prepared.keys)  # nobody is asked, or shown as due, in vain
    store.require_counts(card)
    page, kept = _page_to_read(folder, prepared)
    try:
        for line in (*what_is_signed(prepared, card, page=f"{page} (read it first){kept}"), *here):
            click.echo(line)
        if not yes and not _agreed():
            click.echo("Not signed.")
            return NOT_GOOD
    finally:
        if kept:
            page.unlink(missing_ok=True)  # it was there to be read
    passphrase = (
        passphrase_for(f"Passphrase of {card.name}", file=passphrase_file, confirm=False)
        if store.is_locked(card)
        else None
    )
    path = sign_off(
        folder,
        prepared,
        key=store.open(card, passphrase),
        at=SystemClock().now().wall,
        on_machine=on_machine,
    )
    click.echo(f"Signed: {path}")
    click.echo(_what_next(prepared))
    return GOOD


def _place(folder: Path, ticket: str, *, chosen: bool, sysfs: Path | None) -> tuple[str, ...]:
    """Return what is told of the place of signing; nothing for the bench computer.

    Raises WrongUseError on the repaired machine, where signing on it was not chosen.
    """
    from verify.machine import open_machine
    from verify.run import is_repaired_machine
    from verify.values.errors import MachineError

    if chosen:
        return ("Place    on the repaired machine itself: the signature says so",)
    try:
        here = is_repaired_machine(folder, open_machine(sysfs=sysfs))
    except MachineError:
        here = None
    if here:
        raise WrongUseError(
            "This computer is the repaired machine itself, so nothing was signed.",
            next_step=f"Take the folder to the bench computer and sign there. To sign here all the same: "
            f"handback sign {ticket} --on-machine",
        )
    if here is None:
        return ("Place    not known; if this is the repaired machine itself, stop and add --on-machine",)
    return ()


def _choose(store: "KeyStore", role: str, name: str | None) -> "KeyCard":
    """Return the named key's card, or the only one for the role.

    Raises SigningKeyError where there is none or the choice is open.
    """
    if name is not None:
        return store.card(name)
    fitting = [card for card in store.counting() if card.role == role]
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


def _page_to_read(folder: Path, prepared: "SignOff") -> tuple[Path, str]:
    """Return where the very page lies that gets the signature, and what becomes of an older one.

    One that nobody signed yet is made anew for that. A signed one is not replaced before the next is signed:
    that one lies beside it for so long.
    """
    from verify.record.files import write_whole
    from verify.report.issue import replace_report
    from verify.report.sign_off import Page

    path = folder / prepared.kind.file_name
    if prepared.page is Page.STALE:
        beside = path.with_suffix(".to-sign.html")
        write_whole(beside, prepared.data)
        return beside, "; the old one is kept beside the new one"
    if prepared.page is Page.UNSIGNED:
        replace_report(path, prepared.data)
    return path, ""


def _what_next(prepared: "SignOff") -> str:
    ticket = prepared.record.ticket.id
    due = sorted(prepared.record.signers, key=lambda signer: signer.order)
    left = due[len(prepared.signed_by) + 1 :]
    option = " --summary" if prepared.kind.value == "summary" else ""
    if left:
        return f"Next: the {left[0].role} signs: handback sign {ticket}{option}"
    return f"All have signed. Put it into the ticket's folder: handback attach {ticket} --to FOLDER"
