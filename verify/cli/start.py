"""handback start: say what is repaired; open the ticket where it is not open yet."""

from pathlib import Path

import click

from verify.cli.reports import folder_of, reports_option
from verify.cli.ticket_options import (
    refuse_other,
    shop_from,
    shop_path,
    shop_path_for,
    ticket_from,
    ticket_options,
    work_from,
    work_options,
)
from verify.record.model import Work
from verify.run import RunFolder


@click.command(
    "start",
    epilog='Example: handback start TW-1042 --work battery=reproduction --label battery="57.0 Wh" '
    "--work feet",
)
@click.argument("ticket")
@ticket_options
@work_options
@reports_option
def command(
    ticket: str,
    *,
    signers: tuple[str, ...],
    own: Path | None,
    shop_file: Path | None,
    works: tuple[str, ...],
    labels: tuple[str, ...],
    reports: Path,
    **told: str,
) -> None:
    """Say what is repaired on TICKET. Later it adds work that came up; nothing is asked twice for it."""
    from verify.checklist.shipped import shipped_checklists
    from verify.run import begin
    from verify.values import SystemClock

    work = work_from(works, labels)
    path = folder_of(ticket, reports)
    with RunFolder(path) as folder:
        if folder.begun:
            _add(folder, work, own=own, shop_file=shop_file, signers=signers, told=told)
        else:
            shop_yaml = shop_path(shop_file)
            shop = shop_from(shop_yaml)
            begin(
                folder,
                ticket=ticket_from(path.name, told, work, shop=shop),
                checklists=shipped_checklists(own, shop=shop_yaml),
                clock=SystemClock(),
                signers=signers,
                shop=shop,
            )
            click.echo(f"{path.name} is open. Its folder: {path}")
            click.echo("Nothing was taken on arrival: what worked before is unknown, and the report says so.")
            _tell_minutes(path)
    click.echo(f"Go on with: handback run {path.name}")


def _add(
    folder: RunFolder,
    work: tuple[Work, ...],
    *,
    own: Path | None,
    shop_file: Path | None,
    signers: tuple[str, ...],
    told: dict[str, str],
) -> None:
    from verify.checklist.shipped import shipped_checklists
    from verify.cli.brief import brief_owner
    from verify.run import arrival

    with brief_owner(folder) as owner:
        refuse_other(owner.ticket, told)
        first, declined = not owner.state.started, owner.state.given_back is not None
        left = arrival.topics_left(owner.state) if first else ()
        shop_yaml = shop_path_for(shop_file, ticket=owner.ticket, shop=owner.state.began.shop)
        new = owner.add_work(work, shipped_checklists(own, shop=shop_yaml), signers=signers)
        kinds = ", ".join(one.kind for one in work) or "no kind of work of its own"
        click.echo(
            f"{owner.ticket.id}: {'repaired is' if first else 'added'} {kinds}. {len(new)} checks more."
        )
        if left:
            click.echo(f"Not taken on arrival, and not asked any more: {', '.join(left)}.")
        if declined:
            click.echo("It is repaired after all: that it goes back unrepaired does not count any more.")
    _tell_minutes(folder.path)


def _tell_minutes(path: Path) -> None:
    from verify.ask.words import minutes_text
    from verify.ledger import ticket_line

    line = ticket_line(path)
    click.echo(
        f"About {minutes_text(line.hands_min)} of hands and {minutes_text(line.waiting_min)} of waiting, "
        f"{line.screens} screens."
    )
