"""Resistance of a pack from steps of its current: (V1 − V2)/(I2 − I1), in the manner of IEC 61960-3.

The standard's two-level method discharges at 0.2 It for 10 s, reads, goes to 1.0 It at once and reads after
1 s. A laptop offers other steps: load on and off on battery, charger in and out, load shared while
charging. The voltage that a step is read at decides the figure (what a cell does not drop at once it drops
over seconds and minutes), so each one stands with its time scale.

A step, in this order: (1) the current leaves what it was; (2) the samples in which it does so are ignored;
(3) the readings at a fixed delay are kept; (4) it is refused where the conditions do not hold; (5) medians
before and after give the resistance, the steps of the gauge and the spread its uncertainty. `result` joins
the steps.
"""

import math
from collections import Counter, deque
from collections.abc import Mapping
from enum import StrEnum
from statistics import fmean, median

import msgspec

from verify.measure.assumed import ASSUMED, Assumed
from verify.measure.gauge_steps import GaugeSteps
from verify.measure.interval import COVERS_95, Interval
from verify.measure.point import Point
from verify.measure.step_reckoning import Look, Step, StepKind, Told, reckon
from verify.measure.uncertainty import combine, rectangular

__all__ = ["Resistance", "Step", "StepKind", "StepRefusal", "StepResistance"]

LEAST_STEP_C = 0.2
"""A smaller step drowns in the gauge's own [common practice, no source]."""

LEAST_LEVEL = 0.30
"""Below it the resistance itself climbs [common practice, no source]."""

MOST_LEVEL_MOVED = 0.01
"""The open-circuit voltage moves with the level [common practice, no source]."""

LONGEST_PERIOD_S = 5.0
"""A gauge that tells its values less often does not show when the step was [common practice, no source]."""

STEADY_BEFORE_S = 10.0
"""The first level of the two-level method lasts 10 s [IEC 61960-3]."""

_LEAST_STEP_A = 0.5  # where the capacity is unknown: 0.2 C of a small laptop pack [common practice]
_NOTICED = 0.5  # a jump of half the least step is looked at, and refused by name
_STEADY = 0.15  # the spread of the current, as a share of the step [common practice, no source]
_FINEST_S = 0.25  # looks that follow closer say nothing new
_SETTLING_S = 2.0  # at least so long from the step to the first reading that counts
_READING_S = 2.0  # at least so long are readings taken
_KEPT_STEPS = 64


class StepRefusal(StrEnum):
    """Why a step gives no resistance."""

    SMALL = "The current changed by less than 0.2 C."
    LEVEL_LOW = "The level was below 30 %."
    LEVEL_MOVED = "The level moved by more than 1 %."
    SLOW_GAUGE = "The gauge tells its values less often than every 5 s."
    UNSTEADY_BEFORE = "The current was not steady for 10 s before."
    UNSTEADY_AFTER = "The current was not steady after it."
    LOOKS_MISSING = "Looks were missing around it."
    NO_FALL = "The voltage did not follow the current."


class Resistance(msgspec.Struct, frozen=True, kw_only=True):
    """What all steps say together; the intervals hold the gain error of the current sensor too.

    pack_mohm: None where no step counts, and then `reason` says why. cell_mohm: of each cell in series;
    None where their number is unknown too. time_scale_s: the mean. steps: how many count. refused: how
    often, and why.
    """

    pack_mohm: Interval | None = None
    cell_mohm: Interval | None = None
    time_scale_s: float | None = None
    steps: int = 0
    refused: Mapping[StepRefusal, int] = {}
    reason: str | None = None


class StepResistance:
    """Find the steps in a watch, look by look.

    capacity_ah: what C is reckoned from; where unknown a step of 0.5 A counts. cells: in series.
    resolution_a, resolution_v: the steps of the gauge, 0 or more; where None they are seen from its values.
    """

    def __init__(
        self,
        *,
        capacity_ah: float | None = None,
        cells: int | None = None,
        resolution_a: float | None = None,
        resolution_v: float | None = None,
        assumed: Assumed = ASSUMED,
    ) -> None:
        self._least_a = _LEAST_STEP_A if capacity_ah is None else LEAST_STEP_C * capacity_ah
        self._cells = cells
        self._steps_a, self._steps_v = GaugeSteps(), GaugeSteps()
        self._resolution_a, self._resolution_v = resolution_a, resolution_v
        self._assumed = assumed
        self._before: deque[Look] = deque()
        self._after: list[Look] | None = None
        self._steady_a = 0.0
        self._found: deque[Step] = deque(maxlen=_KEPT_STEPS)
        self._refused: Counter[StepRefusal] = Counter()

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps that count, the latest 64."""
        return tuple(self._found)

    def see(self, point: Point) -> None:
        """Take in a look; one without current or voltage, or that follows within 0.25 s, is passed over."""
        current_a, voltage_v = point.current_a, point.voltage_v
        if current_a is None or voltage_v is None or not math.isfinite(current_a + voltage_v):
            return
        at_s = point.at_s
        before = self._after or self._before
        if before:
            passed_s = at_s - before[-1].at_s
            if passed_s < _FINEST_S and passed_s >= 0:
                return
            if not 0 < passed_s <= STEADY_BEFORE_S:
                self.unseen()
        look = Look(at_s, current_a, voltage_v, point.level, point.powered, point.temperature_c)
        # (1)
        jump = bool(self._before) and abs(current_a - self._steady_a) > _NOTICED * self._least_a
        self._steps_a.see(at_s, current_a, jump=jump)
        self._steps_v.see(at_s, voltage_v, jump=jump or self._after is not None)
        if self._after is not None:
            self._follow(look)
        elif jump:
            self._after = [look]
        else:
            self._settle(look)

    def _settle(self, look: Look) -> None:
        before = self._before
        if not before:
            self._steady_a = look.current_a
        before.append(look)
        self._steady_a += 0.2 * (look.current_a - self._steady_a)
        while len(before) > 2 and before[1].at_s < look.at_s - STEADY_BEFORE_S - LONGEST_PERIOD_S:
            before.popleft()

    def unseen(self) -> None:
        """Say that nobody saw the time up to the next look: no step goes across it."""
        if self._after is not None:
            self._refuse(StepRefusal.LOOKS_MISSING)
        self._after = None
        self._before.clear()

    def _refuse(self, why: StepRefusal) -> None:
        self._refused[why] += 1

    def _look_s(self) -> float:
        looks = self._before
        return (looks[-1].at_s - looks[0].at_s) / (len(looks) - 1) if len(looks) > 1 else 1.0

    def _period_s(self) -> float:
        """Return the time between values told anew, or between looks where that is longer or unknown."""
        period_s = self._look_s()
        for steps in (self._steps_v, self._steps_a):
            if steps.period_s is not None:
                return max(period_s, steps.period_s)
        return period_s

    def _follow(self, look: Look) -> None:
        assert self._after is not None
        after = self._after
        after.append(look)
        period_s = min(max(self._period_s(), 1.0), LONGEST_PERIOD_S)
        # (2) and (3): both values have been told anew once the period has passed; twice that to be sure.
        from_s = after[0].at_s + max(_SETTLING_S, 2 * period_s)
        if look.at_s < from_s + max(_READING_S, period_s) - 1e-6:
            return
        readings = [one for one in after if one.at_s >= from_s - 1e-6]
        self._judge(after, readings)
        self._before.clear()
        self._after = None
        for one in readings:
            self._settle(one)

    def _judge(self, after: list[Look], readings: list[Look]) -> None:
        before = tuple(self._before)
        start_a = median(one.current_a for one in before[-6:])
        step_a = median(one.current_a for one in readings) - start_a
        if abs(step_a) < _NOTICED * self._least_a:
            # It came back at once: nothing that was held for a reading.
            return
        # (4)
        why = self._why_not(before, readings, step_a)
        if why is not None:
            self._refuse(why)
            return
        # (5)
        told = Told(
            step_a=self._step_a,
            step_v=self._step_v,
            look_s=self._look_s(),
            period_s=min(self._period_s(), LONGEST_PERIOD_S),
        )
        step = reckon(before, after, readings, told=told)
        if step is None:
            self._refuse(StepRefusal.NO_FALL)
            return
        self._found.append(step)

    def _why_not(self, before: tuple[Look, ...], readings: list[Look], step_a: float) -> StepRefusal | None:
        last, least_a = before[-1], self._least_a * (1 - 1e-9)
        steady = [one.current_a for one in before if one.at_s >= last.at_s - STEADY_BEFORE_S]
        levels = before[0].level, readings[-1].level
        allowed_a = max(_STEADY * abs(step_a), 1.01 * self._step_a)
        told = [one.level for one in (last, readings[-1]) if one.level is not None]
        moved = levels[0] is not None and levels[1] is not None and abs(levels[1] - levels[0])
        refusals = (
            (StepRefusal.SLOW_GAUGE, self._period_s() > LONGEST_PERIOD_S),
            (StepRefusal.SMALL, abs(step_a) < least_a),
            (StepRefusal.LEVEL_LOW, bool(told) and min(told) < LEAST_LEVEL),
            (StepRefusal.LEVEL_MOVED, moved > MOST_LEVEL_MOVED + 1e-9),
            (
                StepRefusal.UNSTEADY_BEFORE,
                last.at_s - before[0].at_s < STEADY_BEFORE_S - 1e-6 or _spread(steady) > allowed_a,
            ),
            (StepRefusal.UNSTEADY_AFTER, _spread([one.current_a for one in readings]) > allowed_a),
        )
        return next((why for why, holds in refusals if holds), None)

    @property
    def _step_a(self) -> float:
        return self._steps_a.step if self._resolution_a is None else self._resolution_a

    @property
    def _step_v(self) -> float:
        return self._steps_v.step if self._resolution_v is None else self._resolution_v

    def result(self) -> Resistance:
        """Return the mean of the steps, each weighed by its uncertainty, and what was refused.

        Where they scatter more than their uncertainties explain, the scatter counts (Birge ratio: Birge,
        Phys. Rev. 40, 1932). The gain error of the current sensor is common to all steps.
        """
        refused = dict(self._refused)
        steps = self.steps
        if steps and self._period_s() > LONGEST_PERIOD_S:
            # The first steps came before the gauge had shown how slow it is.
            refused[StepRefusal.SLOW_GAUGE] = refused.get(StepRefusal.SLOW_GAUGE, 0) + len(steps)
            steps = ()
        if not steps:
            commonest = max(refused, key=lambda why: refused[why], default=None)
            reason = "The current made no step." if commonest is None else str(commonest)
            return Resistance(refused=refused, reason=reason)
        weights = [1 / max(step.standard_uncertainty, 1e-3 * step.pack_mohm) ** 2 for step in steps]
        total = sum(weights)
        pairs = tuple(zip(weights, steps, strict=True))
        value = sum(weight * step.pack_mohm for weight, step in pairs) / total
        scatter = sum(weight * (step.pack_mohm - value) ** 2 for weight, step in pairs)
        birge = math.sqrt(scatter / (len(steps) - 1)) if len(steps) > 1 else 1.0
        half = COVERS_95 * combine(
            max(1.0, birge) / math.sqrt(total), value * rectangular(self._assumed.gain)
        )
        pack = Interval(value=value, low=max(0.0, value - half), high=value + half)
        return Resistance(
            pack_mohm=pack,
            cell_mohm=None if self._cells is None else pack.scaled(1 / self._cells),
            time_scale_s=sum(weight * step.time_scale_s for weight, step in pairs) / total,
            steps=len(steps),
            refused=refused,
        )


def _spread(values: list[float]) -> float:
    """Return the standard deviation about the median."""
    if len(values) < 2:
        return 0.0
    middle = median(values)
    return math.sqrt(fmean((value - middle) ** 2 for value in values))
