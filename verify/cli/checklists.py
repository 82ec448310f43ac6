"""handback checklists: list the checklists, or show what is asked for some work."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from verify.checklist.model import HAND_BACK, Check, Checklist, Composition, Kind, Segment

if TYPE_CHECKING:
    from rich.table import Table

__all__ = ["command"]

_own_option = click.option(
    "--own",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder with the shop's own checklists.",
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read.")


@click.group("checklists", epilog="Example: handback checklists show battery feet")
def command() -> None:
    """List the checklists, or show what is asked for some work."""


@command.command("list", epilog="Example: handback checklists list --own my-checklists")
@_own_option
@_json_option
def list_command(*, own: Path | None, as_json: bool) -> None:
    """List all checklists and the work that each is for."""
    checklists = _known(own)
    if as_json:
        _print_json(
            {
                "format": "checklist-list/1",
                "checklists": [
                    {
                        "id": each.id,
                        "revision": each.revision,
                        "title": each.title,
                        "for_work": each.for_work,
                        "checks": len(each.checks),
                    }
                    for each in checklists
                ],
            }
        )
        return
    from rich import box
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    for heading in ("checklist", "revision", "for", "checks", "what"):
        table.add_column(heading, justify="right" if heading in {"revision", "checks"} else "left")
    for each in checklists:
        wanted = ", ".join(each.for_work) or "every repair"
        table.add_row(each.id, str(each.revision), wanted, str(len(each.checks)), escape(each.title))
    Console().print(table)


@command.command("show", epilog="Example: handback checklists show battery feet")
@click.argument("work", nargs=-1)
@_own_option
@_json_option
def show_command(*, work: tuple[str, ...], own: Path | None, as_json: bool) -> None:
    """Show the checks and steps for WORK in their order; without WORK, what every repair needs."""
    from verify.checklist.compose import compose

    composition = compose(_known(own), work)
    if as_json:
        _print_json(_told(composition))
    else:
        _show(composition)


def _known(own: Path | None) -> tuple[Checklist, ...]:
    from verify.checklist.shipped import shipped_checklists
    from verify.probe import probe_names

    return shipped_checklists(own, known_probes=probe_names())


def _print_json(answer: dict[str, object]) -> None:
    import msgspec

    click.echo(msgspec.json.format(msgspec.json.encode(answer), indent=2))


def _told(composition: Composition) -> dict[str, object]:
    from verify.checklist.compose import hands_minutes, waiting_minutes
    from verify.checklist.screens import screens

    return {
        "format": "composition/1",
        "work": composition.work,
        "checklists": [each.id for each in composition.checklists],
        "signers": composition.signers,
        "hands_minutes": round(hands_minutes(composition), 1),
        "waiting_minutes": round(waiting_minutes(composition), 1),
        "screens": len(screens(composition)),
        "segments": composition.segments,
    }


def _show(composition: Composition) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.padding import Padding

    from verify.checklist.compose import hands_minutes, waiting_minutes
    from verify.checklist.screens import screens

    console = Console(highlight=False)
    wanted = ", ".join(composition.work) or "every repair"
    console.print(f"[bold]{escape(wanted)}[/bold]: {' + '.join(each.id for each in composition.checklists)}")
    console.print(
        f"{len(composition.checks)} checks on {len(screens(composition))} screens, "
        f"about {hands_minutes(composition):.0f} min of hands, "
        f"{waiting_minutes(composition):.0f} min of reading and waiting"
    )
    stage = ""
    for segment in composition.segments:
        if segment.stage != stage:
            stage = segment.stage
            console.print(f"\n[bold]{stage}[/bold]")
        console.print(_table(segment.checks))
        for line in _step_lines(composition, segment):
            console.print(Padding(line, (0, 0, 0, 2)))


def _table(checks: tuple[Check, ...]) -> "Table":
    from rich.markup import escape
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 2, 0, 2))
    for width in (18, 9, 7):
        table.add_column(no_wrap=True, min_width=width)
    table.add_column(ratio=1)
    for check in checks:
        lines = [escape(check.ask)]
        lines += [f"[dim]Good: {escape(check.good)}[/dim]"] if check.good else []
        lines += [f"Caution: {escape(check.caution)}"] if check.caution is not None else []
        kind = "automatic" if check.kind is Kind.PROBE else check.kind
        table.add_row(check.id, kind, f"{check.minutes:g} min", "\n".join(lines))
    return table


def _step_lines(composition: Composition, segment: Segment) -> list[str]:
    from rich.markup import escape

    step = segment.step
    guards = composition.guards(step.id)
    names = "all checks" if step.id == HAND_BACK else ", ".join(check.id for check in guards)
    until = f"until good: {names}" if guards else "until the checks above are done"
    lines = [f"[bold]Not yet: {escape(step.name)}[/bold], {until}."]
    lines += [f"[bold]Then:[/bold] {escape(step.do)}"] if step.do is not None else []
    lines += [f"Caution: {escape(step.caution)}"] if step.caution is not None else []
    return lines
