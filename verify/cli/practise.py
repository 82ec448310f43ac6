"""handback practise: a whole run on a simulated machine with planted faults; the answers at the end."""

import contextlib
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.cli.exits import GOOD, NOT_GOOD

if TYPE_CHECKING:
    from verify.ask.practice import Exercise
    from verify.ask.practice_told import Ending
    from verify.run import RunFolder

_MOST_SEED = 9999

_WIDEST = 100
_MARK = re.compile(r" *(?:[-+x?] |\d\. )?")

_INTRO = (
    "Practice: a simulated machine. Nothing real is read, and nothing of it is ever an acceptance.",
    "You cannot touch it: each check tells you what you would see. You judge whether that is good.",
    "  - Simulated hands do what you confirm, and put the charger in or out. Time runs 90 times as fast.",
    "  - A fault that you found counts as mended once its check is asked again: press its number.",
    "  - After a stop, say how it was made safe. You may leave then, or go on.",
    "  - Leave with Q at any time. The answers are told at the end.",
    "",
)


@click.command(
    "practise",
    epilog="Example: handback practise --work battery --faults 2        The same again: --seed 4711",
)
@click.option(
    "--work",
    "works",
    multiple=True,
    metavar="KIND",
    help="What was repaired, as in: handback start. Repeat it. Without it, one is drawn.",
)
@click.option(
    "--faults",
    type=click.IntRange(0, 9),
    help="How many faults are planted. Without it, 0 to 3 are drawn.",
)
@click.option(
    "--seed",
    type=click.IntRange(0, _MOST_SEED),
    help="Give this exercise again: the same version and options give the same machine.",
)
@click.option(
    "--reports",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("reports/practice"),
    show_default=True,
    help="The folder that holds the exercises. Keep it apart from real tickets.",
)
def command(works: tuple[str, ...], faults: int | None, seed: int | None, reports: Path) -> int:
    """Practise a whole run on a simulated machine with planted faults; the answers come at the end."""
    import random

    from verify.ask.practice import draw
    from verify.ask.practice_told import answers_told, practice_json
    from verify.record.files import write_whole
    from verify.report import issue_report
    from verify.run import RunFolder, load_record

    seed = random.SystemRandom().randrange(1, _MOST_SEED + 1) if seed is None else seed
    exercise = draw(seed=seed, work=works, faults=faults)
    path = _free_folder(reports)
    again = f"The same exercise again: {_again(seed, works, faults)}"
    machine = f"{path.name}  {exercise.design.maker} {exercise.design.model}: {', '.join(exercise.work)}"
    _say(*_INTRO, machine, again, "")
    click.pause("Press any key to begin.")
    with RunFolder(path) as folder:
        ending = _work_on(folder, exercise)
        write_whole(path / "practice.json", practice_json(ending))
        report = issue_report(path, load_record(reports, path.name))
    _say(f"{path.name}: the answers. This was practice; it is never an acceptance.", *answers_told(ending))
    click.echo(f"\nReport: {report}")
    _say(again)
    return GOOD if ending.passed else NOT_GOOD


def _work_on(folder: "RunFolder", exercise: "Exercise") -> "Ending":
    """Run the exercise at the terminal until it is complete or left. Hold the folder's lock."""
    from rich.console import Console

    from verify.ask.practice_bench import Eyes, PracticeBench
    from verify.ask.practice_told import ending_of
    from verify.ask.terminal import Terminal
    from verify.run import Owner, begin, plan
    from verify.run.live import Live
    from verify.values import SystemClock

    bench = PracticeBench(exercise, start=SystemClock().now().wall)
    begin(
        folder,
        ticket=exercise.ticket(_number(folder.path)),
        checklists=exercise.checklists,
        clock=bench.clock,
    )
    owner = Owner(folder, machine=bench.machine, scripted=False, practice=True, on_machine=True)
    live = Live(owner, bench.sampler(owner))
    try:
        # Whoever leaves by an interrupt is told the answers, too.
        with contextlib.suppress(KeyboardInterrupt):
            Terminal(
                live,
                Console(file=sys.stdout, highlight=False),
                folder=folder.path,
                sees=Eyes(live, exercise),
                leave_when=lambda due: isinstance(due, plan.Complete),
            ).run()
    finally:
        live.close()
    return ending_of(exercise, owner)


def _say(*lines: str) -> None:
    """Write the lines, wide ones hung below the text that they begin with."""
    import shutil
    import textwrap

    width = min(shutil.get_terminal_size().columns, _WIDEST)
    for line in lines:
        mark = _MARK.match(line)
        indent = " " * (0 if mark is None else mark.end())
        click.echo(textwrap.fill(line, width, subsequent_indent=indent, break_on_hyphens=False))


def _free_folder(reports: Path) -> Path:
    """Return the folder of the first exercise's name that is free."""
    from verify.record.files import free_path

    return free_path(lambda number: reports / f"PRACTICE-{number}")


def _number(path: Path) -> int:
    return int(path.name.rpartition("-")[2])


def _again(seed: int, works: tuple[str, ...], faults: int | None) -> str:
    parts = [f"handback practise --seed {seed}", *(f"--work {work}" for work in works)]
    if faults is not None:
        parts.append(f"--faults {faults}")
    return " ".join(parts)
