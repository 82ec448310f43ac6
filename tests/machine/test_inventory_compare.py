"""Two inventories of one machine: what is missing, new, exchanged, explained, and what is no finding."""

from datetime import UTC, datetime

import msgspec
import pytest

from verify.machine import Inventory, Item, ItemKind, RadioBlock
from verify.machine.inventory.compare import Differences, compare
from verify.values import Instant

AT = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0)


def item(kind: ItemKind, identity: str, seen_in: str = "pci", **more: object) -> Item:
    return msgspec.convert({"kind": kind, "identity": identity, "seen_in": seen_in, **more}, Item)


CARD = item(ItemKind.WIRELESS, "ff01:0a01")
OTHER_CARD = item(ItemKind.WIRELESS, "ff02:0a09")
INTERFACE = item(ItemKind.WIRELESS, "interface of ff01:0a01", "network", behind="ff01:0a01")
SHORT_RANGE = item(ItemKind.SHORT_RANGE, "ff01:0b01", "usb", behind="")
CAMERA = item(ItemKind.CAMERA, "ff01:0c01", "usb", name="camera")
STICK = item(ItemKind.STORAGE, "ff03:0001", "usb", volatile=True)
DRIVE = item(ItemKind.STORAGE, "d5 512 GB", "storage", mark="aa")
OTHER_DRIVE = item(ItemKind.STORAGE, "d5 512 GB", "storage", mark="bb")
UNMARKED = item(ItemKind.STORAGE, "d5 512 GB", "storage")
THIRD_DRIVE = item(ItemKind.STORAGE, "d5 512 GB", "storage", mark="cc")
PANEL, SILENT_PANEL = (item(ItemKind.PANEL, identity, "display") for identity in ("FNL 1501", "panel"))
FAN = item(ItemKind.FAN, "ec fan", "monitors")
ON, OFF = (
    RadioBlock(type="bluetooth", soft=False, hard=False),
    RadioBlock(type="bluetooth", soft=True, hard=False),
)


def inventory(
    *items: Item, blocks: tuple[RadioBlock, ...] = (), reasons: dict[str, str] | None = None
) -> Inventory:
    return Inventory(at=AT, items=items, blocks=blocks, reasons=reasons or {})


@pytest.mark.parametrize(
    ("before", "now", "expected"),
    [
        pytest.param(inventory(CARD, FAN), inventory(FAN, CARD), Differences(), id="other-order"),
        pytest.param(inventory(CAMERA), inventory(), Differences(missing=(CAMERA,)), id="gone"),
        pytest.param(inventory(), inventory(CAMERA), Differences(new=(CAMERA,)), id="new"),
        pytest.param(
            inventory(FAN, FAN), inventory(FAN), Differences(missing=(FAN,)), id="one-of-two-that-are-alike"
        ),
        pytest.param(
            inventory(CARD, INTERFACE), inventory(), Differences(missing=(CARD,)), id="a-card-counts-once"
        ),
        pytest.param(
            inventory(CARD, INTERFACE),
            inventory(CARD),
            Differences(missing=(INTERFACE,)),
            id="a-card-without-its-interface",
        ),
        pytest.param(
            inventory(CARD),
            inventory(OTHER_CARD),
            Differences(exchanged=((CARD, OTHER_CARD),)),
            id="exchanged",
        ),
        pytest.param(
            inventory(CARD),
            inventory(CAMERA),
            Differences(missing=(CARD,), new=(CAMERA,)),
            id="another-kind-is-no-exchange",
        ),
        pytest.param(inventory(STICK), inventory(), Differences(), id="a-stick-pulled-out"),
        pytest.param(inventory(), inventory(STICK), Differences(), id="a-stick-put-in"),
        pytest.param(
            inventory(SHORT_RANGE, blocks=(ON,)),
            inventory(blocks=(OFF,)),
            Differences(explained=(SHORT_RANGE,)),
            id="gone-while-switched-off",
        ),
        pytest.param(
            inventory(CARD, blocks=(ON,)),
            inventory(blocks=(OFF,)),
            Differences(missing=(CARD,)),
            id="another-radio-switched-off-explains-nothing",
        ),
        pytest.param(
            inventory(SHORT_RANGE, blocks=(OFF,)),
            inventory(blocks=(OFF,)),
            Differences(missing=(SHORT_RANGE,)),
            id="seen-with-the-switch-off-is-not-hidden-by-it",
        ),
        pytest.param(
            inventory(PANEL),
            inventory(SILENT_PANEL),
            Differences(unread=(PANEL,)),
            id="a-panel-that-says-nothing-now-may-be-the-same",
        ),
        pytest.param(
            inventory(SILENT_PANEL),
            inventory(PANEL),
            Differences(),
            id="a-panel-that-said-nothing-then-may-be-the-same",
        ),
        pytest.param(
            inventory(SILENT_PANEL),
            inventory(),
            Differences(missing=(SILENT_PANEL,)),
            id="a-silent-panel-that-is-gone",
        ),
        pytest.param(
            inventory(CARD, INTERFACE),
            inventory(
                item(ItemKind.WIRELESS, "interface of the board", "network"), reasons={"pci": "unreadable"}
            ),
            Differences(
                unread=(CARD, INTERFACE),
                new=(item(ItemKind.WIRELESS, "interface of the board", "network"),),
            ),
            id="what-hangs-on-a-card-that-cannot-be-listed-is-not-exchanged",
        ),
        pytest.param(
            inventory(CAMERA, CARD),
            inventory(CARD, reasons={"usb": "unreadable"}),
            Differences(unread=(CAMERA,)),
            id="not-listed-is-not-missing",
        ),
        pytest.param(
            inventory(CARD, reasons={"usb": "unreadable"}),
            inventory(CARD, CAMERA),
            Differences(),
            id="not-listed-before-is-not-new",
        ),
        pytest.param(
            inventory(CARD),
            inventory(reasons={"items": "off"}),
            Differences(unread=(CARD,)),
            id="nothing-listed",
        ),
        pytest.param(
            inventory(DRIVE),
            inventory(OTHER_DRIVE),
            Differences(exchanged=((DRIVE, OTHER_DRIVE),)),
            id="same-make-other-serial",
        ),
        pytest.param(inventory(DRIVE), inventory(UNMARKED), Differences(), id="serial-not-told-now"),
        pytest.param(
            inventory(DRIVE, OTHER_DRIVE),
            inventory(OTHER_DRIVE, DRIVE),
            Differences(),
            id="two-drives-swapped",
        ),
        pytest.param(
            inventory(DRIVE, OTHER_DRIVE),
            inventory(OTHER_DRIVE, THIRD_DRIVE),
            Differences(exchanged=((DRIVE, THIRD_DRIVE),)),
            id="one-of-two-drives-exchanged",
        ),
    ],
)
def test_what_differs(before: Inventory, now: Inventory, expected: Differences) -> None:
    assert compare(before, now) == expected
