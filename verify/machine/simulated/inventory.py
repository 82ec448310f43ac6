"""What a simulated machine has: the inventory of a sound one, and what its faults take away or change.

Everything is invented; device numbers are of no maker.
"""

from verify.machine.inventory import (
    Inventory,
    Item,
    ItemKind,
    Link,
    MemoryModule,
    Panel,
    RadioBlock,
    RadioLevel,
    hashed_mark,
)
from verify.machine.inventory.radio import SWITCHED_OFF
from verify.machine.simulated.design import SimulatedDesign
from verify.machine.simulated.faults import ParsedFaults
from verify.values import Instant

__all__ = ["fan_labels", "simulated_inventory"]

_GIB = 1 << 30
_MODULE_GIB = 8
_RESERVED = 0.96  # what firmware and graphics leave of the memory [common practice, no source]
_LEVEL_DBM, _LEAD_OFF_DBM = -44.0, -71.0
_WIRELESS, _DRIVE = "ff01:0a01:ff01:0001", "ff01:0d01:ff01:0003"
_PANEL = Panel(maker="FNL", product=0x1501, width_px=1920, height_px=1080, refresh_hz=60.0, bits=8)
_OTHER_PANEL = Panel(maker="FNL", product=0x1377, width_px=1366, height_px=768, refresh_hz=60.0, bits=6)


def fan_labels(design: SimulatedDesign) -> tuple[str, ...]:
    """Return the labels of the machine's fans."""
    return ("fan", "second fan")[: design.fans]


def simulated_inventory(
    design: SimulatedDesign, faults: ParsedFaults, *, at: Instant, salt: str, pack_seen: bool
) -> Inventory:
    """Return what the machine shows with these faults."""
    gone = faults.word("module-missing")
    panel = _OTHER_PANEL if "panel-other" in faults else _PANEL
    items = [
        Item(kind=ItemKind.PANEL, identity=f"{panel.maker} {panel.product:04x}", seen_in="display"),
        Item(kind=ItemKind.GRAPHICS, identity="ff01:0901:ff01:0005", seen_in="pci"),
        Item(kind=ItemKind.SOUND, identity="ff01:0501:ff01:0002", seen_in="pci"),
        Item(kind=ItemKind.STORAGE, identity=_DRIVE, seen_in="pci"),
        Item(
            kind=ItemKind.STORAGE,
            identity="fennel d5 512 GB",
            seen_in="storage",
            name="Fennel D5",
            behind=_DRIVE,
            mark=hashed_mark(salt, design.drive),
        ),
        Item(kind=ItemKind.KEYBOARD, identity="0011:0001:0001", seen_in="input", name="keyboard"),
        Item(kind=ItemKind.POWER_KEY, identity="0019:0000:0001", seen_in="input", name="power key"),
        Item(kind=ItemKind.LID_SWITCH, identity="0019:0000:0005", seen_in="input", name="lid switch"),
        Item(kind=ItemKind.CHARGER_INPUT, identity="mains", seen_in="supplies"),
    ]
    if gone != "wireless":
        items.append(Item(kind=ItemKind.WIRELESS, identity=_WIRELESS, seen_in="pci"))
        items.append(
            Item(
                kind=ItemKind.WIRELESS,
                identity=f"interface of {_WIRELESS}",
                seen_in="network",
                behind=_WIRELESS,
            )
        )
    if gone != "camera":
        items.append(Item(kind=ItemKind.CAMERA, identity="ff01:0c01", seen_in="usb", name="camera"))
    if gone != "touchpad":
        items.append(
            Item(kind=ItemKind.TOUCHPAD, identity="0018:ff01:0701", seen_in="input", name="touchpad")
        )
    if pack_seen:
        pack = design.pack
        items.append(
            Item(
                kind=ItemKind.BATTERY,
                identity=f"{pack.manufacturer} {pack.model}".lower(),
                seen_in="supplies",
                name=f"{pack.manufacturer} {pack.model}",
                mark=hashed_mark(salt, pack.serial),
            )
        )
    reasons: dict[str, str] = {}
    if "no-sensors" in faults:
        reasons["monitors"] = "This machine has no sensor that can be read."
    else:
        items += [
            Item(kind=ItemKind.FAN, identity=f"board {label}", seen_in="monitors")
            for label in fan_labels(design)
        ]
        items += [
            Item(kind=ItemKind.TEMPERATURE_SENSOR, identity=identity, seen_in="monitors")
            for identity in ("cpu_thermal processor", "acpitz board")
        ]
    modules = _modules(design, halved="memory-half" in faults, one_channel="one-channel" in faults)
    narrow = "storage-link-narrow" in faults
    radio_off = "radio-off" in faults
    return Inventory(
        at=at,
        items=tuple(sorted(items, key=lambda item: (item.kind, item.identity))),
        panels=(panel,),
        radios=_radios(faults, missing=gone == "wireless", off=radio_off),
        blocks=(RadioBlock(type="wlan", soft=radio_off, hard=False),),
        links=(
            Link(
                kind=ItemKind.STORAGE,
                identity=_DRIVE,
                width=1 if narrow else 4,
                speed=8.0,
                most_width=4,
                most_speed=8.0,
            ),
        ),
        modules=modules,
        memory_bytes=round(sum(module.size_bytes for module in modules) * _RESERVED),
        channels=1 if "one-channel" in faults else len(modules),
        cpus=design.cores,
        clock_ahead_s=0.0,
        reasons=reasons,
    )


def _modules(design: SimulatedDesign, *, halved: bool, one_channel: bool) -> tuple[MemoryModule, ...]:
    fitted = max(1, design.memory_gib // _MODULE_GIB)
    slots = ("channel A", "channel A, second slot") if one_channel else ("channel A", "channel B")
    return tuple(
        MemoryModule(slot=slot, size_bytes=_MODULE_GIB * _GIB, speed_mts=3200)
        for slot in slots[: fitted // 2 if halved else fitted]
    )


def _radios(faults: ParsedFaults, *, missing: bool, off: bool) -> tuple[RadioLevel, ...]:
    if missing:
        return ()
    if off:
        return (RadioLevel(kind=ItemKind.WIRELESS, dbm=None, reason=SWITCHED_OFF),)
    level = _LEAD_OFF_DBM if "antenna-lead-off" in faults else _LEVEL_DBM
    return (RadioLevel(kind=ItemKind.WIRELESS, dbm=level),)
