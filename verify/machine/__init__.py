"""What a machine can tell, behind one interface."""

from verify.machine.choose import open_machine
from verify.machine.inventory import (
    Inventory,
    Item,
    ItemKind,
    Link,
    MemoryModule,
    Panel,
    RadioBlock,
    RadioLevel,
)
from verify.machine.model import (
    NO_BATTERY,
    Adapter,
    Awake,
    Cpu,
    Fan,
    Identity,
    Load,
    Machine,
    Pack,
    PackState,
    Sample,
    Temperature,
)

__all__ = [
    "NO_BATTERY",
    "Adapter",
    "Awake",
    "Cpu",
    "Fan",
    "Identity",
    "Inventory",
    "Item",
    "ItemKind",
    "Link",
    "Load",
    "Machine",
    "MemoryModule",
    "Pack",
    "PackState",
    "Panel",
    "RadioBlock",
    "RadioLevel",
    "Sample",
    "Temperature",
    "open_machine",
]
