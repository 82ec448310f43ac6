"""The inventory of a Linux machine: a sysfs root, and /proc of the machine itself. Reads, never writes."""

from verify.machine.inventory.buses import read_pci, read_usb
from verify.machine.inventory.input import read_inputs
from verify.machine.inventory.memory import read_memory_bytes, read_modules
from verify.machine.inventory.model import Inventory, ItemKind
from verify.machine.inventory.panel import read_panels
from verify.machine.inventory.parts import (
    read_cameras,
    read_drives,
    read_monitors,
    read_networks,
    read_sound,
    read_supply_items,
    read_various,
)
from verify.machine.inventory.radio import read_blocks, read_levels
from verify.machine.inventory.tree import DeviceTree
from verify.machine.sysfs import Missing, Sysfs
from verify.values import Instant

__all__ = ["read_inventory"]

_CORES = "devices/system/cpu/online"
_CLOCK = "class/rtc/rtc0/since_epoch"


def read_inventory(sysfs: Sysfs, proc: Sysfs | None, *, at: Instant, salt: str) -> Inventory:
    """Read everything that is there. salt: what serials are hashed with, the ticket's number.

    proc: where /proc is; None where the sysfs root is not this machine's own.
    """
    tree = DeviceTree(sysfs)
    # The buses first: what the other readers find hangs on their devices.
    board, links = read_pci(tree)
    items = board + read_usb(tree) + read_inputs(tree) + read_sound(tree) + read_cameras(tree)
    items += read_networks(tree) + read_monitors(tree) + read_supply_items(tree, salt) + read_various(tree)
    drives, drive_links = read_drives(tree, salt)
    panel_items, panels = read_panels(tree)
    items += drives + panel_items
    blocks = read_blocks(tree)
    wireless = any(item.kind is ItemKind.WIRELESS and not item.volatile for item in items)
    reasons = tree.reasons
    memory_bytes, why = read_memory_bytes(proc)
    if why is not None:
        reasons["memory_bytes"] = why
    modules, channels, why = read_modules(sysfs)
    if why is not None:
        reasons["modules"] = why
    if channels is None:
        reasons["channels"] = why or "The firmware does not say which channel a memory slot is of."
    cpus = _count(tree.word(_CORES))
    if cpus is None:
        reasons["cpus"] = "The number of processors is not told."
    clock_ahead_s = _clock_ahead_s(sysfs, at)
    if clock_ahead_s is None:
        reasons["clock_ahead_s"] = "The clock that runs without the system cannot be read."
    if not items:
        reasons.setdefault("items", "Nothing that is built in is visible to the system.")
    return Inventory(
        at=at,
        items=tuple(sorted(items, key=lambda item: (item.kind, item.identity, item.mark or "", item.behind))),
        panels=tuple(panels),
        radios=tuple(read_levels(proc, blocks, wireless=wireless)),
        blocks=tuple(blocks),
        # Of two of one make nobody knows which is which: the narrower first, whatever the bus is numbered.
        links=tuple(
            sorted(
                links + drive_links,
                key=lambda link: (link.kind, link.identity, link.width or 0, link.speed or 0),
            )
        ),
        modules=modules,
        memory_bytes=memory_bytes,
        channels=channels,
        cpus=cpus,
        clock_ahead_s=clock_ahead_s,
        reasons=dict(sorted(reasons.items())),
    )


def _count(cores: str) -> int | None:
    """Count the processors of a list like "0-3,8"."""
    count = 0
    for part in cores.split(","):
        first, _, last = part.partition("-")
        if not (first.isdigit() and (not last or last.isdigit())):
            return None
        count += int(last or first) - int(first) + 1
    return count or None


def _clock_ahead_s(sysfs: Sysfs, at: Instant) -> float | None:
    seconds = sysfs.number(_CLOCK)
    return None if isinstance(seconds, Missing) or seconds < 0 else seconds - at.wall.timestamp()
