"""The parts of the machine, on arrival and now, as the rows of a table. No layout."""

from collections import Counter
from collections.abc import Iterator, Sequence

import msgspec

from verify.machine import Inventory, Item, ItemKind, Link
from verify.machine.inventory import memory_text
from verify.machine.inventory.compare import Differences, compare
from verify.probe.inventory import panel_differences
from verify.probe.inventory_memory import LEAST_PERCENT, MEMORY_WORK
from verify.probe.inventory_radio import FAULT_DB
from verify.probe.inventory_work import ANTENNA, TIES, disturbed_by, expected
from verify.record.model import BATTERY_WORK, Record
from verify.report.numbers import signed
from verify.report.words import PARTS

_THERE, _NOT_SEEN, _OFF, _ON = (PARTS[name] for name in ("there", "not_seen", "off", "on"))


class PartRow(msgspec.Struct, frozen=True, kw_only=True):
    """One line. remark: what it means, may be empty. lost: it counts as missing or changed unasked.

    Foreign text, not escaped yet.
    """

    what: str
    then: str
    now: str
    remark: str = ""
    lost: bool = False


class PartsView(msgspec.Struct, frozen=True, kw_only=True):
    """The table. note: what is to be known of all of it, may be empty."""

    rows: tuple[PartRow, ...]
    note: str = ""
    title: str = PARTS["title"]
    columns: tuple[str, ...] = (PARTS["part"], PARTS["then"], PARTS["now"])


def parts_view(record: Record) -> PartsView | None:
    """Return what is missing, new, changed or explained, and how much is as it was; None: never read."""
    before = None if record.arrival is None else record.arrival.inventory
    now = record.inventory
    if before is None and now is None:
        return None
    if before is None or now is None:
        one = now if before is None else before
        assert one is not None
        rows = tuple(_only_once(kind, count, is_now=before is None) for kind, count in _counted(one))
        return PartsView(rows=rows, note=PARTS["nothing_taken" if before is None else "not_read_again"])
    kinds = (each.kind for each in record.ticket.work)
    work = tuple(dict.fromkeys("battery" if kind in BATTERY_WORK else kind for kind in kinds))
    found = compare(before, now)
    rows = (*_items(found, work, now), *_figures(before, now, work))
    # What is of the same make with another serial is told as exchanged.
    same = sum((_makes(before) & _makes(now)).values()) - sum(
        old.identity == new.identity for old, new in found.exchanged
    )
    rest = PartRow(what=_rest(same, others=bool(rows)), then=_THERE, now=_THERE)
    return PartsView(rows=(*rows, rest) if same else rows)


def _items(found: Differences, work: tuple[str, ...], now: Inventory) -> Iterator[PartRow]:
    for item in found.missing:
        said = disturbed_by(TIES[item.kind], work)
        yield PartRow(what=item.words, then=_THERE, now=_NOT_SEEN, remark=said, lost=True)
    for old, new in found.exchanged:
        told = expected(old.kind, work)
        remark = PARTS["renewed"] if told else disturbed_by(TIES[old.kind], work)
        same = old.identity == new.identity
        yield PartRow(
            what=old.kind,
            then=_called(old),
            now=PARTS["other_serial"].format(name=_called(new)) if same else _called(new),
            remark=remark,
            lost=not told,
        )
    for item in found.explained:
        remark = PARTS["radio_off"]
        yield PartRow(what=item.words, then=_THERE, now=_OFF, remark=remark)
    for item in found.unread:
        why = now.reasons.get(item.seen_in) or now.reasons.get("items") or PARTS["says_nothing"]
        yield PartRow(what=item.words, then=_THERE, now=PARTS["unlisted"], remark=why)
    for item in found.new:
        told = expected(item.kind, work)
        remark = PARTS["for_it" if told else "not_for_it"]
        yield PartRow(what=item.words, then=_NOT_SEEN, now=_THERE, remark=remark)


def _figures(before: Inventory, now: Inventory, work: tuple[str, ...]) -> Iterator[PartRow]:
    yield from _radio(before, now, work)
    then_bytes, now_bytes = before.memory_bytes, now.memory_bytes
    if then_bytes and now_bytes and not _alike(then_bytes, now_bytes):
        less = now_bytes < then_bytes
        yield PartRow(
            what=PARTS["memory"],
            then=memory_text(then_bytes),
            now=memory_text(now_bytes),
            remark=_less_memory(work) if less else "",
            lost=less and not _is_memory_work(work),
        )
    if before.channels and now.channels and before.channels != now.channels:
        then, later = (PARTS["in_use"].format(count=one.channels) for one in (before, now))
        fewer = now.channels < before.channels
        yield PartRow(
            what=PARTS["channels"],
            then=then,
            now=later,
            remark=_less_memory(work) if fewer else "",
            lost=fewer and not _is_memory_work(work),
        )
    if before.panels and now.panels and before.panels[0] != now.panels[0]:
        told = expected(ItemKind.PANEL, work)
        # Another make is what lid work is for; other pixels are not.
        differ = panel_differences(before.panels[0], now.panels[0], another=told)
        remark = PARTS["for_it"] if told else ""
        yield PartRow(
            what=PARTS["panel"],
            then=before.panels[0].words,
            now=now.panels[0].words,
            remark=PARTS["panel_differs"].format(what="; ".join(differ)) if differ else remark,
            lost=bool(differ),
        )
    for old, new in _lines(before.links, now.links):
        less = new.is_below(old)
        remark = disturbed_by(TIES[new.kind], work) if less else ""
        yield PartRow(
            what=PARTS["line"].format(part=new.kind), then=old.words, now=new.words, remark=remark, lost=less
        )


def _is_memory_work(work: tuple[str, ...]) -> bool:
    return not set(MEMORY_WORK).isdisjoint(work)


def _less_memory(work: tuple[str, ...]) -> str:
    return PARTS["less_ordered" if _is_memory_work(work) else "less_loose"]


def _radio(before: Inventory, now: Inventory, work: tuple[str, ...]) -> Iterator[PartRow]:
    was_off = {block.type for block in before.blocks if block.is_off}
    for block in now.blocks:
        if block.is_off != (block.type in was_off):
            then, later = (_ON, _OFF) if block.is_off else (_OFF, _ON)
            what = PARTS["switch"].format(what=PARTS.get(block.type, block.type))
            yield PartRow(what=what, then=then, now=later)
    then_dbm, now_dbm = (
        max((one.dbm for one in each.radios if one.dbm is not None), default=None) for each in (before, now)
    )
    if then_dbm is None and now_dbm is None:
        return
    why = next((one.reason for each in (before, now) for one in each.radios if one.reason), "") or ""
    lost = then_dbm is not None and now_dbm is not None and then_dbm - now_dbm > FAULT_DB
    yield PartRow(
        what=PARTS["level"],
        then=_level(then_dbm),
        now=_level(now_dbm),
        remark=PARTS["weaker"].format(difference=f"{then_dbm - now_dbm:.0f}", why=disturbed_by(ANTENNA, work))
        if lost and then_dbm is not None and now_dbm is not None
        else why,
        lost=lost,
    )


def _makes(inventory: Inventory) -> Counter[tuple[ItemKind, str]]:
    return Counter((item.kind, item.identity) for item in inventory.parts(*ItemKind))


def _counted(inventory: Inventory) -> Iterator[tuple[str, int]]:
    for kind in ItemKind:
        count = len(inventory.parts(kind))
        if count:
            yield kind, count


def _only_once(kind: str, count: int, *, is_now: bool) -> PartRow:
    seen = PARTS["count_there"].format(count=count)
    if is_now:
        return PartRow(what=kind, then=PARTS["not_taken"], now=seen)
    return PartRow(what=kind, then=seen, now=PARTS["not_read"])


def _rest(count: int, *, others: bool) -> str:
    word = "other" if others else "all"
    return PARTS[f"{word}_one" if count == 1 else word].format(count=count)


def _called(item: Item) -> str:
    return PARTS["called"].format(name=item.name) if item.name else item.identity


def _level(dbm: float | None) -> str:
    if dbm is None:
        return PARTS["level_unknown"]
    return PARTS["level_of"].format(dbm=signed(f"{dbm:.0f}"))


def _alike(then: int, now: int) -> bool:
    return min(then, now) * 100 >= max(then, now) * LEAST_PERCENT


def _lines(before: Sequence[Link], now: Sequence[Link]) -> Iterator[tuple[Link, Link]]:
    """Pair the lines of one part that differ now; two of one make are two lines."""
    left = list(before)
    for new in now:
        old = next((one for one in left if (one.kind, one.identity) == (new.kind, new.identity)), None)
        if old is None:
            continue
        left.remove(old)
        if (old.width, old.speed) != (new.width, new.speed):
            yield old, new
