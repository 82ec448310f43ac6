"""handback arrive: take a machine in, before the first screw."""

from pathlib import Path

import click

from verify.cli.reports import folder_of, reports_option
from verify.cli.session import answers_option, every_option, standing_option, sysfs_option
from verify.cli.ticket_options import refuse_other, shop_from, shop_path, ticket_from, ticket_options


@click.command(
    "arrive", epilog='Example: handback arrive TW-1042 --model "Larkspur 15" --complaint "No sound."'
)
@click.argument("ticket")
@ticket_options
@answers_option
@sysfs_option
@every_option
@standing_option
@reports_option
def command(
    ticket: str,
    *,
    signers: tuple[str, ...],
    own: Path | None,
    shop_file: Path | None,
    answers: Path | None,
    sysfs: Path | None,
    every_s: float,
    on_machine: bool | None,
    reports: Path,
    **told: str,
) -> int:
    """Take TICKET in: hazard first, complaint, pictures, accessories, what works and what was not tried.

    Run it on the machine itself where it starts: then short readings are taken, too.
    """
    from verify.checklist.shipped import shipped_checklists
    from verify.cli.exits import GOOD
    from verify.cli.session import tell_end, work_on
    from verify.ledger import ticket_line
    from verify.machine import open_machine
    from verify.run import RunFolder, begin, plan
    from verify.run.fold import fold
    from verify.run.reading import read_run
    from verify.values import SystemClock
    from verify.values.errors import WrongUseError

    path = folder_of(ticket, reports)
    machine = open_machine(sysfs=sysfs)
    with RunFolder(path) as folder:
        if not folder.begun:
            shop_yaml = shop_path(shop_file)
            shop = shop_from(shop_yaml)
            begin(
                folder,
                ticket=ticket_from(path.name, told, shop=shop),
                checklists=shipped_checklists(own, shop=shop_yaml),
                clock=SystemClock(),
                signers=signers,
                shop=shop,
                arriving=True,
            )
        elif (run := read_run(path)) is not None:
            state = fold(run.lines, run.composition)
            if state.started:
                raise WrongUseError(
                    f"{path.name} is at work already: what it was like before is no longer known.",
                    next_step=f"Go on with: handback run {path.name}",
                )
            refuse_other(state.ticket, told)
            if set(signers) - set(run.composition.signers):
                raise WrongUseError(
                    f"{path.name} is open already, without that signer.",
                    next_step="Name who has to sign when you say the work: handback start … --signer",
                )
        record = work_on(
            folder,
            machine=machine,
            answers=answers,
            on_machine=on_machine,
            every_s=every_s,
            leave_when=lambda due: isinstance(due, plan.SayWork),
        )
    if not ticket_line(path).taken_in:
        return tell_end(record, path)
    click.echo(f"{path.name} is taken in. Its folder: {path}")
    click.echo(f"Say what is repaired: handback start {path.name} --work …")
    return GOOD
