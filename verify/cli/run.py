"""handback run: work through a ticket's checks; resume where it was."""

from pathlib import Path

import click

from verify.cli.reports import open_folder_of, reports_option
from verify.cli.session import answers_option, every_option, standing_option, sysfs_option


@click.command(
    "run",
    epilog="Example: handback run TW-1042        On a stick: handback run /media/stick/TW-1042",
)
@click.argument("ticket")
@answers_option
@sysfs_option
@every_option
@standing_option
@reports_option
def command(
    ticket: str,
    *,
    answers: Path | None,
    sysfs: Path | None,
    every_s: float,
    on_machine: bool | None,
    reports: Path,
) -> int:
    """Work through TICKET's checks in their order; every answer is kept at once.

    On the repaired machine the automatic checks run; on any other computer everything else is asked.
    """
    from verify.cli.session import tell_end, work_on
    from verify.machine import open_machine
    from verify.run import RunFolder

    path = open_folder_of(ticket, reports)
    machine = open_machine(sysfs=sysfs)
    with RunFolder(path) as folder:
        record = work_on(folder, machine=machine, answers=answers, on_machine=on_machine, every_s=every_s)
    return tell_end(record, path)
