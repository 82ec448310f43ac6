"""The parts in the view of `handback probe --parts`: a line for each kind."""

from collections import Counter

from rich.console import Console
from rich.table import Table
from rich.text import Text

from verify.machine import Inventory, ItemKind
from verify.machine.inventory import memory_text

__all__ = ["show_parts"]

_WIDEST = 100
# The reader's name is ours; what it could not list is told in the bench's words.
_GROUPS = {
    "usb": "devices on USB",
    "pci": "devices on the board's bus",
    "items": "parts",
    "monitors": "fans and temperature sensors",
    "memory_bytes": "memory",
    "modules": "memory modules",
    "panels": "panel",
    "cpus": "processors",
    "channels": "memory channels",
    "clock_ahead_s": "clock",
}


def show_parts(inventory: Inventory, *, console: Console | None = None) -> None:
    """Write the parts to the console (standard output where None)."""
    if console is None:
        console = Console(highlight=False)
        console.width = min(console.width, _WIDEST)
    console.print()
    console.print(Text("Parts", style="bold"))
    rows = [(kind.value, _named(inventory, kind)) for kind in ItemKind if inventory.parts(kind)]
    if inventory.memory_bytes is not None:
        rows.append(("memory", f"{memory_text(inventory.memory_bytes)} that the system can use"))
    for level in inventory.radios:
        told = level.reason or "unknown" if level.dbm is None else f"{level.dbm:.0f} dBm"
        rows.append(("radio level", told))
    rows += [("radio switch", f"{block.type}: off") for block in inventory.blocks if block.is_off]
    outside = sum(item.volatile for item in inventory.items)
    if outside:
        rows.append(("plugged in", f"{outside} from outside"))
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=12)
    table.add_column()
    for name, value in rows:
        table.add_row(Text(f"  {name}"), Text(value))
    if rows:
        console.print(table)
    for group, why in inventory.reasons.items():
        console.print(Text(f"  Not known: {_GROUPS.get(group, group)}. {why}"))


def _named(inventory: Inventory, kind: ItemKind) -> str:
    """Return how many of a kind there are, and what they call themselves."""
    items = inventory.parts(kind)
    names = Counter(item.name for item in items if item.name)
    called = ", ".join(name if count == 1 else f"{count} × {name}" for name, count in names.items())
    return f"{len(items)}: {called}" if called else str(len(items))
