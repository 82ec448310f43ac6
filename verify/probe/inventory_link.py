"""Automatic check: whether the drive is reached over as many lanes, and as fast, as it should be."""

from collections.abc import Mapping

import msgspec

from verify.machine import Inventory, ItemKind, Link
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Once
from verify.probe.inventory_work import TIES, disturbed_by
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import counted, not_found, refuse_others
from verify.values import Unit

_SOURCE = "lines of drives below what they should be"


def storage_link(options: Mapping[str, str], context: Context) -> Probe:
    """Count the drives whose line is narrower or slower than on arrival.

    Unit: pieces. A drive that was not there on arrival is held against what it and its socket can both do.
    Unknown where no drive shows its line; in doubt where neither the arrival nor the drive says what it
    should be.
    Source: PCI Express link status, SATA link speed, as the kernel shows them (Linux sysfs).
    Caution: machine off, charger out and battery unplugged before a drive is seated.
    """
    refuse_others("storage-link", options)

    def decide(now: Inventory) -> Finding:
        lines = [link for link in now.links if link.kind is ItemKind.STORAGE]
        if not lines:
            why = now.reasons.get("links") or "No drive shows the width and speed of its line."
            return not_found(Unit.COUNT, _SOURCE, why)
        arrival = context.arrival_inventory
        before = [] if arrival is None else [link for link in arrival.links if link.kind is ItemKind.STORAGE]
        low, unsure, told = 0, False, []
        for line in lines:
            known = next((link for link in before if link.identity == line.identity), None)
            if known is not None:
                # Two drives of one make are two lines.
                before.remove(known)
            should = _should(line, known)
            unsure = unsure or (should.width is None and should.speed is None)
            below = line.is_below(should)
            low += below
            told.append(f"{line.words}{f', not {should.words}' if below else ''}")
        text = f"Drive: {'; '.join(told)}."
        if low:
            text += f" {disturbed_by(TIES[ItemKind.STORAGE], context.work)}"
        doubt = NOTHING_ON_ARRIVAL if unsure and not low else None
        return Finding(readings=(counted(low, _SOURCE, doubt),), text=text)

    return Once(decide, Unit.COUNT, _SOURCE)


def _should(line: Link, known: Link | None) -> Link:
    """Return the line as it should be: that of the arrival, else what both ends can."""
    return known or msgspec.structs.replace(line, width=line.most_width, speed=line.most_speed)
