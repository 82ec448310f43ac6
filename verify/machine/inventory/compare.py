"""What differs between two inventories of one machine. Pure.

Items are compared as multisets of kind and identity, so a bus that was numbered anew changes nothing. In this
order: (1) what a reader could not list now is not known to be missing, nor what hangs on it; (2) what comes
and goes by itself does not count; (3) what hangs on a part that is gone is not counted beside it; (4) a
radio's parts that are gone since its switch was put off are explained; (5) a part that says nothing of
itself, then or now, may be the same one; (6) a part gone and another of its kind new is one that was
exchanged; (7) the same make with another serial is exchanged, too.
"""

from collections import Counter
from collections.abc import Iterable, Sequence

import msgspec

from verify.machine.inventory.model import Inventory, Item, ItemKind

__all__ = ["Differences", "compare"]

# The system's name of a radio's switch → what it can make disappear.
_SWITCHED = {"wlan": ItemKind.WIRELESS, "bluetooth": ItemKind.SHORT_RANGE}
_NO_ITEMS = "items"


class Differences(msgspec.Struct, frozen=True, kw_only=True):
    """What came of it. exchanged: the item before and the item now.

    explained: gone since its radio was switched off. unread: not known, as it could not be listed now, or
    says nothing of itself now.
    """

    missing: tuple[Item, ...] = ()
    new: tuple[Item, ...] = ()
    exchanged: tuple[tuple[Item, Item], ...] = ()
    explained: tuple[Item, ...] = ()
    unread: tuple[Item, ...] = ()


def compare(before: Inventory, now: Inventory) -> Differences:
    """Tell what went, what came and what was exchanged."""
    gone, came = _less(before.items, now.items), _less(now.items, before.items)
    # (1)
    unread = [item for item in gone if item.seen_in in now.reasons or _NO_ITEMS in now.reasons]
    carriers = {item.identity for item in unread}
    unread += [item for item in gone if item.behind in carriers and item not in unread]
    gone = [item for item in gone if item not in unread]
    # What could not be listed before may have been there all the time.
    came = [item for item in came if item.seen_in not in before.reasons and _NO_ITEMS not in before.reasons]
    # (2)
    gone, came = [item for item in gone if not item.volatile], [item for item in came if not item.volatile]
    # (3)
    gone, came = _carriers_only(gone), _carriers_only(came)
    # (4)
    # What was seen with the switch as it is now is not hidden by it.
    off = {
        _SWITCHED[block.type]
        for block in now.blocks
        if block.is_off and block.type in _SWITCHED and block not in before.blocks
    }
    explained = tuple(item for item in gone if item.kind in off)
    gone = [item for item in gone if item.kind not in off]
    # (5)
    for item in tuple(gone):
        same = (one for one in came if one.kind is item.kind and one.kind in (one.identity, item.identity))
        other = next(same, None)
        if other is not None:
            gone.remove(item)
            came.remove(other)
            unread += [item] if other.identity == other.kind else []
    # (6)
    exchanged: list[tuple[Item, Item]] = []
    for item in tuple(gone):
        other = next((one for one in came if (one.kind, one.seen_in) == (item.kind, item.seen_in)), None)
        if other is not None:
            exchanged.append((item, other))
            gone.remove(item)
            came.remove(other)
    # (7)
    exchanged += _other_serials(before.items, now.items)
    return Differences(
        missing=tuple(gone),
        new=tuple(came),
        exchanged=tuple(exchanged),
        explained=explained,
        unread=tuple(unread),
    )


def _key(item: Item) -> tuple[ItemKind, str]:
    return item.kind, item.identity


def _less(items: Iterable[Item], others: Iterable[Item]) -> list[Item]:
    """Return the items that the others have no match for."""
    left = Counter(map(_key, others))
    found = []
    for item in items:
        if left[_key(item)] > 0:
            left[_key(item)] -= 1
        else:
            found.append(item)
    return found


def _carriers_only(items: Sequence[Item]) -> list[Item]:
    identities = {item.identity for item in items}
    return [item for item in items if item.behind not in identities]


def _other_serials(before: Iterable[Item], now: Iterable[Item]) -> list[tuple[Item, Item]]:
    """Pair items of one make whose serials are all known, both times, and differ."""
    pairs: list[tuple[Item, Item]] = []
    later = [item for item in now if not item.volatile]
    for key, earlier in _by_key(item for item in before if not item.volatile).items():
        same = [item for item in later if _key(item) == key]
        if len(same) != len(earlier) or any(item.mark is None for item in (*earlier, *same)):
            continue
        marks = Counter(item.mark for item in same)
        old = [item for item in earlier if not _taken(marks, item)]
        left = [item for item in same if marks[item.mark] > 0]
        pairs += list(zip(old, left, strict=False))
    return pairs


def _by_key(items: Iterable[Item]) -> dict[tuple[ItemKind, str], list[Item]]:
    found: dict[tuple[ItemKind, str], list[Item]] = {}
    for item in items:
        found.setdefault(_key(item), []).append(item)
    return found


def _taken(marks: Counter[str | None], item: Item) -> bool:
    if marks[item.mark] > 0:
        marks[item.mark] -= 1
        return True
    return False
