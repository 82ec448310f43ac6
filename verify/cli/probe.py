"""`handback probe`: show what this machine tells about itself."""

from pathlib import Path

import click

from verify.cli.exits import GOOD, NOT_ESTABLISHED
from verify.machine import open_machine
from verify.machine.tell import describe, nothing_established

__all__ = ["command"]


@click.command("probe", epilog="Example: handback probe --json > before.json")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for a program to read; null means unknown.")
@click.option(
    "--sysfs",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Read this folder, laid out like /sys, and not this machine.",
)
@click.option("--parts", is_flag=True, help="List its parts, too: takes longer. No serial number is told.")
def command(*, as_json: bool, sysfs: Path | None, parts: bool) -> int:
    """Show what this machine tells about itself: battery, charger, temperatures, fans, processor.

    Nothing is written and nothing is changed. What cannot be read is shown as unknown, with the reason.
    """
    machine = open_machine(sysfs=sysfs)
    identity, sample = machine.identity(), machine.sample()
    # A salt of no use: nothing that is made from a serial is told.
    inventory = machine.inventory(salt="") if parts else None
    if as_json:
        import msgspec

        told = describe(identity, sample)
        if inventory is not None:
            from verify.machine.inventory.tell import describe_parts

            told["inventory"] = describe_parts(inventory)
        click.echo(msgspec.json.format(msgspec.json.encode(told), indent=2))
    else:
        from verify.cli.probe_view import show

        show(identity, sample)
        if inventory is not None:
            from verify.cli.probe_parts import show_parts

            show_parts(inventory)
    return NOT_ESTABLISHED if nothing_established(identity, sample) else GOOD
