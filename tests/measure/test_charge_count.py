"""Counting charge over uneven looks, against worked examples, SciPy and simulation."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from verify.measure.charge_count import MOST_GAPS, ChargeCount, Counted
from verify.measure.point import Point


def _counted(points: list[Point], *, nominal_v: float | None = None) -> Counted:
    count = ChargeCount(nominal_v=nominal_v)
    for point in points:
        count.see(point)
    result = count.result()
    assert result is not None
    return result


def test_worked_example_of_a_falling_current() -> None:
    # z(t) = z0 + (1/Q) ∫ I dt by trapezoids: 2.0, 1.5, 1.0, 0.5 A at 0, 600, 1200, 1800 s is 0.625 Ah.
    got = _counted([Point(at_s=600.0 * i, current_a=2.0 - 0.5 * i) for i in range(4)])
    assert got.in_ah == pytest.approx(0.625)
    assert got.out_ah == 0
    assert got.source == "current"
    assert got.in_wh is None, "no voltage was told"


def test_iso_12405_note_one_percent_in_108_seconds() -> None:
    # A published note in ISO 12405: 108 s of discharge at C/3 is 1 % of the charge.
    got = _counted([Point(at_s=float(t), current_a=-5.0 / 3) for t in range(0, 109, 4)])
    assert -got.net_ah / 5.0 == pytest.approx(0.01)


@given(st.lists(st.tuples(st.floats(0.1, 20), st.floats(-5, 5), st.floats(8, 17)), min_size=3, max_size=40))
def test_sums_agree_with_scipy(rows: list[tuple[float, float, float]]) -> None:
    at, times = 0.0, []
    for step, _, _ in rows:
        at += step
        times.append(at)
    points = [Point(at_s=t, current_a=i, voltage_v=v) for t, (_, i, v) in zip(times, rows, strict=True)]
    got = _counted(points)
    charge = integrate.trapezoid([i for _, i, _ in rows], times) / 3600
    energy = integrate.trapezoid([i * v for _, i, v in rows], times) / 3600
    assert got.net_ah == pytest.approx(charge, abs=1e-9)
    assert got.net_wh == pytest.approx(energy, abs=1e-9)
    squared, _ = integrate.quad(
        lambda t: float(_between(t, times, [i for _, i, _ in rows])) ** 2,
        times[0],
        times[-1],
        points=times[1:-1],
        limit=200,
    )
    assert got.squared_a2h * 3600 == pytest.approx(squared, rel=1e-5, abs=1e-6)


def _between(t: float, times: list[float], values: list[float]) -> float:
    for i in range(len(times) - 1):
        if times[i] <= t <= times[i + 1]:
            share = (t - times[i]) / (times[i + 1] - times[i])
            return values[i] + share * (values[i + 1] - values[i])
    return values[-1]


def test_current_from_power_and_voltage_is_said() -> None:
    got = _counted([Point(at_s=10.0 * i, power_w=30.0, voltage_v=12.0) for i in range(7)])
    assert got.in_ah == pytest.approx(2.5 / 60)
    assert got.in_wh == pytest.approx(0.5)
    assert got.source == "power and voltage"
    assert got.extra_gain == 0


def test_power_alone_is_charge_only_at_a_nominal_voltage_and_with_an_error() -> None:
    points = [Point(at_s=10.0 * i, power_w=30.0) for i in range(7)]
    alone = _counted(points)
    assert alone.source is None
    assert alone.in_wh == pytest.approx(0.5)
    nominal = _counted(points, nominal_v=11.4)
    assert nominal.source == "power at a nominal voltage"
    assert nominal.in_ah == pytest.approx(30 / 11.4 / 60)
    assert nominal.extra_gain > 0.05


def test_jump_inside_a_step_is_covered_by_its_sampling_error() -> None:
    # A load that jumps between 0.5 and 2.0 A at random moments, looked at every 5 s.
    draw = random.Random(1)
    misses = []
    for _ in range(400):
        times = sorted(draw.uniform(0, 900) for _ in range(30))
        values = [0.5 if i % 2 else 2.0 for i in range(31)]

        def current(t: float, times: list[float] = times, values: list[float] = values) -> float:
            return values[sum(one <= t for one in times)]

        edges = [0.0, *times, 900.0]
        truth = sum((edges[i + 1] - edges[i]) * values[i] for i in range(31)) / 3600
        got = _counted([Point(at_s=5.0 * i, current_a=current(5.0 * i)) for i in range(181)])
        misses.append((got.in_ah - truth) / got.sampling_ah)
    spread = math.sqrt(sum(one * one for one in misses) / len(misses))
    # Two jumps in one step cancel in the looks: a little more error than the looks can tell.
    assert 0.9 < spread < 1.25


def test_gap_is_bridged_listed_and_paid_for() -> None:
    points = [Point(at_s=float(t), current_a=2.0) for t in (*range(60), *range(660, 720))]
    got = _counted(points)
    # Half of what flowed before and after: it may have slept, and charged all the time or not at all.
    assert got.in_ah == pytest.approx((2.0 * 118 + 1.0 * 601) / 3600)
    assert got.bridged_s == pytest.approx(601)
    assert [(one.start_s, one.length_s) for one in got.gaps] == [(59.0, 601.0)]
    # 90 % of the half-width, a one-sided 95 % bound: both ends are as likely as what is between.
    assert [0.90 * one for one in got.gaps_ah] == pytest.approx([1.0 * 601 / 3600])


@pytest.mark.parametrize(
    ("before_a", "after_a", "least_as", "most_as"),
    [
        pytest.param(-0.6, 2.0, -0.6 * 240, 2.0 * 60, id="shut down, then charged"),
        pytest.param(0.0, 2.0, 0.0, 2.0 * 60, id="at rest, then charged"),
        pytest.param(2.0, 1.0, 0.0, 2.0 * 240, id="asleep on the charger"),
        pytest.param(-0.6, -1.0, -1.0 * 240, 0.0, id="asleep on battery"),
        pytest.param(2.0, -1.0, -1.0 * 240, 2.0 * 240, id="charger pulled meanwhile"),
    ],
)
def test_gap_holds_all_that_may_have_flowed_and_no_more(
    before_a: float, after_a: float, least_as: float, most_as: float
) -> None:
    looks = [(float(t), before_a) for t in range(60)] + [(299.0 + t, after_a) for t in range(60)]
    plain = (before_a + after_a) * 59 / 3600
    got = _counted([Point(at_s=at_s, current_a=amps) for at_s, amps in looks])
    middle, half = got.net_ah - plain, 0.90 * got.gaps_ah[0]
    assert 3600 * (middle - half) == pytest.approx(least_as, abs=1e-6)
    assert 3600 * (middle + half) == pytest.approx(most_as, abs=1e-6)


def test_looks_missed_in_a_steady_charge_are_taken_as_charge() -> None:
    # No machine sleeps for a minute only: half of it would be lost each time, always to one side.
    points = [Point(at_s=100.0 * i + j, current_a=2.0) for i in range(30) for j in range(40)]
    assert _counted(points).in_ah == pytest.approx(2.0 * points[-1].at_s / 3600)


def test_many_gaps_are_all_counted_and_few_are_kept() -> None:
    points = [Point(at_s=100.0 * i + j, current_a=1.0) for i in range(50) for j in range(5)]
    got = _counted(points)
    assert got.gap_count == 49
    assert len(got.gaps) == MOST_GAPS
    assert len(got.gaps_ah) == 3
    # 46 rectangles of 96 s at 1 A, as one normal error.
    assert got.sampling_ah == pytest.approx(math.sqrt(46 / 3) * 96 / 3600)


def test_even_slow_log_has_no_gaps() -> None:
    got = _counted([Point(at_s=60.0 * i, current_a=1.0) for i in range(100)])
    assert got.gap_count == 0
    assert got.gaps_ah == ()


def test_value_that_goes_missing_leaves_a_longer_step() -> None:
    points = [Point(at_s=float(i), current_a=None if 20 <= i < 80 else 1.0) for i in range(100)]
    got = _counted(points)
    assert got.gap_count == 1
    assert got.bridged_s == pytest.approx(61)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_counts_as_not_told(bad: float) -> None:
    good = [Point(at_s=float(i), current_a=1.0, voltage_v=12.0) for i in range(10)]
    broken = [*good[:5], Point(at_s=4.5, current_a=bad, voltage_v=bad, power_w=bad), *good[5:]]
    assert _counted(broken).in_ah == pytest.approx(_counted(good).in_ah)


def test_clock_that_does_not_rise_is_ignored_and_counted() -> None:
    points = [Point(at_s=float(t), current_a=1.0) for t in (0, 1, 2, 2, 1, 3, -5, 4)]
    got = _counted([*points, Point(at_s=math.nan, current_a=9.0)])
    assert got.ignored == 4
    assert got.in_ah == pytest.approx(4 / 3600)


def test_charger_pulled_and_put_back_is_counted() -> None:
    powered = [True, True, False, None, False, True, True, False]
    got = _counted([Point(at_s=float(i), current_a=1.0, powered=p) for i, p in enumerate(powered)])
    assert (got.pulled, got.put_back) == (2, 1)


@pytest.mark.parametrize("step", [0.001, 0.01, 0.0625])
def test_resolution_comes_from_the_smallest_change(step: float) -> None:
    values = [round((2.0 - 0.7 * math.sin(i / 30)) / step) * step for i in range(600)]
    got = _counted([Point(at_s=float(i), current_a=v) for i, v in enumerate(values)])
    assert got.resolution_ah == pytest.approx(step / 2 * 599 / 3600)


def test_steady_current_takes_its_step_from_its_decimals_not_from_the_plug() -> None:
    got = _counted([Point(at_s=float(i), current_a=0.0 if i < 5 else 2.13) for i in range(600)])
    assert got.resolution_ah == pytest.approx(0.01 / 2 * 599 / 3600)


@pytest.mark.parametrize("points", [[], [Point(at_s=1.0, current_a=1.0)], [Point(at_s=1.0), Point(at_s=2.0)]])
def test_too_little_is_no_count(points: list[Point]) -> None:
    count = ChargeCount()
    for point in points:
        count.see(point)
    assert count.result() is None
