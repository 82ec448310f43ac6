"""What all readers of the inventory share: a device's way through the tree, and what carries it there."""

import os
import re

from verify.machine.firmware import printable_words
from verify.machine.sysfs import Missing, Sysfs

__all__ = ["DeviceTree"]

_UNUSABLE = re.compile(r"/virtual/")


class DeviceTree:
    """A sysfs root with the devices found in it so far. reasons: by reader, why it could not list."""

    def __init__(self, sysfs: Sysfs) -> None:
        self.sysfs = sysfs
        self._root = os.path.realpath(sysfs.root)
        self._carriers: dict[str, tuple[str, bool]] = {}
        self.reasons: dict[str, str] = {}

    def listed(self, reader: str, folder: str) -> list[str]:
        """List a folder; one that is not there has nothing in it, one that cannot be read is a reason."""
        names = self.sysfs.names(folder)
        if isinstance(names, Missing):
            if not names.absent:
                self.reasons[reader] = f"It could not be listed. {names.reason}"
            return []
        return names

    def needed(self, reader: str, path: str) -> str:
        """Return a file's words; where it is there and cannot be read, that is a reason of its reader."""
        text = self.sysfs.text(path)
        if isinstance(text, Missing) and not text.absent:
            self.reasons[reader] = f"Not everything could be read. {text.reason}"
        return self.word(path)

    def word(self, path: str) -> str:
        """Return a file's printable words, empty where there are none."""
        text = self.sysfs.text(path)
        return "" if isinstance(text, Missing) else printable_words(text)

    def number(self, path: str) -> int | None:
        """Return a file's whole number, None where there is none."""
        value = self.sysfs.number(path)
        return None if isinstance(value, Missing) else value

    def hexadecimal(self, path: str) -> str | None:
        """Return a file's hexadecimal number in four lower-case digits or more, None where there is none."""
        digits = self.word(path).lower().removeprefix("0x")
        return digits.rjust(4, "0") if re.fullmatch(r"[0-9a-f]{1,8}", digits) else None

    def way(self, folder: str) -> str:
        """Return where the folder really is, below the root; links are followed."""
        real = os.path.realpath(f"{self._root}/{folder}")
        return real.removeprefix(f"{self._root}/")

    def is_virtual(self, way: str) -> bool:
        """Tell whether nothing that can be touched is behind it."""
        return _UNUSABLE.search(f"/{way}/") is not None

    def carry(self, way: str, identity: str, *, volatile: bool) -> None:
        """Note a device that carries others."""
        self._carriers[way] = (identity, volatile)

    def carrier(self, way: str) -> tuple[str, bool]:
        """Return the identity of the nearest device on the way, and whether it comes and goes."""
        while way:
            if way in self._carriers:
                return self._carriers[way]
            way = way.rpartition("/")[0]
        return "", False

    def is_outside(self, way: str) -> bool:
        """Tell whether the system says that something on the way can be unplugged from outside.

        Source: Linux Documentation/ABI/testing/sysfs-devices-removable.
        """
        while way and way != "devices":
            if self.word(f"{way}/removable") == "removable":
                return True
            way = way.rpartition("/")[0]
        return False

    def word_list(self, path: str) -> list[str]:
        """Return a file's words however long it is; empty where it cannot be read."""
        text = self.sysfs.text(path)
        return [] if isinstance(text, Missing) else text.split()
