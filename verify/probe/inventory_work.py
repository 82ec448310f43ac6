"""Which work may have disturbed what, which is expected to change it, and where to look: one table.

All rows are common practice, no source. What a work is expected to change may be another one afterwards; it
may never be missing. What its driver names may be called otherwise by other software. A loss that no work of
the ticket can have caused is told, and no reason to hold.
"""

from collections.abc import Iterable, Mapping

import msgspec

from verify.machine import ItemKind

__all__ = ["ANTENNA", "KINDS_OF_WORK", "TIES", "Tie", "blamed", "disturbed_by", "expected", "touched"]


class Tie(msgspec.Struct, frozen=True, kw_only=True):
    """How a kind of item hangs together with kinds of work. look: what to do where it is missing.

    disturbed_by: the works that reach it. in_base: it lies or is plugged behind the base, so that any work
    that opens the base may have touched it, too.
    """

    changed_by: tuple[str, ...] = ()
    disturbed_by: tuple[str, ...]
    look: str
    in_base: bool = True


_OPENS_BASE = (
    "battery",
    "base-cover",
    "cooling",
    "keyboard-deck",
    "touchpad",
    "hinge",
    "speakers",
    "storage",
    "memory",
    "wireless",
    "charging-port",
    "main-board",
    "liquid",
)
_SOFTWARE = "software-only"
KINDS_OF_WORK = frozenset((*_OPENS_BASE, "doubtful-battery", "feet", "lid", _SOFTWARE))
"""What this table knows. Any other kind, a shop's own, may have disturbed everything."""

_BASE = (
    "base-cover",
    "battery",
    "cooling",
    "keyboard-deck",
    "main-board",
    "liquid",
)
_LID = ("lid", "hinge", "main-board", "liquid")
_BOARD = ("main-board", "liquid")

TIES: Mapping[ItemKind, Tie] = {
    ItemKind.PANEL: Tie(
        changed_by=("lid",), disturbed_by=_LID, look="Check the panel's lead at the panel and at the board."
    ),
    ItemKind.TOUCH_SCREEN: Tie(
        changed_by=("lid",), disturbed_by=_LID, look="Check the touch lead of the panel at both ends."
    ),
    ItemKind.PEN: Tie(
        changed_by=("lid",), disturbed_by=_LID, look="Check the touch lead of the panel at both ends."
    ),
    ItemKind.CAMERA: Tie(
        changed_by=("lid",),
        disturbed_by=_LID,
        look="Check the camera lead behind the bezel and at the board.",
    ),
    ItemKind.LIGHT_SENSOR: Tie(
        changed_by=("lid", _SOFTWARE),
        disturbed_by=(*_LID, "keyboard-deck", "touchpad"),
        look="Check the small leads of lid and deck.",
    ),
    ItemKind.WIRELESS: Tie(
        changed_by=("wireless", "main-board"),
        disturbed_by=("wireless", "storage", *_BASE),
        look="Seat the wireless card again and screw it down.",
    ),
    ItemKind.SHORT_RANGE: Tie(
        changed_by=("wireless", "main-board"),
        disturbed_by=("wireless", "storage", *_BASE),
        look="Seat the wireless card again and screw it down.",
    ),
    ItemKind.WIRED: Tie(
        changed_by=_BOARD, disturbed_by=("charging-port", *_BOARD), look="Check the socket board's lead."
    ),
    ItemKind.TOUCHPAD: Tie(
        changed_by=("touchpad", "keyboard-deck"),
        disturbed_by=("touchpad", *_BASE),
        look="Check the touchpad's ribbon and its latch.",
    ),
    ItemKind.POINTER: Tie(
        changed_by=("touchpad", "keyboard-deck"),
        disturbed_by=("touchpad", *_BASE),
        look="Check the ribbons of keyboard and touchpad.",
    ),
    ItemKind.KEYBOARD: Tie(
        changed_by=("keyboard-deck",),
        disturbed_by=("touchpad", *_BASE),
        look="Check the keyboard's ribbon and its latch.",
    ),
    ItemKind.POWER_KEY: Tie(
        changed_by=("keyboard-deck",),
        disturbed_by=("keyboard-deck", *_BOARD),
        look="Check the power key's lead.",
    ),
    ItemKind.LID_SWITCH: Tie(
        disturbed_by=("lid", "keyboard-deck", *_BOARD), look="Check the lid's magnet and its sensor."
    ),
    ItemKind.TABLET_SWITCH: Tie(
        disturbed_by=("lid", "hinge", "keyboard-deck", *_BOARD), look="Check the lid's sensors."
    ),
    ItemKind.SOUND: Tie(
        changed_by=(*_BOARD, _SOFTWARE),
        disturbed_by=("speakers", *_BOARD),
        look="Check the leads of the sound board.",
    ),
    ItemKind.GRAPHICS: Tie(
        changed_by=("main-board",),
        disturbed_by=("cooling", *_BOARD),
        look="The main board needs a closer look.",
        in_base=False,
    ),
    ItemKind.STORAGE: Tie(
        changed_by=("storage",),
        disturbed_by=("storage", "wireless", "memory", *_BASE),
        look="Seat the drive again and screw it down.",
    ),
    ItemKind.CARD_READER: Tie(
        changed_by=("main-board",),
        disturbed_by=("charging-port", *_BASE),
        look="Check the lead of the board with the sockets.",
    ),
    ItemKind.FAN: Tie(
        changed_by=("cooling", _SOFTWARE),
        disturbed_by=("speakers", *_BASE),
        look="Check the fan's lead at the board.",
    ),
    ItemKind.TEMPERATURE_SENSOR: Tie(
        changed_by=("cooling", "storage", "wireless", "main-board", _SOFTWARE),
        disturbed_by=_BASE,
        look="Check the leads of fan and heat sink.",
    ),
    ItemKind.BATTERY: Tie(
        changed_by=("battery",), disturbed_by=(*_BASE, "storage", "memory"), look="Check the battery's plug."
    ),
    ItemKind.CHARGER_INPUT: Tie(
        changed_by=("charging-port", "main-board", _SOFTWARE),
        disturbed_by=("charging-port", *_BOARD),
        look="Check the lead of the charging port.",
    ),
    ItemKind.SECURITY_CHIP: Tie(
        changed_by=("main-board",),
        disturbed_by=("main-board", _SOFTWARE),
        look="Look in the firmware's menu whether it is switched off.",
        in_base=False,
    ),
    ItemKind.USB_DEVICE: Tie(
        changed_by=("lid", "keyboard-deck", "main-board"),
        disturbed_by=("touchpad", "lid", *_BASE),
        look="A fingerprint reader or a small board: check its lead.",
    ),
    ItemKind.BOARD_DEVICE: Tie(
        changed_by=("main-board",),
        disturbed_by=_BASE,
        look="Check the leads of the small boards.",
    ),
}


ANTENNA = Tie(
    disturbed_by=("wireless", "lid", "hinge", "battery", "keyboard-deck", "main-board", "liquid", "storage"),
    look="Press both antenna plugs home, and follow their leads.",
)
"""An antenna with its lead: it is no part that the system can list."""


def expected(kind: ItemKind, work: Iterable[str]) -> bool:
    """Tell whether another one of this kind is what the work is for. work: kinds of work."""
    return not set(TIES[kind].changed_by).isdisjoint(work)


def blamed(tie: Tie, work: Iterable[str]) -> tuple[str, ...]:
    """Return the works of the ticket that may have disturbed it: those that reach it, else any that could.

    Whatever was installed or set can hide a part; what a kind of work does that is not known here is open.
    """
    work = tuple(work)
    likely = tuple(each for each in work if each in tie.disturbed_by or each in tie.changed_by)
    return likely or tuple(
        each
        for each in work
        if each == _SOFTWARE or each not in KINDS_OF_WORK or (tie.in_base and each in _OPENS_BASE)
    )


def touched(tie: Tie, work: Iterable[str]) -> bool:
    """Tell whether the work may have disturbed it; where nobody said what was done, it may."""
    work = tuple(work)
    return not work or bool(blamed(tie, work))


def disturbed_by(tie: Tie, work: Iterable[str]) -> str:
    """Return in one or two sentences where to look, and which work of the ticket may have disturbed it."""
    mine = blamed(tie, work)
    if mine == (_SOFTWARE,):
        return f"Look for its driver, then in the firmware's menu. Disturbed perhaps by: {_SOFTWARE}."
    if mine:
        return f"{tie.look} Disturbed perhaps by: {', '.join(mine)}."
    return f"{tie.look} No work of this ticket should have touched it."
