"""handback start: open a ticket."""

from collections.abc import Mapping
from pathlib import Path

import click

from verify.cli.reports import reports_option
from verify.record.model import Part, Ticket, Work
from verify.values import SystemClock, Unit, parse_quantity
from verify.values.errors import WrongUseError

_SOURCES = ("original", "used", "reproduction")


@click.command(
    "start",
    epilog='Example: handback start TW-1042 --model "Larkspur 15" --work battery=reproduction '
    '--label battery="57.0 Wh" --work feet',
)
@click.argument("ticket")
@click.option("--maker", default="", help="Who made the machine.")
@click.option("--model", default="", help="Its model.")
@click.option("--serial", default="", help="Its serial number, if the owner agrees that the report shows it.")
@click.option("--complaint", default="", help="What is wrong, in the owner's words.")
@click.option("--owner", default="", help="Whose machine it is.")
@click.option("--shop", default="", envvar="HANDBACK_SHOP", help="The shop.")
@click.option("--bench", default="", envvar="HANDBACK_BENCH", help="The bench.")
@click.option(
    "--work",
    "works",
    multiple=True,
    metavar="KIND[=SOURCE]",
    help=f"What was fitted or disturbed; for a new part its source: {', '.join(_SOURCES)}. Repeat it.",
)
@click.option(
    "--label",
    "labels",
    multiple=True,
    metavar='KIND="57.0 Wh"',
    help="The energy that the part's label claims. Repeat it.",
)
@click.option(
    "--signer",
    "signers",
    multiple=True,
    metavar="ROLE",
    help="A role that must sign besides the technician, in this order. Repeat it.",
)
@click.option(
    "--own",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder with the shop's own checklists.",
)
@reports_option
def command(
    ticket: str,
    maker: str,
    model: str,
    serial: str,
    complaint: str,
    owner: str,
    shop: str,
    bench: str,
    works: tuple[str, ...],
    labels: tuple[str, ...],
    signers: tuple[str, ...],
    own: Path | None,
    reports: Path,
) -> None:
    """Open TICKET: which machine, which work, which parts."""
    from verify.checklist.shipped import shipped_checklists
    from verify.run import RunFolder, begin, ticket_folder

    opened = Ticket(
        id=ticket,
        shop=shop,
        bench=bench,
        owner=owner,
        maker=maker,
        model=model,
        serial=serial,
        complaint=complaint,
        work=_works(works, labels),
    )
    path = ticket_folder(reports, ticket)
    with RunFolder(path) as folder:
        begin(
            folder,
            ticket=opened,
            checklists=shipped_checklists(own),
            clock=SystemClock(),
            signers=signers,
        )
    click.echo(f"{ticket} is open. Its folder: {path}")
    click.echo(f"Go on with: handback run {ticket}")


def _works(works: tuple[str, ...], labels: tuple[str, ...]) -> tuple[Work, ...]:
    energies: dict[str, str] = {}
    for label in labels:
        kind, _, energy = label.partition("=")
        quantity = parse_quantity(energy)
        if quantity.unit is not Unit.WATT_HOUR or quantity.value <= 0:
            raise WrongUseError(
                f'"{energy}" is not the energy of a part.', next_step='Write it like battery="57.0 Wh".'
            )
        _once(kind, energies, "label")
        energies[kind] = energy
    parsed: dict[str, Work] = {}
    for work in works:
        kind, _, source = work.partition("=")
        if source and source not in _SOURCES:
            raise WrongUseError(f'"{source}" is not a source.', next_step=f"Use {', '.join(_SOURCES)}.")
        _once(kind, parsed, "work")
        label_of = {"energy": energies.pop(kind)} if kind in energies else {}
        if label_of and not source:
            raise WrongUseError(
                f'The label is of a part for "{kind}", and nobody said where that comes from.',
                next_step=f"Use --work {kind}=SOURCE, one of {', '.join(_SOURCES)}.",
            )
        parsed[kind] = Work(kind=kind, part=Part(source=source, label=label_of) if source else None)
    if energies:
        kind = next(iter(energies))
        raise WrongUseError(
            f'There is a label for "{kind}", but no such work.', next_step=f"Add --work {kind}."
        )
    return tuple(parsed.values())


def _once(kind: str, named: Mapping[str, object], what: str) -> None:
    if kind in named:
        raise WrongUseError(f'The {what} "{kind}" is named twice.', next_step="Name it once.")
