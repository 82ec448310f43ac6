"""handback decline: the machine goes back unrepaired."""

from pathlib import Path

import click

from verify.cli.reports import open_folder_of, reports_option


@click.command(
    "decline",
    epilog='Example: handback decline TW-1042 --why "Costs more than it is worth to the owner." '
    '--risks-told "Battery is worn; by the bench, at the counter." --owner-signed "on the paper ticket"',
)
@click.argument("ticket")
@click.option("--why", required=True, help="Why it is not repaired.")
@click.option("--risks-told", required=True, help="Which risks the owner was told of, and by whom.")
@click.option("--owner-signed", required=True, help="Where the owner's signature is, or why there is none.")
@reports_option
def command(ticket: str, *, why: str, risks_told: str, owner_signed: str, reports: Path) -> int:
    """Return TICKET unrepaired. Whether there is a hazard has to be answered first, and one made safe."""
    from verify.cli.brief import brief_owner
    from verify.cli.session import tell_end
    from verify.run import RunFolder, load_record

    path = open_folder_of(ticket, reports)
    with RunFolder(path) as folder, brief_owner(folder) as owner:
        owner.give_back(why=why, risks_told=risks_told, owner_signed=owner_signed)
    return tell_end(load_record(path.parent, path.name), path)
