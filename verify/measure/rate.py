"""How fast a pack charges or runs down, in W and C, and what holds it back.

That is the charger, the machine's load, the pack, the taper, the temperature or a limit.
"""

from enum import StrEnum

import msgspec

from verify.measure.jeita import Band, band
from verify.measure.phases import CHARGING, PhaseKind

__all__ = ["HeldBackBy", "Rate", "judge_rate"]

PACK_C = (0.5, 1.0)
"""At what rate packs are charged where nothing else limits, in C [common practice, no source]."""

_NEAR = 0.85  # of what charger or pack can give: it gives all it can [common practice, no source]
_LOSSES = 0.90  # of a charger's watts reach pack and machine [common practice, no source]
_FULL_LEVEL = 0.99
_SLOW_C = 0.2


class HeldBackBy(StrEnum):
    """What limits the rate."""

    CHARGER = "the charger"
    LOAD = "the machine's own load"
    PACK = "the battery itself"
    TAPER = "the taper near full"
    TEMPERATURE = "the battery's temperature"
    LIMIT = "a charge limit"
    FULL = "it is full"
    NOTHING_KNOWN = "nothing that is known"


class Rate(msgspec.Struct, frozen=True, kw_only=True):
    """One rate. power_w, rate_c: into the pack positive; None where unknown.

    held_back_by: what limits it while power comes from outside; None where it does not, or no rate is
    known. slow: below 0.2 C although nothing that is known limits it so far.
    """

    power_w: float | None
    rate_c: float | None
    held_back_by: HeldBackBy | None
    slow: bool
    sentence: str


def judge_rate(
    *,
    power_w: float | None,
    current_a: float | None,
    kind: PhaseKind | None,
    design_ah: float | None = None,
    design_wh: float | None = None,
    offered_w: float | None = None,
    machine_w: float | None = None,
    level: float | None = None,
    limit: float | None = None,
    temperature_c: float | None = None,
    powered: bool | None = None,
) -> Rate:
    """Tell the rate and what limits it.

    power_w, current_a: into the pack positive. kind: the phase. design_ah, design_wh: above 0. offered_w:
    what the charger can give; machine_w: what the machine draws beside the pack. level, limit: 0 to 1, a
    charge limit that is set. Every figure may be None: what is not known is not held to limit anything. C
    by current, else by power.
    """
    rate_c = None
    if current_a is not None and design_ah:
        rate_c = current_a / design_ah
    elif power_w is not None and design_wh:
        rate_c = power_w / design_wh
    if powered is False or (powered is None and kind not in CHARGING) or (rate_c is None and power_w is None):
        return Rate(
            power_w=power_w, rate_c=rate_c, held_back_by=None, slow=False, sentence=_figures(power_w, rate_c)
        )
    by = _held_back(
        power_w=power_w,
        rate_c=rate_c,
        kind=kind,
        offered_w=offered_w,
        machine_w=machine_w,
        level=level,
        limit=limit,
        temperature_c=temperature_c,
    )
    weak = rate_c is not None and rate_c < _SLOW_C
    slow = weak and by is HeldBackBy.NOTHING_KNOWN and kind in (*CHARGING, PhaseKind.HOLDING)
    said = f"{_figures(power_w, rate_c)} Limited by {by}." if by is not HeldBackBy.FULL else "It is full."
    if by is HeldBackBy.NOTHING_KNOWN:
        said = _figures(power_w, rate_c)
        if slow:
            said += " That is slow. Look at the charger's watts, its plug and its lead."
    return Rate(power_w=power_w, rate_c=rate_c, held_back_by=by, slow=slow, sentence=said)


def _held_back(
    *,
    power_w: float | None,
    rate_c: float | None,
    kind: PhaseKind | None,
    offered_w: float | None,
    machine_w: float | None,
    level: float | None,
    limit: float | None,
    temperature_c: float | None,
) -> HeldBackBy:
    if kind is PhaseKind.FULL:
        return HeldBackBy.FULL
    if temperature_c is not None and band(temperature_c) is not Band.NORMAL:
        return HeldBackBy.TEMPERATURE
    if kind is PhaseKind.HOLDING and limit is not None and level is not None and level >= limit - 0.015:
        return HeldBackBy.LIMIT
    if power_w is not None and offered_w is not None:
        drawn_w = max(0.0, power_w) + (machine_w or 0.0)
        if drawn_w >= _NEAR * _LOSSES * offered_w:
            shared = machine_w is not None and machine_w > max(0.0, power_w)
            return HeldBackBy.LOAD if shared else HeldBackBy.CHARGER
    if kind is PhaseKind.DISCHARGE:
        return HeldBackBy.CHARGER
    if kind is PhaseKind.CONSTANT_VOLTAGE:
        return HeldBackBy.TAPER
    if kind is PhaseKind.CONSTANT_POWER:
        return HeldBackBy.CHARGER
    if kind is PhaseKind.TRICKLE or (rate_c is not None and rate_c >= _NEAR * PACK_C[0]):
        return HeldBackBy.PACK
    return HeldBackBy.NOTHING_KNOWN


def _figures(power_w: float | None, rate_c: float | None) -> str:
    told = []
    if power_w is not None:
        told.append(f"{abs(power_w):.1f} W")
    if rate_c is not None:
        told.append(f"{abs(rate_c):.2f} C")
    if not told:
        return "The rate is not told."
    flow = power_w if power_w is not None else rate_c
    assert flow is not None
    return f"{', '.join(told)} {'out of' if flow < 0 else 'into'} the battery."
