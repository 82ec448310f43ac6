"""handback try: make the page that helps to judge speakers, screen and keys."""

from pathlib import Path

import click

from verify.values.errors import HandbackError

__all__ = ["command"]


@click.command("try", epilog="Example: handback try /media/stick/try.html")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--open", "open_it", is_flag=True, help="Open it in this computer's browser as well.")
def command(file: Path, *, open_it: bool) -> None:
    """Write FILE: one page with left, right and rising tone, colours that fill the screen, and a key map.

    Open it on the repaired machine. It needs no network and no server, and answers nothing: what was found
    is answered in the run.
    """
    from verify.report.try_page import write_try_page

    write_try_page(file)
    click.echo(f"The page is in {file}. Open it in a browser on the repaired machine.")
    if open_it:
        from verify.machine.browser import open_page

        try:
            open_page(file)
        except HandbackError as error:
            click.echo(str(error))
