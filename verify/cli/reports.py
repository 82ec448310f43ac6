"""The option that says where the tickets' folders are; shared by the commands that need it."""

from pathlib import Path

import click

reports_option = click.option(
    "--reports",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("reports"),
    envvar="HANDBACK_REPORTS",
    show_default=True,
    help="The folder that holds a folder for each ticket.",
)
