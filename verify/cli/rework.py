"""handback rework: something was opened again; what that voids is asked again, and nothing else."""

from pathlib import Path

import click

from verify.checklist import OPENINGS, Checklist
from verify.cli.reports import open_folder_of, reports_option
from verify.cli.ticket_options import shop_file_option, shop_path_for, work_from, work_options


@click.command(
    "rework",
    epilog='Example: handback rework TW-1042 --opened base --why "antenna plug was off"',
)
@click.argument("ticket")
@click.option(
    "--opened",
    multiple=True,
    required=True,
    type=click.Choice(OPENINGS),
    help="What was opened or undone again. Repeat it.",
)
@click.option("--why", required=True, help="Why, in a few words.")
@work_options
@click.option(
    "--own",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder with the shop's own checklists.",
)
@shop_file_option
@reports_option
def command(
    ticket: str,
    *,
    opened: tuple[str, ...],
    why: str,
    works: tuple[str, ...],
    labels: tuple[str, ...],
    own: Path | None,
    shop_file: Path | None,
    reports: Path,
) -> None:
    """Say what of TICKET was opened again and why; with --work also what was done besides."""
    from verify.checklist.shipped import shipped_checklists
    from verify.cli.brief import brief_owner
    from verify.run import RunFolder

    work = work_from(works, labels)
    path = open_folder_of(ticket, reports)
    with RunFolder(path) as folder, brief_owner(folder) as owner:
        checklists: tuple[Checklist, ...] = ()
        if work:
            shop_yaml = shop_path_for(shop_file, ticket=owner.ticket, shop=owner.state.began.shop)
            checklists = shipped_checklists(own, shop=shop_yaml)
        declined = owner.state.given_back is not None
        new = owner.reopen(opened, why=why, work=work, checklists=checklists)
        voided = owner.state.reopened[-1].voided
    click.echo(f"{path.name}: opened again: {', '.join(owner.state.reopened[-1].opened)}.")
    if declined:
        click.echo("  It is repaired after all: that it goes back unrepaired does not count any more.")
    asked = {check.id: check.ask for check in owner.composition.checks}
    for check_id in voided:
        click.echo(f"  again: {asked[check_id]}")
    for check in new:
        click.echo(f"  new:   {check.ask}")
    if not voided and not new:
        click.echo("  Nothing that was answered hangs on it.")
    click.echo(f"Go on with: handback run {path.name}")
