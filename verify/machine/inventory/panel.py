"""The built-in panel, by the description that it carries itself (EDID).

Source: VESA Enhanced Extended Display Identification Data, release A, revision 2 (base block: maker in bytes
8 and 9, product in 10 and 11, video input in 20, first detailed timing from 54; from memory). Its serial
number, bytes 12 to 15, is not read.
"""

import re

from verify.machine.inventory.model import Item, ItemKind, Panel
from verify.machine.inventory.tree import DeviceTree

__all__ = ["panel_of", "read_panels"]

_CLASS = "class/drm"
_BUILT_IN = re.compile(r"card[0-9]+-(eDP|LVDS|DSI)-.+")
_BLOCK = 128
_HEAD = b"\x00\xff\xff\xff\xff\xff\xff\x00"
_TIMING = 54
_DIGITAL = 0x80
# Bits a colour, video input byte, bits 6 to 4 (release 1.4).
_DEPTHS = {1: 6, 2: 8, 3: 10, 4: 12, 5: 14, 6: 16}


def read_panels(tree: DeviceTree) -> tuple[list[Item], list[Panel]]:
    """Return the panel as item and as it describes itself; one shown by two graphics chips counts once."""
    items: dict[str, Item] = {}
    panels: dict[str, Panel] = {}
    for name in tree.listed("display", _CLASS):
        folder = f"{_CLASS}/{name}"
        if not _BUILT_IN.fullmatch(name) or tree.needed("display", f"{folder}/status") != "connected":
            continue
        told = panel_of(tree.sysfs.raw(f"{folder}/edid") or b"")
        if isinstance(told, str):
            tree.reasons["panels"] = told
            identity = ItemKind.PANEL.value
        else:
            identity = f"{told.maker} {told.product:04x}"
            panels[identity] = told
        items[identity] = Item(kind=ItemKind.PANEL, identity=identity, seen_in="display")
    if panels:
        # The other chip's connector says nothing of it.
        items.pop(ItemKind.PANEL, None)
        tree.reasons.pop("panels", None)
    elif not items:
        tree.reasons.setdefault("panels", "No built-in panel is visible to the system.")
    return list(items.values()), list(panels.values())


def panel_of(edid: bytes) -> Panel | str:
    """Return what a panel's description says, or why it says nothing."""
    if not edid:
        return "The panel gives no description of itself."
    block = edid[:_BLOCK]
    if len(block) < _BLOCK or not block.startswith(_HEAD):
        return "The panel's description is not one."
    if sum(block) % 256:
        return "The panel's description is damaged: its sum is wrong."
    packed = block[8] << 8 | block[9]
    letters = "".join(chr(ord("@") + (packed >> shift & 0x1F)) for shift in (10, 5, 0))
    width, height, refresh = _timing(block[_TIMING : _TIMING + 18])
    return Panel(
        maker=letters if letters.isalpha() else "?",
        product=block[10] | block[11] << 8,
        width_px=width,
        height_px=height,
        refresh_hz=refresh,
        bits=_DEPTHS.get(block[20] >> 4 & 0x7) if block[20] & _DIGITAL else None,
    )


def _timing(timing: bytes) -> tuple[int | None, int | None, float | None]:
    """Return the native size in pixels and the refresh rate in Hz of a detailed timing."""
    clock_hz = (timing[0] | timing[1] << 8) * 10_000
    if clock_hz == 0:
        return None, None, None
    width, blank_x = timing[2] | (timing[4] & 0xF0) << 4, timing[3] | (timing[4] & 0x0F) << 8
    height, blank_y = timing[5] | (timing[7] & 0xF0) << 4, timing[6] | (timing[7] & 0x0F) << 8
    total = (width + blank_x) * (height + blank_y)
    if width == 0 or height == 0:
        return None, None, None
    return width, height, round(clock_hz / total, 1)
