"""Keyboards, touchpads, screens that feel, switches: by what an input device says it can do.

The firmware's entries are many and their numbers change: one part that shows itself as several entries
(a touchpad as "mouse" and "touchpad") is one item. Codes: Linux uapi/linux/input-event-codes.h.
"""

from verify.machine.inventory.model import Item, ItemKind
from verify.machine.inventory.tree import DeviceTree

__all__ = ["read_inputs"]

_CLASS = "class/input"
_LETTERS = range(16, 26)  # KEY_Q to KEY_P
_KEY_POWER, _BTN_LEFT, _BTN_TOUCH = 116, 0x110, 0x14A
_BTN_TOOL_PEN, _BTN_TOOL_FINGER = 0x140, 0x145
_REL_X, _ABS_X, _ABS_MT_POSITION_X = 0, 0, 0x35
_SW_LID, _SW_TABLET_MODE = 0, 1
_PROP_DIRECT = 1
_WORD_BITS = 64
_BLUETOOTH = "0005"

# Of several entries of one part, the first of these names it.
_BEST_FIRST = (
    ItemKind.TOUCHPAD,
    ItemKind.TOUCH_SCREEN,
    ItemKind.PEN,
    ItemKind.KEYBOARD,
    ItemKind.POINTER,
    ItemKind.LID_SWITCH,
    ItemKind.TABLET_SWITCH,
    ItemKind.POWER_KEY,
)


def read_inputs(tree: DeviceTree) -> list[Item]:
    """Return the built-in parts that take input; what comes by radio is left out, USB's may be volatile."""
    found: dict[str, Item] = {}
    for name in tree.listed("input", _CLASS):
        if not name.startswith("input"):
            continue
        folder = f"{_CLASS}/{name}"
        kind = _kind(tree, folder)
        bus = tree.hexadecimal(f"{folder}/id/bustype")
        way = tree.way(folder)
        if kind is None or bus == _BLUETOOTH or tree.is_virtual(way):
            continue
        numbers = [tree.hexadecimal(f"{folder}/id/{file}") or "0000" for file in ("vendor", "product")]
        behind, volatile = tree.carrier(way)
        item = Item(
            kind=kind,
            identity=":".join((bus or "0000", *numbers)),
            seen_in="input",
            name="" if volatile else tree.word(f"{folder}/name"),
            volatile=volatile,
            behind=behind,
        )
        # The entry's own folder is "…/input/inputN"; what is above it is the part.
        part = way.rpartition("/input/")[0] or way
        other = found.get(part)
        if other is None or _BEST_FIRST.index(kind) < _BEST_FIRST.index(other.kind):
            found[part] = item
    return list(found.values())


def _kind(tree: DeviceTree, folder: str) -> ItemKind | None:
    keys, relative = _bits(tree, f"{folder}/capabilities/key"), _bits(tree, f"{folder}/capabilities/rel")
    absolute, switches = _bits(tree, f"{folder}/capabilities/abs"), _bits(tree, f"{folder}/capabilities/sw")
    direct = _bits(tree, f"{folder}/properties") >> _PROP_DIRECT & 1
    place = _has(absolute, _ABS_X) or _has(absolute, _ABS_MT_POSITION_X)
    if place and direct:
        return ItemKind.PEN if _has(keys, _BTN_TOOL_PEN) else ItemKind.TOUCH_SCREEN
    if place and (_has(keys, _BTN_TOOL_FINGER) or (_has(keys, _BTN_TOUCH) and _has(keys, _BTN_LEFT))):
        return ItemKind.TOUCHPAD
    if all(_has(keys, key) for key in _LETTERS):
        return ItemKind.KEYBOARD
    if _has(relative, _REL_X) and _has(keys, _BTN_LEFT):
        return ItemKind.POINTER
    if _has(switches, _SW_LID):
        return ItemKind.LID_SWITCH
    if _has(switches, _SW_TABLET_MODE):
        return ItemKind.TABLET_SWITCH
    return ItemKind.POWER_KEY if _has(keys, _KEY_POWER) else None


def _has(bits: int, code: int) -> bool:
    return bool(bits >> code & 1)


def _bits(tree: DeviceTree, path: str) -> int:
    """Read a bitmap as the kernel prints it: words of 64 bits in hexadecimal, the highest first."""
    bits = 0
    for word in tree.word_list(path):
        try:
            bits = bits << _WORD_BITS | int(word, 16)
        except ValueError:
            return 0
    return bits
