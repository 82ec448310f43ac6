"""Resistance from steps of the current: worked examples, a simulated pack, every step to be refused."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from verify.measure.assumed import Assumed
from verify.measure.point import Point
from verify.measure.resistance import Step, StepKind, StepRefusal, StepResistance

EXACT = Assumed(gain=0.0, offset_a=0.0)


def step_of(
    first: tuple[float, float],
    second: tuple[float, float],
    *,
    watch: StepResistance,
    before_s: float = 20.0,
    after_s: float = 10.0,
    every_s: float = 1.0,
    level: Callable[[float], float | None] = lambda _: 0.5,
    powered: tuple[bool | None, bool | None] = (False, False),
) -> StepResistance:
    """Feed a step from (A into the pack, V) to another."""
    t = 0.0
    while t <= before_s + after_s:
        late = t >= before_s
        current_a, voltage_v = second if late else first
        watch.see(
            Point(
                at_s=t,
                current_a=current_a,
                voltage_v=voltage_v,
                level=level(t),
                powered=powered[late],
                temperature_c=25.0,
            )
        )
        t += every_s
    return watch


@pytest.mark.parametrize(
    ("first", "second", "ohm"),
    [
        # A college physics problem on terminal voltage: emf 12.0 V, 11.5 V at 3.00 A.
        pytest.param((0.0, 12.0), (-3.0, 11.5), 0.1667, id="textbook-12V-3A"),
        # An open college physics text: emf 12.0 V, 0.100 Ω and 10.0 Ω outside give 1.188 A and 11.88 V
        # (numbers from memory).
        pytest.param((0.0, 12.0), (-12.0 / 10.1, 12.0 * 10.0 / 10.1), 0.100, id="textbook-10-ohm"),
        # IEC 61960-3, two levels: 11.90 V at 0.80 A, 11.55 V at 4.00 A.
        pytest.param((-0.80, 11.90), (-4.00, 11.55), 0.1094, id="two-levels"),
        # A published homework answer: 12.0 V open, 10.9 V across 10 Ω; "1.0 Ω".
        pytest.param((0.0, 12.0), (-1.09, 10.9), 1.01, id="homework-10-ohm"),
        pytest.param((-1.0, 11.2), (2.0, 11.8), 0.200, id="charger-in"),
        pytest.param((3.0, 12.3), (1.0, 12.0), 0.150, id="load-shared"),
    ],
)
def test_worked_examples(first: tuple[float, float], second: tuple[float, float], ohm: float) -> None:
    result = step_of(first, second, watch=StepResistance(capacity_ah=4.0, assumed=EXACT)).result()
    assert result.pack_mohm is not None
    assert result.pack_mohm.value == pytest.approx(1000 * ohm, rel=1e-3)
    assert result.pack_mohm.low < result.pack_mohm.value < result.pack_mohm.high
    assert result.steps == 1


def test_uncertainty_of_the_worked_example_is_that_of_its_steps() -> None:
    # 10 mV steps, currents exact: 0.408 × 10 mV / 3.2 A = 1.28 mΩ, and the doubt when the step was.
    watch = StepResistance(capacity_ah=4.0, resolution_a=0.0, resolution_v=0.010, assumed=EXACT)
    step_of((-0.80, 11.90), (-4.00, 11.55), watch=watch, every_s=0.25)
    (step,) = watch.steps
    moment = 0.03 * 0.35 * 0.125 / math.sqrt(3) / 3.2
    assert step.standard_uncertainty == pytest.approx(1000 * math.hypot(0.00128, moment), rel=0.01)


def test_the_gain_error_of_the_sensor_is_common_to_all_steps() -> None:
    watch = StepResistance(capacity_ah=4.0, resolution_a=0.0, resolution_v=0.0, assumed=Assumed(gain=0.03))
    step_of((-0.80, 11.90), (-4.00, 11.55), watch=watch, every_s=0.25)
    interval = watch.result().pack_mohm
    assert interval is not None
    assert interval.standard_uncertainty / interval.value == pytest.approx(0.03 / math.sqrt(3), rel=0.02)


def test_scaled_to_cells_in_series() -> None:
    result = step_of(
        (-0.8, 11.90), (-4.0, 11.55), watch=StepResistance(capacity_ah=4.0, cells=3, assumed=EXACT)
    ).result()
    assert result.pack_mohm is not None
    assert result.cell_mohm is not None
    assert result.cell_mohm.value == pytest.approx(result.pack_mohm.value / 3)


@pytest.mark.parametrize(
    ("powered", "kind"),
    [
        ((False, False), StepKind.LOAD),
        ((False, True), StepKind.CHARGER),
        ((True, False), StepKind.CHARGER),
        ((True, True), StepKind.SHARED),
        ((None, None), StepKind.UNKNOWN),
    ],
)
def test_what_made_the_step_is_told(powered: tuple[bool | None, bool | None], kind: StepKind) -> None:
    watch = step_of((-0.8, 11.90), (-4.0, 11.55), watch=StepResistance(capacity_ah=4.0), powered=powered)
    assert [step.kind for step in watch.steps] == [kind]


def refused(watch: StepResistance) -> StepRefusal:
    result = watch.result()
    assert result.pack_mohm is None
    assert result.cell_mohm is None
    (why,) = result.refused
    assert result.reason == str(why)
    return why


@pytest.mark.parametrize(
    ("step_a", "counts"), [(0.79, False), (0.80, True), (0.81, True)], ids=["below", "at", "above"]
)
def test_a_step_below_a_fifth_of_the_capacity_is_refused(step_a: float, *, counts: bool) -> None:
    watch = step_of((-0.5, 11.9), (-0.5 - step_a, 11.75), watch=StepResistance(capacity_ah=4.0))
    if counts:
        assert watch.result().steps == 1
    else:
        assert refused(watch) is StepRefusal.SMALL


@pytest.mark.parametrize(("level", "counts"), [(0.29, False), (0.30, True)])
def test_a_step_below_30_percent_is_refused(level: float, *, counts: bool) -> None:
    watch = step_of((-0.8, 11.9), (-4.0, 11.55), watch=StepResistance(capacity_ah=4.0), level=lambda _: level)
    if counts:
        assert watch.result().steps == 1
    else:
        assert refused(watch) is StepRefusal.LEVEL_LOW


@pytest.mark.parametrize(("moved", "counts"), [(0.02, False), (0.01, True)])
def test_a_level_that_moved_by_more_than_a_point_is_refused(moved: float, *, counts: bool) -> None:
    watch = step_of(
        (-0.8, 11.9),
        (-4.0, 11.55),
        watch=StepResistance(capacity_ah=4.0),
        level=lambda t: 0.5 if t < 20 else 0.5 - moved,
    )
    if counts:
        assert watch.result().steps == 1
    else:
        assert refused(watch) is StepRefusal.LEVEL_MOVED


def test_a_level_that_is_not_told_is_not_asked() -> None:
    watch = step_of((-0.8, 11.9), (-4.0, 11.55), watch=StepResistance(capacity_ah=4.0), level=lambda _: None)
    assert watch.result().steps == 1


def test_without_ten_quiet_seconds_before_it_is_refused() -> None:
    watch = step_of((-0.8, 11.9), (-4.0, 11.55), watch=StepResistance(capacity_ah=4.0), before_s=9.0)
    assert refused(watch) is StepRefusal.UNSTEADY_BEFORE


def test_a_restless_load_before_is_refused() -> None:
    watch, t = StepResistance(capacity_ah=4.0), 0
    for t in range(20):
        watch.see(Point(at_s=t, current_a=-1.0 - 0.39 * (t % 2), voltage_v=11.8))
    for late in range(10):
        watch.see(Point(at_s=t + 1 + late, current_a=-2.35, voltage_v=11.6))
    assert refused(watch) is StepRefusal.UNSTEADY_BEFORE


def test_a_current_that_goes_on_moving_is_refused() -> None:
    # A charger that ramps up by and by.
    watch = StepResistance(capacity_ah=4.0)
    for t in range(20):
        watch.see(Point(at_s=t, current_a=-1.0, voltage_v=11.6))
    for t in range(12):
        watch.see(Point(at_s=20 + t, current_a=-0.5 + 0.5 * t, voltage_v=11.6 + 0.06 * t))
    assert StepRefusal.UNSTEADY_AFTER in watch.result().refused
    assert watch.result().pack_mohm is None


def test_looks_that_stop_around_the_step_are_refused() -> None:
    watch = StepResistance(capacity_ah=4.0)
    for t in range(20):
        watch.see(Point(at_s=t, current_a=-0.8, voltage_v=11.9))
    watch.see(Point(at_s=20, current_a=-4.0, voltage_v=11.55))
    for t in range(40, 50):
        watch.see(Point(at_s=t, current_a=-4.0, voltage_v=11.5))
    assert refused(watch) is StepRefusal.LOOKS_MISSING


@pytest.mark.parametrize("second_v", [11.9, 12.1], ids=["stands", "rises"])
def test_a_voltage_that_does_not_follow_is_refused(second_v: float) -> None:
    watch = step_of((-0.8, 11.9), (-4.0, second_v), watch=StepResistance(capacity_ah=4.0))
    assert refused(watch) is StepRefusal.NO_FALL


def test_one_odd_look_is_no_step() -> None:
    watch = StepResistance(capacity_ah=4.0)
    for t in range(60):
        watch.see(Point(at_s=t, current_a=-4.0 if t == 30 else -0.8, voltage_v=11.9))
    result = watch.result()
    assert result.refused == {}
    assert result.reason == "The current made no step."


def test_looks_without_values_are_passed_over() -> None:
    watch = StepResistance(capacity_ah=4.0)
    for t in range(40):
        watch.see(Point(at_s=t, current_a=-0.8 if t < 20 else -4.0, voltage_v=11.9 if t < 20 else 11.55))
        watch.see(Point(at_s=t + 0.3, current_a=None, voltage_v=11.9))
        watch.see(Point(at_s=t + 0.4, current_a=math.nan, voltage_v=11.9))
    assert watch.result().steps == 1


def test_nothing_seen_is_unknown_with_its_reason() -> None:
    result = StepResistance(capacity_ah=4.0).result()
    assert result.pack_mohm is None
    assert result.reason == "The current made no step."


@dataclass(frozen=True)
class Gauge:
    """How a gauge tells: steps in A and V, time between looks, how often it looks, both values at once."""

    step_a: float
    step_v: float
    look_s: float = 1.0
    update_s: float = 0.0
    together: bool = True


class Told:
    """One value as the gauge tells it."""

    def __init__(self, update_s: float, phase: float, step: float) -> None:
        self._update_s, self._phase, self._step = update_s, phase, step
        self._slot = -1
        self._value = 0.0

    def __call__(self, t: float, value: float) -> float:
        slot = int((t + self._phase) / self._update_s) if self._update_s else self._slot + 1
        if slot != self._slot:
            self._slot, self._value = slot, round(value / self._step) * self._step
        return self._value


def simulated(
    dice: random.Random, gauge: Gauge, *, steps: int = 6
) -> tuple[StepResistance, Callable[[float], float]]:
    """Return what was seen of a pack R0 + R1C1 (5 to 20 s) + R2C2 (1 to 10 min), and its resistance.

    That is in mΩ, over the time since a step.
    """
    cells, capacity_ah = dice.choice([2, 3, 4]), dice.uniform(2.5, 6.0)
    r0 = cells * dice.uniform(0.03, 0.12)
    r1, tau1 = r0 * dice.uniform(0.2, 1.0), dice.uniform(5, 20)
    r2, tau2 = r0 * dice.uniform(0.2, 1.0), dice.uniform(60, 600)
    idle_a = dice.uniform(0.05, 0.15) * capacity_ah
    loaded_a = idle_a + dice.uniform(0.25, 0.9) * capacity_ah
    phase = dice.uniform(0, 10)
    amps = Told(gauge.update_s, phase, gauge.step_a)
    volts = Told(gauge.update_s, phase if gauge.together else dice.uniform(0, 10), gauge.step_v)
    watch = StepResistance(capacity_ah=capacity_ah, cells=cells)
    level, v1, v2, flicker = dice.uniform(0.4, 0.9), 0.0, 0.0, 0.0
    drawn_a, done, turn_s, look_s, dt = idle_a, 0, dice.uniform(20, 60), dice.uniform(0, 1), 0.1
    for k in range(10**6):
        t = k * dt
        if t >= turn_s:
            if done == steps:
                break
            done += 1
            drawn_a = loaded_a if done % 2 else idle_a
            turn_s = t + dice.uniform(12, 60)
        if k % 10 == 0:
            flicker = dice.gauss(0, 0.02)
        current_a = drawn_a * (1 + flicker)
        v1 += dt * (current_a * r1 - v1) / tau1
        v2 += dt * (current_a * r2 - v2) / tau2
        level -= current_a * dt / 3600 / capacity_ah
        told_a = amps(t, current_a)
        told_v = volts(t, cells * (3.4 + 0.7 * level) - current_a * r0 - v1 - v2)
        if t >= look_s:
            look_s += gauge.look_s
            watch.see(
                Point(at_s=t, current_a=-told_a, voltage_v=told_v, level=round(level, 2), powered=False)
            )

    def truth(scale_s: float) -> float:
        return 1000 * (r0 + r1 * (1 - math.exp(-scale_s / tau1)) + r2 * (1 - math.exp(-scale_s / tau2)))

    return watch, truth


FINE, COARSE = Gauge(0.001, 0.001), Gauge(0.010, 0.010)


@pytest.mark.parametrize(
    "gauge",
    [
        pytest.param(FINE, id="1mA-1mV"),
        pytest.param(COARSE, id="10mA-10mV"),
        pytest.param(Gauge(0.001, 0.001, update_s=2.0, together=False), id="apart-by-up-to-2s"),
        pytest.param(Gauge(0.010, 0.010, update_s=4.0, together=False), id="apart-by-up-to-4s"),
        pytest.param(Gauge(0.010, 0.010, look_s=3.0), id="a-look-every-3s"),
    ],
)
def test_within_a_tenth_of_the_truth_at_its_time_scale_in_95_of_100(gauge: Gauge) -> None:
    dice = random.Random(11)
    near, spans, packs = 0, 0, 120
    for _ in range(packs):
        watch, truth = simulated(dice, gauge)
        result = watch.result()
        assert result.pack_mohm is not None
        assert result.time_scale_s is not None
        true_mohm = truth(result.time_scale_s)
        near += abs(result.pack_mohm.value / true_mohm - 1) <= 0.10
        spans += result.pack_mohm.low <= true_mohm <= result.pack_mohm.high
    assert near / packs >= 0.95
    assert spans / packs >= 0.93


@pytest.mark.parametrize("gauge", [FINE, COARSE], ids=["1mA-1mV", "10mA-10mV"])
def test_a_single_step_is_within_a_tenth_too_and_its_uncertainty_is_honest(gauge: Gauge) -> None:
    dice = random.Random(12)
    steps: list[tuple[Step, float]] = []
    for _ in range(60):
        watch, truth = simulated(dice, gauge)
        steps += [(step, truth(step.time_scale_s)) for step in watch.steps]
    assert len(steps) > 300
    near = [abs(step.pack_mohm / true_mohm - 1) <= 0.10 for step, true_mohm in steps]
    assert sum(near) / len(near) >= 0.95
    within = [
        abs(step.pack_mohm - true_mohm) <= 1.96 * step.standard_uncertainty for step, true_mohm in steps
    ]
    assert 0.90 <= sum(within) / len(within) <= 0.995


@pytest.mark.parametrize("update_s", [8.0, 20.0])
def test_a_gauge_slower_than_5_s_gives_no_resistance(update_s: float) -> None:
    dice, known = random.Random(13), 0
    for _ in range(25):
        watch, _ = simulated(dice, Gauge(0.001, 0.001, update_s=update_s), steps=12)
        known += watch.result().pack_mohm is not None
    assert known <= 1


def test_the_same_in_the_tenth_hour_as_in_the_first() -> None:
    watch = StepResistance(capacity_ah=4.0)
    for t in range(36_000):
        on = (t // 30) % 2
        watch.see(Point(at_s=float(t), current_a=-0.8 - 2.0 * on, voltage_v=11.9 - 0.3 * on))
    assert len(watch.steps) == 64
    assert watch.result().pack_mohm is not None
    assert len(watch._before) <= 20
