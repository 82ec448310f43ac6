"""Where the tickets' folders are: the option and the argument that the commands share."""

from pathlib import Path

import click

from verify.values.errors import WrongUseError

reports_option = click.option(
    "--reports",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("reports"),
    envvar="HANDBACK_REPORTS",
    show_default=True,
    help="The folder that holds a folder for each ticket.",
)


def folder_of(ticket: str, reports: Path) -> Path:
    """Return the ticket's folder; a run that is there may also be given as its path, on a stick say.

    Raises WrongUseError where it cannot be one.
    """
    from verify.run import RunFolder, ticket_folder
    from verify.run.folder import is_ticket

    given = Path(ticket)
    # "./TW-1042" and "." say where as well: they are more than the name that is left of them.
    if given.name != ticket and RunFolder(given).journal_path.is_file():
        folder = given.absolute()
        if not is_ticket(folder.name):
            raise WrongUseError(
                f'The folder "{folder.name}" holds a run, but its name is no ticket.',
                next_step="Give it its ticket's name again, like TW-1042; put a second copy elsewhere.",
            )
        return ticket_folder(folder.parent, folder.name)
    return ticket_folder(reports, ticket)


def open_folder_of(ticket: str, reports: Path) -> Path:
    """Return the folder of a run that is there.

    Raises WrongUseError where none is.
    """
    from verify.run import RunFolder

    folder = folder_of(ticket, reports)
    if not RunFolder(folder).begun:
        raise WrongUseError(
            f"{folder.name} is not open yet in {folder.parent}.",
            next_step=f"Take it in with: handback arrive {folder.name}  or open it with: handback start",
        )
    return folder
