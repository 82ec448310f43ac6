"""Automatic checks: whether all the memory is there, and each channel has its share."""

import re
from collections.abc import Mapping

from verify.machine import Inventory
from verify.machine.inventory import memory_text
from verify.probe.inventory_taking import NOTHING_ON_ARRIVAL, Once
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import counted, not_found, refuse_others
from verify.values import Reading, Unit
from verify.values.errors import WrongUseError

_SIZE_SOURCE = "memory against what it should be"
_CHANNEL_SOURCE = "memory channels without a module"
_GIB = 1 << 30
_SIZE = re.compile(r"([0-9]{1,4}) ?GiB", re.ASCII)
LEAST_PERCENT = 97
"""Less of the arrival's memory is a module that is gone; firmware keeps another part each start, in %
[common practice, no source]."""

MEMORY_WORK = ("memory", "main-board")
_OTHER_MODULES = "Fewer modules hold no less than before: compare their number with the ticket."
_NOT_COLD = "Not started anew since arrival, as far as is told: switch it off for 10 min, then check again."


def memory_size(options: Mapping[str, str], context: Context) -> Probe:
    """Read the memory that is there as a share of what should be.

    Unit: %. "size" ("16 GiB") is what is fitted; without it the arrival's counts, unless memory or main board
    is the work. Against a told size the modules are summed up where they can be read (administrator), else
    what the system can use, of which firmware and graphics keep some. "cold_start" ("yes"): in doubt unless
    the machine was started anew since arrival. Unknown where neither is known.
    Source: SMBIOS (DMTF DSP0134), section 7.18; /proc/meminfo.
    Caution: machine off, charger out and battery unplugged before a module is seated; touch bare metal first.
    """
    refuse_others("memory-size", options, "size", "cold_start")
    told = _told_bytes(options.get("size"))
    cold = _yes(options, "cold_start")

    def decide(now: Inventory) -> Finding:
        before = context.arrival_inventory
        fitted = sum(module.size_bytes for module in now.modules)
        have = fitted if fitted and told is not None else now.memory_bytes
        if have is None:
            return not_found(Unit.PERCENT, _SIZE_SOURCE, now.reasons.get("memory_bytes") or "It is not told.")
        should = told
        if should is None:
            if not set(MEMORY_WORK).isdisjoint(context.work):
                there = f"{memory_text(have)} are there."
                reason = f"{there} How much was fitted is not told: give the check its size."
                return not_found(Unit.PERCENT, _SIZE_SOURCE, reason)
            should = None if before is None else before.memory_bytes
        if should is None:
            why = NOTHING_ON_ARRIVAL if before is None else "The memory's size on arrival is not known."
            return not_found(Unit.PERCENT, _SIZE_SOURCE, f"{why} {memory_text(have)} are there.")
        doubt = _NOT_COLD if cold and _not_started(before, now) else None
        text = f"{memory_text(have)} of {memory_text(should)} are there."
        if have < 0.75 * should:
            text += " A module is not seen: press it home until both latches close."
        reading = Reading(
            value=100 * have / should,
            unit=Unit.PERCENT,
            standard_uncertainty=0.0,
            source=_SIZE_SOURCE,
            reason=doubt,
        )
        return Finding(readings=(reading,), text=text if doubt is None else f"{text} {doubt}")

    return Once(decide, Unit.PERCENT, _SIZE_SOURCE)


def memory_channels(options: Mapping[str, str], context: Context) -> Probe:
    """Count the memory channels that should hold a module and do not.

    Unit: pieces. "channels" (a number) is how many should; without it the arrival's count, in doubt where
    memory is the work and fewer modules hold no less than before. "cold_start" ("yes"): as for the size.
    Unknown where the firmware's table cannot be read (it takes an administrator) or names no channels.
    Source: SMBIOS (DMTF DSP0134), section 7.18; the slots' own names.
    Caution: machine off, charger out and battery unplugged before a module is seated; touch bare metal first.
    """
    refuse_others("memory-channels", options, "channels", "cold_start")
    cold = _yes(options, "cold_start")
    text = options.get("channels")
    if text is not None and not (text.isascii() and text.isdigit() and 1 <= int(text) <= 8):
        raise WrongUseError(f'"channels" is "{text}": it must be a whole number from 1 to 8.')
    told = None if text is None else int(text)

    def decide(now: Inventory) -> Finding:
        before = context.arrival_inventory
        if now.channels is None:
            reason = now.reasons.get("channels") or "The memory channels are not told."
            return not_found(Unit.COUNT, _CHANNEL_SOURCE, reason)
        should = told
        if should is None and before is not None:
            should = before.channels
        if should is None:
            why = NOTHING_ON_ARRIVAL if before is None else "The channels on arrival are not known."
            return not_found(Unit.COUNT, _CHANNEL_SOURCE, f"{why} {now.channels} in use now.")
        less = max(0, should - now.channels)
        slots = "; ".join(f"{module.slot}: {memory_text(module.size_bytes)}" for module in now.modules)
        text = f"{now.channels} of {should} memory channels in use ({slots})."
        doubt = _NOT_COLD if cold and _not_started(before, now) else None
        if less and told is None and "memory" in context.work and before is not None and _fewer(before, now):
            doubt = _OTHER_MODULES
        if less and doubt is None:
            text += " Look at slots and latches: one module in each channel, pressed home."
        return Finding(
            readings=(counted(less, _CHANNEL_SOURCE, doubt),),
            text=text if doubt is None else f"{text} {doubt}",
        )

    return Once(decide, Unit.COUNT, _CHANNEL_SOURCE)


def _fewer(before: Inventory, now: Inventory) -> bool:
    """Whether fewer modules hold no less than those on arrival: others were fitted on purpose."""
    holds, held = (sum(module.size_bytes for module in each.modules) for each in (now, before))
    return len(now.modules) < len(before.modules) and holds >= held


def _told_bytes(text: str | None) -> int | None:
    if text is None:
        return None
    found = _SIZE.fullmatch(text.strip())
    if found is None or int(found[1]) == 0:
        raise WrongUseError(f'"size" is "{text}": it must be a size like "16 GiB".')
    return int(found[1]) * _GIB


def _yes(options: Mapping[str, str], name: str) -> bool:
    text = options.get(name, "no").lower()
    if text not in ("yes", "no", "true", "false"):
        raise WrongUseError(f'"{name}" is "{options[name]}": it must be yes or no.')
    return text in ("yes", "true")


def _not_started(before: Inventory | None, now: Inventory) -> bool:
    return before is not None and now.at.started_since(before.at) is not True
