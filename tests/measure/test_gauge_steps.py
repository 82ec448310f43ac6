"""The steps of a gauge and how often it tells its values, seen from the values alone."""

import random

import pytest

from verify.measure.gauge_steps import GaugeSteps


def seen(values: list[tuple[float, float]]) -> GaugeSteps:
    steps = GaugeSteps()
    for at_s, value in values:
        steps.see(at_s, value)
    return steps


@pytest.mark.parametrize("step", [0.001, 0.003, 0.010, 0.05])
def test_the_step_of_a_value_that_moves(step: float) -> None:
    dice = random.Random(1)
    steps = seen([(float(t), round(dice.gauss(2, 8 * step) / step) * step) for t in range(300)])
    assert steps.step == pytest.approx(step, rel=1e-6)


@pytest.mark.parametrize(("values", "step"), [((11.90, 11.55), 0.01), ((3.0, 2.0), 1.0), ((11.9, 11.5), 0.1)])
def test_few_values_tell_their_decimals(values: tuple[float, float], step: float) -> None:
    assert seen([(0.0, values[0]), (1.0, values[1])]).step == pytest.approx(step)


def test_a_computed_value_has_no_step() -> None:
    dice = random.Random(2)
    assert seen([(float(t), dice.random()) for t in range(100)]).step < 1e-3


def test_jumps_of_the_load_are_no_steps_of_the_gauge() -> None:
    steps = GaugeSteps()
    for t in range(200):
        steps.see(float(t), 1.0 + 2.5 * (t // 5 % 2), jump=True)
    assert steps.step == pytest.approx(0.1)
    assert steps.period_s is None


@pytest.mark.parametrize("period", [1, 4, 10, 30])
def test_how_often_a_value_is_told_anew(period: int) -> None:
    dice, values, value = random.Random(3), [], 0.0
    for t in range(60 * period):
        if t % period == 0:
            value = round(dice.gauss(2, 0.3), 3)
        values.append((float(t), value))
    assert seen(values).period_s == period


def test_a_value_that_drifts_across_a_step_now_and_then_tells_no_period() -> None:
    assert seen([(float(t), round(12.0 - t / 3000, 2)) for t in range(1200)]).period_s is None
