"""handback run: work through a ticket's checks; resume where it was."""

import sys
from pathlib import Path

import click

from verify.cli.exits import GOOD, NOT_GOOD
from verify.cli.reports import reports_option
from verify.values import Outcome
from verify.values.errors import WrongUseError


@click.command("run", epilog="Example: handback run TW-1042        A scripted one: --answers answers.yaml")
@click.argument("ticket")
@click.option(
    "--answers",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Take the manual answers from this file. The run is marked and never an acceptance.",
)
@click.option(
    "--sysfs",
    type=click.Path(path_type=Path),
    help="Read this tree instead of /sys. For tests of the tool.",
)
@click.option(
    "--every",
    "every_s",
    type=click.FloatRange(0.2, 60),
    default=2.0,
    show_default=True,
    help="Seconds between two readings of the machine.",
)
@reports_option
def command(ticket: str, answers: Path | None, sysfs: Path | None, every_s: float, reports: Path) -> int:
    """Work through TICKET's checks in their order; every answer is kept at once."""
    from rich.console import Console

    from verify.ask.closing import closing_lines
    from verify.ask.script import AnswerFile, NoHands, play
    from verify.ask.terminal import Terminal
    from verify.machine import open_machine
    from verify.report import issue_report
    from verify.run import Owner, RunFolder, load_record, ticket_folder
    from verify.run.sampling import ThreadSampler

    # Named, so that it knows the letters that the output can show.
    console = Console(file=sys.stdout, highlight=False)
    path = ticket_folder(reports, ticket)
    machine = open_machine(sysfs=sysfs)
    if not RunFolder(path).journal_path.exists():
        raise WrongUseError(f"{ticket} is not open yet.", next_step=f"Open it with: handback start {ticket}")
    with RunFolder(path) as folder:
        script = None if answers is None else AnswerFile(answers)
        owner = Owner(folder, machine=machine, scripted=script is not None)
        before = len(owner.lines)
        sampler = ThreadSampler(machine, every_s=every_s)
        try:
            if script is None:
                Terminal(owner, sampler, console).run()
            else:
                play(owner, script, sampler, hands=NoHands())
        finally:
            sampler.close()
            owner.close()
        record = load_record(reports, ticket)
        report = folder.report_path
        # Looking alone changes nothing: a report that was signed stays as it is.
        if len(owner.lines) > before or not report.exists():
            issue_report(path, record)
    for line in closing_lines(record):
        click.echo(line)
    click.echo(f"Report: {report}")
    done = record.outcome in (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION)
    click.echo(f"Go on with: handback {'sign' if done else 'run'} {ticket}")
    return GOOD if done else NOT_GOOD
