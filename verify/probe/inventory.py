"""Automatic checks: whether all that was there on arrival is still there, and the same."""

from collections.abc import Iterable, Mapping

from verify.machine import Inventory, Item, ItemKind, Panel
from verify.machine.inventory.compare import Differences, compare
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Once
from verify.probe.inventory_work import TIES, disturbed_by, expected, touched
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import counted, not_found, refuse_others
from verify.values import Unit
from verify.values.errors import WrongUseError

_SOURCE = "parts gone since arrival"
_PANEL_SOURCE = "panel description against arrival"
_BY_ITSELF = frozenset(ItemKind) - {ItemKind.TEMPERATURE_SENSOR}
_MOST_TOLD = 6  # more would fill the screen; the trace holds them all


def hardware_as_arrived(options: Mapping[str, str], context: Context) -> Probe:
    """Count what was there on arrival and is missing or another one now, beyond what the work is for.

    Unit: pieces. "only" (kinds, separated by commas: "camera, touchpad") looks at these alone; without it at
    all but temperature sensors, which have a check of their own. What hangs on a missing part counts with
    it; what is plugged in from outside does not count. In doubt where a radio that is switched off hides its
    part, where a group of parts cannot be listed now, or where no work of the ticket can have caused the
    loss: that is told. Unknown where nothing was taken on arrival: then it says what is there.
    Source: the system's own lists (Linux sysfs); which work disturbs what: common practice, no source.
    Caution: machine off, charger out and battery unplugged before a lead is pressed home.
    """
    refuse_others("hardware-as-arrived", options, "only")
    kinds = _kinds(options.get("only"))

    def decide(now: Inventory) -> Finding:
        before = context.arrival_inventory
        if before is None:
            return not_found(Unit.COUNT, _SOURCE, f"{NOTHING_ON_ARRIVAL} {_listed(now, kinds)}")
        if not before.of(*kinds):
            what = "Nothing that is built in" if kinds == _BY_ITSELF else f"No {_words(kinds)}"
            why = next(iter(before.reasons.values()), "") if not before.items else ""
            return not_found(Unit.COUNT, _SOURCE, f"{what} was seen on arrival. {why}".strip())
        return _finding(compare(before, now), kinds, context.work, len(before.parts(*kinds)))

    return Once(decide, Unit.COUNT, _SOURCE)


def panel_as_arrived(options: Mapping[str, str], context: Context) -> Probe:
    """Count what the built-in panel describes otherwise than on arrival; a missing panel is one piece, too.

    Unit: pieces. Pixels, refresh rate and colour depth always count; maker and number only where the work is
    not the lid. Unknown where no panel described itself, then or now.
    Source: VESA EDID; the panel's own description.
    Caution: glass: no pressure on the panel. The panel's lead is plugged with the battery unplugged only.
    """
    refuse_others("panel-as-arrived", options)

    def decide(now: Inventory) -> Finding:
        before = context.arrival_inventory
        if before is None:
            told = "; ".join(panel.words for panel in now.panels) or now.reasons.get(
                "panels", "No panel is seen."
            )
            return not_found(Unit.COUNT, _PANEL_SOURCE, f"{NOTHING_ON_ARRIVAL} {told}".rstrip(".") + ".")
        if not before.panels:
            why = before.reasons.get("panels", "No panel described itself.")
            return not_found(Unit.COUNT, _PANEL_SOURCE, f"On arrival: {why}")
        if not now.panels:
            if now.of(ItemKind.PANEL) or "display" in now.reasons:
                why = now.reasons.get("panels") or now.reasons.get("display", "It does not describe itself.")
                return not_found(Unit.COUNT, _PANEL_SOURCE, f"Now: {why}")
            where = disturbed_by(TIES[ItemKind.PANEL], context.work)
            text = f"No panel is seen; on arrival there was one. {where}"
            return Finding(readings=(counted(1, _PANEL_SOURCE),), text=text)
        differences = panel_differences(
            before.panels[0], now.panels[0], another=expected(ItemKind.PANEL, context.work)
        )
        told = now.panels[0].words
        text = (
            f"As on arrival: {told}." if not differences else f"Not as on arrival: {'; '.join(differences)}."
        )
        return Finding(readings=(counted(len(differences), _PANEL_SOURCE),), text=text)

    return Once(decide, Unit.COUNT, _PANEL_SOURCE)


def panel_differences(before: Panel, now: Panel, *, another: bool) -> list[str]:
    """Say what differs, value by value; another: whether another make is what the work is for."""
    found = []
    if not another and (before.maker, before.product) != (now.maker, now.product):
        found.append(
            f"it calls itself {now.maker} {now.product:04x}, not {before.maker} {before.product:04x}"
        )
    if (before.width_px, before.height_px) != (now.width_px, now.height_px):
        found.append(f"{now.pixels} pixels, not {before.pixels}")
    if _differ(before.refresh_hz, now.refresh_hz, within=1.0):
        found.append(f"{now.refresh_hz:g} Hz, not {before.refresh_hz:g} Hz")
    if _differ(before.bits, now.bits, within=0):
        found.append(f"{now.bits} bits a colour, not {before.bits}")
    return found


def _differ(before: float | None, now: float | None, *, within: float) -> bool:
    return before is not None and now is not None and abs(before - now) > within


def _finding(found: Differences, kinds: frozenset[ItemKind], work: tuple[str, ...], of: int) -> Finding:
    missing = [item for item in found.missing if item.kind in kinds]
    exchanged = [pair for pair in found.exchanged if pair[0].kind in kinds]
    unasked = [pair for pair in exchanged if not expected(pair[0].kind, work)]
    counts, doubts = 0, []
    told = []
    losses = [(item, f"Missing: {item.words}.") for item in missing]
    losses += [(pair[0], f"Another one than on arrival: {_exchange(*pair)}.") for pair in unasked]
    for item, what in losses:
        tie = TIES[item.kind]
        said = f"{what} {disturbed_by(tie, work)}"
        if touched(tie, work):
            counts += 1
            told.append(said)
        else:
            doubts.append(said)
    explained = [item for item in found.explained if item.kind in kinds]
    if explained:
        doubts.append(f"Switched off, so not seen: {_names(explained)}. Switch the radio on, check again.")
    unread = [item for item in found.unread if item.kind in kinds]
    if unread:
        doubts.append(f"Cannot be listed now: {_names(unread)}.")
    if not told and not doubts:
        told.append(f"All {of} parts of the arrival are there.")
    told += doubts
    renewed = [pair for pair in exchanged if pair not in unasked]
    if renewed:
        told.append(f"Renewed: {_names(now for _, now in renewed)}.")
    new = [item for item in found.new if item.kind in kinds]
    if new:
        told.append(f"New: {_names(new)}.")
    # What is surely gone is gone, whatever else cannot be seen.
    doubt = " ".join(doubts) if counts == 0 else None
    return Finding(readings=(counted(counts, _SOURCE, doubt),), text=" ".join(told))


def _exchange(before: Item, now: Item) -> str:
    if before.identity == now.identity:
        return f"{now.words}, by its serial number"
    return f"{now.words} in place of {before.words}"


def _names(items: Iterable[Item]) -> str:
    names = [item.words for item in items]
    more = len(names) - _MOST_TOLD
    return ", ".join(names[:_MOST_TOLD]) + (f" and {more} more" if more > 0 else "")


def _listed(now: Inventory, kinds: frozenset[ItemKind]) -> str:
    """Return how many of each kind are there now."""
    parts = now.parts(*kinds)
    if not parts:
        return "Nothing that is built in is seen now."
    counts = {kind: sum(item.kind is kind for item in parts) for kind in ItemKind}
    return "There now: " + ", ".join(f"{count} {kind}" for kind, count in counts.items() if count) + "."


def _words(kinds: frozenset[ItemKind]) -> str:
    return ", ".join(sorted(kinds))


def _kinds(text: str | None) -> frozenset[ItemKind]:
    if text is None:
        return _BY_ITSELF
    try:
        return frozenset(ItemKind(word.strip()) for word in text.split(","))
    except ValueError:
        raise WrongUseError(
            f'"only" is "{text}": it must name kinds of parts, separated by commas.',
            next_step=f"There are: {', '.join(ItemKind)}.",
        ) from None
