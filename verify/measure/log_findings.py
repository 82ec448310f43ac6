"""What contradicts itself in a log, and heat that must not be: found in its looks, judged by nobody's word.

Each answer says what was seen and what to do next. Thresholds are common practice, no source, unless named.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum

import msgspec

from verify.measure.charge_events import SAID, ChargeEvent, ChargeEventKind
from verify.measure.jeita import EXPECTED, NORMAL_FROM_C, WHAT_TO_DO, Band, band
from verify.measure.phases import CHARGING, Phase
from verify.measure.rate import judge_rate

__all__ = [
    "LogFinding",
    "Weight",
    "about_charge",
    "about_flow",
    "about_power",
    "about_temperature",
    "too_hot",
]

_LEVEL_AGAINST = 0.05  # so much level must have moved against the flow
_VOLTS_AGAINST = 0.25  # the same of a voltage, which recovers a little while a smaller load goes on
_TIMES_AS_MUCH = 3.0
_POWER_APART = 0.15
_LEAST_W = 1.0
_REST_A = 0.05
_LEAST_CHARGE_S = 600.0  # a shorter charge tells no rate

# No column tells whether the charger is in.
_SAID = {
    **SAID,
    ChargeEventKind.STALL: "The charge stopped early, and nothing flowed for 10 minutes or more.",
}
_THERE = {
    **EXPECTED,
    Band.COLD: "Below 0 °C lithium cells take harm from a charge: the charger should have waited.",
}
_AFTER = {
    ChargeEventKind.STALL: "If the charger was in, look for a charge limit in firmware and system.",
    ChargeEventKind.DROPOUT: "If nobody pulled it, move the lead and charge again.",
    ChargeEventKind.DRAINED: "Charge with the charger that belongs to the machine.",
    ChargeEventKind.SLOW: "Compare them with what the machine asks for.",
}


class Weight(StrEnum):
    """How a finding counts: a fault ends the command with 1; a doubt and a note do not."""

    FAULT = "fault"
    DOUBT = "doubt"
    NOTE = "note"


class LogFinding(msgspec.Struct, frozen=True, kw_only=True):
    """One fact and what to do next; next_step is empty where nothing need be done."""

    what: str
    next_step: str = ""
    weight: Weight = Weight.NOTE


def about_flow(
    times_s: Sequence[float],
    flow: Sequence[float | None],
    levels: Sequence[float | None],
    *,
    by_voltage: bool = False,
) -> Iterator[LogFinding]:
    """Tell where the level moves against the flow: a sign is turned round, or the gauge makes it up.

    flow: current or power, into the pack positive. by_voltage: the levels are voltages, as shares of their
    range.
    """
    with_it = against = charge = 0.0
    before: float | None = None
    last: tuple[float, float] | None = None
    for at_s, rate, level in zip(times_s, flow, levels, strict=True):
        if rate is not None:
            if last is not None:
                charge += (rate + last[1]) / 2 * (at_s - last[0])
            last = at_s, rate
        if level is None:
            continue
        if before is not None and level != before:
            moved = level - before
            if moved * charge < 0:
                against += abs(moved)
            elif moved * charge > 0:
                with_it += abs(moved)
            charge = 0.0
        before = level
    of, least = ("voltage", _VOLTS_AGAINST) if by_voltage else ("level", _LEVEL_AGAINST)
    if against > least and against > _TIMES_AS_MUCH * with_it:
        yield LogFinding(
            what=f"The {of} moves against the current: it falls while charge goes in, or rises while it "
            "comes out.",
            next_step="Into the pack is positive. If the recorder has it the other way round, turn the sign "
            "of current_a and power_w and measure again.",
            weight=Weight.FAULT,
        )


def about_charge(
    events: Iterable[ChargeEvent], phases: Sequence[Phase], capacity_ah: float | None
) -> Iterator[LogFinding]:
    """Tell what went wrong while it charged, each kind once, and how fast its longest phase was in C.

    capacity_ah: what C is reckoned from; None where unknown, and then no rate is told.
    """
    times = Counter(event.kind for event in events)
    for kind, count in times.items():
        often = f" {count} times." if count > 1 else ""
        yield LogFinding(what=f"{_SAID[kind]}{often}", next_step=_AFTER[kind], weight=Weight.DOUBT)
    charges = [
        (one.end_s - one.start_s, one)
        for one in phases
        if one.kind in CHARGING and one.charge_ah is not None and one.end_s - one.start_s >= _LEAST_CHARGE_S
    ]
    if not charges or capacity_ah is None:
        return
    length_s, longest = max(charges, key=lambda charge: charge[0])
    rate = judge_rate(
        power_w=None,
        current_a=(longest.charge_ah or 0.0) / (length_s / 3600),
        kind=longest.kind,
        design_ah=capacity_ah,
    )
    yield LogFinding(what=f"In its longest phase, {longest.kind}: {rate.sentence}")


def about_power(
    power_w: Iterable[float | None], current_a: Iterable[float | None], voltage_v: Iterable[float | None]
) -> Iterator[LogFinding]:
    """Tell where power is not voltage times current: one of them is of something else than the pack."""
    apart = whole = 0.0
    for power, current, volts in zip(power_w, current_a, voltage_v, strict=True):
        if power is None or current is None or volts is None or abs(power) < _LEAST_W:
            continue
        apart += abs(power - current * volts)
        whole += abs(power)
    if whole and apart / whole > _POWER_APART:
        yield LogFinding(
            what=f"power_w differs from current_a × voltage_v by {100 * apart / whole:.0f} % on average.",
            next_step="All three must be the pack's own. Take away the column that is of something else.",
            weight=Weight.FAULT,
        )


def too_hot(celsius: Sequence[float | None]) -> bool:
    """Tell whether the pack was so hot that nothing more may be asked of it."""
    return any(one is not None and band(one) is Band.HOT for one in celsius)


def about_temperature(
    celsius: Sequence[float | None], flow: Sequence[float | None], *, still: str | None
) -> Iterator[LogFinding]:
    """Tell where the pack was too hot, or charged too warm or too cold, and where its sensor stands still.

    flow: current or power, into the pack positive. still: the sentence of
    `jeita.TemperatureStill`.
    """
    known = [one for one in celsius if one is not None]
    if too_hot(celsius):
        yield LogFinding(
            what=f"The pack was as hot as {max(known):.0f} °C. Lithium cells that hot can catch fire.",
            next_step=f"{WHAT_TO_DO[Band.HOT]} Follow local rules for damaged batteries.",
            weight=Weight.FAULT,
        )
        # What to do in a milder band would undo it.
        return
    charged: dict[Band, float] = {}
    for one, rate in zip(celsius, flow, strict=True):
        if one is not None and rate is not None and rate > _REST_A:
            farthest = max if one >= NORMAL_FROM_C else min
            charged[band(one)] = farthest(one, charged.get(band(one), one))
    for where, weight in ((Band.COLD, Weight.FAULT), (Band.COOL, Weight.DOUBT), (Band.WARM, Weight.DOUBT)):
        if where in charged:
            yield LogFinding(
                what=f"It was charged while {where} ({charged[where]:.0f} °C). {_THERE[where]}",
                next_step=WHAT_TO_DO[where],
                weight=weight,
            )
    if still is not None:
        yield LogFinding(what=still, weight=Weight.DOUBT)
