"""Parts by the class of the system that shows them: sound, camera, network, drives, fans, sensors, packs."""

import re

from verify.machine.firmware import is_placeholder, printable_words
from verify.machine.inventory.model import Item, ItemKind, Link, hashed_mark
from verify.machine.inventory.tree import DeviceTree
from verify.machine.marks import drive_serial
from verify.machine.supply import Supply, read_supplies
from verify.machine.sysfs import Missing

__all__ = [
    "read_cameras",
    "read_drives",
    "read_monitors",
    "read_networks",
    "read_sound",
    "read_supply_items",
    "read_various",
]

_SOUND, _VIDEO, _NET, _BLOCK = "class/sound", "class/video4linux", "class/net", "class/block"
_HWMON, _LIGHT, _CHIP, _ATA = "class/hwmon", "bus/iio/devices", "class/tpm", "class/ata_link"
_SENSOR = re.compile(r"(temp|fan)([0-9]+)_input", re.ASCII)
_HIDDEN_PATH = re.compile(r"nvme[0-9]+c[0-9]+n[0-9]+")
_SECTOR_BYTES = 512  # whatever the drive's own sectors are (Linux Documentation/ABI/stable/sysfs-block)
_GB = 10**9
_FIRMWARE_ZONES = "acpitz"


def read_sound(tree: DeviceTree) -> list[Item]:
    """Return sound cards and the converters behind them."""
    items: list[Item] = []
    for name in tree.listed("sound", _SOUND):
        folder = f"{_SOUND}/{name}"
        way = tree.way(folder)
        if re.fullmatch(r"card[0-9]+", name):
            identity = tree.word(f"{folder}/id").lower()
        elif re.fullmatch(r"hwC[0-9]+D[0-9]+", name):
            numbers = [tree.hexadecimal(f"{folder}/{file}") for file in ("vendor_id", "subsystem_id")]
            identity = "converter " + ":".join(number or "0000" for number in numbers)
        else:
            continue
        if identity and not tree.is_virtual(way):
            behind, volatile = tree.carrier(way)
            items.append(
                Item(
                    kind=ItemKind.SOUND,
                    identity=identity,
                    seen_in="sound",
                    volatile=volatile,
                    behind=behind,
                )
            )
    return items


def read_cameras(tree: DeviceTree) -> list[Item]:
    """Return the cameras that are not on USB: those are told there, once and not by each of their nodes."""
    items: list[Item] = []
    for name in tree.listed("video", _VIDEO):
        folder = f"{_VIDEO}/{name}"
        way = tree.way(folder)
        behind, volatile = tree.carrier(way)
        title = tree.word(f"{folder}/name")
        if (
            tree.is_virtual(way)
            or "/usb" in way
            or not title
            or tree.number(f"{folder}/index") not in (0, None)
        ):
            continue
        items.append(
            Item(
                kind=ItemKind.CAMERA,
                identity=title.lower(),
                seen_in="video",
                name=title,
                volatile=volatile,
                behind=behind,
            )
        )
    return items


def read_networks(tree: DeviceTree) -> list[Item]:
    """Return the network adapters of real devices, without their names and addresses."""
    items: list[Item] = []
    for name in tree.listed("network", _NET):
        folder = f"{_NET}/{name}"
        way = tree.way(folder)
        if tree.is_virtual(way) or isinstance(tree.sysfs.names(f"{folder}/device"), Missing):
            continue
        wireless = any(
            not isinstance(tree.sysfs.names(f"{folder}/{mark}"), Missing) for mark in ("wireless", "phy80211")
        )
        behind, volatile = tree.carrier(way)
        items.append(
            Item(
                kind=ItemKind.WIRELESS if wireless else ItemKind.WIRED,
                identity=f"interface of {behind or 'the board'}",
                seen_in="network",
                volatile=volatile,
                behind=behind,
            )
        )
    return items


def read_drives(tree: DeviceTree, salt: str) -> tuple[list[Item], list[Link]]:
    """Return the built-in drives by make and size, and the lines of those on SATA."""
    items: list[Item] = []
    links: list[Link] = []
    for name in tree.listed("storage", _BLOCK):
        folder = f"{_BLOCK}/{name}"
        way = tree.way(folder)
        sectors = tree.number(f"{folder}/size")
        if (
            tree.is_virtual(way)
            or not sectors
            or _HIDDEN_PATH.fullmatch(name)
            or not isinstance(tree.sysfs.text(f"{folder}/partition"), Missing)
            or isinstance(tree.sysfs.names(f"{folder}/device"), Missing)
        ):
            continue
        behind, volatile = tree.carrier(way)
        volatile = (
            volatile
            or "/usb" in way
            or tree.number(f"{folder}/removable") == 1
            or tree.word(f"{folder}/device/type") == "SD"
        )
        model = tree.word(f"{folder}/device/model") or tree.word(f"{folder}/device/name")
        identity = f"{model.lower() or 'drive'} {round(sectors * _SECTOR_BYTES / _GB)} GB"
        serial = None if volatile else drive_serial(tree.sysfs, name)
        items.append(
            Item(
                kind=ItemKind.STORAGE,
                identity=identity,
                seen_in="storage",
                name="" if volatile else model,
                volatile=volatile,
                behind=behind,
                mark=None if serial is None else hashed_mark(salt, serial),
            )
        )
        port = re.search(r"/ata([0-9]+)/", way)
        if port is not None:
            speed = _sata_speed(tree, f"{_ATA}/link{port[1]}/sata_spd")
            if speed is not None:
                most = _sata_speed(tree, f"{_ATA}/link{port[1]}/hw_sata_spd_limit")
                links.append(
                    Link(kind=ItemKind.STORAGE, identity=identity, width=1, speed=speed, most_speed=most)
                )
    return items, links


def _sata_speed(tree: DeviceTree, path: str) -> float | None:
    """Read "6.0 Gbps"; "<unknown>" is None."""
    number = re.match(r"[0-9.]+(?= Gbps)", tree.word(path))
    try:
        return float(number[0]) if number else None
    except ValueError:
        return None


def read_monitors(tree: DeviceTree) -> list[Item]:
    """Return fans and temperature sensors by chip and label; a supply's own monitor is the pack's."""
    items: list[Item] = []
    for name in tree.listed("monitors", _HWMON):
        folder = f"{_HWMON}/{name}"
        # The number at the end of a name says in which order the drivers came.
        chip = re.sub(r"_[0-9]+$", "", tree.word(f"{folder}/name")) or "monitor"
        way = tree.way(folder)
        if "/power_supply/" in way or (
            tree.is_virtual(way) and not chip.startswith(_FIRMWARE_ZONES) and "/thermal/" in way
        ):
            continue
        files = tree.sysfs.names(folder)
        if isinstance(files, Missing) or not any(map(_SENSOR.fullmatch, files)):
            # Old drivers keep their files one folder further down.
            folder = f"{folder}/device"
            files = tree.sysfs.names(folder)
        behind, volatile = tree.carrier(way)
        for found in map(_SENSOR.fullmatch, files if isinstance(files, list) else []):
            if found is None:
                continue
            stem = f"{found[1]}{found[2]}"
            label = tree.word(f"{folder}/{stem}_label") or stem
            items.append(
                Item(
                    kind=ItemKind.FAN if found[1] == "fan" else ItemKind.TEMPERATURE_SENSOR,
                    identity=f"{chip} {label}",
                    seen_in="monitors",
                    volatile=volatile,
                    behind=behind,
                )
            )
    return items


def read_supply_items(tree: DeviceTree, salt: str) -> list[Item]:
    """Return the packs by make, and the charger inputs by kind."""
    supplies = read_supplies(tree.sysfs)
    why = supplies.reasons.get("batteries") or supplies.unsure
    if why:
        tree.reasons["supplies"] = why
    return [
        *(_pack(supply, salt) for supply in supplies.packs),
        *(
            Item(
                kind=ItemKind.CHARGER_INPUT,
                identity=supply.values.get("type", "input").lower(),
                seen_in="supplies",
            )
            for supply in supplies.adapters
        ),
    ]


def _pack(supply: Supply, salt: str) -> Item:
    words = [printable_words(supply.values.get(field, "")) for field in ("manufacturer", "model_name")]
    make = " ".join(word for word in words if word and not is_placeholder(word))
    serial = printable_words(supply.values.get("serial_number", ""))
    return Item(
        kind=ItemKind.BATTERY,
        identity=make.lower() or "battery",
        seen_in="supplies",
        name=make,
        mark=None if not serial or is_placeholder(serial) else hashed_mark(salt, serial),
    )


def read_various(tree: DeviceTree) -> list[Item]:
    """Return light and motion sensors, and the security chip."""
    items = [
        Item(kind=ItemKind.LIGHT_SENSOR, identity=title.lower(), seen_in="sensors", name=title)
        for name in tree.listed("sensors", _LIGHT)
        if (title := tree.word(f"{_LIGHT}/{name}/name")) and not tree.is_virtual(tree.way(f"{_LIGHT}/{name}"))
    ]
    if tree.listed("security", _CHIP):
        items.append(Item(kind=ItemKind.SECURITY_CHIP, identity="security chip", seen_in="security"))
    return items
