"""`handback attach`: put the signed report into the ticket's folder."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD
from verify.cli.reports import folder_of, reports_option
from verify.values import SystemClock
from verify.values.errors import KeyNotTrustedError

if TYPE_CHECKING:
    from verify.deliver.folder import Delivered


@click.command(name="attach", context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("ticket")
@click.option(
    "--to",
    "target",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder where the shop keeps this ticket's papers.",
)
@reports_option
def command(ticket: str, *, target: Path, reports: Path) -> int:
    """Copy the signed report into the ticket's folder, read it back and prove the copy.

    The summary goes along where there is one. A different file of the same name is never overwritten.

    Example: handback attach TW-1042 --to tickets/TW-1042
    """
    from verify.deliver.folder import attach, attach_summary

    folder = folder_of(ticket, reports)
    delivered = attach(folder, folder.name, target)
    _tell(delivered)
    summary = attach_summary(folder, delivered.examined, target)
    if summary is not None:
        click.echo("The summary:")
        _tell(summary)
    return GOOD


def _tell(delivered: "Delivered") -> None:
    """Say where the copy lies and what it proves."""
    from verify.record.key_store import KeyStore, default_home
    from verify.record.visible import on_one_line
    from verify.report.prove import prove

    click.echo(f"{'It lay there already' if delivered.already_there else 'Copied'}: {delivered.path}")
    click.echo(f"SHA-256: {delivered.sha256}")
    try:
        proof = prove(
            delivered.path.read_bytes(),
            trusted=KeyStore(default_home()).trusted(),
            at=SystemClock().now().wall,
        )
    except KeyNotTrustedError as error:
        # The copy is whole; whose key it is, this computer cannot tell. That is said, not hidden.
        click.echo(f"The copy is not proven here. {error}")
        return
    click.echo("Proven: the copy is whole and signed by known keys.")
    for doubt in proof.doubts:
        click.echo(f"But doubtful. {on_one_line(doubt)}")
    if proof.missing:
        click.echo(f"Still to be signed by the {', then the '.join(proof.missing)}.")
