"""handback checklists: list the checklists, or show what is asked for some work."""

import shutil
from pathlib import Path

import click

from verify.checklist.model import Checklist, Composition
from verify.cli.ticket_options import shop_file_option, shop_from, shop_path
from verify.values.errors import WrongUseError

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
@shop_file_option
@_json_option
def list_command(*, own: Path | None, shop_file: Path | None, as_json: bool) -> None:
    """List all checklists and the work that each is for."""
    checklists = _known(own, shop_path(shop_file))
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
@shop_file_option
@click.option("--ids", is_flag=True, help="Say each check's id, as your own files name it.")
@click.option("--blank", is_flag=True, help="Print a sheet to fill by hand.")
@click.option(
    "--html",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="With --blank: write the sheet to FILE, to be printed from a browser.",
)
@_json_option
def show_command(
    *,
    work: tuple[str, ...],
    own: Path | None,
    shop_file: Path | None,
    ids: bool,
    blank: bool,
    html: Path | None,
    as_json: bool,
) -> None:
    """Show the checks and steps for WORK in their order; without WORK, what every repair needs.

    With --blank it is a sheet to fill by hand, for where no computer can stand; its answers are given to
    the tool afterwards.
    """
    from verify.checklist.compose import compose
    from verify.report.listing import listing

    if html is not None and not blank:
        raise WrongUseError("--html goes with --blank.", next_step="Add --blank, or leave --html out.")
    path = shop_path(shop_file)
    composition = compose(_known(own, path), work)
    if as_json:
        _print_json(_told(composition))
    elif html is not None:
        from verify.record.files import write_whole
        from verify.report.blank import blank_page
        from verify.run.pictures import logo_bytes

        shop = shop_from(path)
        logo = None if shop is None or shop.logo is None else logo_bytes(shop.logo)
        write_whole(html, blank_page(composition, shop=shop, logo=logo).encode())
        click.echo(f"The sheet is in {html}. Open it in a browser and print it.")
    elif blank:
        from verify.report.blank import blank_text

        click.echo(blank_text(composition, shop=shop_from(path)), nl=False)
    else:
        for line, stands_out in listing(composition, width=_width(), ids=ids):
            click.echo(click.style(line, bold=True) if stands_out else line)


def _width() -> int:
    """Return the columns of the page: those of the terminal within reason, 80 in a pipe."""
    return min(max(shutil.get_terminal_size((80, 24)).columns, 60), 100)


def _known(own: Path | None, shop: Path | None) -> tuple[Checklist, ...]:
    from verify.checklist.shipped import shipped_checklists
    from verify.probe import probe_units

    return shipped_checklists(own, shop=shop, known_probes=probe_units())


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
