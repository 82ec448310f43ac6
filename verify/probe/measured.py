"""Automatic checks on what was measured: does the pack hold its label, and did its figures tell the truth.

Both read what earlier checks handed on: the charge that was counted, a drain before it, how its start is
known, and what a person measured beside it: an inline meter's watt-hours, the pack's weight.
"""

import math
from collections.abc import Mapping

import msgspec

from verify.machine import Pack, Sample
from verify.measure.assumed import Assumed
from verify.measure.coverage import ONE_SIDED_Z
from verify.measure.gauge_signs import DRAIN
from verify.measure.interval import Interval
from verify.measure.label import LabelFinding, Printed, judged_together, label_findings, printed
from verify.probe import handed_on
from verify.probe.assumed_options import assumed_of, least_of
from verify.probe.handed_on import handed, handed_all, told_by
from verify.probe.model import Context, Finding, Probe, Working
from verify.probe.pack_point import cells_of
from verify.probe.watching import UntilTold, gauge_of, not_found, refuse_others, trusted, unknown, why_no_pack
from verify.values import Reading, Unit
from verify.values.errors import InvalidValueError

__all__ = ["gauge_told_truth", "measured_capacity"]

_CHARGE = "charge-to-full"
_DRAIN_FIRST = "Run it down to 5 % or less, then charge it to full in one go."
_STOPPED = "Do first what the charge to full says."
_CHARGE_FIRST = "The charge was not counted. Charge it to full in one watch, then ask this again."
_SEVERAL = "Several batteries are seen and one label is given: which one was fitted is not known."
_PERCENT = Unit.PERCENT


def measured_capacity(options: Mapping[str, str], context: Context) -> Probe:
    """Read the measured capacity over the label's energy, or else the design capacity.

    Unit: %, for each pack: energy between empty and full at rest, counted through the pack's own sensors
    while it was charged, cut at what an inline meter and the weight allow. Unknown, with the cheapest
    further test, where nothing bounds it on the side that matters; in doubt where it hangs on the gauge's
    word for the start. Measured, claimed and label stand in its text.
    Options: "least" (90 %): the share that it is compared with, so that the right side of the interval
    counts; the assumed error "meter".
    Source: coulomb counting; interval: Fieller 1954, JCGM 101:2008; 280 Wh/kg: common practice, no source.
    Caution: a figure far below its label on a new pack: do not give that pack back; ask the supplier.
    """
    refuse_others("measured-capacity", options, "least", "meter")
    return _MeasuredCapacity(context, least=least_of(options), assumed=assumed_of(options))


class _MeasuredCapacity:
    def __init__(self, context: Context, *, least: float, assumed: Assumed) -> None:
        self._context, self._least, self._assumed = context, least, assumed
        self._looks = UntilTold(self._look, told=_of_a_pack)

    def step(self, sample: Sample) -> Working | Finding:
        return self._looks.step(sample)

    def _look(self, sample: Sample) -> Finding:
        if not sample.packs:
            return not_found(_PERCENT, "battery gauge", why_no_pack(sample))
        if self._context.label_wh is not None and len(sample.packs) > 1:
            return not_found(_PERCENT, "battery gauge", _SEVERAL)
        parts = [self._of(pack) for pack in sample.packs]
        return Finding(
            readings=tuple(reading for reading, _ in parts), text=" ".join(text for _, text in parts)
        )

    def _of(self, pack: Pack) -> tuple[Reading, str]:
        earlier = self._context.earlier
        base_wh = self._context.label_wh or trusted(pack, "design_wh")
        whose = "label" if self._context.label_wh is not None else "design capacity"
        source = f"{gauge_of(pack)}, its own current and voltage sensors: counted capacity over the {whose}"
        if base_wh is None or base_wh <= 0:
            why = "Neither a label was given nor does the battery report its design capacity."
            return unknown(_PERCENT, source, why), why
        low = _value(handed(earlier, pack.name, handed_on.LEAST_WH, checks=(_CHARGE,)))
        high = _value(handed(earlier, pack.name, handed_on.MOST_WH, checks=(_CHARGE,)))
        if low is None:
            why = self._not_counted(pack)
            return unknown(_PERCENT, source, why), why
        counted = handed(earlier, pack.name, handed_on.CAPACITY_WH, checks=(_CHARGE,))
        middle = _value(counted)
        span = Interval(
            value=max(low, min(middle, high or math.inf)) if middle is not None else low,
            low=low,
            high=max(low, high) if high is not None else math.inf,
        )
        beside = judged_together(
            span,
            meter_wh=_entered(self._context, Unit.WATT_HOUR),
            meter_levels=self._levels(pack),
            weight_kg=_kilograms(self._context),
            claim_wh=self._context.label_wh,
            assumed=self._assumed,
        )
        if beside.capacity_wh is None:
            why = " ".join(f"{one.sentence} {one.next_step}" for one in beside.findings)
            return unknown(_PERCENT, source, why), why
        decided = handed(earlier, pack.name, handed_on.DECIDED) is not None
        reading = self._reading(
            beside.capacity_wh, base_wh, source, decided=decided, next_step=self._next_step(pack)
        )
        if reading.value is not None and not decided:
            # An interval that hangs on the gauge's word for the start is told, not judged.
            reading = msgspec.structs.replace(reading, reason=f"To be sure: {self._next_step(pack)}")
        return reading, self._said(pack, beside.capacity_wh, base_wh, whose, reading)

    def _not_counted(self, pack: Pack) -> str:
        if _was_stopped(self._context, pack):
            return _STOPPED
        verdict = handed(self._context.earlier, pack.name, handed_on.GAUGE_VERDICT, checks=(_CHARGE,))
        return (verdict.reason if verdict is not None else None) or _CHARGE_FIRST

    def _levels(self, pack: Pack) -> float | None:
        """Return by how much the level rose while the meter counted, as little as it may have been."""
        start = handed(self._context.earlier, pack.name, handed_on.START_LEVEL, checks=(_CHARGE,))
        if start is None or start.value is None:
            return None
        most = start.value / 100 + math.sqrt(3) * (start.standard_uncertainty or 0.0) / 100
        return max(0.0, 1 - most) or None

    def _reading(
        self, span: Interval, base_wh: float, source: str, *, decided: bool, next_step: str
    ) -> Reading:
        limit_wh = self._least * base_wh
        if span.value < limit_wh and not span.bounded:
            why = f"It holds at least {span.low:.1f} Wh, and nothing shows how much more. {next_step}"
            return unknown(_PERCENT, source, why)
        value_wh = span.value
        if span.wider_than_itself:
            # The figure of such an interval says nothing; where both ends are on one side, they decide.
            if not decided or span.low < limit_wh <= span.high:
                why = f"It holds {span.ends(1)} Wh: too wide to tell. {next_step}"
                return unknown(_PERCENT, source, why)
            value_wh = (span.low + span.high) / 2
        side = span.high - value_wh if value_wh < limit_wh else value_wh - span.low
        return Reading(
            value=100 * value_wh / base_wh,
            unit=_PERCENT,
            standard_uncertainty=100 * max(0.0, side) / base_wh / ONE_SIDED_Z,
            source=source,
        )

    def _next_step(self, pack: Pack) -> str:
        if _was_stopped(self._context, pack):
            return _STOPPED
        verdict = handed(self._context.earlier, pack.name, handed_on.GAUGE_VERDICT, checks=(_CHARGE,))
        told = verdict.reason if verdict is not None and verdict.value is None else None
        return told or _DRAIN_FIRST

    def _said(self, pack: Pack, span: Interval, base_wh: float, whose: str, reading: Reading) -> str:
        if reading.value is None:
            return reading.reason or ""
        figure = f"{span.ends(1)} Wh" if span.wider_than_itself else f"{span.value:.1f} Wh ({_sides(span)})"
        claimed = trusted(pack, "full_charge_wh")
        claims = "" if claimed is None else f"; its gauge claims {claimed:.1f} Wh"
        proven = handed(self._context.earlier, pack.name, handed_on.START_LEVEL, checks=(_CHARGE,))
        start = "" if proven is None else f" The start of the charge is {told_by(proven)}."
        more = f" {reading.reason}" if reading.reason else ""
        return f"Measured {figure}{claims}; its {whose} says {base_wh:.1f} Wh.{start}{more}"


def gauge_told_truth(options: Mapping[str, str], context: Context) -> Probe:
    """Count what a pack says of itself that was shown to be untrue: its gauge's claim, its level, its label.

    Unit: pieces, for each pack; 0: what was measured is what was claimed. In doubt where the level leaps,
    stands still or follows the volts, or the design capacity is missing or absurd. Unknown, with the
    cheapest further test, where the claim was neither proven nor shown to be wrong.
    Source: the claim against the counted capacity, one-sided 95 %; the other signs are common practice, no
    source.
    Caution: a gauge that lies switches a machine off without a warning: tell the owner.
    """
    refuse_others("gauge-told-truth", options)
    return _GaugeToldTruth(context)


class _GaugeToldTruth:
    def __init__(self, context: Context) -> None:
        self._context = context
        self._looks = UntilTold(self._look, told=_of_a_pack)

    def step(self, sample: Sample) -> Working | Finding:
        return self._looks.step(sample)

    def _look(self, sample: Sample) -> Finding:
        if not sample.packs:
            return not_found(Unit.COUNT, "battery gauge", why_no_pack(sample))
        parts = [self._of(pack, alone=len(sample.packs) == 1) for pack in sample.packs]
        return Finding(
            readings=tuple(reading for reading, _ in parts), text=" ".join(text for _, text in parts)
        )

    def _of(self, pack: Pack, *, alone: bool) -> tuple[Reading, str]:
        source = f"{gauge_of(pack)}, against what was counted"
        verdict = handed(self._context.earlier, pack.name, handed_on.GAUGE_VERDICT, checks=(_CHARGE,))
        if verdict is None:
            return unknown(Unit.COUNT, source, _CHARGE_FIRST), _CHARGE_FIRST
        signs = list(handed_all(self._context.earlier, pack.name, handed_on.GAUGE_SIGN, checks=(_CHARGE,)))
        lies = [told_by(sign) for sign in signs if sign.value]
        doubts = [told_by(sign) for sign in signs if not sign.value]
        steps = [sign.reason for sign in signs if sign.reason]
        if verdict.value is not None:
            # What was to show it has been shown.
            steps = [step for step in steps if step != DRAIN]
        if verdict.value and not lies:
            lies = ["It holds far less than its gauge claims."]
        if alone:
            label = self._label(pack)
            lies += [one.sentence for one in label]
            steps += [one.next_step for one in label]
        # Each step once: several signs may ask for the same.
        text = " ".join((*lies, *doubts, *dict.fromkeys(steps)))
        if lies:
            return self._reading(len(lies), source), text
        if verdict.value is None:
            told = verdict.reason or ""
            if _was_stopped(self._context, pack):
                told = _STOPPED
            elif self._said_before(told):
                told = "The measured capacity says what to do next."
            why = text if told in text else f"{text} {told}".strip()
            return unknown(Unit.COUNT, source, why), f"Neither proven nor shown to be wrong. {why}"
        if doubts:
            return self._reading(0, source, doubt=" ".join(doubts)), text
        return self._reading(0, source), "What its gauge claims was measured."

    def _said_before(self, step: str) -> bool:
        """Tell whether another check of this pack has just asked for the same."""
        return any(
            step in (reading.reason or "")
            for check, readings in self._context.earlier.items()
            for reading in readings
            if check != _CHARGE
        )

    def _reading(self, count: int, source: str, *, doubt: str | None = None) -> Reading:
        return Reading(
            value=float(count), unit=Unit.COUNT, standard_uncertainty=0.0, source=source, reason=doubt
        )

    def _label(self, pack: Pack) -> tuple[LabelFinding, ...]:
        label = self._context.label
        return label_findings(
            wh=_printed(label.get("energy")),
            volts=_printed(label.get("voltage")),
            ah=_printed(label.get("charge")),
            design_wh=trusted(pack, "design_wh"),
            weight_kg=_kilograms(self._context),
            cells=cells_of(pack),
        )


def _was_stopped(context: Context, pack: Pack) -> bool:
    """Tell whether the charge ended for what comes first: heat, cold, a limit that holds it."""
    level = f"{gauge_of(pack)}, level"
    return any(one.source == level and one.value is None for one in context.earlier.get(_CHARGE, ()))


def _of_a_pack(finding: Finding) -> bool:
    """Tell whether a pack was there; one may vanish for a moment when the charger changes."""
    return finding.readings[0].source != "battery gauge"


def _sides(span: Interval) -> str:
    """Return both ends, which are one-sided: the charge tells its two-sided interval of the same figure."""
    least = f"{span.low:.1f} or more"
    return f"{least}, {span.high:.1f} or less: each 95 % sure" if span.bounded else least


def _value(reading: Reading | None) -> float | None:
    return None if reading is None else reading.value


def _printed(text: str | None) -> Printed | None:
    """Return the number as it is printed, without its unit."""
    if text is None:
        return None
    try:
        return printed(text.rstrip("VAWhgmk ").strip())
    except InvalidValueError:
        return None


def _entered(context: Context, unit: Unit) -> float | None:
    """Return the value above 0 that a person measured in this unit; None where nobody did."""
    for readings in context.entered.values():
        for reading in readings:
            if reading.unit is unit and reading.value:
                return reading.value
    return None


def _kilograms(context: Context) -> float | None:
    grams = _entered(context, Unit.GRAM)
    if grams is None and "weight" in context.label:
        told = _printed(context.label["weight"])
        grams = None if told is None else told.value
    return None if grams is None else grams / 1000
