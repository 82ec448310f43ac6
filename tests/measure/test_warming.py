"""The end of a warming, told before it is there: against a textbook curve, SciPy's fit, and a simulated pair.

The pair of masses here is a set of differential equations of its own, solved step by step: chip, heat sink,
and in part of them a fan that follows the chip. Its draws are stated beside it (common practice, no source).
"""

import math
import random
from collections.abc import Iterator, Sequence

import msgspec
import numpy as np
import pytest
from scipy.optimize import curve_fit

from verify.measure.interval import Interval
from verify.measure.warming import HeatCourse, Warmed, Warming, warming_of

# ---------------------------------------------------------------- a curve of the textbook


def first_order_c(at_s: float, *, begin_c: float, end_c: float, tau_s: float) -> float:
    """One mass after a step of power (any textbook on heat transfer, lumped capacitance)."""
    return begin_c + (end_c - begin_c) * -math.expm1(-at_s / tau_s)


def warmed(course: Iterator[tuple[float, float]]) -> Warmed:
    warming = Warming()
    for at_s, celsius in course:
        warming.see(at_s, celsius)
    return warming.result()


def known(result: Warmed) -> Interval:
    assert result.steady_c is not None, result.why
    return result.steady_c


def test_curve_passes_through_the_textbook_points() -> None:
    # 30 to 80 °C with 300 s: 1 − e⁻¹, 1 − e⁻² and 1 − e⁻³ of the rise.
    points = [first_order_c(t, begin_c=30, end_c=80, tau_s=300) for t in (300, 600, 900)]
    assert points == pytest.approx([61.606, 73.233, 77.511], abs=5e-4)
    # Of three points with equal spaces the end follows (Aitken 1926: (T1·T3 − T2²) / (T1 + T3 − 2·T2)).
    one, two, three = points
    assert (one * three - two**2) / (one + three - 2 * two) == pytest.approx(80.0, abs=0.01)


@pytest.mark.parametrize("watched_s", [420, 600, 900])
def test_fit_ends_where_three_points_of_the_textbook_curve_end(watched_s: int) -> None:
    result = warmed(
        (float(t), first_order_c(t, begin_c=30, end_c=80, tau_s=300)) for t in range(watched_s + 1)
    )
    assert known(result).value == pytest.approx(80.0, abs=0.1)
    assert result.slow_s is not None
    assert result.slow_s.value == pytest.approx(300, rel=0.05)


def test_a_cooling_is_fitted_as_a_warming() -> None:
    result = warmed((float(t), first_order_c(t, begin_c=85, end_c=41, tau_s=200)) for t in range(500))
    assert known(result).value == pytest.approx(41.0, abs=0.1)


# ---------------------------------------------------------------- two masses, solved step by step


class Pair(msgspec.Struct, frozen=True, kw_only=True):
    """A chip on a heat sink: K/W and J/K of both. cools: what a fan at full speed adds, 0 for none."""

    chip_k_per_w: float
    sink_k_per_w: float
    chip_j_per_k: float
    sink_j_per_k: float
    cools: float = 0.0
    fan_span_k: float = 40.0
    fan_lag_s: float = 8.0

    def course(self, *, heat_w: float, air_c: float, seconds: int) -> tuple[list[float], list[float]]:
        """Return chip temperature, in °C, and fan, 0 to 1, each second from a start as warm as the air."""
        chip_k = sink_k = fan = 0.0
        celsius, fans = [air_c], [0.0]
        parts = 8
        for _ in range(seconds):
            for _ in range(parts):
                wanted = min(1.0, max(0.0, (chip_k - 5) / self.fan_span_k)) if self.cools else 0.0
                fan += (wanted - fan) / parts / self.fan_lag_s
                flow_w = (chip_k - sink_k) / self.chip_k_per_w
                chip_k += (heat_w - flow_w) / parts / self.chip_j_per_k
                sink_k += (
                    (flow_w - sink_k * (1 + self.cools * fan) / self.sink_k_per_w) / parts / self.sink_j_per_k
                )
            celsius.append(air_c + chip_k)
            fans.append(fan)
        return celsius, fans

    def slow_s(self, fan: float) -> float:
        """Return the slow time constant, in s, at one fan speed: a root of the characteristic equation."""
        out = (1 + self.cools * fan) / self.sink_k_per_w
        a = 1 / (self.chip_k_per_w * self.chip_j_per_k)
        d = (1 / self.chip_k_per_w + out) / self.sink_j_per_k
        product = out * a / self.sink_j_per_k
        return 2 / ((a + d) - math.sqrt((a + d) ** 2 - 4 * product))


def drawn(draw: random.Random, *, fan: bool) -> Pair:
    """Draw time constants of 5 to 25 s and 100 to 400 s, and a rise of 20 to 60 K at 20 W."""
    rise_k, share = draw.uniform(20, 60), draw.uniform(0.3, 0.6)
    chip, sink = rise_k * share / 20, rise_k * (1 - share) / 20
    return Pair(
        chip_k_per_w=chip,
        sink_k_per_w=sink,
        chip_j_per_k=draw.uniform(5, 25) / chip,
        sink_j_per_k=draw.uniform(100, 400) / sink,
        cools=draw.uniform(0.2, 0.8) if fan else 0.0,
        fan_span_k=rise_k * draw.uniform(0.6, 1.2),
        fan_lag_s=draw.uniform(3, 15),
    )


class Told(msgspec.Struct, frozen=True, kw_only=True):
    result: Warmed
    true_c: float


def told(draw: random.Random, *, fan: bool, share: float) -> Told:
    """Watch a drawn pair for a share of its settling time, read in whole °C with noise of 0.3 to 1 K.

    Settled: after four of its slow time constants, when less than 2 % is left.
    """
    pair = drawn(draw, fan=fan)
    longest_s = round(10 * pair.slow_s(0.0))
    celsius, fans = pair.course(heat_w=20, air_c=draw.uniform(18, 35), seconds=longest_s)
    noise_k = draw.uniform(0.3, 1.0)
    warming = Warming()
    for at_s in range(1, round(share * 4 * pair.slow_s(fans[-1]))):
        reading = float(round(celsius[at_s] + draw.gauss(0, noise_k)))
        warming.see(float(at_s), reading, rpm=round(4800 * fans[at_s]) if fan else None)
    return Told(result=warming.result(), true_c=celsius[-1])


@pytest.mark.parametrize("followed", [0, 3], ids=["no fan", "a fan that follows in every third"])
def test_from_40_percent_of_the_settling_time_the_end_is_known_within_2_k(followed: int) -> None:
    draw, machines = random.Random(20), 150
    all_told = [told(draw, fan=bool(followed) and n % followed == 0, share=0.4) for n in range(machines)]
    claimed = [(one, one.result.steady_c) for one in all_told if one.result.steady_c is not None]
    assert len(claimed) >= 0.80 * machines
    within = sum(abs(steady.value - one.true_c) <= 2.0 for one, steady in claimed)
    assert within >= 0.95 * len(claimed)
    covered = sum(steady.low <= one.true_c <= steady.high for one, steady in claimed)
    # 95 % of 150 less three standard deviations of a count; more where the allowance for the fan is too wide.
    assert covered >= 0.895 * len(claimed)


def test_at_a_tenth_of_the_settling_time_next_to_nothing_is_claimed() -> None:
    draw = random.Random(21)
    all_told = [told(draw, fan=False, share=0.1) for _ in range(60)]
    assert sum(one.result.steady_c is not None for one in all_told) <= 6
    assert all(one.result.why for one in all_told if one.result.steady_c is None)


def test_fit_agrees_with_scipy_on_the_same_readings() -> None:
    pair = Pair(chip_k_per_w=0.8, sink_k_per_w=1.3, chip_j_per_k=14, sink_j_per_k=140)
    celsius, _ = pair.course(heat_w=25, air_c=24, seconds=900)
    draw = random.Random(5)
    times = list(range(1, 600))
    readings = [celsius[t] + draw.gauss(0, 0.5) for t in times]

    def curve(t: np.ndarray, end: float, a: float, fast: float, b: float, slow: float) -> np.ndarray:
        return end - a * np.exp(-t / fast) - b * np.exp(-t / slow)

    best, covariance = curve_fit(curve, times, readings, p0=(75, 20, 10, 30, 180), maxfev=20_000)
    result = warmed((float(t), c) for t, c in zip(times, readings, strict=True))
    steady = known(result)
    sigma = math.sqrt(covariance[0][0])
    assert steady.value == pytest.approx(best[0], abs=0.5 * sigma)
    assert (steady.high - steady.low) / 2 == pytest.approx(1.96 * sigma, rel=0.25)
    assert result.slow_s is not None
    assert result.slow_s.value == pytest.approx(best[4], rel=0.03)


def test_resistance_of_the_way_out_carries_over_to_another_power_and_room() -> None:
    # 45 K at 30 W are 1.5 K/W: at 20 W in a room of 25 °C that ends at 55 °C (Rθ = ΔT / P, JEDEC JESD51-1,
    # from memory); 82 °C in a room of 31 °C are 74 °C in one of 23 °C.
    pair = Pair(chip_k_per_w=0.5, sink_k_per_w=1.0, chip_j_per_k=20, sink_j_per_k=180)

    def end_c(heat_w: float, air_c: float) -> float:
        celsius, _ = pair.course(heat_w=heat_w, air_c=air_c, seconds=500)
        return known(warmed((float(t), c) for t, c in enumerate(celsius))).value

    assert end_c(30, 25) - 25 == pytest.approx(45.0, abs=0.2)
    assert end_c(20, 25) == pytest.approx(55.0, abs=0.2)
    assert end_c(34, 31) == pytest.approx(82.0, abs=0.2)
    assert end_c(34, 31) - end_c(34, 23) == pytest.approx(8.0, abs=0.1)


# ---------------------------------------------------------------- where nothing is claimed


PAIR = Pair(chip_k_per_w=0.8, sink_k_per_w=1.3, chip_j_per_k=14, sink_j_per_k=140)
COURSE, _ = PAIR.course(heat_w=25, air_c=24, seconds=1200)


def test_too_early_is_said() -> None:
    result = warmed((float(t), COURSE[t]) for t in range(40))
    assert result.steady_c is None
    assert "Too early" in result.why


def test_a_clock_that_was_taken_back_holds_the_temperature_and_nothing_is_claimed() -> None:
    warming = Warming()
    for at_s in range(900):
        warming.see(float(at_s), min(COURSE[at_s], 70.0), throttled=at_s == 300)
    result = warming.result()
    assert result.steady_c is None
    assert "clock" in result.why


def test_a_fan_that_steps_begins_a_new_curve_and_the_old_end_is_not_claimed() -> None:
    warming = Warming()
    for at_s in range(400):
        warming.see(float(at_s), COURSE[at_s], rpm=2000)
    assert known(warming.result()).value == pytest.approx(24 + 25 * 2.1, abs=1.0)
    for at_s in range(400, 430):
        warming.see(float(at_s), COURSE[400] - 5 * (at_s - 400) / 30, rpm=4000)
    result = warming.result()
    assert result.steady_c is None
    assert "fan" in result.why
    # From there to a new end, without the old one.
    for at_s in range(430, 1200):
        celsius = first_order_c(at_s - 430, begin_c=COURSE[400] - 5, end_c=60, tau_s=120)
        warming.see(float(at_s), celsius, rpm=4000)
    assert known(warming.result()).value == pytest.approx(60, abs=0.5)


def test_a_load_that_comes_and_goes_is_no_curve() -> None:
    result = warmed((float(t), 70 + 12 * math.sin(t / 40) + 10 * math.sin(t / 9)) for t in range(600))
    assert result.steady_c is None
    assert result.why


def test_a_load_that_wanders_within_full_claims_no_end() -> None:
    # The power goes up and down by a twentieth, slower than the chip: its end hangs on when one looks.
    warming, chip, sink = Warming(), 0.0, 0.0
    for at_s in range(600):
        load = 0.95 + 0.05 * math.sin(2 * math.pi * at_s / 120)
        sink += (25.0 * load - sink) / 180
        chip += (20.0 * load - chip) / 12
        warming.see(float(at_s), float(round(35 + chip + sink)), load=load)
    found = warming.result()
    assert found.steady_c is None
    assert "The load went from 9" in found.why


def test_readings_that_hang_together_widen_the_band() -> None:
    # The same noise of 1 K, each for itself, and as a first-order autoregression that lasts for 30 s.
    draw = random.Random(4)
    widths = []
    for lasts in (0.0, 0.97):
        warming, noise = Warming(), 0.0
        for at_s in range(900):
            noise = lasts * noise + draw.gauss(0, math.sqrt(1 - lasts**2))
            warming.see(float(at_s), round(COURSE[at_s] + noise, 1))
        band = warming.result().band_c
        assert band is not None
        widths.append(band.high - band.low)
    assert widths[1] > 3 * widths[0]


def test_a_slow_drift_has_no_end_yet() -> None:
    result = warmed((float(t), 50 + 0.05 * t) for t in range(300))
    assert result.steady_c is None
    assert "too early" in result.why


def test_times_that_run_back_are_left_out() -> None:
    steady, shuffled = Warming(), Warming()
    for at_s in range(600):
        steady.see(float(at_s), COURSE[at_s])
        shuffled.see(float(at_s), COURSE[at_s])
        shuffled.see(float(at_s) - 3, 5.0)
    assert steady.result() == shuffled.result()


def test_ten_hours_are_no_more_numbers_than_a_few_hundred() -> None:
    warming = Warming()
    for at_s in range(0, 36_000, 2):
        warming.see(float(at_s), COURSE[min(at_s, 1200)])
    held = warming._spans
    assert len(held) <= 220
    assert known(warming.result()).value == pytest.approx(24 + 25 * 2.1, abs=0.6)


# ---------------------------------------------------------------- a recorded course


def recorded(loads: Sequence[float | None]) -> HeatCourse:
    """Rest, load and recovery as the loads say, of the pair above."""
    celsius: list[float] = []
    since, begin = 0, 24.0
    loaded = False
    for load in loads:
        if loaded != (load is not None and load > 0.5):
            loaded, since, begin = not loaded, 0, celsius[-1] if celsius else 24.0
        # The pair's own response, scaled from where it began.
        end = 76.5 if loaded else 24.0
        celsius.append(begin + (end - begin) * (COURSE[since] - 24) / 52.5)
        since += 1
    return warming_of(range(len(loads)), celsius, loads)


def test_the_step_of_the_load_is_found_with_rest_before_and_recovery_after() -> None:
    course = recorded([0.03] * 40 + [1.0] * 600 + [0.02] * 500)
    assert course.idle_c == pytest.approx(24.0, abs=0.1)
    assert course.loaded is not None
    assert course.recovering is not None
    assert known(course.loaded.result()).value == pytest.approx(76.5, abs=0.5)
    assert known(course.recovering.result()).value == pytest.approx(24.0, abs=0.5)


def test_the_longest_of_two_loads_counts() -> None:
    course = recorded([0.03] * 20 + [1.0] * 400 + [0.0] * 300 + [1.0] * 60 + [0.0] * 20)
    assert course.loaded is not None
    assert course.loaded.seconds == 399
    assert known(course.loaded.result()).value == pytest.approx(76.5, abs=0.5)


def test_a_load_that_flickers_for_a_moment_goes_on() -> None:
    course = recorded([0.03] * 20 + [1.0] * 200 + [0.7] * 3 + [1.0] * 300)
    assert course.loaded is not None
    assert course.loaded.seconds == 502


@pytest.mark.parametrize("load", [None, 0.1])
def test_without_a_full_load_there_is_no_step(load: float | None) -> None:
    course = recorded([load] * 300)
    assert course.loaded is None
    assert course.recovering is None


def test_an_empty_course_says_nothing() -> None:
    assert warming_of([], [], []).loaded is None
    result = Warming().result()
    assert (result.steady_c, result.seconds) == (None, 0.0)
    assert result.why
