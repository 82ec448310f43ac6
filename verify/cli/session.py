"""One session of work on a run: ask until somebody leaves, then say where it stands."""

import sys
from collections.abc import Callable
from pathlib import Path

import click

from verify.cli.exits import GOOD, NOT_GOOD
from verify.machine import Machine
from verify.record.model import Record
from verify.run import Owner, RunFolder, load_record, plan
from verify.run.sampling import Sampler, ThreadSampler
from verify.values import Outcome
from verify.values.errors import WrongUseError

standing_option = click.option(
    "--on-machine/--elsewhere",
    "on_machine",
    default=None,
    help="This computer is the repaired machine itself, or is not. Else it is recognised, or asked.",
)

answers_option = click.option(
    "--answers",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Take the manual answers from this file. The run is marked and never an acceptance.",
)

sysfs_option = click.option(
    "--sysfs",
    type=click.Path(path_type=Path),
    help="Read this tree instead of /sys. For tests of the tool.",
)

every_option = click.option(
    "--every",
    "every_s",
    type=click.FloatRange(0.2, 60),
    default=2.0,
    show_default=True,
    help="Seconds between two readings of the machine.",
)

DONE = (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION, Outcome.RETURNED_UNREPAIRED)


def work_on(
    folder: RunFolder,
    *,
    machine: Machine,
    answers: Path | None,
    on_machine: bool | None,
    every_s: float,
    leave_when: Callable[[plan.Due], bool] | None = None,
) -> Record:
    """Ask from a script or at the terminal until nothing is due or somebody leaves; renew the report.

    Hold the folder's lock. Returns the record as it stands then.
    Raises WrongUseError where a script would need to say on which computer it runs.
    """
    owner = Owner(folder, machine=machine, scripted=answers is not None, on_machine=on_machine)
    before = len(owner.lines)
    sampler = ThreadSampler(machine, every_s=every_s)
    if answers is None:
        _ask(owner, sampler, folder.path, leave_when)
    else:
        _play(owner, sampler, answers, folder.path)
    return renew_report(folder, written=len(owner.lines) > before)


def _ask(owner: Owner, sampler: Sampler, folder: Path, leave_when: Callable[[plan.Due], bool] | None) -> None:
    from rich.console import Console

    from verify.ask.terminal import Terminal
    from verify.run.live import Live

    # Named, so that it knows the letters that the output can show.
    console = Console(file=sys.stdout, highlight=False)
    live = Live(owner, sampler)
    try:
        Terminal(live, console, folder=folder, leave_when=leave_when).run()
    finally:
        live.close()


def _play(owner: Owner, sampler: Sampler, answers: Path, folder: Path) -> None:
    from verify.ask.script import AnswerFile, NoHands, play

    try:
        due = play(owner, AnswerFile(answers, folder=folder), sampler, hands=NoHands())
    finally:
        sampler.close()
        owner.close()
    if isinstance(due, plan.Where):
        raise WrongUseError(
            f"It is not known whether this computer is the one of {folder.name}.",
            next_step="Add --on-machine or --elsewhere. What was answered is kept.",
        )


def renew_report(folder: RunFolder, *, written: bool) -> Record:
    """Write the report page anew where something was written to the run, or there is none yet.

    Returns the record as it stands.
    """
    from verify.report import issue_report

    record = load_record(folder.path.parent, folder.path.name)
    # Looking alone changes nothing: a report that was signed stays as it is.
    if written or not folder.report_path.exists():
        issue_report(folder.path, record)
    return record


def tell_end(record: Record, folder: Path) -> int:
    """Say where the ticket stands and what comes next; return the exit code."""
    from verify.ask.closing import closing_lines

    for line in closing_lines(record):
        click.echo(line)
    click.echo(f"Report: {RunFolder(folder).report_path}")
    done = record.outcome in DONE
    click.echo(f"Go on with: handback {'sign' if done else 'run'} {folder.name}")
    good = record.outcome in (Outcome.FIT, Outcome.FIT_UNDER_CONCESSION)
    return GOOD if good else NOT_GOOD
