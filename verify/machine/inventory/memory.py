"""Memory: what the system can use, and the modules in their slots, where an administrator asks.

Source: SMBIOS (DMTF DSP0134), section 7.18 "Memory Device (Type 17)": size at 0Ch, extended size at 1Ch,
locators at 10h and 11h, configured speed at 20h.
"""

import re

from verify.machine.inventory.model import MemoryModule
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["module_of", "read_memory_bytes", "read_modules"]

_ENTRIES = "firmware/dmi/entries"
_TOTAL = re.compile(r"^MemTotal:\s+([0-9]+) kB$", re.MULTILINE)
_CHANNEL = re.compile(r"chan(?:nel)?[ _-]*([a-z0-9])", re.IGNORECASE)
# Two controllers of one chip each begin their channels with the same letter.
_CONTROLLER = re.compile(r"controller[ _-]*([0-9])", re.IGNORECASE)
_MIB = 1 << 20
_NOT_KNOWN, _EXTENDED, _IN_KIB = 0xFFFF, 0x7FFF, 0x8000
_SPEEDS_NOT_KNOWN = (0, 0xFFFF)
_ONLY_HERE = "A given folder tells nothing of the memory."


def read_memory_bytes(proc: Sysfs | None) -> tuple[int | None, str | None]:
    """Return the memory that the system can use, in bytes, or None and why."""
    if proc is None:
        return None, _ONLY_HERE
    text = proc.text("meminfo")
    if isinstance(text, Missing):
        return None, f"The size of the memory cannot be read. {text.reason}"
    found = _TOTAL.search(text)
    if found is None or int(found[1]) == 0:
        return None, "The system does not tell the size of its memory."
    return int(found[1]) * 1024, None


def read_modules(sysfs: Sysfs) -> tuple[tuple[MemoryModule, ...], int | None, str | None]:
    """Return the modules, the number of channels that hold one (None: not told), and why there are none."""
    names = sysfs.names(_ENTRIES)
    if isinstance(names, Missing):
        return (), None, "The firmware shows no table of its memory slots."
    modules: list[MemoryModule] = []
    channels: list[str | None] = []
    for name in names:
        if not name.startswith("17-"):
            continue
        raw = sysfs.raw(f"{_ENTRIES}/{name}/raw")
        if raw is None:
            return (), None, "Only an administrator may read which memory slots are filled."
        told = module_of(raw)
        if isinstance(told, str):
            return (), None, told
        if told is not None:
            module, channel = told
            modules.append(module)
            channels.append(channel)
    if not modules:
        return (), None, "The firmware's table names no memory module."
    known = {channel for channel in channels if channel is not None}
    return tuple(modules), len(known) if None not in channels else None, None


def module_of(raw: bytes) -> tuple[MemoryModule, str | None] | str | None:
    """Return a module and its channel's name, None for an empty slot, or why the entry tells nothing."""
    if len(raw) < 0x15 or raw[0] != 17 or not 0x15 <= raw[1] <= len(raw):
        return "The firmware's table of memory slots is damaged."
    length = raw[1]
    size = int.from_bytes(raw[0x0C:0x0E], "little")
    if size == 0:
        return None
    if size == _NOT_KNOWN:
        return "The firmware does not know the size of a memory module."
    if size == _EXTENDED and length >= 0x20:
        size_bytes = (int.from_bytes(raw[0x1C:0x20], "little") & 0x7FFFFFFF) * _MIB
    elif size & _IN_KIB:
        size_bytes = (size & ~_IN_KIB) * 1024
    else:
        size_bytes = size * _MIB
    strings = raw[length:].split(b"\0\0", 1)[0].split(b"\0")
    slot, bank = _string(strings, raw[0x10]), _string(strings, raw[0x11])
    speed = int.from_bytes(raw[0x20:0x22], "little") if length >= 0x22 else 0
    channel = _CHANNEL.search(slot) or _CHANNEL.search(bank)
    controller = _CONTROLLER.search(slot) or _CONTROLLER.search(bank)
    return (
        MemoryModule(
            slot=slot or bank or "slot",
            size_bytes=size_bytes,
            speed_mts=None if speed in _SPEEDS_NOT_KNOWN else speed,
        ),
        f"{controller[1] if controller else ''}{channel[1].lower()}" if channel else None,
    )


def _string(strings: list[bytes], number: int) -> str:
    if not 1 <= number <= len(strings):
        return ""
    text = strings[number - 1].decode("ascii", "replace")
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())[:32]
