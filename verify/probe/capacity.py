"""Automatic check: what the pack's gauge claims to hold, against its label."""

from collections.abc import Mapping

from verify.machine import Pack, Sample, bounds
from verify.measure import combine, rectangular
from verify.probe.model import Context, Finding, Probe
from verify.probe.watching import UntilTold, gauge_of, known, not_found, refuse_others, unknown, why_no_pack
from verify.values import Reading, Unit

_GAUGE_HALF_WIDTH = 0.03  # of the reading, of a gauge that has learned [common practice, no source]
_ESTIMATE_HALF_WIDTH = 0.05  # of a charge turned into energy by the nominal voltage [common practice]


def claimed_capacity(options: Mapping[str, str], context: Context) -> Probe:
    """Read full capacity as the gauge reports it, over the label's energy or else the design capacity.

    Unit: %, for each pack. Claimed, not measured: the gauge says it. Unknown where full equals design
    exactly (a default that was never learned), or where several packs are seen and one label is given.
    Doubted above 120 %. What is unknown or in doubt is looked at again for 20 s.
    Source: JCGM 100 for the quotient; ±3 % of a gauge that has learned and ±5 % for energy estimated from
    charge, both rectangular, are common practice, no source.
    Caution: a reproduction pack reports any capacity it likes: stand the energy that went in beside it.
    """
    refuse_others("claimed-capacity", options)
    return UntilTold(_ClaimedCapacity(context.label_wh).look)


class _ClaimedCapacity:
    def __init__(self, label_wh: float | None) -> None:
        self._label_wh = label_wh

    def look(self, sample: Sample) -> Finding:
        if not sample.packs:
            return not_found(Unit.PERCENT, "battery gauge", why_no_pack(sample))
        if self._label_wh is not None and len(sample.packs) > 1:
            reason = "Several batteries are seen and one label is given: which one was fitted is not known."
            return not_found(Unit.PERCENT, "battery gauge", reason)
        readings = tuple(self._claimed(pack) for pack in sample.packs)
        return Finding(
            readings=readings,
            text=" ".join(
                self._said(pack, reading, "The battery" if len(readings) == 1 else pack.name)
                for pack, reading in zip(sample.packs, readings, strict=True)
            ),
        )

    def _said(self, pack: Pack, reading: Reading, who: str) -> str:
        full_wh, base_wh = pack.full_charge_wh, self._label_wh or pack.design_wh
        if reading.value is None or full_wh is None or base_wh is None:
            return f"{who}: {reading.reason}"
        whose = "design" if self._label_wh is None else "label"
        doubt = "" if reading.reason is None else f" In doubt: {reading.reason}"
        return (
            f"{who} reports that it holds {full_wh:.1f} Wh; its {whose} says {base_wh:.1f} Wh: "
            f"{reading.value:.0f} %.{doubt}"
        )

    def _claimed(self, pack: Pack) -> Reading:
        full_wh, full_doubt = known(pack, "full_charge_wh")
        design_wh, design_doubt = known(pack, "design_wh")
        base_wh = design_wh if self._label_wh is None else self._label_wh
        base_name = "design capacity" if self._label_wh is None else "label"
        source = f"{gauge_of(pack)}, the capacity that it reports as a share of the {base_name}"
        if full_wh is None:
            return unknown(Unit.PERCENT, source, full_doubt or "")
        if base_wh is None or base_wh <= 0:
            return unknown(Unit.PERCENT, source, design_doubt or "The battery reports no design capacity.")
        if full_wh == design_wh:
            reason = (
                "The gauge has not learned: it reports exactly the design capacity. "
                "Discharge and charge it fully once, then check again."
            )
            return unknown(Unit.PERCENT, source, reason)
        ratio = full_wh / base_wh
        doubt = full_doubt or (design_doubt if self._label_wh is None else None)
        if doubt is None and not bounds.FULL_OVER_DESIGN[0] <= ratio <= bounds.LEARNED_MAX:
            doubt = f"{full_wh:.1f} Wh of {base_wh:.1f} Wh cannot be right: restart the machine, read again."
        relative_u = rectangular(_GAUGE_HALF_WIDTH)
        # Where both were converted by one voltage, it cancels.
        if ("full_charge_wh" in pack.estimated) != (self._label_wh is None and "design_wh" in pack.estimated):
            relative_u = combine(relative_u, rectangular(_ESTIMATE_HALF_WIDTH))
        return Reading(
            value=100 * ratio,
            unit=Unit.PERCENT,
            standard_uncertainty=100 * ratio * relative_u,
            source=source,
            reason=doubt,
        )
