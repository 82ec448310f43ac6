"""Marks that tell one machine from another of its model: what is built in and has a number of its own.

Read from a sysfs root: the board's identifier, hardware addresses of network adapters, serials of drives.
Nothing that comes and goes: what hangs on USB, sits in a slot for cards, or lies behind a port to the
outside (kernel attribute `removable`, Linux Documentation/ABI/testing/sysfs-devices-removable) is left out.
Sorted by value: the number in a name ("network 2") means nothing, compare the values.
"""

import os
import re
from collections.abc import Iterable

from verify.machine.firmware import is_placeholder, printable_words
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["drive_serial", "read_marks"]

_UUID_FILE = "class/dmi/id/product_uuid"
_NETWORK, _BLOCK = "class/net", "class/block"
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_ADDRESS = re.compile(r"[0-9a-f]{2}(:[0-9a-f]{2}){5}")
# A pattern that board makers leave in where nobody filled it in (common practice, no source).
_UNFILLED_UUID = "03000200-0400-0500-0006-000700080009"
# The two lowest bits of the first byte: a group, and an address that no maker gave (IEEE 802, clause on
# the structure of EUI-48; from memory).
_GROUP, _LOCAL = 0x01, 0x02
_USB_PART = re.compile(r"/usb[0-9]+(/|$)")
_FEWEST_KINDS_OF_SIGN = 3  # "000000", "FFFF-FFFF", "1111 2222": filled in by nobody


def read_marks(sysfs: Sysfs) -> dict[str, str]:
    """Return the marks by name ("board", "network 1", "storage 1"); what is unknown is left out."""
    marks: dict[str, str] = {}
    board = _text(sysfs, _UUID_FILE).lower()
    if _UUID.fullmatch(board) and board != _UNFILLED_UUID and _has_variety(board):
        marks["board"] = board
    marks.update(_numbered("network", (_hardware_address(sysfs, name) for name in _listed(sysfs, _NETWORK))))
    marks.update(_numbered("storage", (drive_serial(sysfs, name) for name in _listed(sysfs, _BLOCK))))
    return marks


def _numbered(kind: str, values: Iterable[str | None]) -> dict[str, str]:
    told = sorted({value for value in values if value})
    return {f"{kind} {number}": value for number, value in enumerate(told, start=1)}


def _listed(sysfs: Sysfs, folder: str) -> list[str]:
    names = sysfs.names(folder)
    return [] if isinstance(names, Missing) else names


def _text(sysfs: Sysfs, path: str) -> str:
    text = sysfs.text(path)
    return "" if isinstance(text, Missing) else text


def _has_variety(text: str) -> bool:
    return len({sign for sign in text if sign.isalnum()}) >= _FEWEST_KINDS_OF_SIGN


def _is_built_in(sysfs: Sysfs, folder: str) -> bool:
    """Tell whether a device is there, not on a USB bus, and nothing on its way says "removable"."""
    if isinstance(sysfs.names(f"{folder}/device"), Missing):
        return False
    root = os.path.realpath(sysfs.root)
    way = os.path.realpath(f"{sysfs.root}/{folder}/device")
    if _USB_PART.search(way):
        return False
    while way.startswith(f"{root}/"):
        if _text(sysfs, f"{way[len(root) + 1 :]}/removable") in ("removable", "1"):
            return False
        way = os.path.dirname(way)  # noqa: PTH120 - a string that a path object would only turn over
    return True


def _hardware_address(sysfs: Sysfs, name: str) -> str | None:
    folder = f"{_NETWORK}/{name}"
    if not _is_built_in(sysfs, folder):
        return None
    # A radio keeps its own address there, whatever its interface was told to use.
    address = _text(sysfs, f"{folder}/phy80211/macaddress").lower()
    if not address:
        # 0 is the adapter's own, others are random, borrowed or set (Linux uapi/linux/netdevice.h).
        if _text(sysfs, f"{folder}/addr_assign_type") not in ("", "0"):
            return None
        address = _text(sysfs, f"{folder}/address").lower()
    if not _ADDRESS.fullmatch(address) or not _has_variety(address):
        return None
    return None if int(address[:2], 16) & (_GROUP | _LOCAL) else address


def drive_serial(sysfs: Sysfs, name: str) -> str | None:
    """Return a built-in drive's serial; None where it is none, or nobody filled one in."""
    folder = f"{_BLOCK}/{name}"
    if not isinstance(sysfs.text(f"{folder}/partition"), Missing):
        return None
    if _text(sysfs, f"{folder}/removable") == "1" or not _is_built_in(sysfs, folder):
        return None
    if _text(sysfs, f"{folder}/device/type") == "SD":
        return None
    page = sysfs.raw(f"{folder}/device/vpd_pg80") or b""
    for text in (
        _text(sysfs, f"{folder}/device/serial"),
        page[4:].decode("ascii", "replace"),  # behind a head of 4 bytes: SCSI unit serial number page
        _text(sysfs, f"{folder}/wwid") or _text(sysfs, f"{folder}/device/wwid"),
    ):
        words = printable_words(text)
        if words and not is_placeholder(words) and _has_variety(words):
            return words
    return None
