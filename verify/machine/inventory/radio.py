"""Radios: how strong the network comes in, and whether a switch keeps a radio off. No network names.

Source: Linux Documentation/ABI/stable/sysfs-class-rfkill (soft, hard, type); /proc/net/wireless: the level is
in dBm, either signed or, from old drivers, 256 above it.
"""

import re

from verify.machine.inventory.model import ItemKind, RadioBlock, RadioLevel
from verify.machine.inventory.tree import DeviceTree
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["read_blocks", "read_levels"]

_CLASS = "class/rfkill"
_LINE = re.compile(r"^\s*\S+:\s+[0-9a-fA-F]+\s+\S+\s+(-?[0-9]+)\.?\s", re.MULTILINE)
_WRAP = 256
LEVEL_DBM = (-100, -10)
"""What a joined network can come in with, in dBm; outside it is a placeholder [common practice]."""

NOT_JOINED = "No wireless network is joined: join the shop's own, at the same place as on arrival."
SWITCHED_OFF = (
    "The wireless network is switched off by a key or a setting. Switch it on, join the shop's own."
)


def read_blocks(tree: DeviceTree) -> list[RadioBlock]:
    """Return the radios' switches; those of one type are one: off where any of them is."""
    found: dict[str, RadioBlock] = {}
    for name in tree.listed("blocks", _CLASS):
        kind = tree.word(f"{_CLASS}/{name}/type")
        soft, hard = tree.number(f"{_CLASS}/{name}/soft"), tree.number(f"{_CLASS}/{name}/hard")
        if not kind or soft is None or hard is None:
            continue
        before = found.get(kind, RadioBlock(type=kind, soft=False, hard=False))
        found[kind] = RadioBlock(type=kind, soft=before.soft or soft == 1, hard=before.hard or hard == 1)
    return [found[kind] for kind in sorted(found)]


def read_levels(proc: Sysfs | None, blocks: list[RadioBlock], *, wireless: bool) -> list[RadioLevel]:
    """Return the strongest level of the joined networks, or why there is none; empty without a radio.

    wireless: whether any wireless network card is there.
    """
    if not wireless:
        return []
    off = any(block.type == "wlan" and block.is_off for block in blocks)
    if off:
        return [RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason=SWITCHED_OFF)]
    if proc is None:
        reason = "A given folder tells nothing of the radio."
        return [RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason=reason)]
    text = proc.text("net/wireless")
    if isinstance(text, Missing):
        reason = f"The radio level cannot be read here. {text.reason}"
        return [RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason=reason)]
    levels = [level - _WRAP if level > 0 else level for level in map(int, _LINE.findall(text))]
    good = [level for level in levels if LEVEL_DBM[0] <= level <= LEVEL_DBM[1]]
    if not good:
        return [RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason=NOT_JOINED)]
    return [RadioLevel(kind=ItemKind.WIRELESS, dbm=float(max(good)))]
