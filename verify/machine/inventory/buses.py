"""Devices on the board's bus (PCI) and on USB, by what they are and not by where they sit.

Only what can be unplugged, knocked off or die by itself: bridges and the chip set's own functions come with
the board. Sources: PCI class codes (PCI Code and ID Assignment Specification); USB class codes (USB-IF
defined class codes).
"""

from typing import TypeVar

from verify.machine.inventory.model import Item, ItemKind, Link
from verify.machine.inventory.tree import DeviceTree

__all__ = ["read_pci", "read_usb"]

_Number = TypeVar("_Number", int, float)

_PCI, _USB = "bus/pci/devices", "bus/usb/devices"

# First two bytes of the class code, or the first alone; anything else comes with the board.
_PCI_KINDS = {
    "01": ItemKind.STORAGE,
    "0200": ItemKind.WIRED,
    "0280": ItemKind.WIRELESS,
    "03": ItemKind.GRAPHICS,
    "04": ItemKind.SOUND,
    "0480": ItemKind.BOARD_DEVICE,
    "0805": ItemKind.CARD_READER,
    "0c03": ItemKind.BOARD_DEVICE,
    "0d": ItemKind.WIRELESS,
    "ff": ItemKind.BOARD_DEVICE,
}
_LINKED = (ItemKind.STORAGE, ItemKind.WIRELESS, ItemKind.WIRED)
_HUB = "09"
# Interface class → kind; the first that matches counts.
_USB_KINDS = (
    ("0e", ItemKind.CAMERA),
    ("e0", ItemKind.SHORT_RANGE),
    ("0b", ItemKind.CARD_READER),
    ("01", ItemKind.SOUND),
    ("08", ItemKind.STORAGE),
    ("03", ItemKind.USB_DEVICE),
)
_VENDOR_SPECIFIC = "ff"
# A telephone that lends its network is of the radio's class, too; its protocol is another.
_RADIO_CLASS, _RADIO_PROTOCOLS = "e0", ("01", "04", "")
# Where the system does not say whether a port leads outside: these are hardly ever plugged in from there.
_BUILT_IN_BY_NATURE = (ItemKind.CAMERA, ItemKind.SHORT_RANGE, ItemKind.CARD_READER)


def read_pci(tree: DeviceTree) -> tuple[list[Item], list[Link]]:
    """Return the parts on the board's bus, and the lines of drives and network cards."""
    items: list[Item] = []
    links: list[Link] = []
    for name in tree.listed("pci", _PCI):
        folder = f"{_PCI}/{name}"
        code = tree.needed("pci", f"{folder}/class").lower().removeprefix("0x")
        kind = _PCI_KINDS.get(code[:4]) or _PCI_KINDS.get(code[:2])
        if kind is None:
            continue
        numbers = [
            tree.hexadecimal(f"{folder}/{file}")
            for file in ("vendor", "device", "subsystem_vendor", "subsystem_device")
        ]
        if numbers[0] is None or numbers[1] is None:
            tree.reasons["pci"] = "A device on the board's bus does not say what it is."
            continue
        identity = ":".join(number or "0000" for number in numbers)
        way = tree.way(folder)
        volatile = tree.is_outside(way)
        tree.carry(way, identity, volatile=volatile)
        items.append(Item(kind=kind, identity=identity, seen_in="pci", volatile=volatile))
        if kind in _LINKED and not volatile:
            link = _link(tree, way, kind, identity)
            if link is not None:
                links.append(link)
    return items, links


def _link(tree: DeviceTree, way: str, kind: ItemKind, identity: str) -> Link | None:
    """Return its line, None where it has none of its own (part of the processor's own chip)."""
    width, speed = _lanes(tree, way, "current"), _speed(tree, way, "current")
    if width is None and speed is None:
        return None
    slot = way.rpartition("/")[0]
    return Link(
        kind=kind,
        identity=identity,
        width=width,
        speed=speed,
        most_width=min(_known(_lanes(tree, way, "max"), _lanes(tree, slot, "max")), default=None),
        most_speed=min(_known(_speed(tree, way, "max"), _speed(tree, slot, "max")), default=None),
    )


def _lanes(tree: DeviceTree, way: str, which: str) -> int | None:
    # 0 and 255 stand for a line that is down or not known (Linux drivers/pci/pci-sysfs.c, from memory).
    lanes = tree.number(f"{way}/{which}_link_width")
    return lanes if lanes is not None and 0 < lanes < 255 else None


def _speed(tree: DeviceTree, way: str, which: str) -> float | None:
    """Read "8.0 GT/s PCIe"; "Unknown" is None."""
    number = tree.word(f"{way}/{which}_link_speed").partition(" ")[0]
    try:
        speed = float(number)
    except ValueError:
        return None
    return speed if 0 < speed < 1000 else None


def _known(*values: _Number | None) -> list[_Number]:
    return [value for value in values if value is not None]


def read_usb(tree: DeviceTree) -> list[Item]:
    """Return the devices on USB, hubs left out; what is plugged in from outside is volatile, unnamed."""
    items: list[Item] = []
    for name in tree.listed("usb", _USB):
        folder = f"{_USB}/{name}"
        if ":" in name or name.startswith("usb") or tree.word(f"{folder}/bDeviceClass") == _HUB:
            continue
        vendor, product = tree.hexadecimal(f"{folder}/idVendor"), tree.hexadecimal(f"{folder}/idProduct")
        if vendor is None or product is None:
            tree.needed("usb", f"{folder}/idVendor")
            # It went away while it was read, or never answered: neither is there to be counted.
            continue
        identity = f"{vendor}:{product}"
        kind, built_in = _usb_kind(tree, folder)
        way = tree.way(folder)
        volatile = tree.is_outside(way) or not (built_in or tree.word(f"{folder}/removable") == "fixed")
        behind, _ = tree.carrier(way.rpartition("/")[0])
        tree.carry(way, identity, volatile=volatile)
        items.append(
            Item(
                kind=kind,
                identity=identity,
                seen_in="usb",
                name="" if volatile else tree.word(f"{folder}/product"),
                volatile=volatile,
                behind=behind,
            )
        )
    return items


def _usb_kind(tree: DeviceTree, folder: str) -> tuple[ItemKind, bool]:
    """Return what the device is, and whether it is built in where nothing says so."""
    names = tree.sysfs.names(folder)
    interfaces = set()
    for name in names if isinstance(names, list) else []:
        if ":" in name:
            code = tree.word(f"{folder}/{name}/bInterfaceClass").lower()
            protocol = tree.word(f"{folder}/{name}/bInterfaceProtocol")
            interfaces.add(
                f"{code} lent" if code == _RADIO_CLASS and protocol not in _RADIO_PROTOCOLS else code
            )
    for code, kind in _USB_KINDS:
        if code in interfaces:
            return kind, kind in _BUILT_IN_BY_NATURE
    # A reader of fingers is one of these; a maker's own interface alone is seldom plugged in from outside.
    return ItemKind.USB_DEVICE, interfaces == {_VENDOR_SPECIFIC}
