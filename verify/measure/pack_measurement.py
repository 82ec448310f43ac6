"""A pack measured while it charges, and as a check of its own while it runs down: the whole of it, online.

It puts together what the other modules compute: charge counted since the level was known best (`legs`), the
end of the charge (`full`), the charge still to come in the taper, the capacity with its interval
(`capacity`), and what the gauge shows of itself (`gauge`). It decides in this order: (1) which start and end
are taken; (2) the capacity; (3) whether the gauge tells the truth; (4) what the cheapest further test is.

A gauge is boastful where the capacity, measured without its word for the level, is surely (95 %, one-sided)
below 95 % of its claim, or where a lie showed itself; truthful where the capacity is surely above 90 % of the
claim and the start is proven; else undecided [limits: common practice, no source].
"""

import math

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.capacity import EndHow, StartLevel
from verify.measure.cells import NOMINAL_CELL_V, cells_in_series
from verify.measure.charge_count import ChargeCount
from verify.measure.coverage import ONE_SIDED
from verify.measure.current_sense import CurrentSense
from verify.measure.decide_time import expected_doubt, minutes_to_decide
from verify.measure.gauge import BOAST, GaugeWatch
from verify.measure.gauge_signs import CLAIMS_ONLY, DOUBTFUL, DRAIN, GaugeFinding, GaugeSign, claims_alone
from verify.measure.interval import Interval
from verify.measure.measured import Gauge, Measured, uncounted
from verify.measure.open_circuit import charge_end_v, not_covered
from verify.measure.pack_spans import PackSpans
from verify.measure.phases import Phases
from verify.measure.point import Point
from verify.measure.resistance import StepResistance
from verify.measure.spans import Span, reported
from verify.measure.taper import time_left
from verify.measure.voltage_level import VoltageLevel

__all__ = ["Gauge", "Measured", "PackMeasurement"]

TRUTHFUL = 0.90
"""A capacity surely above this share of the claim is what was claimed."""

_LEAST_LEVEL = 0.05  # below it no claim follows from a level in whole per cents


_CHARGE_ON = "Let it charge on to the end."
_LOW_REST = (
    "Run it down to 3.1 V a cell or less, let it rest for 10 minutes, then charge it to full in one go."
)
_METER = (
    "Put an inline meter into the charger's lead, run the machine down, charge it and enter the watt-hours."
)


class PackMeasurement:
    """The measurement, look by look.

    design_wh, design_voltage_v: as the pack says. claimed_wh: full capacity as the gauge says it; claimed_ah:
    the same where it counts in Ah, and then that is compared. label_wh: printed. cells: in series; from the
    design voltage where None. technology: as the pack names it. start: a start level proven from outside, for
    the first look. Every figure may be None. assumed: the errors.
    """

    def __init__(
        self,
        *,
        assumed: Assumed = ASSUMED,
        design_wh: float | None = None,
        design_voltage_v: float | None = None,
        claimed_wh: float | None = None,
        claimed_ah: float | None = None,
        label_wh: float | None = None,
        cells: int | None = None,
        technology: str | None = None,
        start: StartLevel | None = None,
    ) -> None:
        self._assumed = assumed
        self._label_wh = label_wh
        self._claimed_wh, self._claimed_ah = _positive(claimed_wh), _positive(claimed_ah)
        self._claim_given = self._claimed_wh is not None or self._claimed_ah is not None
        self._claimed_at = _LEAST_LEVEL
        self._cells = cells_in_series(design_voltage_v) if cells is None else cells
        self._design_cell_v = None if design_voltage_v is None else design_voltage_v / (self._cells or 1)
        nominal_v = _positive(design_voltage_v)
        if nominal_v is None and self._cells is not None:
            nominal_v = self._cells * NOMINAL_CELL_V
        self._nominal_v = nominal_v
        self._charged_to_v = charge_end_v(self._design_cell_v if self._cells else None)
        self._scale_ah = self._in_ah(claimed_wh, claimed_ah)
        told_cells = None if not_covered(technology) else self._cells
        volts = None
        if told_cells is not None:
            volts = VoltageLevel(
                cells=told_cells,
                claimed_ah=self._scale_ah,
                charged_to_v=self._charged_to_v,
                assumed=assumed,
            )
        self._volts = volts
        self._gauge = GaugeWatch(
            claimed_ah=self._scale_ah,
            cells=told_cells,
            charged_to_v=self._charged_to_v,
            assumed=assumed,
        )
        self._alone = claims_alone(
            design_wh=design_wh,
            claimed_wh=claimed_wh,
            design_cell_v=self._design_cell_v if self._cells else None,
        )
        self._whole = ChargeCount(nominal_v=nominal_v)
        self._steps = StepResistance(capacity_ah=self._scale_ah, cells=self._cells, assumed=assumed)
        self._spans = PackSpans(
            whole=self._whole,
            steps=self._steps,
            scale_ah=self._scale_ah,
            start=start,
            volts=volts,
            nominal_v=nominal_v,
            cells=self._cells,
            charged_to_v=self._charged_to_v,
            assumed=assumed,
        )
        self._sense = CurrentSense(scale_ah=self._scale_ah, cells=self._cells)
        self._last: Point | None = None
        self._looks = 0
        self._told = False

    def _in_ah(self, wh: float | None, ah: float | None) -> float | None:
        if ah is not None and ah > 0:
            return ah
        if wh is None or wh <= 0 or self._nominal_v is None:
            return None
        return wh / self._nominal_v

    def see(self, point: Point) -> None:
        """Take in one look. One whose time does not rise is passed over."""
        if self._last is not None and not point.at_s > self._last.at_s:
            self._whole.see(point)
            return
        self._looks += 1
        self._last = point
        self._whole.see(point)
        if self._whole.after_gap:
            self._gauge.unseen()
        told = point.current_a is not None or point.power_w is not None
        self._told = self._told or told
        current_a = self._whole.current_a if told else None
        self._infer_claim(point)
        self._sense.see(point, current_a)
        self._gauge.see(point, self._whole.net_ah, current_a)
        derived = point.current_a is None and current_a is not None
        self._steps.see(msgspec.structs.replace(point, current_a=current_a) if derived else point)
        self._spans.see(point, current_a)

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look, however short: it is bridged as a gap."""
        self._whole.unseen()
        self._sense.unseen()
        self._steps.unseen()
        self._spans.unseen()

    def broken(self) -> None:
        """Say that nobody looked before the next look, for a time that is not known.

        Nothing is bridged: every count begins anew with it. What was measured before stays.
        """
        self._whole = ChargeCount(nominal_v=self._nominal_v)
        self._sense.unseen()
        self._steps.unseen()
        self._gauge.unseen()
        self._spans.broken(self._whole)

    def _infer_claim(self, point: Point) -> None:
        """Take the claim from the energy that is left and the level, where nobody gave it."""
        if self._claim_given:
            return
        left_wh, level = point.remaining_wh, point.level
        if left_wh is None or level is None or not (level >= self._claimed_at and 0 < left_wh < math.inf):
            return
        # At its highest level, where rounding is least.
        self._claimed_at, self._claimed_wh = level, left_wh / level
        self._scale_ah = self._in_ah(self._claimed_wh, None)
        self._gauge.claim(self._scale_ah)

    @property
    def steps(self) -> StepResistance:
        """The resistance from the steps of the current, and each step."""
        return self._steps

    @property
    def phases(self) -> Phases:
        """The phases so far."""
        return self._spans.end.phases

    @property
    def reached_full(self) -> bool:
        """Whether a charge ended while it was watched."""
        return self._spans.reached_full

    @property
    def ended_low_v(self) -> float | None:
        """The voltage of a cell, in V, at which a charge ended that did not go up to full; else None."""
        return self._spans.low_cell_v if self.reached_full else None

    def result(self) -> Measured:
        """Return what is known now; costs some milliseconds."""
        nonsense = self._sense.nonsense
        if nonsense is not None:
            return uncounted(nonsense, next_step=_METER, findings=self._alone, reached_full=self.reached_full)
        findings = (*self._alone, *self._gauge.findings())
        if self.ended_low_v is not None:
            # Where a limit ends the charge, a level that leaps to 100 % is told of the limit.
            findings = tuple(
                msgspec.structs.replace(one, shows_lie=False) if one.sign is GaugeSign.FALSE_COUNT else one
                for one in findings
            )
        # A gauge whose level was caught is not asked for it where the count ends; one that only claims too
        # much may tell its level right.
        lies = any(one.shows_lie and one.sign not in CLAIMS_ONLY for one in findings)
        spans = [one for one in self._spans.all() if not (lies and one.end.how is EndHow.GAUGE)]
        fall = [one for one in spans if one.counted.net_ah <= 0]
        taken = reported(spans, doubtful=any(one.sign in DOUBTFUL for one in findings))
        least_ah, least_wh = self._spans.least()
        verdict = self._verdict(spans, findings)
        ratio = None if taken is None else self._claimed_ratio(taken.ah, taken.wh)
        label = None
        if taken is not None and taken.wh is not None and self._label_wh is not None and self._label_wh > 0:
            label = taken.wh.scaled(1 / self._label_wh)
        return Measured(
            capacity_ah=None if taken is None else taken.ah,
            capacity_wh=None if taken is None else taken.wh,
            why_not=self._why_not(taken),
            least_ah=least_ah,
            least_wh=least_wh,
            start=None if taken is None else taken.start,
            end=None if taken is None else taken.end,
            counted=self._whole.result() if taken is None else taken.counted,
            reached_full=self.reached_full,
            fall_ah=fall[0].ah if fall else None,
            claimed_ratio=ratio,
            label_ratio=label,
            verdict=verdict,
            findings=findings,
            next_step=self._next_step(taken, verdict),
            sure_wh=None if taken is None else taken.wh_sure,
        )

    def _claimed_ratio(self, ah: Interval | None, wh: Interval | None) -> Interval | None:
        if self._claimed_ah is not None:
            return None if ah is None else ah.scaled(1 / self._claimed_ah)
        if self._claimed_wh is None or wh is None:
            return None
        return wh.scaled(1 / self._claimed_wh)

    def _verdict(self, spans: list[Span], findings: tuple[GaugeFinding, ...]) -> Gauge:
        sure = [
            (one, ratio)
            for one in spans
            if one.without_gauge and (ratio := self._claimed_ratio(one.ah_sure, one.wh_sure)) is not None
        ]
        if any(ratio.high < BOAST for _, ratio in sure):
            return Gauge.BOASTFUL
        proven = any(ratio.low > TRUTHFUL for one, ratio in sure if one.start.proven)
        least = self._claimed_ratio(*self._spans.least(ONE_SIDED))
        if proven or (least is not None and least.low > TRUTHFUL):
            return Gauge.TRUTHFUL
        # A leap after a start that was told too low looks like a lie: what was counted speaks against that.
        if any(one.shows_lie for one in findings) and all(ratio.value < BOAST for _, ratio in sure):
            return Gauge.BOASTFUL
        return Gauge.UNDECIDED

    def decides(self, limit_wh: float) -> bool | None:
        """Return whether the pack surely holds `limit_wh` or more; None while it cannot be told.

        True and False are each wrong in at most 5 %. Only spans that do not hang on the gauge count, and what
        went in.
        """
        if not self._spans.may_decide(limit_wh) or self._sense.nonsense is not None:
            return None
        _, least = self._spans.least(ONE_SIDED)
        if least is not None and least.low >= limit_wh:
            return True
        for span in self._spans.all():
            if not span.without_gauge or span.wh_sure is None:
                continue
            if span.start.proven and span.wh_sure.low >= limit_wh:
                return True
            if span.wh_sure.high < limit_wh:
                return False
        return None

    def next_test(self, limit_wh: float) -> str:
        """Return the cheapest further test of whether it holds `limit_wh`; "" once that is decided."""
        if self.decides(limit_wh) is not None:
            return ""
        measured = self.result()
        return measured.next_step or (_METER if self.reached_full else _CHARGE_ON)

    def minutes_to_decide(self, limit_wh: float) -> Interval | None:
        """Return the minutes until `decides` is likely to answer, with a band; 0 once it does.

        None where the level or the rate is not known, or where this charge is not likely to decide it.
        """
        if self.decides(limit_wh) is not None:
            return Interval(value=0.0, low=0.0, high=0.0)
        last, current_a = self._last, self._whole.current_a
        if self.reached_full or last is None or last.level is None or not current_a or current_a <= 0:
            return None
        # The mean voltage of what is to come, not that of an empty pack now.
        volts = self._nominal_v or last.voltage_v
        if volts is None or not 0 <= last.level <= 1:
            return None
        expected_wh = (
            self._label_wh or self._claimed_wh or (self._claimed_ah or 0.0) * (self._nominal_v or 0.0)
        )
        legs = [
            one for one in (self._spans.rise.without_gauge, self._spans.rise.with_gauge) if one is not None
        ]
        free = [one for one in legs if one.start.without_gauge]
        if not free or expected_wh <= 0:
            return None
        start = free[0].start
        counted = free[0].count.result()
        scale_ah = self._scale_ah or expected_wh / volts
        left_s = self._spans.end.left_s(about_ah=scale_ah, level=last.level)
        return minutes_to_decide(
            limit_wh=limit_wh,
            expected_wh=expected_wh,
            level=last.level,
            rate_w=current_a * volts,
            doubt=expected_doubt(start.level, start.half_width, assumed=self._assumed),
            went_in_wh=(counted.net_wh or 0.0) if counted is not None else 0.0,
            to_full_s=left_s or time_left(last.level, current_a / scale_ah),
            assumed=self._assumed,
        )

    def _why_not(self, taken: Span | None) -> str:
        if taken is not None:
            return "" if taken.wh is not None else "The pack tells no voltage, and its cells are not known."
        counted = self._whole.result()
        if self._told and (self._looks < 2 or counted is None):
            return "Nothing was counted: it was not watched for long enough."
        if counted is None:
            return "Nothing was counted: the pack tells no current and no power."
        if counted.source is None:
            return "The pack tells power but no voltage, and its nominal voltage is not known."
        if self._spans.rise.without_gauge is None and self._spans.rise.with_gauge is None:
            return "Neither its gauge nor its voltage tells how full it was at the start."
        return "Too little went in or out so far."

    def _next_step(self, taken: Span | None, verdict: Gauge) -> str:
        counted = self._whole.result()
        if counted is None and self._told:
            return DRAIN
        if counted is None or counted.source is None:
            return _METER
        if verdict is Gauge.TRUTHFUL:
            return ""
        if not self.reached_full and (taken is None or taken.counted.net_ah > 0):
            last = self._last
            if last is not None and last.powered is False:
                return "Plug in the charger and let it charge to the end."
            return _CHARGE_ON
        if verdict is Gauge.BOASTFUL:
            return ""
        if taken is None or not taken.start.proven:
            return DRAIN if self._volts is None else _LOW_REST
        return _METER


def _positive(value: float | None) -> float | None:
    return value if value is not None and 0 < value < math.inf else None
