"""What is built in: read once, told without serials, compared with what was there on arrival."""

from verify.machine.inventory.model import (
    Inventory,
    Item,
    ItemKind,
    Link,
    MemoryModule,
    Panel,
    RadioBlock,
    RadioLevel,
    hashed_mark,
    memory_text,
    without_marks,
)

__all__ = [
    "Inventory",
    "Item",
    "ItemKind",
    "Link",
    "MemoryModule",
    "Panel",
    "RadioBlock",
    "RadioLevel",
    "hashed_mark",
    "memory_text",
    "without_marks",
]
