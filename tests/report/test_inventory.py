"""The table of parts on the page: what it says of each difference, and what never stands there."""

import re
from datetime import UTC, datetime

import msgspec
import pytest

from verify.machine import Inventory, Item, ItemKind, Link, Panel, RadioBlock, RadioLevel
from verify.record.arrival import Arrival
from verify.record.model import Record, Work
from verify.report.inventory import PartRow, PartsView, parts_view
from verify.report.render import render
from verify.report.words import PARTS
from verify.testing.sample_record import fit_record
from verify.values import Instant

AT = Instant(wall=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), elapsed_s=0.0)
CARD = Item(kind=ItemKind.WIRELESS, identity="ff01:0a01", seen_in="pci")
NETWORK = Item(kind=ItemKind.WIRELESS, identity="interface", seen_in="network", behind="ff01:0a01")
CAMERA = Item(kind=ItemKind.CAMERA, identity="ff01:0c01", seen_in="usb", name="Fennel Cam")
RADIO = Item(kind=ItemKind.SHORT_RANGE, identity="ff01:0b01", seen_in="usb")
PACK = Item(kind=ItemKind.BATTERY, identity="fennel lk-57", seen_in="supplies", name="LK-57", mark="a" * 32)
DRIVE = Item(kind=ItemKind.STORAGE, identity="fennel d5 512 gb", seen_in="storage", name="Fennel D5")
ITEMS = (CARD, NETWORK, CAMERA, RADIO, PACK)
GIB = 1 << 30
THERE, NOT_SEEN, OFF = PARTS["there"], PARTS["not_seen"], PARTS["off"]


def inventory(*items: Item, **more: object) -> Inventory:
    return msgspec.structs.replace(Inventory(at=AT, items=items), **more)


def record(before: Inventory | None, now: Inventory | None, *work: str) -> Record:
    fit = fit_record()
    return msgspec.structs.replace(
        fit,
        ticket=msgspec.structs.replace(fit.ticket, work=tuple(Work(kind=kind) for kind in work)),
        arrival=Arrival(at="2026-03-02T09:00:00Z", inventory=before),
        inventory=now,
    )


def view(before: Inventory | None, now: Inventory | None, *work: str) -> PartsView:
    found = parts_view(record(before, now, *work))
    assert found is not None
    return found


def only(before: Inventory, now: Inventory, *work: str) -> PartRow:
    """Return the one row beside the one that tells what is as it was."""
    rest = re.compile(r"(All|The one|The other)( \d+)? parts?")
    (row,) = (row for row in view(before, now, *work).rows if not rest.fullmatch(row.what))
    return row


def without(*items: Item) -> Inventory:
    return inventory(*(item for item in ITEMS if item not in items))


@pytest.mark.parametrize("work", ["battery", "doubtful-battery"])
def test_a_battery_that_was_exchanged_is_expected_where_it_is_the_work(work: str) -> None:
    other = msgspec.structs.replace(PACK, mark="b" * 32)
    row = only(inventory(*ITEMS), inventory(*(ITEMS[:-1]), other), work)
    assert (row.remark, row.lost) == ("Renewed: this work is for it.", False)


def test_a_missing_part_is_tied_to_the_work_that_may_have_disturbed_it() -> None:
    row = only(inventory(*ITEMS), without(CAMERA), "battery", "lid")
    assert (row.what, row.then, row.now, row.lost) == ("camera “Fennel Cam”", THERE, NOT_SEEN, True)
    assert "Disturbed perhaps by: lid." in row.remark


def test_what_hangs_on_a_missing_part_is_one_row_with_it() -> None:
    assert only(inventory(*ITEMS), without(CARD, NETWORK), "battery").what == "wireless network (ff01:0a01)"


@pytest.mark.parametrize(("work", "lost"), [("storage", False), ("battery", True)])
def test_a_drive_that_was_exchanged_is_expected_where_it_is_the_work(work: str, *, lost: bool) -> None:
    new = msgspec.structs.replace(DRIVE, identity="fennel d7 1000 gb", name="Fennel D7")
    row = only(inventory(DRIVE), inventory(new), work)
    assert (row.then, row.now, row.lost) == ("“Fennel D5”", "“Fennel D7”", lost)
    assert ("this work is for it" in row.remark) is not lost


@pytest.mark.parametrize(("work", "said"), [("storage", "This work is for it."), ("battery", "No work of")])
def test_a_new_part_is_told(work: str, said: str) -> None:
    row = only(inventory(CAMERA), inventory(CAMERA, DRIVE), work)
    assert (row.then, row.now, row.lost) == (NOT_SEEN, THERE, False)
    assert said in row.remark


def test_a_radio_that_is_switched_off_explains_what_is_gone() -> None:
    on = (RadioBlock(type="bluetooth", soft=False, hard=False),)
    off = (RadioBlock(type="bluetooth", soft=True, hard=False),)
    rows = view(inventory(*ITEMS, blocks=on), msgspec.structs.replace(without(RADIO), blocks=off)).rows
    assert [(row.what, row.now, row.lost) for row in rows[:2]] == [
        ("short-range radio (ff01:0b01)", OFF, False),
        ("switch of the short-range radio", OFF, False),
    ]


def test_what_cannot_be_listed_is_not_missing() -> None:
    row = only(inventory(CARD, CAMERA), inventory(CARD, reasons={"usb": "Not readable."}))
    assert (row.now, row.remark, row.lost) == ("cannot be listed", "Not readable.", False)


def level(dbm: float | None) -> dict[str, object]:
    return {"radios": (RadioLevel(kind=ItemKind.WIRELESS, dbm=dbm, reason=None if dbm else "Not joined."),)}


@pytest.mark.parametrize(
    ("then", "now", "told", "lost"),
    [
        (-44.0, -71.0, ("−44 dBm", "−71 dBm"), True),
        (-44.0, -53.0, ("−44 dBm", "−53 dBm"), False),
        (-44.0, None, ("−44 dBm", "not known"), False),
    ],
)
def test_the_level_of_the_radio(then: float, now: float | None, told: tuple[str, str], *, lost: bool) -> None:
    row = only(inventory(CARD, **level(then)), inventory(CARD, **level(now)), "wireless")
    assert ((row.then, row.now), row.lost) == (told, lost)
    assert ("27 dB weaker" in row.remark) is lost


@pytest.mark.parametrize(
    ("gib", "work", "rows", "lost"), [(16, "battery", 0, 0), (8, "battery", 1, 1), (8, "memory", 1, 0)]
)
def test_memory_that_is_gone(gib: int, work: str, rows: int, lost: int) -> None:
    found = view(
        inventory(CARD, memory_bytes=16 * GIB - 1000), inventory(CARD, memory_bytes=gib * GIB), work
    ).rows[:-1]
    assert (len(found), sum(row.lost for row in found)) == (rows, lost)


def test_panel_and_line_are_told_where_they_differ() -> None:
    panel = Panel(maker="FNL", product=1, width_px=1920, height_px=1080)
    link = Link(kind=ItemKind.STORAGE, identity="d", width=4, speed=8.0)
    before = inventory(CARD, panels=(panel,), links=(link,))
    narrow = msgspec.structs.replace(link, width=1)
    other = msgspec.structs.replace(panel, width_px=1366, height_px=768)
    rows = view(before, inventory(CARD, panels=(other,), links=(narrow,)), "storage").rows
    assert [(row.then, row.now, row.lost) for row in rows[:2]] == [
        ("FNL 0001, 1920 × 1080 pixels", "FNL 0001, 1366 × 768 pixels", True),
        ("4 lanes at 8 Gbit/s a lane", "1 lane at 8 Gbit/s a lane", True),
    ]


@pytest.mark.parametrize(
    ("width", "work", "lost"), [(1920, "lid", False), (1366, "lid", True), (1920, "hinge", True)]
)
def test_lid_work_is_for_another_panel_and_not_for_one_with_other_pixels(
    width: int, work: str, *, lost: bool
) -> None:
    old = Panel(maker="FNL", product=1, width_px=1920, height_px=1080)
    new = msgspec.structs.replace(old, product=2, width_px=width)
    row = only(inventory(CARD, panels=(old,)), inventory(CARD, panels=(new,)), work)
    assert row.lost is lost
    assert ("This work is for it." in row.remark) is not lost


@pytest.mark.parametrize("figure", ["memory_bytes", "channels"])
@pytest.mark.parametrize(("work", "lost"), [("memory", False), ("battery", True)])
def test_less_memory_is_never_told_as_what_the_work_was_for(figure: str, work: str, *, lost: bool) -> None:
    then, now = {"memory_bytes": (16 * GIB, 8 * GIB), "channels": (2, 1)}[figure]
    row = only(inventory(CARD, **{figure: then}), inventory(CARD, **{figure: now}), work)
    assert row.lost is lost
    assert row.remark.startswith("Less than on arrival")


def test_all_as_it_was_is_one_row_that_counts_parts_as_a_hand_does() -> None:
    assert view(inventory(*ITEMS), inventory(*ITEMS)).rows == (
        PartRow(what="All 4 parts", then=THERE, now=THERE),
    )


@pytest.mark.parametrize(
    ("before", "now", "note"),
    [(None, inventory(*ITEMS), "Nothing was taken on arrival"), (inventory(*ITEMS), None, "not read again")],
    ids=["no-arrival", "not-read-again"],
)
def test_half_of_it_is_shown_with_what_is_not_known(
    before: Inventory | None, now: Inventory | None, note: str
) -> None:
    found = view(before, now)
    assert note in found.note
    assert not any(row.lost for row in found.rows)


def test_a_machine_that_was_never_read_has_no_table() -> None:
    assert parts_view(record(None, None)) is None


def test_the_page_shows_the_table_and_escapes_what_a_part_calls_itself() -> None:
    strange = msgspec.structs.replace(CAMERA, name="<script>alert(1)</script>")
    page = render(record(inventory(strange, CARD), inventory(CARD), "lid")).decode()
    shown = page[
        page.index("Parts: on arrival and now") : page.index('id="record"') if 'id="record"' in page else None
    ]
    assert "&lt;script&gt;" in shown
    assert "<script" not in page
    assert "Disturbed perhaps by: lid." in shown
