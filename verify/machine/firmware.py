"""Who the machine is, by its firmware's own table; and whether it is a real one.

Source: SMBIOS (DMTF DSP0134): chassis types, section 7.4.1; the bit "table describes a virtual machine",
section 7.1.2.2.
"""

import re

import msgspec

from verify.machine.model import Identity
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["Virtual", "is_placeholder", "printable_words", "read_identity", "read_virtual"]

_TABLE = "class/dmi/id"
_FIRMWARE_ENTRY = "firmware/dmi/entries/0-0/raw"
_BOARD_MODEL = "firmware/devicetree/base/model"
_EXTENSION_BYTE_2, _VIRTUAL_BIT = 0x13, 0x10

_FIELDS = {
    "maker": "sys_vendor",
    "model": "product_name",
    "version": "product_version",
    "serial": "product_serial",
    "board": "board_name",
    "firmware": "bios_version",
}
# What firmware holds where nobody filled it in (common practice, no source).
_PLACEHOLDERS = frozenset(
    (
        "",
        "0",
        "00000000",
        "0123456789",
        "123456789",
        "1234567890",
        "default string",
        "empty",
        "invalid",
        "n/a",
        "na",
        "none",
        "not applicable",
        "not available",
        "not specified",
        "o.e.m.",
        "oem",
        "product name",
        "serial number",
        "system manufacturer",
        "system product name",
        "system serial number",
        "system version",
        "to be filled by o.e.m.",
        "type1productconfigid",
        "undefined",
        "unknown",
        "xxxxxxxx",
    )
)
_CHASSIS = {
    1: "other",
    3: "desktop",
    4: "low-profile desktop",
    6: "mini tower",
    7: "tower",
    8: "portable",
    9: "laptop",
    10: "notebook",
    11: "hand held",
    13: "all in one",
    14: "sub notebook",
    17: "main server chassis",
    23: "rack mount",
    30: "tablet",
    31: "convertible",
    32: "detachable",
    35: "mini computer",
    36: "stick computer",
}
_PORTABLE = frozenset(
    ("portable", "laptop", "notebook", "sub notebook", "tablet", "convertible", "detachable")
)
_VIRTUAL_WORDS = re.compile(r"\bvirtual|hypervisor|\bvm\b|emulat", re.IGNORECASE)
_CPU_FLAG = re.compile(r"^flags\s*:.*\bhypervisor\b", re.MULTILINE)


class Virtual(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the machine is a virtual one (None: cannot be told) and what says so."""

    answer: bool | None
    why: str


def read_identity(sysfs: Sysfs, proc: Sysfs | None, *, system: str) -> Identity:
    """Read who the machine is; placeholders count as unknown."""
    values: dict[str, str | None] = {}
    reasons: dict[str, str] = {}
    for field, file in _FIELDS.items():
        values[field], why = _entry(sysfs, file)
        if why is not None:
            reasons[field] = why
    if values["model"] is None:
        board = sysfs.text(_BOARD_MODEL)
        if not isinstance(board, Missing) and printable_words(board):
            values["model"] = printable_words(board)
            del reasons["model"]
    chassis = _chassis(sysfs)
    if chassis is None:
        reasons["chassis"] = "The firmware does not name the kind of case."
    virtual = read_virtual(sysfs, proc)
    if virtual.answer is None:
        reasons["virtual"] = virtual.why
    return Identity(
        maker=values["maker"],
        model=values["model"],
        version=values["version"],
        serial=values["serial"],
        board=values["board"],
        firmware=values["firmware"],
        chassis=chassis,
        virtual=virtual.answer,
        system=system,
        reasons=reasons,
    )


def read_virtual(sysfs: Sysfs, proc: Sysfs | None) -> Virtual:
    """Tell a virtual machine from a real one.

    The firmware's table decides where it speaks: a laptop may run a hypervisor below its own system, so the
    processor's flag alone proves nothing where the table names a portable case.
    """
    words = " ".join(filter(None, (_entry(sysfs, file)[0] for file in ("sys_vendor", "product_name"))))
    found = _VIRTUAL_WORDS.search(words)
    if found or _table_says_virtual(sysfs):
        return Virtual(answer=True, why="The firmware says that this is a virtual machine.")
    if _chassis(sysfs) in _PORTABLE:
        return Virtual(answer=False, why="The firmware names a portable case.")
    hypervisor = sysfs.text("hypervisor/type")
    if not isinstance(hypervisor, Missing) and hypervisor:
        return Virtual(answer=True, why="The system runs under a hypervisor.")
    if proc is not None:
        info = proc.text("cpuinfo")
        if not isinstance(info, Missing):
            if _CPU_FLAG.search(info):
                return Virtual(answer=True, why="The processor says that it runs under a hypervisor.")
            if words:
                return Virtual(answer=False, why="Neither firmware nor processor tells of a hypervisor.")
    return Virtual(answer=None, why="Neither firmware nor processor tells.")


def _table_says_virtual(sysfs: Sysfs) -> bool:
    """Read the bit in the firmware's table; an administrator's reading, absent for others."""
    raw = sysfs.raw(_FIRMWARE_ENTRY)
    return raw is not None and len(raw) > _EXTENSION_BYTE_2 and bool(raw[_EXTENSION_BYTE_2] & _VIRTUAL_BIT)


def _entry(sysfs: Sysfs, file: str) -> tuple[str | None, str | None]:
    """Return an entry of the table, or None and why."""
    text = sysfs.text(f"{_TABLE}/{file}")
    if isinstance(text, Missing):
        return None, "The firmware does not tell it." if text.absent else text.reason
    words = printable_words(text)
    if is_placeholder(words):
        return None, f"The firmware was never told: it says “{words}”."
    return words, None


def is_placeholder(words: str) -> bool:
    """Tell whether this stands where nobody filled anything in."""
    return words.lower() in _PLACEHOLDERS or not words.strip("0.-_xX ")


def printable_words(text: str) -> str:
    """Return the printable words of a firmware's text, single blanks between them, at most 64 signs."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())[:64]


def _chassis(sysfs: Sysfs) -> str | None:
    number = sysfs.number(f"{_TABLE}/chassis_type")
    return None if isinstance(number, Missing) else _CHASSIS.get(number & 0x7F)  # bit 7: a lock is present
