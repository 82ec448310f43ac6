"""The inventory: what a machine has, read once, so that what went missing in a repair shows.

Items stand under a kind and an identity that stays the same when a bus is numbered anew: no addresses, no
indices. No serial number, hardware address, network name or file name is in it: where two parts of one make
have to be told apart, `mark` is the hash of the serial, salted, of use only within one ticket.
"""

import hashlib
from collections.abc import Mapping
from enum import StrEnum

import msgspec

from verify.values import Instant

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
    "without_marks",
]


class ItemKind(StrEnum):
    """What an item is, in the words of the bench."""

    PANEL = "panel"
    TOUCH_SCREEN = "touch screen"
    PEN = "pen"
    CAMERA = "camera"
    WIRELESS = "wireless network"
    SHORT_RANGE = "short-range radio"
    WIRED = "wired network"
    TOUCHPAD = "touchpad"
    POINTER = "pointer"
    KEYBOARD = "keyboard"
    POWER_KEY = "power key"
    LID_SWITCH = "lid switch"
    TABLET_SWITCH = "tablet switch"
    SOUND = "sound"
    GRAPHICS = "graphics"
    STORAGE = "storage"
    CARD_READER = "card reader"
    FAN = "fan"
    TEMPERATURE_SENSOR = "temperature sensor"
    LIGHT_SENSOR = "light or motion sensor"
    BATTERY = "battery"
    CHARGER_INPUT = "charger input"
    SECURITY_CHIP = "security chip"
    USB_DEVICE = "USB device"
    BOARD_DEVICE = "device on the board"


class Item(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One thing that is there. seen_in: the reader that told it ("usb"), a key of `Inventory.reasons`.

    identity: stable, within its kind; the kind itself where the part says nothing of itself. name: as the
    device calls itself, empty where it does not or where it may be the owner's. volatile: comes and goes by
    itself (plugged in from outside). behind: the identity of the item that carries it, so that one part gone
    is counted once. mark: hash of its serial, or None.
    """

    kind: ItemKind
    identity: str
    seen_in: str
    name: str = ""
    volatile: bool = False
    behind: str = ""
    mark: str | None = None

    @property
    def words(self) -> str:
        """What to call it on a screen."""
        if self.kind in (self.name.lower(), self.identity):
            return self.kind
        return f"{self.kind} “{self.name}”" if self.name else f"{self.kind} ({self.identity})"


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    """The built-in panel as it describes itself; native size in pixels, refresh rate in Hz, bits a colour.

    maker: the three letters of its description; product: its number there. None: not told.
    """

    maker: str
    product: int
    width_px: int | None = None
    height_px: int | None = None
    refresh_hz: float | None = None
    bits: int | None = None

    @property
    def words(self) -> str:
        """What it says of itself, on a screen."""
        parts = [f"{self.maker} {self.product:04x}, {self.pixels} pixels"]
        if self.refresh_hz is not None:
            parts.append(f"{self.refresh_hz:g} Hz")
        if self.bits is not None:
            parts.append(f"{self.bits} bits a colour")
        return ", ".join(parts)

    @property
    def pixels(self) -> str:
        """Its size in words, as in "1920 × 1080"."""
        if self.width_px is None or self.height_px is None:
            return "an unknown number of"
        return f"{self.width_px} × {self.height_px}"


class RadioLevel(msgspec.Struct, frozen=True, kw_only=True):
    """How strong a network comes in, in dBm; dbm None where unknown, then `reason` says why."""

    kind: ItemKind
    dbm: float | None
    reason: str | None = None


def memory_text(size_bytes: int) -> str:
    """Return a size of memory as it is told: "15.4 GiB"."""
    return f"{size_bytes / (1 << 30):.1f} GiB"


class RadioBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A radio's switch. type: as the system names it ("wlan"). soft, hard: switched off there."""

    type: str
    soft: bool
    hard: bool

    @property
    def is_off(self) -> bool:
        """Whether it is switched off, either way."""
        return self.soft or self.hard


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """A part's line to the board. width: lanes; speed: GT/s or Gbit/s a lane; most_*: what both ends can."""

    kind: ItemKind
    identity: str
    width: int | None
    speed: float | None
    most_width: int | None = None
    most_speed: float | None = None

    @property
    def words(self) -> str:
        """How it runs, on a screen."""
        parts = [] if self.width is None else [f"{self.width} lane{'' if self.width == 1 else 's'}"]
        parts += [] if self.speed is None else [f"{self.speed:g} Gbit/s a lane"]
        return " at ".join(parts) or "unknown"

    def is_below(self, should: "Link") -> bool:
        """Whether it is narrower or slower than that; what is not known of either is neither."""
        pairs = ((self.width, should.width), (self.speed, should.speed))
        return any(have is not None and most is not None and have < most for have, most in pairs)


class MemoryModule(msgspec.Struct, frozen=True, kw_only=True):
    """A memory module: slot as the firmware names it, size in bytes, transfers in MT/s (None: not told)."""

    slot: str
    size_bytes: int
    speed_mts: int | None = None


class Inventory(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What a machine has at one instant.

    memory_bytes: what the system can use: less than what is fitted, as firmware and graphics keep some.
    channels: memory channels with a module in them. cpus: logical processors. clock_ahead_s: the clock that
    runs without the system against the system's own, in s. Unknown is None or empty, and `reasons` says why
    under the field's name; under a reader's name ("usb") why its items could not be listed.
    """

    at: Instant
    items: tuple[Item, ...] = ()
    panels: tuple[Panel, ...] = ()
    radios: tuple[RadioLevel, ...] = ()
    blocks: tuple[RadioBlock, ...] = ()
    links: tuple[Link, ...] = ()
    modules: tuple[MemoryModule, ...] = ()
    memory_bytes: int | None = None
    channels: int | None = None
    cpus: int | None = None
    clock_ahead_s: float | None = None
    reasons: Mapping[str, str] = {}

    def of(self, *kinds: ItemKind) -> tuple[Item, ...]:
        """Return the items of these kinds that do not come and go by themselves."""
        return tuple(item for item in self.items if item.kind in kinds and not item.volatile)

    def parts(self, *kinds: ItemKind) -> tuple[Item, ...]:
        """Return them as a hand would count them: a card and its network, a drive and its socket are one."""
        carriers = {(item.kind, item.identity) for item in self.items}
        return tuple(item for item in self.of(*kinds) if (item.kind, item.behind) not in carriers)


def hashed_mark(salt: str, serial: str) -> str:
    """Return a serial so that it can be compared under the same salt, and not be read."""
    return hashlib.sha256(f"{salt}\n{serial}".encode()).hexdigest()[:32]


def without_marks(inventory: Inventory) -> Inventory:
    """Return the inventory without what tells one part from others of its make, for a record to be shown."""
    return msgspec.structs.replace(
        inventory, items=tuple(msgspec.structs.replace(item, mark=None) for item in inventory.items)
    )
