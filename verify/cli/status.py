"""handback status: every open ticket and what it waits for."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_ESTABLISHED, NOT_GOOD
from verify.cli.reports import folder_of, reports_option
from verify.values import Outcome
from verify.values.errors import WrongUseError

if TYPE_CHECKING:
    from verify.ledger import TicketLine


@click.command("status", epilog="Example: handback status        One ticket: handback status TW-1042")
@click.argument("ticket", required=False)
@click.option("--json", "as_json", is_flag=True, help="For programs.")
@reports_option
def command(ticket: str | None, as_json: bool, reports: Path) -> int:  # noqa: FBT001 - click's way of a flag
    """Show the open tickets, or TICKET alone, and what each waits for."""
    from verify.ledger import ticket_line, ticket_lines
    from verify.run import RunFolder

    if ticket is None:
        lines = ticket_lines(reports)
    else:
        folder = folder_of(ticket, reports)
        lines = (ticket_line(folder),) if RunFolder(folder).journal_path.is_file() else ()
        if not lines:
            raise WrongUseError(f"There is no {ticket} in {reports}.", next_step="See: handback status")
    if as_json:
        import msgspec

        click.echo(msgspec.json.format(msgspec.json.encode(lines), indent=1).decode())
    elif not lines:
        click.echo(f"No ticket is open in {reports}. Open one with: handback start TICKET")
    else:
        for line in lines:
            _show(line, whole=ticket is not None)
    if ticket is None:
        return GOOD
    if lines[0].problem:
        return NOT_ESTABLISHED
    return GOOD if lines[0].outcome in (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION) else NOT_GOOD


def _show(line: "TicketLine", *, whole: bool) -> None:
    from verify.ask.closing import OUTCOME_WORDS
    from verify.ask.words import counted, minutes_text
    from verify.record.visible import visible

    if line.problem:
        click.echo(visible(f"{line.ticket}  cannot be read: {line.problem}"))
        return
    marks = " · simulation" if line.simulated else " · scripted" if line.scripted else ""
    outcome = OUTCOME_WORDS[line.outcome]
    other = f" (folder {line.folder})" if line.folder != line.ticket else ""
    click.echo(visible(f"{line.ticket}{other}  {line.machine}  {outcome} · {line.stage}{marks}"))
    click.echo(
        f"    {line.done} of {line.screens} screens · hands {minutes_text(line.hands_min)}"
        f" · waiting {minutes_text(line.waiting_min)}"
    )
    click.echo(visible(f"    waits for: {line.waits_for}"))
    if whole:
        told = [reason for reason in line.reasons if not reason.endswith(": not done.")]
        for reason in told:
            click.echo(visible(f"    - {reason}"))
        if len(told) < len(line.reasons):
            click.echo(f"    - {counted(len(line.reasons) - len(told), 'check', 'checks')} not done.")
