"""handback lint: find the mistakes in checklist files and a shop's own."""

from pathlib import Path

import click

from verify.cli.exits import GOOD, NOT_GOOD

__all__ = ["command"]


@click.command("lint", epilog="Example: handback lint my-checklists")
@click.argument(
    "places",
    metavar="FILE_OR_FOLDER...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, path_type=Path),
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read.")
def command(*, places: tuple[Path, ...], as_json: bool) -> int:
    """Find all mistakes in checklists, specimens, shop files and limits, each with its line and what to do.

    Ends with 0 where all is good, 1 where there are mistakes, 2 where a file cannot be opened.
    """
    from verify.checklist.proofread import files_of, proofread
    from verify.probe import probe_units

    files = files_of(places)
    mistakes = proofread(files, known_probes=probe_units())
    if as_json:
        import msgspec

        found = []
        for mistake in mistakes:
            name, _, line = mistake.where.rpartition(":")
            what = mistake.what.removeprefix(f"{mistake.where}: ")
            found.append({"file": name, "line": int(line), "what": what, "next_step": mistake.next_step})
        answer = {"format": "mistakes/1", "files": [str(path) for path in files], "mistakes": found}
        click.echo(msgspec.json.format(msgspec.json.encode(answer), indent=2))
        return NOT_GOOD if mistakes else GOOD
    for mistake in mistakes:
        click.echo(str(mistake))
    if not mistakes:
        click.echo(f"{len(files)} {'file' if len(files) == 1 else 'files'}: no mistake found.")
    return NOT_GOOD if mistakes else GOOD
